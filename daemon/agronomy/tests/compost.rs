//! Compost heat against sequences worked by hand from the published rule.
//!
//! The rule: US National Organic Program, 7 CFR 205.203(c)(2), as quoted by two bodies: 131 to 170 °F (55 to 77 °C)
//! for 3 days in a vessel or a static aerated pile, or for 15 days in a windrow turned at least five times. Advice on
//! turning: common practice.

use agronomy::compost::words::DUST_CAUTION;
use agronomy::compost::{HeapAdvice, HeapCount, HeapDay, HeapRule, HeapWatch, Phase, coldest_at_or_above};
use agronomy::series::{Held, MS_PER_DAY, MS_PER_HOUR};
use agronomy::units::Celsius;
use proptest::prelude::*;

fn celsius(value: f64) -> Celsius {
    Celsius::try_new(value).unwrap()
}

fn rule() -> HeapRule {
    HeapRule { from: celsius(55.0), to: celsius(77.0), vessel_days: 3, windrow_days: 15, windrow_turns: 5 }
}

fn day(coldest: f64, hottest: f64, turned: bool) -> HeapDay {
    HeapDay { coldest: celsius(coldest), hottest: celsius(hottest), turned }
}

/// `h` hot, `t` hot and turned, `c` cooler than 55 °C, `T` cooler and turned, `x` above 77 °C, `?` not known.
fn days(letters: &str) -> impl Iterator<Item = Option<HeapDay>> {
    letters.chars().map(|letter| match letter {
        'h' => Some(day(55.0, 62.0, false)),
        't' => Some(day(55.0, 62.0, true)),
        'c' => Some(day(54.9, 60.0, false)),
        'T' => Some(day(40.0, 60.0, true)),
        'x' => Some(day(60.0, 77.1, false)),
        _ => None,
    })
}

fn counted(letters: &str) -> HeapCount {
    let mut count = HeapCount::new(rule());
    days(letters).for_each(|day| count.step(day));
    count
}

#[test]
fn three_hot_days_in_a_row_meet_the_rule_for_a_vessel() {
    for (letters, met) in
        [("hh", false), ("hhh", true), ("hhchh", false), ("hhx", false), ("hh?h", false), ("chhh", true)]
    {
        assert_eq!(counted(letters).vessel_met(), met, "{letters}");
    }
    assert!(counted("hhhccc").vessel_met(), "a rule once met stays met");
    assert_eq!(counted("hhhccc").vessel_days(), 0);
}

#[test]
fn fifteen_hot_days_with_five_turns_meet_the_rule_for_a_windrow() {
    // Worked by hand: letters of `days`; (days, turns, met).
    for (letters, expected) in [
        ("hhhhhhhhhhhhhhh", (15, 0, false)),
        // Five turns, each cool on its day and hot on the next: 15 hot days in all.
        ("hhhThhThhThhThhThhhh", (15, 5, true)),
        ("hhhThhThhThhThhThhh", (14, 5, false)),
        // The fifth turn has had no hot day after it.
        ("hhhhhThhThhThhhhhhT", (15, 3, false)),
        ("hhhThhhThhhThhhThhhT", (15, 4, false)),
        ("hhhThhhThhhThhhThhhTh", (16, 5, true)),
        // Two turns with no hot day between them are one.
        ("hhTTh", (3, 1, false)),
        // A heap that stays hot while it is turned loses no day.
        ("hhhthhthhthhthhth", (17, 5, true)),
        // Three days to come back are borne, a fourth is not.
        ("hhhTccch", (4, 1, false)),
        ("hhhTcccch", (1, 0, false)),
        // A cool day without a turn, a day too hot and one not known begin it anew.
        ("hhhchh", (2, 0, false)),
        ("hhhxhh", (2, 0, false)),
        ("hhh?hh", (2, 0, false)),
        // Turned before it was ever hot: nothing to bring out yet.
        ("Thhh", (3, 0, false)),
    ] {
        let count = counted(letters);
        assert_eq!((count.windrow_days(), count.turns(), count.windrow_met()), expected, "{letters}");
    }
}

#[test]
fn the_edges_of_the_rule_count_and_a_tenth_beyond_does_not() {
    for (coldest, hottest, counts) in
        [(55.0, 77.0, true), (54.9, 77.0, false), (55.0, 77.1, false), (77.0, 77.0, true)]
    {
        let mut count = HeapCount::new(rule());
        count.step(Some(day(coldest, hottest, false)));
        assert_eq!(count.vessel_days(), u32::from(counts), "{coldest} to {hottest}");
    }
}

fn held(stretches: &[(i64, i64, f64)]) -> Vec<Held> {
    let held = |&(from, to, value): &(i64, i64, f64)| Held {
        start_ms: from * MS_PER_HOUR,
        end_ms: to * MS_PER_HOUR,
        value,
    };
    stretches.iter().map(held).collect()
}

const DAY: std::ops::Range<i64> = 0..MS_PER_DAY;

#[test]
fn time_at_heat_goes_by_the_coldest_probe() {
    // By hand: the core is hot all day; the edge from 6 to 20 h, silent from 10 to 11 h: 13 hours.
    let core = held(&[(0, 24, 66.0)]);
    let edge = held(&[(0, 6, 48.0), (6, 10, 55.0), (11, 20, 56.0), (20, 24, 54.9)]);
    assert_eq!(coldest_at_or_above(&[&core, &edge], celsius(55.0), &DAY).get(), 13.0);
    assert_eq!(coldest_at_or_above(&[&core], celsius(55.0), &DAY).get(), 24.0);
    assert_eq!(coldest_at_or_above(&[&core, &[]], celsius(55.0), &DAY).get(), 0.0);
    assert_eq!(coldest_at_or_above(&[], celsius(55.0), &DAY).get(), 0.0);
}

#[test]
fn a_day_is_known_only_where_every_probe_was_heard_for_18_hours() {
    let core = held(&[(0, 24, 66.0)]);
    let edge = |until: i64| held(&[(0, until, 48.0)]);
    let known = HeapDay::of(&[&core, &edge(18)], &DAY, true);
    assert_eq!(known, Some(day(48.0, 66.0, true)));
    assert_eq!(HeapDay::of(&[&core, &edge(17)], &DAY, true), None);
    assert_eq!(HeapDay::of(&[], &DAY, false), None);
}

#[test]
fn a_heap_that_falls_more_than_five_degrees_is_turned_and_the_watch_begins_anew() {
    // Common practice, by hand: the day's hottest, and what the heap asks for.
    let mut watch = HeapWatch::default();
    for (hottest, turned, expected) in [
        (30.0, false, HeapAdvice::Leave),
        (62.0, false, HeapAdvice::Leave),
        (57.0, false, HeapAdvice::Leave),
        (56.9, false, HeapAdvice::TurnCooled),
        (45.0, true, HeapAdvice::Leave),
        (58.0, false, HeapAdvice::Leave),
        (66.0, false, HeapAdvice::TurnTooHot),
        (77.5, false, HeapAdvice::OutsideRule),
        (80.5, false, HeapAdvice::Inspect),
        (39.0, false, HeapAdvice::Leave),
    ] {
        assert_eq!(watch.step(Some(day(20.0, hottest, turned))), expected, "{hottest}");
    }
}

#[test]
fn a_heap_that_does_not_rise_for_four_days_is_looked_at() {
    let mut watch = HeapWatch::default();
    let said: Vec<_> = [32.0, 31.0, 31.0, 32.0, 30.0].map(|t| watch.step(Some(day(20.0, t, false)))).into();
    assert_eq!(said[..4], [HeapAdvice::Leave; 4]);
    assert_eq!(said[4], HeapAdvice::Stalled);
    assert_eq!(watch.step(None), HeapAdvice::Leave);
}

#[test]
fn phases_stand_at_20_45_and_65_degrees() {
    for (t, phase) in [
        (19.9, Phase::Cold),
        (20.0, Phase::Warm),
        (44.9, Phase::Warm),
        (45.0, Phase::Hot),
        (65.0, Phase::Hot),
        (65.1, Phase::TooHot),
    ] {
        assert_eq!(Phase::at(celsius(t)), phase, "{t}");
    }
}

#[test]
fn an_unmet_rule_is_said_plainly_and_the_dust_caution_names_mask_house_and_doctor() {
    assert_eq!(
        counted("hhThh").to_string(),
        "Not hygienic by the rule so far: 2 of 3 days in a row from 55 to 77 °C in a vessel, 4 of 15 in a windrow \
         with 1 of 5 turns, by the coldest probe."
    );
    assert!(counted("hhh").to_string().starts_with("The rule in a vessel or an aerated pile is met"));
    for wanted in ["Damp it first", "upwind", "P2 or N95", "closed house", "doctor", "Local rules"] {
        assert!(DUST_CAUTION.contains(wanted), "{wanted}");
    }
}

proptest! {
    #[test]
    fn whatever_a_probe_says_the_time_at_heat_lies_within_the_day(
        values in prop::collection::vec((any::<i64>(), any::<i64>(), any::<f64>()), 0..8), line in -90.0..=100.0_f64
    ) {
        let odd: Vec<_> =
            values.iter().map(|&(start_ms, end_ms, value)| Held { start_ms, end_ms, value }).collect();
        // A short day, since values out of order are stepped through.
        let day = 0..1_000;
        prop_assert!(coldest_at_or_above(&[&odd], celsius(line), &day).get() <= 24.0);
        let _ = HeapDay::of(&[&odd], &day, false);
    }

    #[test]
    fn more_heat_in_every_probe_never_shortens_the_time(
        temperatures in prop::collection::vec((30.0..80.0_f64, 0.0..9.0_f64), 24)
    ) {
        let series = |add: bool| -> Vec<Held> {
            let hour = |(hour, (t, more)): (usize, &(f64, f64))| (hour as i64, hour as i64 + 1, t + if add { *more } else { 0.0 });
            held(&temperatures.iter().enumerate().map(hour).collect::<Vec<_>>())
        };
        let time = |probe: &[Held]| coldest_at_or_above(&[probe], celsius(55.0), &DAY).get();
        prop_assert!(time(&series(false)) <= time(&series(true)));
    }

    #[test]
    fn a_hot_day_never_lowers_a_count(letters in "[htcTx?]{0,40}") {
        let before = counted(&letters);
        let after = counted(&format!("{letters}h"));
        prop_assert!(after.vessel_days() == before.vessel_days() + 1);
        prop_assert!(after.windrow_days() >= before.windrow_days() && after.turns() >= before.turns());
    }
}
