//! Compost heat: whether a heap has been hot enough for long enough, and when to turn it.
//!
//! A heap goes through four phases: it lies cold, warms, runs hot above 45 °C, and cools as its food is used up. A
//! published rule says when the heat has dealt with most of what makes people ill: 55 to 77 °C for three days in a
//! closed vessel or an aerated pile, or for fifteen days in a windrow that is turned five times, so that what lay
//! outside has lain inside. The rule is about all of the heap, so it is counted by the **coldest** probe: an edge
//! is 10 to 25 °C cooler than the core (from memory), and one probe in the core proves nothing of the edge.
//!
//! Garden heaps seldom meet it. That is said plainly ([`words`]), and is no fault of the heap: unmet means that its
//! compost is not for crops eaten raw and soon, not that it is bad compost.
//!
//! A day counts when every probe was known for at least 18 hours of it, none below 55 °C and none above 77 °C. An
//! unknown day ends a count, since nobody can say what it was.

use std::ops::Range;

use crate::crop::Global;
use crate::series::{COUNTS_IN_FULL_MS, Held, MS_PER_HOUR};
use crate::units::{Celsius, HoursOfDay};

mod count;
mod turning;
pub mod words;

pub use count::HeapCount;
pub use turning::{HeapAdvice, HeapWatch, Phase, RULE_ENDS_C};

/// The figures of a rule for compost heat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeapRule {
    /// Hot enough from here.
    pub from: Celsius,
    /// Too hot for the rule above this.
    pub to: Celsius,
    /// Days in a row in a closed vessel or an aerated pile.
    pub vessel_days: u32,
    /// Days in a row in a windrow.
    pub windrow_days: u32,
    /// Turns within those days.
    pub windrow_turns: u32,
}

impl HeapRule {
    /// The rule of the crop book.
    ///
    /// # Errors
    ///
    /// `None` where a figure of the book is no temperature or no count.
    ///
    /// # Source
    ///
    /// US National Organic Program, 7 CFR 205.203(c)(2), as quoted by two bodies (S102 of the source list): 131 to
    /// 170 °F, 3 days in a vessel or a static aerated pile, 15 days in a windrow with at least 5 turnings. That the
    /// days of a windrow stand in a row is the reading of 40 CFR 503, from memory, and the stricter one.
    pub fn of_book(global: &Global) -> Option<Self> {
        let count = |middle: f64| (1.0..=1000.0).contains(&middle).then_some(middle as u32);
        Some(Self {
            from: Celsius::try_new(global.compost_kill_c.middle()).ok()?,
            to: Celsius::try_new(global.compost_max_c.middle()).ok()?,
            vessel_days: count(global.compost_invessel_days.middle())?,
            windrow_days: count(global.compost_windrow_days.middle())?,
            windrow_turns: count(global.compost_windrow_turns.middle())?,
        })
    }
}

/// A heap's day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeapDay {
    /// The lowest that any probe said all day.
    pub coldest: Celsius,
    /// The highest that any probe said all day.
    pub hottest: Celsius,
    /// Whether it was turned that day.
    pub turned: bool,
}

impl HeapDay {
    /// A day from what each probe in the heap held, °C, over the day's stretch of time (UTC ms); `None` without
    /// probes, and where any of them is known for less than 18 hours.
    ///
    /// # Errors
    ///
    /// None. Values that no probe can mean are passed over.
    pub fn of(probes: &[&[Held]], day: &Range<i64>, turned: bool) -> Option<Self> {
        let mut both: Option<(Celsius, Celsius)> = None;
        for probe in probes {
            let mut known_ms = 0_i64;
            for held in probe.iter().filter_map(|held| held.within(day)) {
                let Ok(value) = Celsius::try_new(held.value) else { continue };
                known_ms = known_ms.saturating_add(held.ms());
                let (low, high) = both.unwrap_or((value, value));
                both = Some((if value < low { value } else { low }, if value > high { value } else { high }));
            }
            if known_ms < COUNTS_IN_FULL_MS {
                return None;
            }
        }
        both.map(|(coldest, hottest)| Self { coldest, hottest, turned })
    }
}

/// How long of a day the coldest probe was at `line` or above: the time in which **every** probe was known to be.
///
/// # Domain
///
/// Each probe's values in order and without overlap, as [`hold`](crate::series::hold) gives them. No probes: nought.
///
/// # Errors
///
/// None.
pub fn coldest_at_or_above(probes: &[&[Held]], line: Celsius, day: &Range<i64>) -> HoursOfDay {
    let (mut at_ms, mut hot_ms) = (day.start, 0_i64);
    while at_ms < day.end && !probes.is_empty() {
        let (mut until_ms, mut hot) = (day.end, true);
        for probe in probes {
            let next = probe.get(probe.partition_point(|held| held.end_ms <= at_ms));
            let holds = next.filter(|held| held.start_ms <= at_ms);
            hot &= holds.is_some_and(|held| held.value >= line.get());
            // What this probe says changes where it ends, or where its next value begins.
            let change_ms = holds.map(|held| held.end_ms).or(next.map(|held| held.start_ms));
            until_ms = until_ms.min(change_ms.unwrap_or(day.end));
        }
        // Values out of order could stand still here.
        let until_ms = until_ms.max(at_ms.saturating_add(1));
        if hot {
            hot_ms = hot_ms.saturating_add(until_ms.saturating_sub(at_ms));
        }
        at_ms = until_ms;
    }
    HoursOfDay::reckoned(hot_ms as f64 / MS_PER_HOUR as f64)
}
