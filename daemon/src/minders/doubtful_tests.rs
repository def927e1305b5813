//! Three hours of readings, sound and not.

use super::super::word::Says;
use super::*;

const MINUTE: i64 = 60_000;
const NOW: i64 = 1_000 * MS_PER_HOUR;

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

fn said(quantity: Quantity, taken: &[Taken], air_swing_c: Option<f64>) -> Says {
    let now = ProbeSays {
        now_ms: NOW,
        probe: "post",
        place_name: "Long House",
        usual_interval_ms: 10 * MINUTE,
        series: vec![SeriesNow { quantity, taken }],
        air_swing_c,
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
