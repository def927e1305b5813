//! The gap rule over readings of any kind.

use agronomy::series::{Held, held_ms, hold, integral_degree_days, ms_above, time_weighted_mean, together};
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
            let day = integral_degree_days(held.iter().copied(), 10.0, Some(30.0)).unwrap();
            prop_assert!((0.0..=20.0).contains(&day));
        }
    }

    #[test]
    fn a_series_together_with_itself_is_itself(readings in readings()) {
        let held = segments(&readings);
        let both: Vec<_> = together(held.iter().copied(), held.iter().copied(), |a, _| a).collect();
        prop_assert_eq!(both, held);
    }
}
