//! What heat a planting has had in a season, fit to stand beside another season.
//!
//! Days are counted by the worst that was met. Degree hours above one fixed line, 32 °C, compare crops and
//! years; those above the crop's own line say what this crop felt. Days without a measured course are counted
//! apart: a season in which the probe was silent was not a cool one.

use super::day::Curve;
use crate::crop::Severity;
use crate::units::Celsius;

/// The heat of a season.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct StressRecord {
    by_severity: [u32; Severity::ALL.len()],
    unmeasured_days: u32,
    above_32: f64,
    above_own_line: f64,
}

impl StressRecord {
    /// The line by which crops and seasons are compared, °C (common practice); `heat_hour_default_c` of the crop book.
    pub const ACROSS_CROPS_C: f64 = 32.0;

    /// Adds a day: its worst severity, its air, and the crop's line that day.
    pub fn add_day(&mut self, worst: Option<Severity>, air: &Curve<'_>, line: Celsius) {
        if let Some(worst) = worst {
            let count = &mut self.by_severity[worst as usize];
            *count = count.saturating_add(1);
        }
        let across = air.degree_hours_above(Celsius::reckoned(Self::ACROSS_CROPS_C));
        match (across, air.degree_hours_above(line)) {
            (Some(across), Some(own)) if air.in_full() => {
                self.above_32 += across.get();
                self.above_own_line += own.get();
            }
            _ => self.unmeasured_days = self.unmeasured_days.saturating_add(1),
        }
    }

    /// Days whose worst was exactly this.
    pub const fn days(&self, severity: Severity) -> u32 {
        self.by_severity[severity as usize]
    }

    /// Days of which fewer than 18 h were measured: their degree hours are not in the sums.
    pub const fn unmeasured_days(&self) -> u32 {
        self.unmeasured_days
    }

    /// Degree hours above 32 °C, °C h.
    pub const fn degree_hours_above_32(&self) -> f64 {
        self.above_32
    }

    /// Degree hours above the crop's own line, °C h.
    pub const fn degree_hours_above_own_line(&self) -> f64 {
        self.above_own_line
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_season_counts_days_by_their_worst_and_gathers_degree_hours() {
        let celsius = |value| Celsius::try_new(value).unwrap();
        let level = |value| Curve::Extremes { low: celsius(value), high: celsius(value) };
        let mut record = StressRecord::default();
        record.add_day(Some(Severity::Severe), &level(36.0), celsius(35.0));
        record.add_day(Some(Severity::Severe), &level(33.0), celsius(35.0));
        record.add_day(None, &Curve::Unknown, celsius(35.0));
        // By hand: 24 h at 4 °C and at 1 °C above 32; 24 h at 1 °C above 35.
        assert_eq!((record.degree_hours_above_32(), record.degree_hours_above_own_line()), (120.0, 24.0));
        assert_eq!((record.days(Severity::Severe), record.days(Severity::Extreme)), (2, 0));
        assert_eq!(record.unmeasured_days(), 1);
    }
}
