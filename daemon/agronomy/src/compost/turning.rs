//! When a heap wants turning, and when it is too hot.
//!
//! Common practice throughout: a heap that has clearly fallen from its peak while still warm has used up its air; one
//! that runs above 65 °C kills those who do the work; one that does not rise wants water, air or nitrogen.

use super::HeapDay;
use crate::units::Celsius;

/// The phase a heap is in, by its hottest probe.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Phase {
    /// Below 20 °C: nothing much happens.
    Cold,
    /// 20 to 45 °C.
    Warm,
    /// 45 to 65 °C: fastest from 55 to 60.
    Hot,
    /// Above 65 °C: it slows and kills its helpers.
    TooHot,
}

impl Phase {
    /// The phase at a temperature.
    ///
    /// # Errors
    ///
    /// None.
    pub fn at(hottest: Celsius) -> Self {
        match hottest.get() {
            t if t < 20.0 => Self::Cold,
            t if t < 45.0 => Self::Warm,
            t if t <= 65.0 => Self::Hot,
            _ => Self::TooHot,
        }
    }
}

/// What a heap asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum HeapAdvice {
    /// Nothing.
    Leave,
    /// It does not rise: look at water, air and nitrogen.
    Stalled,
    /// It has fallen from its peak and is still warm: turn it.
    TurnCooled,
    /// Above 65 °C: turn it and damp it.
    TurnTooHot,
    /// Above 77 °C: outside the rule, too.
    OutsideRule,
    /// Above 80 °C: it may heat itself until it smoulders.
    Inspect,
}

/// How far below its peak a heap has fallen when it wants turning, K.
const FALLEN_K: f64 = 5.0;
/// Below this a fallen heap is done rather than out of air, °C.
const STILL_WARM_C: f64 = 40.0;
/// A heap above this works and need not rise, °C.
const WORKS_C: f64 = 45.0;
/// Days without a rise after which something is missing.
const STALLED_DAYS: u32 = 4;
/// The rule's own upper limit, 170 °F, °C; `compost_max_c` of the crop book.
pub const RULE_ENDS_C: f64 = 77.0;
/// Above this a heap is looked at for heating itself, °C.
const INSPECT_C: f64 = 80.0;

/// Watches a heap from day to day for what it asks. It starts anew when the heap is turned.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct HeapWatch {
    peak: Option<Celsius>,
    since_peak: u32,
}

impl HeapWatch {
    /// Takes the next day and says what the heap asks for; a day not known asks for nothing.
    ///
    /// The worst of what applies is said: a heap at 81 °C is inspected before it is turned.
    ///
    /// # Errors
    ///
    /// None.
    ///
    /// # Source
    ///
    /// Common practice; 77 °C is the limit of the rule (S102 of the source list).
    pub fn step(&mut self, day: Option<HeapDay>) -> HeapAdvice {
        let Some(day) = day else { return HeapAdvice::Leave };
        if day.turned {
            *self = Self::default();
        }
        let hottest = day.hottest.get();
        let rose = self.peak.is_none_or(|peak| day.hottest > peak);
        if rose {
            *self = Self { peak: Some(day.hottest), since_peak: 0 };
        } else {
            self.since_peak = self.since_peak.saturating_add(1);
        }
        let fallen = self.peak.is_some_and(|peak| peak.get() - hottest > FALLEN_K);
        match hottest {
            t if t > INSPECT_C => HeapAdvice::Inspect,
            t if t > RULE_ENDS_C => HeapAdvice::OutsideRule,
            _ if Phase::at(day.hottest) == Phase::TooHot => HeapAdvice::TurnTooHot,
            t if fallen && t > STILL_WARM_C => HeapAdvice::TurnCooled,
            t if t < WORKS_C && self.since_peak >= STALLED_DAYS => HeapAdvice::Stalled,
            _ => HeapAdvice::Leave,
        }
    }
}
