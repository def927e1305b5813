//! The gap rule over readings of any kind, and the figures of a day whose curve is known.

use agronomy::degree_days::{Cutoff, Method, Rule, by_readings, daily};
use agronomy::heat_stress::{above, course::Slope};
use agronomy::series::{Held, MS_PER_HOUR, held_ms, hold, ms_above, time_weighted_mean, together};
use agronomy::units::Celsius;
use proptest::prelude::*;

const WINDOW: std::ops::Range<i64> = 0..86_400_000;
const INTERVAL_MS: i64 = 900_000;

fn readings() -> impl Strategy<Value = Vec<(i64, f64)>> {
    let reading = (-3_600_000_i64..90_000_000, -10.0..45.0);
    proptest::collection::vec(reading, 0..200).prop_map(|mut all| {
        all.sort_by_key(|&(at, _)| at);
        all
    })
}

fn segments(readings: &[(i64, f64)]) -> Vec<Held> {
    hold(readings.iter().copied(), INTERVAL_MS, WINDOW).collect()
}

/// What holds at a moment, by the rule as it is worded, found by looking at every reading.
fn worded(readings: &[(i64, f64)], moment: i64) -> Option<f64> {
    let &(at, value) = readings.iter().rev().find(|(at, _)| *at <= moment)?;
    (moment < at + 2 * INTERVAL_MS).then_some(value)
}

/// A day under glass every five minutes: lowest at 6:00, a quarter sine to the highest at 15:00, then an
/// exponential fall until 6:00.
fn known_day(low: f64, high: f64) -> impl Iterator<Item = Held> {
    let fallen = libm::exp(-3.0);
    let at = move |hour: f64| {
        let share = if (6.0..=15.0).contains(&hour) {
            libm::sin(std::f64::consts::FRAC_PI_2 * (hour - 6.0) / 9.0)
        } else {
            let since_highest = (hour - 15.0).rem_euclid(24.0);
            (libm::exp(-since_highest / 5.0) - fallen) / (1.0 - fallen)
        };
        low + (high - low) * share
    };
    let readings = (0..288).map(move |step| (step * 300_000, at(step as f64 / 12.0)));
    hold(readings, 300_000, WINDOW)
}

fn rule(method: Method, base: f64, upper: f64) -> Rule {
    let celsius = |value| Celsius::try_new(value).unwrap();
    Rule::try_new(method, celsius(base), Some(celsius(upper)), Cutoff::Horizontal).unwrap()
}

#[test]
fn the_figures_of_a_known_day_are_those_worked_out_elsewhere() {
    // Worked out by independent code for the same curve at five-minute steps; degree days to 0.01, hours to
    // one step.
    for (low, high, base, upper, mean, integral, hours, degree_hours) in [
        (16.0, 36.0, 10.0, 30.0, 24.29, 13.34, 4.75, 11.8),
        (16.0, 36.0, 10.0, 35.0, 24.29, 14.23, 4.75, 11.8),
        (18.0, 42.0, 10.0, 30.0, 27.94, 15.26, 8.0, 47.2),
        (18.0, 42.0, 15.5, 32.0, 27.94, 10.48, 8.0, 47.2),
        (12.0, 30.0, 10.0, 30.0, 19.46, 9.46, 0.0, 0.0),
        (12.0, 30.0, 15.5, 32.0, 19.46, 4.74, 0.0, 0.0),
    ] {
        let day = || known_day(low, high);
        let hour = MS_PER_HOUR as f64;
        let near = |got: f64, expected: f64, tolerance: f64| {
            assert!(
                (got - expected).abs() <= tolerance,
                "{low}..{high} {base}/{upper}: {got}, not {expected}"
            );
        };
        near(time_weighted_mean(day()).unwrap(), mean, 0.006);
        let rule = rule(Method::Integral, base, upper);
        near(by_readings(&rule, day()).unwrap(), integral, 0.006);
        near(ms_above(day(), 32.0) as f64 / hour, hours, 1.0 / 12.0);
        let straight = day().map(|held| Slope {
            start_ms: held.start_ms,
            end_ms: held.end_ms,
            from: held.value,
            to: held.value,
        });
        let above = above(straight, Celsius::try_new(32.0).unwrap());
        near(above.degree_hours.get(), degree_hours, 0.06);
    }
}

#[test]
fn on_a_hot_day_the_daily_methods_stray_from_the_readings_as_the_literature_says() {
    let of = |method| {
        let (low, high) = (Celsius::try_new(18.0).unwrap(), Celsius::try_new(42.0).unwrap());
        daily(&rule(method, 10.0, 30.0), low, high, None).unwrap().degree_days
    };
    // The same independent code: 14.0, 16.18 and 20.0 beside an integral of 15.26.
    assert!((of(Method::ExtremesClipped) - 14.0).abs() < 1e-9);
    assert!((of(Method::SingleSine) - 16.18).abs() < 0.006);
    assert!((of(Method::MeanCapped) - 20.0).abs() < 1e-9);
}

proptest! {
    #[test]
    fn segments_are_in_order_inside_the_window_and_no_longer_than_two_intervals(readings in readings()) {
        let held = segments(&readings);
        for step in &held {
            prop_assert!(step.start_ms >= WINDOW.start && step.end_ms <= WINDOW.end);
            prop_assert!(step.ms() > 0 && step.ms() <= 2 * INTERVAL_MS);
        }
        for pair in held.windows(2) {
            prop_assert!(pair[0].end_ms <= pair[1].start_ms);
        }
    }

    #[test]
    fn at_every_moment_the_value_is_the_one_the_rule_names(readings in readings(), moment in WINDOW) {
        let held = segments(&readings);
        let found = held.iter().find(|step| step.start_ms <= moment && moment < step.end_ms);
        prop_assert_eq!(found.map(|step| step.value), worded(&readings, moment));
    }

    #[test]
    fn a_window_cut_in_two_holds_the_same_time_and_warmth(readings in readings(), cut in WINDOW) {
        let over = |window| hold(readings.iter().copied(), INTERVAL_MS, window);
        let parts = || over(WINDOW.start..cut).chain(over(cut..WINDOW.end));
        prop_assert_eq!(held_ms(parts()), held_ms(over(WINDOW)));
        prop_assert_eq!(ms_above(parts(), 30.0), ms_above(over(WINDOW), 30.0));
        let mean = (time_weighted_mean(parts()), time_weighted_mean(over(WINDOW)));
        prop_assert!(matches!(mean, (None, None)) || (mean.0.unwrap() - mean.1.unwrap()).abs() < 1e-9);
    }

    #[test]
    fn a_mean_lies_within_the_readings_and_degree_days_within_the_thresholds(readings in readings()) {
        let held = segments(&readings);
        if let Some(mean) = time_weighted_mean(held.iter().copied()) {
            prop_assert!((-10.0..45.0).contains(&mean));
            for method in [Method::Integral, Method::IntegralPeak] {
                let rule = rule(method, 10.0, 30.0);
                let day = by_readings(&rule, held.iter().copied()).unwrap();
                prop_assert!((0.0..=20.0).contains(&day));
            }
        }
    }

    #[test]
    fn a_series_together_with_itself_is_itself(readings in readings()) {
        let held = segments(&readings);
        let both: Vec<_> = together(held.iter().copied(), held.iter().copied(), |a, _| a).collect();
        prop_assert_eq!(both, held);
    }
}
