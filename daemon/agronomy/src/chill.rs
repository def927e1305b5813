//! Chill: the cold a resting bush must have behind it before it breaks bud evenly.
//!
//! Currants, blueberries, raspberries and strawberries count winter. Too little of it shows as late and uneven
//! buds in spring. How it is counted is the *model*, and the counts are not to be compared: hours between 0 and
//! 7.2 °C, hours at or below 7 °C with frost in them, Utah units with their classes and their loss in warm
//! hours, and portions of the Dynamic model, in which cold builds something that warmth of the next days can
//! still undo. **Name the model with the number.** A mild winter may end below nought in Utah units and still
//! have portions.
//!
//! All models go by whole hours: give the mean of each hour, of a sensor outdoors by the bushes. An hour nobody
//! measured is not a warm one; count it as missing and say so beside the sum ([`Tally::hours`]).

mod dynamic;

pub use dynamic::{Dynamic, Rates, Zero};

use crate::units::{Celsius, Percent};

/// Upper end of the classic chill hour, °C: 45 °F.
const CHILL_HOUR_HIGH: f64 = 7.2;
/// The line of the growers' count for black currant, °C.
const COLD_HOUR: f64 = 7.0;

/// Whether an hour of this mean counts from 0 up to 7.2 °C, both ends with it.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Weinberger (1950), Proceedings of the American Society for Horticultural Science 56, in the form common in
/// fruit tables (common practice).
pub fn is_chill_hour(air: Celsius) -> bool {
    (0.0..=CHILL_HOUR_HIGH).contains(&air.get())
}

/// Whether an hour of this mean is at or below a line; frost counts too.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Growers' count for black currant at 7 °C, from 1 October (common practice); that hours of frost count for
/// *Ribes*: Jones, Gordon & Brennan (2015), Frontiers in Plant Science 5, 767.
pub fn is_cold_hour(air: Celsius, line: Celsius) -> bool {
    air <= line
}

/// Utah chill units of an hour of this mean.
///
/// # Equation
///
/// | up to, °C | 1.4 | 2.4 | 9.1 | 12.4 | 15.9 | 18.0 | above |
/// |-----------|-----|-----|-----|------|------|------|-------|
/// | units     | 0   | 0.5 | 1   | 0.5  | 0    | −0.5 | −1    |
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Richardson, Seeley & Walker (1974), HortScience 9, 331-332, its classes closed to a line without holes.
pub fn utah_units(air: Celsius) -> f64 {
    const CLASSES: [(f64, f64); 6] =
        [(1.4, 0.0), (2.4, 0.5), (9.1, 1.0), (12.4, 0.5), (15.9, 0.0), (18.0, -0.5)];
    CLASSES.iter().find(|(up_to, _)| air.get() <= *up_to).map_or(-1.0, |(_, units)| *units)
}

/// How much of a requirement is missing, %: 0 once it is met, and for a requirement of nought.
///
/// `had` and `required` are of one model. Less than nought had, as Utah units may be, is all missing.
///
/// # Errors
///
/// None; a number that is none makes everything missing.
pub fn shortfall(had: f64, required: f64) -> Percent {
    if had >= required || required <= 0.0 {
        return Percent::MIN;
    }
    let missing = 100.0 * (1.0 - had.max(0.0) / required);
    if missing.is_nan() { Percent::MAX } else { Percent::reckoned(missing) }
}

/// Running totals of a winter by four models.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Tally {
    /// Hours that were measured.
    pub hours: u32,
    /// Of them, hours from 0 to 7.2 °C ([`is_chill_hour`]).
    pub hours_0_7: u32,
    /// Of them, hours at or below 7 °C ([`is_cold_hour`]).
    pub hours_le_7: u32,
    /// Utah units ([`utah_units`]).
    pub utah_units: f64,
    /// Dynamic model.
    dynamic: Dynamic,
}

impl Tally {
    /// Nothing yet, at the beginning of the winter.
    pub fn new() -> Self {
        Self::default()
    }

    /// Counts one hour by its mean.
    pub fn take_hour(&mut self, air: Celsius) {
        self.hours = self.hours.saturating_add(1);
        self.hours_0_7 = self.hours_0_7.saturating_add(u32::from(is_chill_hour(air)));
        let cold = is_cold_hour(air, Celsius::reckoned(COLD_HOUR));
        self.hours_le_7 = self.hours_le_7.saturating_add(u32::from(cold));
        self.utah_units += utah_units(air);
        self.dynamic.take_hour(air);
    }

    /// Portions of the Dynamic model so far.
    pub fn portions(&self) -> f64 {
        self.dynamic.portions()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_missing_is_said_in_percent_of_what_is_needed() {
        assert_eq!(shortfall(650.0, 650.0).get(), 0.0);
        assert_eq!(shortfall(487.5, 650.0).get(), 25.0);
        assert_eq!(shortfall(-120.0, 650.0).get(), 100.0);
        assert_eq!(shortfall(0.0, 0.0).get(), 0.0);
        assert_eq!(shortfall(f64::NAN, 650.0).get(), 100.0);
        assert_eq!(shortfall(1.0, f64::NAN).get(), 100.0);
    }
}
