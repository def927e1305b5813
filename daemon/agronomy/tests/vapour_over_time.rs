//! Averages of the deficit are averages of deficits: against FAO-56 and against days worked out elsewhere.

use agronomy::series::{Held, MS_PER_HOUR, hold, time_weighted_mean};
use agronomy::units::{Celsius, RelativeHumidity};
use agronomy::vapour;
use proptest::prelude::*;

const FIVE_MINUTES: i64 = 300_000;
const DAY: std::ops::Range<i64> = 0..24 * MS_PER_HOUR;

fn held(start_h: i64, end_h: i64, value: f64) -> Held {
    Held { start_ms: start_h * MS_PER_HOUR, end_ms: end_h * MS_PER_HOUR, value }
}

fn deficit(t: f64, rh: f64) -> f64 {
    vapour::deficit(Celsius::try_new(t).unwrap(), RelativeHumidity::try_new(rh).unwrap()).get()
}

#[test]
fn pressures_are_averaged_and_temperatures_are_not_as_fao56_example_3_has_it() {
    // Half a day at 24.5 °C and half at 15 °C without any vapour: the example prints a mean of 2.39 kPa, and 2.30 kPa
    // for the mean temperature.
    let air = [held(0, 12, 24.5), held(12, 24, 15.0)];
    let dry = [held(0, 24, 0.0)];
    let mean = vapour::mean_deficit(air.into_iter(), dry.into_iter()).unwrap();
    assert!((mean.get() - 2.39).abs() < 0.005, "{mean}");
    assert!((deficit(f64::midpoint(24.5, 15.0), 0.0) - 2.30).abs() < 0.005);
}

/// A day under glass every five minutes: lowest at 6:00, a quarter sine to the highest at 15:00, then an
/// exponential fall; the vapour is that of a dew point, or less where the night is colder than that.
fn known_day(low: f64, high: f64, dew: f64) -> (Vec<Held>, Vec<Held>) {
    let fallen = libm::exp(-3.0);
    let temperature = |hour: f64| {
        let share = if (6.0..=15.0).contains(&hour) {
            libm::sin(std::f64::consts::FRAC_PI_2 * (hour - 6.0) / 9.0)
        } else {
            let since_highest = (hour - 15.0).rem_euclid(24.0);
            (libm::exp(-since_highest / 5.0) - fallen) / (1.0 - fallen)
        };
        low + (high - low) * share
    };
    // Magnus form of FAO-56 eq. 11, written out so that the vapour does not come from the code under test.
    let saturation = |t: f64| 0.6108 * libm::exp(17.27 * t / (t + 237.3));
    let vapour = saturation(dew).min(saturation(low));
    let series = |of: &dyn Fn(f64) -> f64| -> Vec<Held> {
        let readings = (0..288).map(|step| (step * FIVE_MINUTES, of(temperature(step as f64 / 12.0))));
        hold(readings, FIVE_MINUTES, DAY).collect()
    };
    (series(&|t| t), series(&|t| (100.0 * vapour / saturation(t)).min(100.0)))
}

#[test]
fn on_a_hot_day_the_deficit_of_the_mean_air_is_a_quarter_too_low() {
    // Worked out by independent code for the same days: mean of deficits, deficit of means, mean from 8 to 18 h, highest.
    for (low, high, dew, mean, of_means, daylight, peak) in [
        (16.0, 36.0, 15.0, 1.55, 1.18, 2.92, 4.24),
        (18.0, 42.0, 16.0, 2.33, 1.73, 4.35, 6.38),
        (12.0, 30.0, 10.0, 1.18, 0.94, 2.12, 3.02),
    ] {
        let (air, humidity) = known_day(low, high, dew);
        let series = || vapour::deficits(air.iter().copied(), humidity.iter().copied());
        let near = |got: f64, expected: f64| {
            assert!((got - expected).abs() <= 0.011, "{low} to {high}: {got}, not {expected}");
        };
        near(vapour::mean_deficit(air.iter().copied(), humidity.iter().copied()).unwrap().get(), mean);
        let mean_air = |series: &[Held]| time_weighted_mean(series.iter().copied()).unwrap();
        near(deficit(mean_air(&air), mean_air(&humidity)), of_means);
        let hours = 8 * MS_PER_HOUR..18 * MS_PER_HOUR;
        near(time_weighted_mean(series().filter_map(|held| held.within(&hours))).unwrap(), daylight);
        near(series().map(|held| held.value).fold(f64::MIN, f64::max), peak);
    }
}

#[test]
fn what_air_cannot_have_is_a_gap_and_a_wet_film_is_saturation() {
    let air = [held(0, 4, 30.0), held(4, 5, f64::NAN), held(5, 6, 400.0)];
    let humidity = [held(0, 1, 103.0), held(1, 2, -3.0), held(2, 3, f64::INFINITY), held(3, 6, 50.0)];
    let found: Vec<_> = vapour::deficits(air.into_iter(), humidity.into_iter()).collect();
    // FAO-56 Table 2.3: 4.243 kPa at 30 °C, half of which is missing at 50 %.
    assert_eq!(found.len(), 2, "{found:?}");
    assert_eq!(found[0], held(0, 1, 0.0));
    assert_eq!((found[1].start_ms, found[1].end_ms), (3 * MS_PER_HOUR, 4 * MS_PER_HOUR));
    assert!((found[1].value - 2.1215).abs() < 0.0005, "{found:?}");
    assert_eq!(vapour::mean_deficit(std::iter::empty(), humidity.into_iter()), None);
}

proptest! {
    #[test]
    fn at_one_humidity_the_mean_deficit_is_never_below_that_of_the_mean_temperature(
        temperatures in proptest::collection::vec(-20.0..55.0_f64, 1..48), rh in 0.0..=100.0_f64,
    ) {
        let hours = temperatures.len() as i64;
        let air: Vec<_> = (0..).zip(&temperatures).map(|(hour, t)| held(hour, hour + 1, *t)).collect();
        let mean = vapour::mean_deficit(air.iter().copied(), [held(0, hours, rh)].into_iter()).unwrap().get();
        let mean_air = time_weighted_mean(air.iter().copied()).unwrap();
        prop_assert!(mean >= deficit(mean_air, rh) - 1e-9, "{mean} against {}", deficit(mean_air, rh));
    }
}
