//! Powdery mildew: a pressure from 0 to 100 that mild hours raise and great heat lowers.
//!
//! Unlike other leaf diseases it wants no wet leaf: mild, rather dry days suit it. The index was made for grape and
//! the mildew that lives on grape; on other crops, which have mildews of their own, it is a hint in three words
//! (low, medium, high) and no number. Above 35 °C the fungus suffers, and so does the crop.

use std::ops::Range;

use super::wetness::{counts, hours};
use crate::series::{Held, MS_PER_HOUR};
use crate::units::{Celsius, HoursOfDay};

/// The mild band, °C: 70 to 85 °F.
const MILD_C: std::ops::RangeInclusive<f64> = (70.0 - 32.0) / 1.8..=(85.0 - 32.0) / 1.8;
/// Too hot for the fungus, °C: 95 °F.
const HOT_C: f64 = 35.0;
/// How long it must be so hot to tell, ms.
const HOT_MS: i64 = MS_PER_HOUR / 4;
/// Mild hours in a row that make a favourable day, h.
const FAVOURABLE_H: f64 = 6.0;
/// Favourable days in a row that start the index.
const STARTS_AFTER: u8 = 3;

/// What powdery mildew asks of a day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MildewDay {
    /// The longest stretch from 21.1 to 29.4 °C without a break.
    pub mild: HoursOfDay,
    /// 35 °C or more for a quarter of an hour.
    pub hot: bool,
}

impl MildewDay {
    /// A day from held readings of air, °C; `None` where less than 18 hours are known. A gap breaks a stretch.
    ///
    /// # Errors
    ///
    /// None. Values that no probe can mean are passed over.
    pub fn of(air: impl Iterator<Item = Held>, day: &Range<i64>) -> Option<Self> {
        let (mut known_ms, mut end_ms) = (0_i64, i64::MIN);
        let (mut mild, mut hot) = (Run::default(), Run::default());
        for held in air.filter_map(|held| held.within(day)) {
            let Ok(value) = Celsius::try_new(held.value) else { continue };
            known_ms = known_ms.saturating_add(held.ms());
            let joined = held.start_ms == end_ms;
            mild.take(joined, MILD_C.contains(&value.get()), held.ms());
            hot.take(joined, value.get() >= HOT_C, held.ms());
            end_ms = held.end_ms;
        }
        counts(known_ms).then(|| Self { mild: hours(mild.longest_ms), hot: hot.longest_ms >= HOT_MS })
    }
}

/// The longest unbroken stretch so far.
#[derive(Default)]
struct Run {
    now_ms: i64,
    longest_ms: i64,
}

impl Run {
    fn take(&mut self, joined: bool, holds: bool, ms: i64) {
        let before_ms = if joined { self.now_ms } else { 0 };
        self.now_ms = if holds { before_ms.saturating_add(ms) } else { 0 };
        self.longest_ms = self.longest_ms.max(self.now_ms);
    }
}

/// How hard powdery mildew presses, in a word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Pressure {
    /// 0 to 30.
    Low,
    /// 40 and 50.
    Medium,
    /// 60 to 100.
    High,
}

impl Pressure {
    /// The word.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::Medium => "medium",
            Self::High => "high",
        }
    }
}

/// The index from day to day. It starts at 0, waiting for three favourable days in a row.
///
/// # Equation
///
/// ```text
/// waiting   favourable day +20, any other day back to 0; it runs from the third in a row
/// running   6 h in a row in the mild band +20, fewer −10; hot −10; both +10; held to 0 … 100
/// ```
///
/// A hot day with too few mild hours loses 10, not 20: no day takes more than 10. A day not known leaves a running
/// index as it is and breaks the three days it waits for.
///
/// # Source
///
/// Gubler and Thomas, University of California, for grape (S88 of the source list): the running rules as quoted from
/// the university in a trade article, the three days of the start and the bands of the words from memory.
///
/// # Example
///
/// ```
/// use agronomy::signs::mildew::{MildewDay, MildewIndex, Pressure};
/// use agronomy::units::{HoursOfDay, OutOfRange};
///
/// let mild = MildewDay { mild: HoursOfDay::try_new(7.0)?, hot: false };
/// let mut index = MildewIndex::default();
/// for _ in 0..3 {
///     index.step(Some(mild));
/// }
/// assert_eq!((index.points(), index.pressure()), (60, Pressure::High));
/// # Ok::<(), OutOfRange>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct MildewIndex {
    points: u8,
    favourable: u8,
}

impl MildewIndex {
    /// Takes the next day.
    ///
    /// # Errors
    ///
    /// None.
    pub fn step(&mut self, day: Option<MildewDay>) {
        let favourable = day.is_some_and(|day| day.mild.get() >= FAVOURABLE_H);
        if self.is_running() {
            let Some(day) = day else { return };
            self.points = match (favourable, day.hot) {
                (true, false) => self.points.saturating_add(20).min(100),
                (true, true) => self.points.saturating_add(10).min(100),
                (false, _) => self.points.saturating_sub(10),
            };
        } else if favourable {
            self.favourable += 1;
            self.points = 20 * self.favourable;
        } else {
            *self = Self::default();
        }
    }

    /// Whether three favourable days in a row have started it.
    pub fn is_running(&self) -> bool {
        self.favourable >= STARTS_AFTER
    }

    /// The index, 0 to 100 in tens.
    pub fn points(&self) -> u8 {
        self.points
    }

    /// The index in a word.
    pub fn pressure(&self) -> Pressure {
        match self.points {
            0..=30 => Pressure::Low,
            31..=50 => Pressure::Medium,
            _ => Pressure::High,
        }
    }
}
