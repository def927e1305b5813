//! Heat rules over days and runs of days. The rules are the crop book's, with the trials they rest on.

use agronomy::crop::{Certainty, HeatRule, Measure, Severity, Stage, Stages};
use agronomy::heat_stress::course::Slope;
use agronomy::heat_stress::{Curve, Day, DayAtLine, judge, met};
use agronomy::series::MS_PER_HOUR;
use agronomy::units::Celsius;
use proptest::prelude::*;

fn rule(measure: Measure, threshold: f64) -> HeatRule {
    HeatRule {
        id: "a_rule".to_owned(),
        stages: vec![Stage::Flowering],
        measure,
        threshold,
        night_threshold: None,
        min_hours_per_day: None,
        consecutive_days: None,
        severity: Severity::Severe,
        effect: String::new(),
        sources: Vec::new(),
    }
}

/// Hours at one temperature each, from midnight.
fn hours(values: &[(i64, f64)]) -> Vec<Slope> {
    let mut start_ms = 0;
    values
        .iter()
        .map(|&(count, value)| {
            let end_ms = start_ms + count * MS_PER_HOUR;
            let slope = Slope { start_ms, end_ms, from: value, to: value };
            start_ms = end_ms;
            slope
        })
        .collect()
}

fn by_hand(low: f64, high: f64) -> Curve<'static> {
    let [low, high] = [low, high].map(|value| Celsius::try_new(value).unwrap());
    Curve::Extremes { low, high }
}

fn day(low: f64, high: f64) -> Day<'static> {
    let read = by_hand(low, high);
    Day { air: read, night: read, night_ms: 9 * MS_PER_HOUR, ..Day::default() }
}

#[test]
fn three_hours_at_40_on_two_days_running_can_fail_a_tomatos_set() {
    // Purdue Vegetable Crops Hotline: three or more hours at 40 °C on two successive days.
    let mut acute = rule(Measure::HoursAboveC, 40.0);
    (acute.min_hours_per_day, acute.consecutive_days) = (Some(3.0), Some(2));
    let (hot, short) =
        (hours(&[(11, 24.0), (3, 40.0), (10, 24.0)]), hours(&[(12, 24.0), (2, 40.0), (10, 24.0)]));
    let hot = Day { air: Curve::Read(&hot), ..Day::default() };
    let (short, cool) = (Day { air: Curve::Read(&short), ..Day::default() }, day(15.0, 30.0));
    assert_eq!(met(&acute, None, &short), DayAtLine::Near);
    assert!(!judge(&acute, &[hot]).speaks);
    assert!(judge(&acute, &[hot, hot]).speaks);
    assert!(!judge(&acute, &[hot, cool, hot]).speaks);
    // A near day holds the count, and adds nothing to it.
    assert!(judge(&acute, &[hot, short, hot]).speaks);
    assert_eq!(judge(&acute, &[hot, hot, short]).run.days(), 2);
    assert!(!judge(&acute, &[hot, hot, short]).speaks);
}

#[test]
fn a_mild_day_with_a_warm_night_is_caught_by_its_mean_alone() {
    // Peet, Willits & Gardner (1997) as summarised in HortScience 32(3): set falls from 25 to 29 °C daily mean.
    let mut mean = rule(Measure::DailyMeanC, 26.0);
    mean.consecutive_days = Some(3);
    let (day_rule, warm) = (rule(Measure::DayMaxC, 32.0), day(23.0, 30.0));
    assert_eq!((met(&day_rule, None, &warm), met(&mean, None, &warm)), (DayAtLine::Missed, DayAtLine::Met));
    assert!(judge(&mean, &[warm; 3]).speaks && !judge(&mean, &[warm; 2]).speaks);
    let near = day(21.0, 30.0);
    assert_eq!(met(&mean, None, &near), DayAtLine::Near);
    let half = hours(&[(12, 30.0)]);
    let half = Day { air: Curve::Read(&half), ..Day::default() };
    assert_eq!(met(&mean, None, &half), DayAtLine::Unknown);
}

#[test]
fn a_hot_day_is_paired_with_the_night_that_follows_it() {
    // Sato, Peet & Thomas (2000), Plant, Cell and Environment 23: 32 °C days with 26 °C nights.
    let mut chronic = rule(Measure::DayMaxAndNightMinC, 32.0);
    chronic.night_threshold = Some(26.0);
    // The day's low belongs to the night that ended that morning.
    let (hot, warm_night) = (day(18.0, 33.0), day(26.0, 30.0));
    assert_eq!(met(&chronic, Some(&hot), &warm_night), DayAtLine::Met);
    assert_eq!(met(&chronic, Some(&warm_night), &hot), DayAtLine::Missed);
    assert_eq!(met(&chronic, None, &warm_night), DayAtLine::Unknown);
    assert!(judge(&chronic, &[hot, warm_night]).speaks);
    chronic.night_threshold = None;
    assert_eq!(met(&chronic, Some(&hot), &warm_night), DayAtLine::Unknown);
}

#[test]
fn of_a_night_half_heard_one_cool_reading_says_no_and_warm_ones_say_nothing() {
    let warm = rule(Measure::NightMinC, 21.0);
    let cold = rule(Measure::NightMinBelowC, 15.5);
    let two_hours = |value| hours(&[(2, value)]);
    let of = |rule: &HeatRule, slopes: &[Slope]| {
        met(rule, None, &Day { night: Curve::Read(slopes), night_ms: 9 * MS_PER_HOUR, ..Day::default() })
    };
    assert_eq!(of(&warm, &two_hours(19.0)), DayAtLine::Missed);
    assert_eq!(of(&warm, &two_hours(22.0)), DayAtLine::Unknown);
    assert_eq!(of(&warm, &hours(&[(6, 22.0)])), DayAtLine::Met);
    assert_eq!(of(&cold, &two_hours(15.4)), DayAtLine::Met);
    assert_eq!(of(&cold, &two_hours(18.0)), DayAtLine::Unknown);
    assert_eq!(of(&cold, &hours(&[(6, 18.0)])), DayAtLine::Missed);
    assert_eq!(of(&cold, &hours(&[(6, 16.5)])), DayAtLine::Near);
    assert_eq!(of(&cold, &hours(&[(6, 15.5)])), DayAtLine::Near);
}

#[test]
fn missing_days_hold_the_count_and_a_clear_miss_ends_it() {
    let mut hot = rule(Measure::DayMaxC, 35.0);
    hot.consecutive_days = Some(3);
    let (over, near, under, missing) = (day(20.0, 36.0), day(20.0, 34.0), day(20.0, 33.9), Day::default());
    assert!(judge(&hot, &[over, over, missing, near, over]).speaks);
    assert!(!judge(&hot, &[over, over, under, over]).speaks);
    assert_eq!(judge(&hot, &[]).last, DayAtLine::Unknown);
    assert_eq!(judge(&hot, &[over, missing]).run.days(), 1);
}

#[test]
fn each_soil_measure_looks_at_its_own_probe() {
    let probe = by_hand(18.0, 30.0);
    let places = [
        (Measure::SoilMaxC, Day { soil: probe, ..Day::default() }),
        (Measure::Soil10cmC, Day { soil_10cm: probe, ..Day::default() }),
        (Measure::SoilSurfaceC, Day { surface: probe, ..Day::default() }),
    ];
    for (measure, _) in &places {
        for (at, day) in &places {
            let expected = if at == measure { DayAtLine::Met } else { DayAtLine::Unknown };
            assert_eq!(met(&rule(*measure, 27.0), None, day), expected, "{measure:?} {at:?}");
        }
    }
    // Bare soil at 45 °C for an hour scalds seedlings at the neck (from memory): half an hour does not.
    let mut surface = rule(Measure::SoilSurfaceC, 45.0);
    surface.min_hours_per_day = Some(1.0);
    let scald = hours(&[(12, 30.0), (1, 46.0), (11, 30.0)]);
    assert_eq!(met(&surface, None, &Day { surface: Curve::Read(&scald), ..Day::default() }), DayAtLine::Met);
}

#[test]
fn a_rule_runs_certainly_in_a_noted_stage_possibly_in_an_open_one_and_not_elsewhere() {
    let flowers = rule(Measure::DayMaxC, 35.0);
    let mut stages = Stages::certain([Stage::Ripening]);
    assert_eq!(stages.certainty(&flowers), None);
    stages.possible.insert(Stage::Flowering);
    assert_eq!(stages.certainty(&flowers), Some(Certainty::Possible));
    stages.active.insert(Stage::Flowering);
    assert_eq!(stages.certainty(&flowers), Some(Certainty::Certain));
    let mut always = flowers;
    always.stages = vec![Stage::Any];
    assert_eq!(Stages::default().certainty(&always), Some(Certainty::Certain));
}

fn any_measure() -> impl Strategy<Value = Measure> {
    proptest::sample::select(Measure::ALL.to_vec())
}

proptest! {
    #[test]
    fn a_hotter_day_never_turns_a_met_heat_rule_into_a_miss(
        measure in any_measure(), threshold in 10.0..45.0, low in 5.0..30.0, swing in 0.0..20.0, hotter in 0.0..5.0,
    ) {
        prop_assume!(measure != Measure::NightMinBelowC);
        let mut rule = rule(measure, threshold);
        (rule.night_threshold, rule.min_hours_per_day) = (Some(threshold - 8.0), Some(2.0));
        let at = |low, high| {
            let probe = by_hand(low, high);
            Day { soil: probe, soil_10cm: probe, surface: probe, ..day(low, high) }
        };
        let (one, other) = (at(low, low + swing), at(low + hotter, low + swing + hotter));
        let rank = |met: DayAtLine| [DayAtLine::Missed, DayAtLine::Near, DayAtLine::Met].iter().position(|it| *it == met);
        let (before, after) = (met(&rule, Some(&one), &one), met(&rule, Some(&other), &other));
        prop_assert!(rank(before).is_some() && rank(after) >= rank(before), "{before:?} {after:?}");
    }

    #[test]
    fn any_threshold_and_any_course_give_an_answer(
        measure in any_measure(), threshold in any::<f64>(), night in any::<f64>(), least in any::<f64>(),
        from in any::<f64>(), to in any::<f64>(), start in any::<i64>(), end in any::<i64>(), night_ms in any::<i64>(),
    ) {
        let mut rule = rule(measure, threshold);
        (rule.night_threshold, rule.min_hours_per_day) = (Some(night), Some(least));
        let slopes = [Slope { start_ms: start, end_ms: end, from, to }];
        let read = Curve::Read(&slopes);
        let day = Day { air: read, night: read, night_ms, soil: read, soil_10cm: read, surface: read };
        let verdict = judge(&rule, &[day, day]);
        prop_assert!(verdict.run.days() <= 2);
        if threshold.is_nan() {
            prop_assert!(!verdict.speaks);
        }
    }
}
