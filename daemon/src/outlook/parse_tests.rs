//! Good forecasts of both shapes, and a table of bad ones.

use config::{Zones, read_outlook_map, shipped_outlook_map};
use proptest::prelude::*;
use serde_json::{Value, json};

use super::super::sample::sample;
use super::*;

/// `date -u -d '2026-07-14 05:00' +%s` of GNU coreutils says 1784005200.
const NOW_MS: i64 = 1_784_005_200_000;

fn here() -> Here {
    Here { now_ms: NOW_MS, latitude: 52.1, longitude: 5.3, may_be_old: false }
}

fn map(name: &str) -> OutlookMap {
    read_outlook_map(shipped_outlook_map(name).unwrap(), &Zones::system()).unwrap()
}

fn stamp_of(at_ms: i64) -> String {
    crate::calendar::iso(at_ms)
}

/// A day and a half of hours from now on, in rows.
fn rows() -> Value {
    let hours: Vec<Value> = (0..36)
        .map(|at| {
            json!({ "at": stamp_of(NOW_MS + at * MS_PER_HOUR), "air": 20 + at % 10, "humidity": 60, "wind": 1.5,
                    "sun": 300, "rain": 0.2 })
        })
        .collect();
    json!({ "issued": stamp_of(NOW_MS - MS_PER_HOUR), "latitude": 52.0, "longitude": 5.5, "hours": hours })
}

/// The same in columns.
fn columns() -> Value {
    let all = |value: f64| vec![value; 36];
    let air: Vec<i64> = (0..36).map(|at| 20 + at % 10).collect();
    json!({ "issued": stamp_of(NOW_MS - MS_PER_HOUR), "outlook": { "start": stamp_of(NOW_MS), "step": "PT1H",
        "air": air, "humidity": all(60.0), "wind": all(1.5), "sun": all(300.0), "rain": all(0.2) } })
}

fn read_as(name: &str, document: &Value) -> Result<Hours, Refused> {
    read(document.to_string().as_bytes(), &map(name), &here())
}

#[test]
fn rows_and_columns_of_one_forecast_say_the_same() {
    let (rows, columns) = (read_as("rows", &rows()).unwrap(), read_as("columns", &columns()).unwrap());
    assert_eq!(rows, columns);
    assert_eq!((rows.issued_ms, rows.hours.len()), (NOW_MS - MS_PER_HOUR, 36));
    let fifth = Hour {
        at_ms: NOW_MS + 5 * MS_PER_HOUR,
        air_c: 25.0,
        humidity_pct: Some(60.0),
        wind_m_s: Some(1.5),
        light_w_m2: Some(300.0),
        rain_mm: Some(0.2),
    };
    let read = rows.hours[5];
    assert!((read.rain_mm.unwrap() - 0.2).abs() < 1e-12);
    assert_eq!(Hour { rain_mm: Some(0.2), ..read }, fifth);
}

#[test]
fn units_are_converted_and_local_stamps_read_by_the_clock_that_the_map_names() {
    let text = "layout = \"columns\"\n[time]\nat = \"/t\"\noffset = \"+02:00\"\n\
        [[value]]\nquantity = \"air_temperature\"\npointer = \"/f\"\nunit = \"°F\"\n";
    let map = read_outlook_map(text, &Zones::system()).unwrap();
    let stamps: Vec<String> = (0..24).map(|hour| format!("2026-07-14T{hour:02}:00")).collect();
    let document = json!({ "t": stamps, "f": vec![95; 24] });
    let hours = read(document.to_string().as_bytes(), &map, &here()).unwrap();
    // 95 °F is 35 °C, and midnight at two hours east of Greenwich is 22:00 UTC of the day before.
    assert_eq!((hours.hours[0].air_c, hours.hours[0].at_ms), (35.0, NOW_MS - 7 * MS_PER_HOUR));
    assert_eq!(hours.issued_ms, NOW_MS, "what does not say when it was issued was issued now");
    let kept = Here { may_be_old: true, ..here() };
    assert_eq!(read(document.to_string().as_bytes(), &map, &kept), Err(Refused::Undated));
}

#[test]
fn the_hour_that_comes_twice_and_the_hour_that_does_not_come_are_told_apart() {
    // Italy, 25 October 2026: 02:00 to 03:00 comes twice (RFC 9636's zone files, as config's tests hold them).
    let zones = Zones::in_folder(concat!(env!("CARGO_MANIFEST_DIR"), "/../config/tests/zones"));
    let text = "layout = \"columns\"\n[time]\nat = \"/t\"\nzone = \"Europe/Rome\"\n\
        [[value]]\nquantity = \"air_temperature\"\npointer = \"/c\"\nunit = \"°C\"\n";
    let map = read_outlook_map(text, &zones).unwrap();
    let read_hours = |hours: &[&str], now: &str| {
        let now_ms = chrono::DateTime::parse_from_rfc3339(now).unwrap().timestamp_millis();
        let document = json!({ "t": hours, "c": vec![9; hours.len()] });
        read(document.to_string().as_bytes(), &map, &Here { now_ms, ..here() })
    };
    let mut hours = vec!["2026-10-25T00:00", "2026-10-25T01:00", "2026-10-25T02:00", "2026-10-25T02:00"];
    let later: Vec<String> = (3..24).map(|hour| format!("2026-10-25T{hour:02}:00")).collect();
    hours.extend(later.iter().map(String::as_str));
    assert_eq!(read_hours(&hours, "2026-10-25T00:00:00+02:00").unwrap().hours.len(), 25);
    // 29 March 2026: 02:00 does not come; a service that writes it all the same is forgiven that hour.
    let spring: Vec<String> = (0..24).map(|hour| format!("2026-03-29T{hour:02}:00")).collect();
    let spring: Vec<&str> = spring.iter().map(String::as_str).collect();
    assert_eq!(read_hours(&spring, "2026-03-29T00:00:00+01:00").unwrap().hours.len(), 23);
}

#[test]
fn a_value_that_is_not_told_is_not_known_and_its_hour_stays() {
    let mut document = rows();
    document["hours"][3]["humidity"] = Value::Null;
    document["hours"][4].as_object_mut().unwrap().remove("wind");
    let hours = read_as("rows", &document).unwrap().hours;
    assert_eq!((hours[3].humidity_pct, hours[3].wind_m_s), (None, Some(1.5)));
    assert_eq!((hours[4].humidity_pct, hours[4].wind_m_s), (Some(60.0), None));
    document["hours"][7]["air"] = Value::Null;
    let hours = read_as("rows", &document).unwrap().hours;
    assert_eq!((hours[7].air_c, hours.len()), (27.0, 36), "an hour without air is drawn through");
}

/// Each fault with the sentence that is said of it.
#[test]
fn every_bad_forecast_is_refused_in_a_sentence() {
    type Change = fn(&mut Value);
    let table: [(Change, &str); 21] = [
        (|it| it["hours"][3]["air"] = json!(1e308), "air_temperature of 1"),
        (|it| it["hours"][3]["air"] = json!("NaN"), "air_temperature of moment 4 is no number"),
        (|it| it["hours"][3]["air"] = json!("-inf"), "air_temperature of moment 4 is no number"),
        (|it| it["hours"][3]["air"] = json!([21]), "air_temperature of moment 4 is no number"),
        (|it| it["hours"][3]["air"] = json!(77), "air_temperature of 77 °C at moment 4 cannot be"),
        (|it| it["hours"][0]["humidity"] = json!(-1), "relative_humidity of -1 % at moment 1 cannot be"),
        (|it| it["hours"][0]["wind"] = json!(300), "wind of 300 m/s at moment 1 cannot be"),
        (|it| it["hours"][0]["sun"] = json!(9000), "light of 9000 W/m² at moment 1 cannot be"),
        (|it| it["hours"][0]["rain"] = json!(-0.1), "rain of -0.1 mm at moment 1 cannot be"),
        (|it| it["issued"] = json!("2026-07-13T04:00Z"), "it was issued 25 h ago"),
        (|it| it["issued"] = json!("2026-07-14T06:00Z"), "it says it was issued 60 min from now"),
        (|it| it["issued"] = json!("this morning"), "\"this morning\" is no stamp"),
        (|it| it["issued"] = json!(1_784_005_200), "\"1784005200\" is no stamp"),
        (|it| it["issued"] = Value::Null, "there is no time of issue at \"/issued\""),
        (|it| it["latitude"] = json!(12.0), "it is for 12.00° N, 5.50° E, which is not here"),
        (|it| it["longitude"] = json!("east"), "there is no longitude at \"/longitude\""),
        (|it| it["hours"] = json!({}), "there is no list of rows at \"/hours\""),
        (|it| it["hours"] = json!([]), "it tells less than 12 hours from now on without a gap"),
        (
            |it| it["hours"][5]["at"] = it["hours"][4]["at"].clone(),
            "moment 6 does not come after the one before",
        ),
        (
            |it| it["hours"][5]["at"] = json!("2026-07-14T10:00"),
            "\"2026-07-14T10:00\" is no stamp with Z or an offset",
        ),
        (|it| it["hours"][35]["at"] = json!("2026-07-31T10:00Z"), "it reaches more than 16 days ahead"),
    ];
    for (change, said) in table {
        let mut document = rows();
        change(&mut document);
        let refused = read_as("rows", &document).unwrap_err().to_string();
        assert!(refused.contains(said), "{said}: {refused}");
    }
}

#[test]
fn a_pointer_that_leads_to_no_air_in_any_row_is_told_as_a_pointer_and_not_as_a_short_forecast() {
    let mut document = rows();
    for hour in document["hours"].as_array_mut().unwrap() {
        let air = hour.as_object_mut().unwrap().remove("air").unwrap();
        hour["temperature"] = air;
    }
    let refused = read_as("rows", &document).unwrap_err().to_string();
    assert_eq!(refused, "there is no air temperature at \"/air\" in any of its 36 moments");
}

#[test]
fn a_sample_is_read_as_of_its_own_hour_and_place() {
    let mut document = rows();
    document["latitude"] = json!(-33.9);
    let years_later = sample(document.to_string().as_bytes(), &map("rows"), NOW_MS + 800 * 86_400_000);
    assert_eq!(years_later.unwrap().hours.len(), 36);
    document.as_object_mut().unwrap().remove("issued");
    let undated = sample(document.to_string().as_bytes(), &map("rows"), NOW_MS);
    assert!(undated.unwrap_err().to_string().contains("no time of issue"));
    let clear = json!({ "hours": 3 });
    let refused = sample(clear.to_string().as_bytes(), &map("rows"), NOW_MS).unwrap_err().to_string();
    assert!(refused.contains("no latitude at"), "{refused}");
}

#[test]
fn columns_must_be_of_one_length_and_their_step_a_length_of_time() {
    let mut unequal = columns();
    unequal["outlook"]["wind"].as_array_mut().unwrap().pop();
    assert_eq!(read_as("columns", &unequal).unwrap_err().to_string(), "wind has 35 values for 36 moments");
    let mut step = columns();
    step["outlook"]["step"] = json!("1h");
    assert!(read_as("columns", &step).unwrap_err().to_string().contains("no step such as PT1H"));
    let mut missing = columns();
    missing["outlook"].as_object_mut().unwrap().remove("rain");
    assert!(
        read_as("columns", &missing)
            .unwrap_err()
            .to_string()
            .contains("no list of values at \"/outlook/rain\"")
    );
    let mut yearly = columns();
    yearly["outlook"]["step"] = json!("P366D");
    assert_eq!(read_as("columns", &yearly), Err(Refused::TooFar));
}

#[test]
fn what_is_too_large_too_deep_too_many_or_no_json_is_refused_before_anything_is_made_of_it() {
    let map = map("rows");
    let read = |body: &[u8]| read(body, &map, &here());
    assert_eq!(read(&vec![b' '; LARGEST + 1]), Err(Refused::TooLong(LARGEST + 1)));
    assert_eq!(read("[".repeat(100_000).as_bytes()), Err(Refused::TooDeep));
    let brackets_in_text = json!({ "note": "[".repeat(50) });
    assert!(matches!(read(brackets_in_text.to_string().as_bytes()), Err(Refused::Nothing { .. })));
    let mut many = rows();
    many["hours"] = Value::Array(vec![json!({}); MOST + 1]);
    assert_eq!(read_as("rows", &many), Err(Refused::TooMany(MOST + 1)));
    for body in
        ["", "{", "NaN", "{\"hours\": [{\"air\": NaN}]}", "{\"hours\": [1e999]}", "\u{feff}{}", "<html>"]
    {
        assert!(matches!(read(body.as_bytes()), Err(Refused::NotJson(_))), "{body}");
    }
}

proptest! {
    #[test]
    fn whatever_comes_is_read_within_what_weather_can_be_or_refused(
        shape in any::<bool>(),
        bites in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..12),
        cut in any::<prop::sample::Index>(),
        is_cut in any::<bool>(),
    ) {
        let name = if shape { "rows" } else { "columns" };
        let mut body = if shape { rows() } else { columns() }.to_string().into_bytes();
        for (at, byte) in bites {
            let at = at.index(body.len());
            body[at] = byte;
        }
        if is_cut {
            body.truncate(cut.index(body.len()));
        }
        if let Ok(hours) = read(&body, &map(name), &here()) {
            prop_assert!(!hours.hours.is_empty() && hours.hours.len() <= 16 * 24 + 48);
            for hour in &hours.hours {
                prop_assert!((-60.0..=60.0).contains(&hour.air_c));
                prop_assert!(hour.humidity_pct.is_none_or(|it| (0.0..=100.0).contains(&it)));
                prop_assert!(hour.rain_mm.is_none_or(|it| (0.0..=1000.0).contains(&it)));
            }
            prop_assert!(hours.issued_ms >= NOW_MS - OLDEST_MS && hours.issued_ms <= NOW_MS + AHEAD_MS);
        }
    }

    #[test]
    fn every_sound_forecast_comes_through_with_all_its_hours(
        air in proptest::collection::vec(-400_i32..500, 18..200),
        begun_h in 0_i64..5,
    ) {
        let hours: Vec<Value> = air.iter().enumerate().map(|(at, tenths)| json!({
            "at": stamp_of(NOW_MS + (at as i64 - begun_h) * MS_PER_HOUR), "air": f64::from(*tenths) / 10.0,
        })).collect();
        let document = json!({ "issued": stamp_of(NOW_MS), "latitude": 52.1, "longitude": 5.3, "hours": hours });
        let read = read_as("rows", &document).unwrap();
        let back: Vec<i32> = read.hours.iter().map(|hour| libm::round(hour.air_c * 10.0) as i32).collect();
        prop_assert_eq!(back, air);
    }
}
