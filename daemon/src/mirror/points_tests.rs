use std::collections::BTreeMap;

use agronomy::crop::Severity;
use agronomy::quantity::Quantity;
use influxdb2::models::WriteDataPoint;

use super::*;

fn reading(probe: &str, value: f64, reason: Reason) -> Reading {
    Reading {
        probe: probe.into(),
        quantity: Quantity::AirTemperature,
        value,
        at_ms: 1_940_000_000_123,
        reason,
    }
}

fn line(point: Point) -> String {
    let mut bytes = Vec::new();
    point.line().write_data_point_to(&mut bytes).unwrap();
    String::from_utf8(bytes).unwrap()
}

fn step(title: &str) -> Step {
    Step {
        notice: "2031-07-02.house.too-hot~2".to_owned(),
        number: 2,
        turn: Turn::Worsened,
        text: "At 36.1.".to_owned(),
        ..crate::entry::fixtures::step(1_940_760_000_000, Severity::Severe, title)
    }
}

#[test]
fn a_reading_becomes_one_line_of_the_line_protocol() {
    // The line protocol as its publisher documents it: measurement,tags fields time; tags in order of their names.
    assert_eq!(
        line(of_reading(&reading("bench-2", 31.25, Reason::None)).unwrap()),
        "reading,grade=sound,probe=bench-2,quantity=air_temperature value=31.25 1940000000123\n"
    );
    assert!(line(of_reading(&reading("a", 31.0, Reason::FromTheFuture)).unwrap()).contains("grade=doubtful"));
}

#[test]
fn nothing_is_copied_without_a_value_or_under_a_false_date_or_twice() {
    for reason in [Reason::Missing, Reason::NoTime, Reason::Repeated] {
        assert_eq!(of_reading(&reading("a", 0.0, reason)), Err(NoPoint::Nothing(reason)));
    }
}

#[test]
fn no_name_can_forge_a_line() {
    // The rows of what a tag value may not hold: newline, backslashes, nothing, and what only escaping would save.
    for name in ["a\nreading value=1", "a\\", "a\\\\", "a\\ b", "", "a b", "a,b=c", "\"", "\t", "é"] {
        let made = of_reading(&reading(name, 1.0, Reason::None));
        assert_eq!(made, Err(NoPoint::Name(name.to_owned())));
        let json = serde_json::json!({ "measurement": "reading", "tags": [["probe", name]], "fields": [["value", 1.0]],
            "at_ms": 1 });
        assert!(serde_json::from_value::<Point>(json).is_err(), "{name:?} over the socket");
    }
}

#[test]
fn only_finite_numbers_are_copied() {
    for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let refused = of_reading(&reading("a", value, Reason::OutOfRange));
        assert_eq!(refused, Err(NoPoint::NotFinite { of: "a".to_owned() }));
    }
}

#[test]
fn a_step_of_a_notice_keeps_its_words_on_one_line_and_out_of_the_tags() {
    let line = line(of_step(&step("Open \"the\" door\nforged,a=b value=1\r\\")).unwrap());
    assert_eq!(
        line,
        "notice_step,minder=too-hot,notice=2031-07-02.house.too-hot.2,place=house,severity=severe,turn=worsened \
         number=2,pushed=1,severity_rank=3,text=\"At 36.1.\",title=\"Open \\\"the\\\" door forged,a=b value=1 /\" \
         1940760000000\n"
    );
}

#[test]
fn a_day_page_becomes_a_point_of_its_place_and_one_of_each_planting_at_the_start_of_the_day() {
    let place = DayPage {
        place: "house".to_owned(),
        measured_share: 0.75,
        t_max_c: Some(36.12),
        hours_above: crate::almanac::day_page::HoursAbove {
            t_c: BTreeMap::from([("30".to_owned(), 4.5)]),
            vpd_kpa: BTreeMap::from([("1.6".to_owned(), 2.25)]),
        },
        ..DayPage::default()
    };
    let planting = PlantingPage {
        planting: "tomatoes".to_owned(),
        crop: "tomato".to_owned(),
        place: "house".to_owned(),
        rule: "mean-capped 7/28".to_owned(),
        degree_days: Some(11.5),
        line_c: 35.0,
        ..PlantingPage::default()
    };
    let body = serde_json::to_string(&Made { place, plantings: vec![planting] }).unwrap();
    // Day 20,000 is 2024-10-04 (as `date -d @1728000000` says); an hour east it begins at 23:00 UTC of the day before.
    let page =
        NumberedPage { number: 1, subject: "house".to_owned(), day: 20_000, edition: "7+3".to_owned(), body };
    let lines: Vec<String> = of_page(&page, 3_600_000).unwrap().into_iter().map(line).collect();
    assert_eq!(
        lines,
        [
            "place_day,edition=7.3,place=house hours_above_1.6_kpa=2.25,hours_above_30_c=4.5,measured_share=0.75,\
             read_by_hand=0,t_max_c=36.12 1727996400000\n",
            "planting_day,crop=tomato,edition=7.3,place=house,planting=tomatoes degree_days=11.5,line_c=35,\
             measured_share=0,read_by_hand=0,rule=\"mean-capped 7/28\",stress_h=0,warm_night=0 1727996400000\n",
        ]
    );
    let gone = of_page(&NumberedPage { body: "null".to_owned(), ..page.clone() }, 0).unwrap();
    assert_eq!(line(gone[0].clone()), "place_day,edition=7.3,place=house measured_share=0 1728000000000\n");
    assert!(of_page(&NumberedPage { body: "{".to_owned(), ..page }, 0).is_err());
}

#[test]
fn a_series_is_named_as_the_other_side_shows_it() {
    let point = of_reading(&reading("bench-2", 31.25, Reason::None)).unwrap();
    let numbers: Vec<_> = point.numbers().collect();
    let name = r#"reading_value{grade="sound",probe="bench-2",quantity="air_temperature"}"#;
    assert_eq!(numbers, [(name.to_owned(), 31.25)]);
}

#[test]
fn every_text_field_is_listed_for_those_who_read_the_copy_back() {
    let made = Made {
        place: DayPage::default(),
        plantings: vec![PlantingPage {
            planting: "red".to_owned(),
            crop: "tomato".to_owned(),
            place: "house".to_owned(),
            rule: "mean-capped 7/28".to_owned(),
            ..PlantingPage::default()
        }],
    };
    let body = serde_json::to_string(&made).unwrap();
    let page = NumberedPage { number: 1, subject: "house".into(), day: 1, edition: "e".into(), body };
    let mut points = of_page(&page, 0).unwrap();
    points.push(of_step(&step("Open the door")).unwrap());
    let texts: Vec<String> = points
        .iter()
        .flat_map(|point| {
            let texts = point.fields.iter().filter(|(_, field)| matches!(field, Field::Text(_)));
            texts.map(|(name, _)| format!("{}_{name}", point.measurement)).collect::<Vec<_>>()
        })
        .collect();
    assert_eq!(texts, TEXTS);
}
