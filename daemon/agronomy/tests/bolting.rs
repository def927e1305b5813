//! Cold that makes a crop bolt, counted over lives worked by hand.

use std::collections::BTreeMap;

use agronomy::bolting::{ColdWindow, CoolRun, Size, Turned, Vernalisation};
use agronomy::crop::{Cold, Figure};
use agronomy::series::{Held, MS_PER_HOUR};
use agronomy::units::Celsius;
use proptest::prelude::*;

fn celsius(value: f64) -> Celsius {
    Celsius::try_new(value).unwrap()
}

/// Cabbage: 4 to 10 °C (from memory; six weeks and more on large plants: Michigan State University Extension).
fn cabbage() -> Vernalisation {
    Vernalisation::new(ColdWindow::try_new(celsius(4.0), celsius(10.0), celsius(20.0)).unwrap())
}

fn held(hours: i64, value: f64) -> Held {
    Held { start_ms: 0, end_ms: hours * MS_PER_HOUR, value }
}

#[test]
fn six_weeks_in_the_window_turn_a_grown_cabbage_and_both_ends_count() {
    let mut cold = cabbage();
    for week in 0..6 {
        assert_eq!(cold.against(6.0, 6.0), Turned::No, "week {week}");
        for t in [4.0, 10.0, 7.0, 4.0, 10.0, 7.0, 8.0] {
            cold.take(held(24, t), Size::Grown);
        }
    }
    assert_eq!(cold.weeks(), 6.0);
    assert_eq!(cold.against(6.0, 6.0), Turned::Yes);
    assert_eq!(cold.against(6.0, 8.0), Turned::Some);
    assert_eq!(cold.against(8.0, 6.0), Turned::No);
}

#[test]
fn frost_mild_days_and_a_juvenile_plant_count_nothing() {
    let mut cold = cabbage();
    for t in [3.9, -5.0, 10.1, 20.0] {
        cold.take(held(24, t), Size::Grown);
    }
    cold.take(held(1000, 7.0), Size::Juvenile);
    assert_eq!(cold.weeks(), 0.0);
}

#[test]
fn a_warm_hour_undoes_a_cold_one_and_no_more_than_there_is() {
    let mut cold = cabbage();
    cold.take(held(168, 7.0), Size::Grown);
    cold.take(held(42, 26.0), Size::Grown);
    assert_eq!(cold.weeks(), 0.75);
    cold.take(held(1000, 26.0), Size::Grown);
    assert_eq!(cold.weeks(), 0.0);
}

#[test]
fn a_window_that_does_not_ascend_is_refused_in_words() {
    let refused = ColdWindow::try_new(celsius(10.0), celsius(4.0), celsius(20.0)).unwrap_err();
    assert!(refused.to_string().contains("from 10 °C to 4 °C"), "{refused}");
    assert!(ColdWindow::try_new(celsius(4.0), celsius(10.0), celsius(9.0)).is_err());
    assert!(ColdWindow::try_new(celsius(4.0), celsius(4.0), celsius(9.0)).is_err());
}

#[test]
fn a_week_of_cool_days_turns_napa_and_a_day_nobody_measured_does_not_end_it() {
    // About a week of means below 13 °C (from memory; raising at 18 °C and more: Wurr et al. 1996).
    let mut run = CoolRun::new(celsius(13.0));
    for mean in [12.0, 11.0, 12.9] {
        run.take_day(Some(celsius(mean)));
    }
    run.take_day(None);
    assert_eq!(run.days(), 3);
    run.take_day(Some(celsius(13.0)));
    assert_eq!((run.days(), run.longest()), (0, 3));
    for _ in 0..7 {
        run.take_day(Some(celsius(9.0)));
    }
    run.take_day(Some(celsius(25.0)));
    assert_eq!((run.days(), run.longest()), (0, 7));
}

/// What the book may say of a crop's cold, with one figure under a name of its own.
fn cold(name: &str, lo: f64, hi: f64) -> Cold {
    let figure = |lo, hi| Figure { lo, hi, sources: vec!["memory".to_owned()], note: None };
    Cold {
        chilling: None,
        frost_damage: figure(-3.0, -3.0),
        lethal: figure(-6.0, -6.0),
        other: BTreeMap::from([(name.to_owned(), figure(lo, hi))]),
    }
}

#[test]
fn window_and_line_are_read_from_the_book() {
    let window = |low, high| ColdWindow::try_new(celsius(low), celsius(high), celsius(20.0)).ok();
    assert_eq!(ColdWindow::of(&cold("bolt_vernalise_c", 4.0, 10.0)), window(4.0, 10.0));
    assert_eq!(ColdWindow::of(&cold("vernalise_c", 0.0, 10.0)), window(0.0, 10.0));
    assert_eq!(ColdWindow::of(&cold("bolt_vernalise_c", 10.0, 4.0)), None);
    assert_eq!(ColdWindow::of(&cold("blossom_kill_c", 0.0, 10.0)), None);
    assert_eq!(CoolRun::of(&cold("bolt_mean_below_c", 13.0, 13.0)), Some(CoolRun::new(celsius(13.0))));
    assert_eq!(CoolRun::of(&cold("vernalise_c", 0.0, 10.0)), None);
}

#[test]
fn what_is_no_number_counts_nothing() {
    let mut cold = cabbage();
    cold.take(held(168, 7.0), Size::Grown);
    for value in [f64::NAN, f64::NEG_INFINITY] {
        cold.take(held(24, value), Size::Grown);
    }
    cold.take(Held { start_ms: 10, end_ms: 0, value: 7.0 }, Size::Grown);
    assert_eq!(cold.weeks(), 1.0);
    assert_eq!(cold.against(f64::NAN, f64::NAN), Turned::No);
}

proptest! {
    #[test]
    fn cold_is_never_less_than_none_nor_more_than_the_time_there_was(
        hours in prop::collection::vec(any::<f64>(), 0..400),
    ) {
        let mut cold = cabbage();
        for value in &hours {
            cold.take(held(1, *value), Size::Grown);
            prop_assert!(cold.weeks() >= 0.0 && cold.weeks() * 168.0 <= hours.len() as f64 + 1e-9);
        }
    }
}
