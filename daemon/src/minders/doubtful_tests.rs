//! Three hours of readings, sound and not.

use super::super::word::Says;
use super::*;

const MINUTE: i64 = 60_000;
const HOUR: i64 = MS_PER_HOUR;
const NOW: i64 = 1_000 * HOUR;

/// A reading every ten minutes over so many hours up to now, the oldest first.
fn every_ten_minutes(hours: i64, of: impl Fn(i64) -> (f64, Reason)) -> Vec<Taken> {
    let count = hours * 6;
    (0..count)
        .map(|index| {
            let (value, reason) = of(index);
            (NOW - (count - 1 - index) * 10 * MINUTE, value, reason)
        })
        .collect()
}

/// A probe of air of a house at noon, of which nothing is known.
fn ridge() -> ProbeSays<'static> {
    ProbeSays {
        now_ms: NOW,
        probe: "ridge",
        place_name: "Long House",
        usual_interval_ms: 10 * MINUTE,
        hour: 12.0,
        sunrise_h: 6.0,
        covered: true,
        placed_ms: i64::MIN,
        ..ProbeSays::default()
    }
}

fn said(quantity: Quantity, taken: &[Taken], air_swing_c: Option<f64>) -> Says {
    let now = ProbeSays {
        series: vec![SeriesNow { quantity, taken }],
        air_swing_c,
        neighbours: Vec::new(),
        ..ridge()
    };
    judge(&now).says
}

fn text(says: Says) -> String {
    match says {
        Says::Word(word) => {
            assert_eq!((word.severity, word.push), (Severity::Minor, false));
            word.text
        }
        other => panic!("{other:?}"),
    }
}

fn is_clear(says: &Says) -> bool {
    matches!(says, Says::Clear { .. })
}

#[test]
fn half_of_three_hours_is_told_with_its_reason_and_less_is_not() {
    let moving = |index: i64| 20.0 + index as f64 / 10.0;
    let half = every_ten_minutes(6, |index| {
        (moving(index), if index % 2 == 0 { Reason::OutOfRange } else { Reason::None })
    });
    let told = text(said(Quantity::AirTemperature, &half, None));
    assert!(told.contains("50 %") && told.contains("outside what it can be"), "{told}");
    assert!(told.contains("heat, frost and degree days go without it"), "{told}");
    let third = every_ten_minutes(6, |index| {
        (moving(index), if index % 3 == 0 { Reason::OutOfRange } else { Reason::None })
    });
    assert_eq!(
        said(Quantity::AirTemperature, &third, None),
        Says::Unknown,
        "neither bad enough nor sound again"
    );
}

#[test]
fn two_hours_of_it_are_not_told_yet() {
    let two = every_ten_minutes(2, |_| (0.0, Reason::Missing));
    assert_eq!(said(Quantity::AirTemperature, &two, None), Says::Unknown);
}

#[test]
fn an_hour_of_sound_readings_clears_it() {
    let moving = |index: i64| 20.0 + index as f64 / 10.0;
    let mended = every_ten_minutes(5, |index| {
        (moving(index), if index < 20 { Reason::InstrumentRestarted } else { Reason::None })
    });
    assert!(is_clear(&said(Quantity::AirTemperature, &mended, None)));
}

#[test]
fn v2_air_that_stands_still_to_the_last_digit_for_three_hours_is_stuck() {
    // FAULTS V2: "exactly the same value for hours".
    let still = every_ten_minutes(4, |_| (21.37, Reason::None));
    assert!(text(said(Quantity::AirTemperature, &still, None)).contains("unchanged for 3 h"));
    assert!(text(said(Quantity::RelativeHumidity, &still, None)).contains("do not trust deficit"));
    let breathing =
        every_ten_minutes(4, |index| (21.37 + if index == 20 { 0.01 } else { 0.0 }, Reason::None));
    assert!(is_clear(&said(Quantity::AirTemperature, &breathing, None)));
    // Soil at depth, and saturated air, may stand still by themselves.
    assert!(is_clear(&said(Quantity::SoilTemperature, &still, None)));
    let saturated = every_ten_minutes(4, |_| (98.0, Reason::Saturated));
    assert!(is_clear(&said(Quantity::RelativeHumidity, &saturated, None)));
}

#[test]
fn v1_half_a_day_of_saturation_is_a_wet_film_only_while_the_air_swings() {
    // FAULTS V1: "wet film over 12 h with the air swinging over 5 °C: doubtful; temperature stays sound".
    let wet = every_ten_minutes(13, |index| (99.5 + (index % 2) as f64 / 10.0, Reason::Saturated));
    let told = text(said(Quantity::RelativeHumidity, &wet, Some(5.1)));
    assert!(told.contains("wet film") && told.contains("temperature stays sound"), "{told}");
    assert!(is_clear(&said(Quantity::RelativeHumidity, &wet, Some(5.0))), "a foggy day");
    let short = every_ten_minutes(11, |index| (99.5 + (index % 2) as f64 / 10.0, Reason::Saturated));
    assert!(is_clear(&said(Quantity::RelativeHumidity, &short, Some(8.0))));
}

#[test]
fn a_silent_probe_is_neither_doubtful_nor_sound() {
    let mut old = every_ten_minutes(5, |_| (0.0, Reason::Missing));
    old.truncate(24);
    assert_eq!(said(Quantity::AirTemperature, &old, None), Says::Unknown);
    assert_eq!(said(Quantity::AirTemperature, &[], None), Says::Unknown);
}

/// What a probe of air says, with what the probe beside it (or outside) said, at an hour of the day.
fn beside(own: &[Taken], other: &[Taken], outside: bool, hour: f64, names: [&str; 2]) -> Says {
    let now = ProbeSays {
        probe: names[0],
        series: vec![SeriesNow { quantity: Quantity::AirTemperature, taken: own }],
        hour,
        neighbours: vec![Neighbour { probe: names[1], outside, taken: other }],
        ..ridge()
    };
    judge(&now).says
}

/// A wavering course about a middle, so that nothing is stuck.
fn wavering(middle_c: f64) -> Vec<Taken> {
    every_ten_minutes(6, |index| (middle_c + (index % 3) as f64 / 10.0, Reason::None))
}

#[test]
fn v3_a_leap_is_told_and_a_real_fall_of_8_degrees_in_an_hour_is_not() {
    let leapt = every_ten_minutes(6, |index| (if index == 30 { 45.0 } else { 21.0 }, Reason::None));
    let told = text(said(Quantity::AirTemperature, &leapt, None));
    assert!(told.contains("leapt by 24 °C"), "{told}");
    let long_ago = every_ten_minutes(6, |index| {
        (if index == 12 { 45.0 } else { 21.0 + (index % 3) as f64 / 10.0 }, Reason::None)
    });
    assert!(is_clear(&said(Quantity::AirTemperature, &long_ago, None)), "three hours after it");
    // The largest real fall of the open tunnel record: 7.9 °C within an hour.
    let fell =
        every_ten_minutes(6, |index| (30.0 - 7.9 * (index - 29).clamp(0, 6) as f64 / 6.0, Reason::None));
    assert!(!matches!(said(Quantity::AirTemperature, &fell, None), Says::Word(_)));
}

#[test]
fn v3_two_probes_of_one_place_that_part_are_told_once_and_naming_both() {
    let (low, high) = (wavering(18.0), wavering(22.0));
    let told = text(beside(&high, &low, false, 3.0, ["ridge", "post"]));
    assert!(told.contains("4 °C warmer than post"), "{told}");
    assert!(is_clear(&beside(&low, &high, false, 3.0, ["post", "ridge"])), "it is told of the other");
    assert!(
        is_clear(&beside(&high, &low, false, 13.0, ["ridge", "post"])),
        "by day four degrees are nothing"
    );
    let sunny = text(beside(&wavering(31.0), &low, false, 13.0, ["ridge", "post"]));
    assert!(sunny.contains("13 °C warmer") && sunny.contains("sun on it"), "{sunny}");
}

#[test]
fn v6_a_house_colder_than_the_night_outside_asks_whether_two_are_swapped() {
    let told = text(beside(&wavering(9.0), &wavering(14.0), true, 2.0, ["post", "yard"]));
    assert!(told.contains("5 °C colder than yard, which hangs outside"), "{told}");
    assert!(told.contains("are they swapped?"), "{told}");
    assert!(
        is_clear(&beside(&wavering(20.0), &wavering(9.0), true, 2.0, ["post", "yard"])),
        "warmer is what it is for"
    );
    assert!(
        is_clear(&beside(&wavering(20.0), &wavering(26.0), true, 14.0, ["post", "yard"])),
        "shaded by day"
    );
}

#[test]
fn v3_what_was_told_to_stand_apart_is_taken_back_by_night_alone_and_by_a_margin() {
    let again = |own_c: f64, neighbours: Vec<Neighbour<'_>>, hour: f64| {
        let own = wavering(own_c);
        let now = ProbeSays {
            series: vec![SeriesNow { quantity: Quantity::AirTemperature, taken: &own }],
            hour,
            neighbours,
            told_apart: true,
            ..ridge()
        };
        judge(&now).says
    };
    let (post, yard) = (wavering(18.0), wavering(24.0));
    let beside = || vec![Neighbour { probe: "post", outside: false, taken: &post }];
    assert_eq!(again(22.0, beside(), 13.0), Says::Unknown, "what is nothing by day is no proof");
    assert_eq!(again(18.0, beside(), 13.0), Says::Unknown, "nor is that they agree by day");
    assert_eq!(again(20.5, beside(), 3.0), Says::Unknown, "not by a margin");
    assert!(is_clear(&again(19.5, beside(), 3.0)));
    let silent = vec![Neighbour { probe: "post", outside: false, taken: &[] }];
    assert_eq!(again(18.0, silent, 3.0), Says::Unknown, "there is nobody to agree with");
    assert!(is_clear(&again(18.0, Vec::new(), 13.0)), "nor does any hang there");
    let outside = vec![Neighbour { probe: "yard", outside: true, taken: &yard }];
    assert_eq!(again(24.0, outside, 3.0), Says::Unknown, "on a hot night the two are not compared");
}

#[test]
fn v6_a_house_that_its_pads_keep_colder_than_a_hot_night_is_not_in_doubt() {
    // A wet pad brings air near its wet bulb: 26 °C at 40 % has one of 17 (Stull 2011), so some degrees are nothing.
    assert!(is_clear(&beside(&wavering(21.0), &wavering(26.0), true, 2.0, ["post", "yard"])));
    assert!(text(beside(&wavering(14.0), &wavering(19.0), true, 2.0, ["post", "yard"])).contains("swapped"));
}

/// What a probe says that is looked at at an hour of the day, with those beside it; `more` sets the rest.
fn placed(own: &[Taken], beside: &[&[Taken]], hour: f64, more: impl FnOnce(&mut ProbeSays<'_>)) -> Says {
    let names = ["edge", "post", "wall"];
    let others = names.iter().zip(beside);
    let mut now = ProbeSays {
        series: vec![SeriesNow { quantity: Quantity::AirTemperature, taken: own }],
        hour,
        neighbours: others.map(|(probe, taken)| Neighbour { probe, outside: false, taken }).collect(),
        covered: false,
        ..ridge()
    };
    more(&mut now);
    judge(&now).says
}

/// A wavering course that steps by so much half an hour and ten minutes ago.
fn stepping(by_c: f64) -> Vec<Taken> {
    every_ten_minutes(6, |index| {
        (15.0 + (index % 3) as f64 / 10.0 + if index >= 32 { by_c } else { 0.0 }, Reason::None)
    })
}

#[test]
fn u4_a_step_that_those_beside_it_do_not_make_asks_whether_the_probe_was_moved() {
    let (still, carried) = (wavering(15.0), stepping(6.0));
    let asked = placed(&carried, &[&still], 3.0, |_| {});
    let Says::Word(word) = &asked else { panic!("{asked:?}") };
    assert_eq!(word.title, "Has probe ridge in Long House been moved?");
    assert!(word.text.contains("rose by 6 °C within an hour, and edge beside it did not"), "{}", word.text);
    assert!(word.text.contains("note on the page Ground where it hangs now"), "{}", word.text);
    assert!(is_clear(&placed(&still, &[&carried], 3.0, |_| {})), "it is asked of the one that stepped");
    assert!(is_clear(&placed(&carried, &[&carried, &still, &carried], 3.0, |_| {})), "as most did");
    assert!(is_clear(&placed(&carried, &[&still], 13.0, |_| {})), "by day the sun comes and goes");
    let shaded = every_ten_minutes(6, |index| (31.0 - 8.0 * (index - 31).clamp(0, 2) as f64, Reason::None));
    let noon = text(placed(&shaded, &[&still], 13.0, |_| {}));
    assert!(noon.contains("fell by 16 °C"), "{noon}");
    let spike = every_ten_minutes(6, |index| (if index == 34 { 24.0 } else { 15.0 }, Reason::None));
    assert!(is_clear(&placed(&spike, &[&still], 3.0, |_| {})), "one reading is no step");
}

#[test]
fn u4_a_true_front_is_sound_whether_anybody_hangs_beside_or_not() {
    // The hardest fall of a year at a climate station: 7.9 °C within an hour of the night (USCRN, Corvallis, 2021-06-28
    // 03:00 local standard time), here within ten minutes.
    let fell = stepping(-7.9);
    assert!(is_clear(&placed(&fell, &[], 3.0, |_| {})), "alone");
    let near = every_ten_minutes(6, |index| {
        (if index >= 33 { 11.0 } else { 17.0 + index as f64 / 50.0 }, Reason::None)
    });
    assert!(is_clear(&placed(&fell, &[&near], 3.0, |_| {})), "and beside one that the front reached later");
    // Taken indoors on a cold night.
    let asked = text(placed(&stepping(14.0), &[], 3.0, |_| {}));
    assert!(asked.contains("rose by 14 °C within an hour. If"), "{asked}");
    assert!(is_clear(&placed(&stepping(14.0), &[], 3.0, |now| now.covered = true)), "a heater does that");
}

#[test]
fn u4_neither_a_heater_nor_the_early_sun_of_june_asks_whether_a_probe_was_moved() {
    let (near, far, still) = (stepping(7.0), stepping(2.0), wavering(15.0));
    let asks = |says: Says| matches!(says, Says::Word(_));
    let in_house = |own: &[Taken], other: &[Taken]| placed(own, &[other], 3.0, |now| now.covered = true);
    assert!(is_clear(&in_house(&near, &far)), "the heater hangs nearer to one");
    assert!(asks(in_house(&near, &still)), "no heater warms one alone");
    assert!(asks(in_house(&stepping(-7.0), &stepping(-2.0))), "nor does one cool");
    assert!(asks(placed(&near, &[&far], 3.0, |_| {})), "nor is one in the open");
    // At 55° N the sun is up before four by standard time in June (the almanac of `agronomy::sun`).
    let june = |hour: f64| placed(&near, &[&still], hour, |now| now.sunrise_h = 3.4);
    assert!(asks(june(3.3)) && is_clear(&june(4.5)));
}

#[test]
fn u4_the_question_stands_until_it_is_answered_or_the_night_answers_it() {
    let (still, own) = (wavering(15.0), wavering(20.0));
    let stands =
        |own: &[Taken], beside: &[&[Taken]], hour| placed(own, beside, hour, |now| now.told_moved = true);
    assert_eq!(stands(&own, &[], 3.0), Says::Unknown, "none can say that it is where it was");
    assert_eq!(stands(&own, &[&still], 13.0), Says::Unknown);
    assert!(is_clear(&stands(&still, &[&wavering(15.5)], 3.0)), "it was hosed, and is dry");
    let carried = stepping(6.0);
    let since = |placed_ms| placed(&carried, &[&still], 3.0, |now| now.placed_ms = placed_ms);
    assert!(matches!(since(NOW - 2 * HOUR), Says::Word(_)));
    assert!(is_clear(&since(NOW - HOUR / 2)), "noted where it hangs after the step");
}

#[test]
fn u4_another_chip_is_asked_about_with_where_it_was() {
    let own = wavering(15.0);
    let told = |was| text(placed(&own, &[], 13.0, |now| now.new_chip = Some(NewChip { serial: 77, was })));
    assert!(
        told(Some("bench")).contains("the chip that was bench answers as ridge. Are two plugs exchanged?")
    );
    assert!(told(None).contains("another chip (number 77) answers as ridge."));
    let now = placed(&own, &[], 13.0, |_| {});
    assert!(is_clear(&now));
}

#[test]
fn v5_a_sensor_that_tops_out_is_to_be_checked_with_salt() {
    let own = every_ten_minutes(6, |index| (80.0 + (index % 3) as f64, Reason::None));
    let told = |low| {
        placed(&own, &[], 13.0, |now| {
            now.series[0].quantity = Quantity::RelativeHumidity;
            now.reads_low = low;
        })
    };
    let low = text(told(Some(ReadsLow { nights: 10, top_pct: 92.1, by: "edge" })));
    assert!(
        low.contains("reads low: in 10 damp nights in a row never over 92 %, edge at saturation"),
        "{low}"
    );
    assert!(low.contains("if edge does not read high"), "either may be wrong: {low}");
    assert!(low.contains("Check it with salt") && low.contains("do not trust deficit"), "{low}");
    assert!(is_clear(&told(None)));
}
