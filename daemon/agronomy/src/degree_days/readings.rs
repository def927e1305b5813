//! Degree days from the readings through the day: the integral, with or without a brake in great heat.
//!
//! Where a probe speaks every few minutes nothing need be guessed of the day's course, and the short, sharp
//! heat of a house counts for as long as it lasted and no longer. `integral` lets development run on at the
//! rate of the upper threshold; `integral-peak` slows it from there, evenly, to a standstill: a tomato is
//! held up on days that pass 30 °C (Zalom & Wilson 1999, Acta Horticulturae 487).

use super::method::Method;
use super::rule::Rule;
use crate::series::{Held, mean_of};
use crate::units::Celsius;

/// Why readings give no degree days.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ReadingsError {
    /// The method asks for the day's lowest and highest, not for its readings.
    #[error("{0} is reckoned from the day's lowest and highest, not from its readings")]
    NeedsExtremes(Method),
    /// Nothing was held.
    #[error("nothing was measured")]
    NothingHeld,
}

/// Degree days of one day by its readings, °C d.
///
/// # Equation
///
/// ```text
/// D = Σ r(T) Δt / Σ Δt
/// ```
///
/// with the rate r in °C, b the base, u the upper threshold and s the stop:
///
/// | temperature  | `integral` | `integral-peak`            |
/// |--------------|------------|----------------------------|
/// | up to b      | 0          | 0                          |
/// | b to u       | T − b      | T − b                      |
/// | u to s       | u − b      | (u − b) (s − T) / (s − u)  |
/// | from s       | u − b      | 0                          |
///
/// The sum is over held time, so a day held for 20 hours counts as if the other four were like them; whether
/// a day was held for long enough to count is the caller's to ask
/// ([`COUNTS_IN_FULL_MS`](crate::series::COUNTS_IN_FULL_MS)).
///
/// # Errors
///
/// [`ReadingsError`]: a method that goes by lowest and highest, or nothing held. A held value that is not
/// finite counts as not held.
///
/// # Source
///
/// The definition of degree days as the area between the temperature curve and the thresholds: Zalom et al.
/// (1983), UC Leaflet 21373. The brake is the intermediate cutoff of that leaflet with a slope of its own,
/// floored at nought: with s = 2u − b it is that cutoff. Checked in `tests/degree_days_readings.rs`.
pub fn by_readings(rule: &Rule, segments: impl Iterator<Item = Held>) -> Result<f64, ReadingsError> {
    let base = rule.base().get();
    let upper = rule.upper().unwrap_or(Celsius::MAX).get();
    let segments = segments.filter(|held| held.value.is_finite());
    let sum = match (rule.method(), rule.stop().map(Celsius::get)) {
        (Method::Integral, _) => mean_of(segments, |value| (value.min(upper) - base).max(0.0)),
        (Method::IntegralPeak, Some(stop)) => mean_of(segments, |value| {
            let slowed = (upper - base) * (stop - value) / (stop - upper);
            (value - base).min(slowed).max(0.0)
        }),
        (method, _) => return Err(ReadingsError::NeedsExtremes(method)),
    };
    sum.ok_or(ReadingsError::NothingHeld)
}

#[cfg(test)]
mod tests {
    use super::super::Cutoff;
    use super::*;

    const HOUR: i64 = 3_600_000;

    fn rule(method: Method) -> Rule {
        Rule::of_numbers(method, 10.0, Some(30.0), Cutoff::Horizontal).unwrap()
    }

    fn hourly(values: &[f64]) -> impl Iterator<Item = Held> {
        let held = |(at, &value)| Held { start_ms: at as i64 * HOUR, end_ms: (at as i64 + 1) * HOUR, value };
        values.iter().enumerate().map(held)
    }

    #[test]
    fn four_steps_are_those_worked_by_hand() {
        // Rates above 10, held at 20: 0, 10, 20, 10, mean 10. With the brake 36 counts 20 (42 - 36) / 12 = 10.
        assert_eq!(by_readings(&rule(Method::Integral), hourly(&[10.0, 20.0, 36.0, 20.0])), Ok(10.0));
        assert_eq!(by_readings(&rule(Method::IntegralPeak), hourly(&[10.0, 20.0, 36.0, 20.0])), Ok(7.5));
        assert_eq!(by_readings(&rule(Method::IntegralPeak), hourly(&[42.0, 60.0])), Ok(0.0));
    }

    #[test]
    fn an_integral_without_upper_threshold_has_no_ceiling() {
        let open = Rule::of_numbers(Method::Integral, 10.0, None, Cutoff::Horizontal).unwrap();
        assert_eq!(by_readings(&open, hourly(&[10.0, 20.0, 35.0, 20.0])), Ok(11.25));
    }

    #[test]
    fn what_is_no_reading_and_what_needs_none_is_refused() {
        assert_eq!(by_readings(&rule(Method::Integral), hourly(&[])), Err(ReadingsError::NothingHeld));
        let none = by_readings(&rule(Method::Integral), hourly(&[f64::NAN, f64::INFINITY]));
        assert_eq!(none, Err(ReadingsError::NothingHeld));
        let sine = by_readings(&rule(Method::SingleSine), hourly(&[20.0]));
        assert_eq!(sine, Err(ReadingsError::NeedsExtremes(Method::SingleSine)));
    }
}
