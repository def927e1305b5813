//! A day's degree days from its lowest and highest temperature.

use super::curve::Curve;
use super::method::Method;
use super::rule::{ONTARIO_DAY, Rule};
use crate::units::Celsius;

/// The degree days of one day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Daily {
    /// Degree days, °C d. Negative only with the intermediate cutoff on a very hot day.
    pub degree_days: f64,
    /// What had to stand in for the next day's lowest, if anything.
    pub stood_in: Option<StoodIn>,
}

/// What stood in for the next day's lowest temperature in a double method.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StoodIn {
    /// The next lowest lies above today's highest, where the method is not defined: today's highest was used.
    TodaysMaximum,
    /// There is no next day: today's lowest was used.
    TodaysMinimum,
}

/// Why a day has no degree days.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DailyError {
    /// Lowest and highest are the wrong way round.
    #[error("lowest {min} °C lies above highest {max} °C")]
    Reversed {
        /// The lowest given.
        min: f64,
        /// The highest given.
        max: f64,
    },
    /// `integral` and `integral-peak` need readings through the day.
    #[error("{0} needs readings through the day, not its lowest and highest alone")]
    NeedsReadings(Method),
}

/// Degree days of one day from its lowest and highest and, for the double methods, the next day's lowest.
///
/// # Equation
///
/// With n the lowest, x the highest, b the base, u the upper threshold and m = (n + x) / 2:
///
/// | method              | degree days                                                                 |
/// |---------------------|-----------------------------------------------------------------------------|
/// | `mean`              | max(0, m − b)                                                               |
/// | `mean-capped`       | min(max(m, b), u) − b                                                       |
/// | `extremes-clipped`  | (clip(n) + clip(x)) / 2 − b, each clipped to b and u                        |
/// | `maximum-reflected` | max(0, x − b); above u: max(0, u − (x − u) − b)                             |
/// | `ontario-units`     | (day + night) / 2, day 3.33 (x − 10) − 0.084 (x − 10)², night 1.8 (n − 4.4) |
/// | sines, triangles    | area between base and curve, less what the [`Cutoff`](super::Cutoff) says   |
///
/// The sine has x at mid-day: above a threshold L between n and x it leaves
/// ((m − L)(π/2 − θ) + w cos θ) / π with w = (x − n) / 2, θ = asin((L − m) / w). The intermediate cutoff is
/// not floored inside the day. Of Ontario units neither half falls below nought, and a highest below 10 °C
/// or a lowest below 4.4 °C counts nothing; they are a scale of their own, not degree days.
///
/// # Errors
///
/// [`DailyError`]: lowest above highest, or a method that needs readings.
///
/// # Source
///
/// `mean-capped`: Paredes et al. (2025), Agricultural Water Management 319, 109758. `extremes-clipped`: McMaster &
/// Wilhelm (1997), Agricultural and Forest Meteorology 87, method 2. `maximum-reflected`: Perry & Wehner
/// (1996), HortTechnology 6. Single sine: Baskerville & Emin (1969), Ecology 50, 514-517. Double sine: Allen
/// (1976), Environmental Entomology 5, 388-396. Triangles and cutoffs: Zalom et al. (1983), UC Leaflet
/// 21373. Ontario units: the form from memory; Gray, Ward & Steckel (1980), Journal of Agricultural Science,
/// found them the better scale for bush tomatoes. Formulas from memory, results checked against published ones in `tests/degree_days.rs`.
pub fn daily(
    rule: &Rule,
    min: Celsius,
    max: Celsius,
    next_min: Option<Celsius>,
) -> Result<Daily, DailyError> {
    let (low, high) = (min.get(), max.get());
    if low > high {
        return Err(DailyError::Reversed { min: low, max: high });
    }
    let (base, upper) = (rule.base().get(), rule.upper().map(Celsius::get));
    let mean = f64::midpoint(low, high);
    let ceiling = upper.unwrap_or(f64::INFINITY);
    let clip = |value: f64| value.min(ceiling).max(base);
    let by_curve = |curve: Curve, low| curve.degree_days(low, high, base, upper, rule.cutoff());
    let degree_days = match rule.method() {
        Method::Mean => (mean - base).max(0.0),
        Method::MeanCapped => clip(mean) - base,
        Method::ExtremesClipped => f64::midpoint(clip(low), clip(high)) - base,
        Method::MaximumReflected => (high - 2.0 * (high - ceiling).max(0.0) - base).max(0.0),
        Method::SingleSine => by_curve(Curve::Sine, low),
        Method::SingleTriangle => by_curve(Curve::Triangle, low),
        Method::DoubleSine | Method::DoubleTriangle => {
            let curve = if rule.method() == Method::DoubleSine { Curve::Sine } else { Curve::Triangle };
            let (next, stood_in) = evening_low(low, high, next_min);
            let degree_days = f64::midpoint(by_curve(curve, low), by_curve(curve, next));
            return Ok(Daily { degree_days, stood_in });
        }
        Method::OntarioUnits => ontario(low, high),
        method @ (Method::Integral | Method::IntegralPeak) => return Err(DailyError::NeedsReadings(method)),
    };
    Ok(Daily { degree_days, stood_in: None })
}

/// Ontario units of a day: a parabola of its highest, a straight line of its lowest.
fn ontario(low: f64, high: f64) -> f64 {
    let warm = (high - ONTARIO_DAY).max(0.0);
    let day = (3.33 * warm - 0.084 * warm * warm).max(0.0);
    let night = (1.8 * (low - 4.4)).max(0.0);
    f64::midpoint(day, night)
}

/// The temperature to which the second half day falls.
fn evening_low(low: f64, high: f64, next_min: Option<Celsius>) -> (f64, Option<StoodIn>) {
    match next_min.map(Celsius::get) {
        None => (low, Some(StoodIn::TodaysMinimum)),
        Some(next) if next > high => (high, Some(StoodIn::TodaysMaximum)),
        Some(next) => (next, None),
    }
}

#[cfg(test)]
mod tests {
    use super::super::Cutoff;
    use super::*;

    fn day(rule: &Rule, min: f64, max: f64, next: Option<f64>) -> Result<Daily, DailyError> {
        let celsius = |value| Celsius::try_new(value).unwrap();
        daily(rule, celsius(min), celsius(max), next.map(celsius))
    }

    fn rule(method: Method, upper: Option<f64>) -> Rule {
        Rule::of_numbers(method, 10.0, upper, Cutoff::Horizontal).unwrap()
    }

    #[test]
    fn the_reflected_maximum_takes_off_what_is_above_the_upper_threshold() {
        // Worked by hand from Perry & Wehner's rule, base 15.5 and upper 32: 32 - (36 - 32) - 15.5 = 12.5.
        let cucumber =
            Rule::of_numbers(Method::MaximumReflected, 15.5, Some(32.0), Cutoff::Horizontal).unwrap();
        let of = |max| day(&cucumber, 10.0, max, None).unwrap().degree_days;
        assert_eq!(of(36.0), 12.5);
        assert_eq!(of(32.0), 16.5);
        assert_eq!(of(15.0), 0.0);
        assert_eq!(of(60.0), 0.0);
    }

    #[test]
    fn a_next_minimum_above_todays_maximum_is_replaced_by_it_and_told() {
        let double = rule(Method::DoubleSine, Some(30.0));
        let odd = day(&double, 5.0, 20.0, Some(22.0)).unwrap();
        let even = day(&double, 5.0, 20.0, Some(20.0)).unwrap();
        assert_eq!(odd.stood_in, Some(StoodIn::TodaysMaximum));
        assert_eq!(even.stood_in, None);
        assert_eq!(odd.degree_days, even.degree_days);
    }

    #[test]
    fn a_last_day_falls_back_to_its_own_minimum_and_tells() {
        let last = day(&rule(Method::DoubleTriangle, Some(30.0)), 5.0, 20.0, None).unwrap();
        let single = day(&rule(Method::SingleTriangle, Some(30.0)), 5.0, 20.0, None).unwrap();
        assert_eq!(last.stood_in, Some(StoodIn::TodaysMinimum));
        assert_eq!(last.degree_days, single.degree_days);
    }

    #[test]
    fn a_single_method_does_not_look_at_the_next_day() {
        let single = rule(Method::SingleSine, Some(30.0));
        assert_eq!(day(&single, 5.0, 20.0, Some(17.0)), day(&single, 5.0, 20.0, None));
    }

    #[test]
    fn days_that_cannot_be_are_refused() {
        let mean = rule(Method::Mean, None);
        assert_eq!(day(&mean, 21.0, 20.0, None), Err(DailyError::Reversed { min: 21.0, max: 20.0 }));
        for method in [Method::Integral, Method::IntegralPeak] {
            let refusal = day(&rule(method, Some(30.0)), 5.0, 20.0, None);
            assert_eq!(refusal, Err(DailyError::NeedsReadings(method)));
        }
    }

    #[test]
    fn ontario_units_are_those_worked_by_hand() {
        // From the formula (from memory): 30 °C by day is 3.33 x 20 - 0.084 x 400 = 33, 14.4 °C by night is
        // 1.8 x 10 = 18, half of their sum 25.5. Either half counts nothing below its own threshold.
        let of = |min, max| day(&rule(Method::OntarioUnits, None), min, max, None).unwrap().degree_days;
        assert!((of(14.4, 30.0) - 25.5).abs() < 1e-9);
        assert!((of(4.0, 30.0) - 16.5).abs() < 1e-9);
        assert!((of(8.4, 9.0) - 3.6).abs() < 1e-9);
        assert_eq!(of(-5.0, 9.0), 0.0);
        assert_eq!(of(0.0, 60.0), 0.0);
    }
}
