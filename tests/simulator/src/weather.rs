//! The hidden truth: how hot it is in the open and in the house, at any moment. Invented, and simple on purpose: the
//! watchers need to know it exactly, not to find it likely.

use std::f64::consts::PI;

use crate::chance::swing;

pub(crate) const MINUTE: i64 = 60_000;
pub(crate) const HOUR: i64 = 60 * MINUTE;
pub(crate) const DAY: i64 = 24 * HOUR;

/// What a garden's air does.
#[derive(Clone, Debug)]
pub(crate) struct Weather {
    seed: u64,
    offset_ms: i64,
    /// The first day of the heat wave that the liveness phase is about, days since 1970 in the standard offset.
    wave_from: i64,
}

impl Weather {
    pub(crate) fn new(seed: u64, offset_ms: i64, wave_from: i64) -> Self {
        Self { seed, offset_ms, wave_from }
    }

    /// The day's highest in the open, °C.
    fn high(&self, day: i64) -> f64 {
        // A run of days has a mood of its own, each day a smaller one.
        let mood = 4.0 * swing(self.seed, day.div_euclid(3)) + 2.0 * swing(self.seed ^ 1, day);
        if day >= self.wave_from { 35.0 } else { 26.0 + mood }
    }

    /// The air in the open, °C.
    pub(crate) fn open_c(&self, at_ms: i64) -> f64 {
        let local = at_ms + self.offset_ms;
        let (day, hour) = (local.div_euclid(DAY), local.rem_euclid(DAY) as f64 / HOUR as f64);
        // From one day's 15:00 to the next.
        let since = (hour - 15.0).rem_euclid(24.0) / 24.0;
        let first = if hour < 15.0 { day - 1 } else { day };
        let high = self.high(first) + (self.high(first + 1) - self.high(first)) * since;
        let puff = 0.15 * libm::sin(2.0 * PI * local as f64 / (23 * MINUTE) as f64);
        high - 7.0 + 7.0 * libm::cos(2.0 * PI * since) + puff
    }

    /// The air in the house, °C: up to 9 more under the sun.
    pub(crate) fn house_c(&self, at_ms: i64) -> f64 {
        let hour = (at_ms + self.offset_ms).rem_euclid(DAY) as f64 / HOUR as f64;
        let sun = libm::sin(PI * (hour - 6.5) / 15.0).max(0.0);
        self.open_c(at_ms) + 9.0 * sun
    }

    /// The air at a place, °C.
    pub(crate) fn at(&self, place: &str, at_ms: i64) -> f64 {
        if place == crate::garden::HOUSE { self.house_c(at_ms) } else { self.open_c(at_ms) }
    }
}
