use super::*;
use proptest::prelude::*;
use serde_json::json;

fn bare(unit: &str) -> TopicRule {
    TopicRule {
        filter: "garden/house/air".to_owned(),
        probe: "house-air".into(),
        shape: Shape::Bare { quantity: Quantity::AirTemperature, unit: unit.to_owned() },
        usual_interval_s: 60,
    }
}

fn fields(time: Option<TimeFormat>) -> TopicRule {
    let field = |pointer: &str, unit: &str| Field { pointer: pointer.to_owned(), unit: unit.to_owned() };
    TopicRule {
        shape: Shape::Fields {
            quantities: BTreeMap::from([
                (Quantity::AirTemperature, field("/air/t", "°C")),
                (Quantity::RelativeHumidity, field("/air/rh", "%")),
            ]),
            time: time.map(|format| Stamp { pointer: "/at".to_owned(), format }),
            number: Some("/n".to_owned()),
        },
        ..bare("°C")
    }
}

/// The running numbers of a message, by the one rule.
fn numbers(rule: TopicRule, payload: &str) -> Vec<u64> {
    let (topic, rules) = (rule.filter.clone(), TopicRules::new(vec![rule]).unwrap());
    rules.numbers(&topic, payload.as_bytes()).into_iter().map(|(_, number)| number).collect()
}

#[test]
fn a_running_number_is_read_as_number_or_text_and_nothing_else_is_one() {
    for (payload, number) in [
        (r#"{"n":7}"#, Some(7)),
        (r#"{"n":"18446744073709551615"}"#, Some(u64::MAX)),
        (r#"{"n":7.5}"#, None),
        (r#"{"n":-7}"#, None),
        (r#"{"n":null}"#, None),
        ("{}", None),
        ("7", None),
        ("", None),
    ] {
        assert_eq!(numbers(fields(None), payload), number.into_iter().collect::<Vec<_>>(), "{payload}");
    }
    assert!(numbers(bare("°C"), "7").is_empty());
    let long = format!(r#"{{"n":7,"air":"{}"}}"#, "x".repeat(LONGEST));
    assert!(numbers(fields(None), &long).is_empty());
}

fn value(rule: &TopicRule, payload: &str) -> Result<Option<f64>, Malformed> {
    read_payload(rule, payload.as_bytes(), false).map(|readings| readings[0].value)
}

#[test]
fn a_bare_number_is_read_and_dated_by_nobody() {
    let readings = read_payload(&bare("°C"), b" 23.4\r\n", false).unwrap();
    let expected = Heard {
        probe: "house-air".into(),
        quantity: Quantity::AirTemperature,
        value: Some(23.4),
        measured_ms: None,
        stale: false,
    };
    assert_eq!(readings, [expected]);
}

#[test]
fn the_fixed_points_of_other_scales_become_those_of_ours() {
    // Definitions: water freezes at 32 °F and 273.15 K and boils at 212 °F.
    assert_eq!(value(&bare("°F"), "32"), Ok(Some(0.0)));
    assert_eq!(value(&bare("°F"), "212"), Ok(Some(100.0)));
    assert_eq!(value(&bare("K"), "273.15"), Ok(Some(0.0)));
    let wrong = Malformed::Unit { quantity: Quantity::AirTemperature, unit: "psi".to_owned() };
    assert_eq!(value(&bare("psi"), "1"), Err(wrong));
}

#[test]
fn what_looks_like_a_number_and_is_none_is_refused_by_name() {
    for payload in
        ["NaN", "inf", "-Infinity", "23,4", "23.4°C", "\u{feff}23.4", "0x17", "2 3", "--1", "e", "."]
    {
        assert_eq!(value(&bare("°C"), payload), Err(Malformed::NotANumber), "{payload}");
    }
    assert_eq!(value(&bare("°C"), "1e999"), Err(Malformed::NotFinite));
    assert_eq!(read_payload(&bare("°C"), b"\xff\xfe", false), Err(Malformed::NotANumber));
    for payload in ["", " \n"] {
        assert_eq!(value(&bare("°C"), payload), Err(Malformed::Empty));
    }
}

#[test]
fn a_document_gives_each_quantity_at_its_own_time() {
    let rule = fields(Some(TimeFormat::Rfc3339));
    let payload = br#"{"at": "2026-07-14T15:02:00+02:00", "air": {"t": 31.25, "rh": "48"}}"#;
    let readings = read_payload(&rule, payload, false).unwrap();
    let said: Vec<_> =
        readings.iter().map(|heard| (heard.quantity, heard.value, heard.measured_ms, heard.stale)).collect();
    // `date -u -d '2026-07-14 13:02' +%s` of GNU coreutils.
    let at = Some(1_784_034_120_000);
    let expected = [
        (Quantity::AirTemperature, Some(31.25), at, false),
        (Quantity::RelativeHumidity, Some(48.0), at, false),
    ];
    assert_eq!(said, expected);
}

#[test]
fn what_was_retained_or_repeated_is_stale_with_and_without_a_time_of_its_own() {
    let stamped = fields(Some(TimeFormat::UnixSeconds));
    for stale in [true, false] {
        assert_eq!(read_payload(&bare("°C"), b"20", stale).unwrap()[0].stale, stale);
        let readings = read_payload(&stamped, br#"{"at":1784034120,"air":{"t":1}}"#, stale).unwrap();
        assert_eq!((readings[0].stale, readings[0].measured_ms), (stale, Some(1_784_034_120_000)));
    }
}

#[test]
fn c8_a_sender_whose_clock_was_never_set_keeps_its_values_under_a_time_that_is_none() {
    let stamped = fields(Some(TimeFormat::UnixSeconds));
    let readings = read_payload(&stamped, br#"{"at":3600,"air":{"t":20}}"#, false).unwrap();
    assert_eq!((readings[0].value, readings[0].measured_ms), (Some(20.0), Some(0)));
}

#[test]
fn a_quantity_left_out_is_not_said_and_null_is_missing() {
    let readings = read_payload(&fields(None), br#"{"air":{"rh":null}}"#, false).unwrap();
    assert_eq!(readings.len(), 1);
    assert_eq!((readings[0].quantity, readings[0].value), (Quantity::RelativeHumidity, None));
}

#[test]
fn documents_that_say_nothing_are_told_apart() {
    let rule = fields(Some(TimeFormat::UnixSeconds));
    let bad = |payload: &str| read_payload(&rule, payload.as_bytes(), false).unwrap_err();
    assert_eq!(bad(r#"{"air":{"t":20}}"#), Malformed::NoTime("/at".to_owned()));
    assert_eq!(bad(r#"{"at":null,"air":{"t":20}}"#), Malformed::NoTime("/at".to_owned()));
    assert_eq!(
        bad(r#"{"at":1784034120000,"air":{"t":20}}"#),
        Malformed::Stamp(StampFault::MillisecondsForSeconds)
    );
    assert_eq!(bad(r#"{"at":1784034120,"air":[]}"#), Malformed::NothingThere("/air/t, /air/rh".to_owned()));
    assert_eq!(bad(r#"{"at":1784034120,"air":{"t":"warm"}}"#), Malformed::NoNumberAt("/air/t".to_owned()));
    assert_eq!(bad(r#"{"at":1784034120,"air":{"t":"1e999"}}"#), Malformed::NotFinite);
    for payload in ["{", "NaN", "\u{feff}{}", r#"{"air":{"t":1e999}}"#, r#"{"air":{"t":23,4}}"#] {
        assert!(matches!(bad(payload), Malformed::NotJson(_)), "{payload}");
    }
}

#[test]
fn nesting_without_end_and_length_without_end_are_refused() {
    let deep = "[".repeat(60_000);
    assert!(matches!(value(&fields(None), &deep), Err(Malformed::NotJson(_))));
    let long = "1".repeat(LONGEST + 1);
    assert_eq!(value(&bare("°C"), &long), Err(Malformed::TooLong(LONGEST + 1)));
}

#[test]
fn pointers_lead_where_rfc_6901_says() {
    // RFC 6901, section 5.
    let document = json!({
        "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8
    });
    for (pointer, expected) in [
        ("/", 0.0),
        ("/a~1b", 1.0),
        ("/c%d", 2.0),
        ("/e^f", 3.0),
        ("/g|h", 4.0),
        ("/i\\j", 5.0),
        ("/k\"l", 6.0),
        ("/ ", 7.0),
        ("/m~0n", 8.0),
    ] {
        let field = Field { pointer: pointer.to_owned(), unit: "°C".to_owned() };
        let quantities = BTreeMap::from([(Quantity::AirTemperature, field)]);
        let rule = TopicRule { shape: Shape::Fields { quantities, time: None, number: None }, ..bare("°C") };
        assert_eq!(value(&rule, &document.to_string()), Ok(Some(expected)), "{pointer}");
    }
    assert_eq!(document.pointer("/foo/0"), Some(&json!("bar")));
    assert_eq!(document.pointer(""), Some(&document));
}

#[test]
fn a_sample_shows_what_cannot_be_seen_and_ends_at_80_characters() {
    assert_eq!(sample(b"{\"t\": 1}\n\x1b[31m"), "{\"t\": 1}\\n\\u{1b}[31m");
    // A mark that turns the writing direction would garble the line it is shown in.
    assert_eq!(sample("\u{202e}21".as_bytes()), "\\u{202e}21");
    let cut = sample("°".repeat(500).as_bytes());
    assert_eq!((cut.chars().count(), cut.chars().last()), (80, Some('…')));
    assert_eq!(sample("x".repeat(80).as_bytes()), "x".repeat(80));
}

#[test]
fn rules_that_would_hear_a_message_twice_are_refused() {
    let named = |filter: &str| TopicRule { filter: filter.to_owned(), ..bare("°C") };
    let twice = TopicRules::new(vec![named("garden/+/air"), named("garden/house/#")]);
    assert!(matches!(twice, Err(RuleFault::Overlap { .. })), "{twice:?}");
    let half = vec![named("a"), TopicRule { filter: "a".to_owned(), ..fields(Some(TimeFormat::Rfc3339)) }];
    assert_eq!(TopicRules::new(half), Err(RuleFault::HalfStamped("a".to_owned())));
    let shared = TopicRules::new(vec![named("a"), named("a"), named("b")]).unwrap();
    assert_eq!(shared.filters(), ["a", "b"]);
    assert_eq!(shared.hear("a", b"1", false).len(), 2);
    assert!(shared.hear("c", b"1", false).is_empty());
}

proptest! {
    #[test]
    fn no_bytes_whatever_bring_it_down_and_only_finite_values_come_out(
        payload in prop::collection::vec(any::<u8>(), 0..300), repeated: bool
    ) {
        for rule in [bare("°F"), fields(None), fields(Some(TimeFormat::UnixMilliseconds))] {
            for heard in read_payload(&rule, &payload, repeated).into_iter().flatten() {
                prop_assert!(heard.value.is_none_or(f64::is_finite));
            }
        }
        prop_assert!(sample(&payload).chars().count() <= SAMPLE);
    }

    #[test]
    fn no_text_near_the_right_form_brings_it_down(
        payload in r#"\{"at": ?[-0-9eE."]{0,20},"air":\{"t":[-+0-9eE.,"nul]{0,12}\}\}"#
    ) {
        for format in [TimeFormat::Rfc3339, TimeFormat::UnixSeconds, TimeFormat::UnixMilliseconds] {
            for heard in read_payload(&fields(Some(format)), payload.as_bytes(), false).into_iter().flatten() {
                prop_assert!(heard.value.is_none_or(f64::is_finite));
                prop_assert!(heard.measured_ms.is_some_and(|ms| ms == NEVER_SET_MS || ms >= 946_684_800_000));
            }
        }
    }
}
