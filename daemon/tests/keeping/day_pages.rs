//! Day pages against the published and computed degree-day tables, and the curve days of the test vectors.

use std::collections::{BTreeMap, BTreeSet};

use agronomy::degree_days::{Cutoff, Method, Rule};
use agronomy::series::Held;
use agronomy::units::Celsius;
use glasshour::almanac::day_page::{DayInput, DayPage, RuleKey};
use glasshour::entry::Note;
use serde_json::Value;

use super::garden::*;

type Row = BTreeMap<String, String>;

fn table(name: &str) -> Vec<Row> {
    let path = format!(concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/reference/{}"), name);
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(&path).expect(&path);
    let names = reader.headers().unwrap().clone();
    let row = |record: csv::StringRecord| {
        names.iter().map(str::to_owned).zip(record.iter().map(str::to_owned)).collect()
    };
    let rows: Vec<Row> = reader.records().map(|record| row(record.unwrap())).collect();
    assert!(!rows.is_empty(), "{name} has no rows");
    rows
}

fn number(row: &Row, column: &str) -> f64 {
    row[column].parse().unwrap()
}

/// A day's input with hourly readings between two extremes, or with the extremes read by hand.
fn input(rule: RuleKey, low: f64, high: f64, by_hand: bool) -> DayInput {
    let air = |hour: i64| Held {
        start_ms: june() + hour * HOUR,
        end_ms: june() + (hour + 1) * HOUR,
        value: if hour == 6 { low } else { low + (high - low) * (hour % 16) as f64 / 15.0 },
    };
    DayInput {
        place: "house".to_owned(),
        date: "2026-06-01".to_owned(),
        day: june()..june() + DAY,
        night: june() - 4 * HOUR..june() + 4 * HOUR,
        air: if by_hand { Vec::new() } else { (0..24).map(air).collect() },
        humidity: Vec::new(),
        by_hand: by_hand.then_some((low, high)),
        rules: BTreeSet::from([rule]),
    }
}

fn sum(page: &DayPage, method: Method, lower: f64, upper: Option<f64>) -> f64 {
    let celsius = |value| Celsius::try_new(value).unwrap();
    let rule = Rule::try_new(method, celsius(lower), upper.map(celsius), Cutoff::Horizontal).unwrap();
    page.degree_days[&rule.to_string()].unwrap()
}

#[track_caller]
fn close(got: f64, wanted: f64, tolerance: f64, what: &str) {
    assert!((got - wanted).abs() <= tolerance, "{what}: got {got}, the source says {wanted} ± {tolerance}");
}

/// degree_days_synthetic.csv: quadrature of the implied curves. Pages are rounded to 0.01.
#[test]
fn pages_of_measured_days_give_the_methods_of_the_extremes_as_the_quadrature_table_does() {
    let columns = [
        ("simple_avg", Method::Mean, false),
        ("simple_avg_mean_capped", Method::MeanCapped, true),
        ("avg_clipped_extremes", Method::ExtremesClipped, true),
        ("single_sine_horizontal", Method::SingleSine, true),
        ("single_triangle_horizontal", Method::SingleTriangle, true),
    ];
    for row in table("degree_days_synthetic.csv") {
        let [lower, upper, low, high] = ["lower", "upper", "tmin", "tmax"].map(|column| number(&row, column));
        for (column, method, capped) in columns {
            let upper = capped.then_some(upper);
            let page = input(RuleKey::new(method, lower, upper), low, high, false).page();
            let what = format!("{column} of {lower}/{upper:?} {low}-{high}");
            close(sum(&page, method, lower, upper), number(&row, column), 0.005_001, &what);
        }
    }
}

/// degree_days_synthetic.csv, column of the single sine with horizontal cutoff.
#[test]
fn pages_of_days_read_by_hand_are_the_single_sine() {
    for row in table("degree_days_synthetic.csv") {
        let [lower, upper, low, high] = ["lower", "upper", "tmin", "tmax"].map(|column| number(&row, column));
        let page = input(RuleKey::new(Method::Integral, lower, Some(upper)), low, high, true).page();
        let got = sum(&page, Method::Integral, lower, Some(upper));
        close(got, number(&row, "single_sine_horizontal"), 0.005_001, &format!("{row:?}"));
        assert!(page.read_by_hand);
    }
}

/// degree_days_published.csv: single figures of published sources, where they agree with the definitions.
#[test]
fn pages_give_the_published_single_days() {
    let rows = table("degree_days_published.csv");
    let sound = rows.iter().filter(|row| row["agrees"] == "true");
    let mut checked = 0;
    for row in sound {
        let [lower, upper, low, high] = ["lower", "upper", "tmin", "tmax"].map(|column| number(row, column));
        let (method, by_hand) = match row["method"].as_str() {
            "single sine" => (Method::Integral, true),
            "single triangle" => (Method::SingleTriangle, false),
            "average clipped" => (Method::ExtremesClipped, false),
            _ => continue,
        };
        let page = input(RuleKey::new(method, lower, Some(upper)), low, high, by_hand).page();
        let got = sum(&page, method, lower, Some(upper));
        close(got, number(row, "published"), 0.01 + 0.005, &format!("{row:?}"));
        checked += 1;
    }
    assert_eq!(checked, 5 + 6 + 6, "rows of the three methods");
}

/// The 24 h of a curve day in 5-minute steps with a constant vapour pressure (dew point `dew_c`, or the lowest air).
fn curve_day(low: f64, high: f64, dew_c: f64) -> Value {
    // FAO-56 eq. 11.
    let saturation = |t_c: f64| 0.6108 * libm::exp(17.27 * t_c / (t_c + 237.3));
    let vapour_kpa = saturation(dew_c).min(saturation(low));
    let mut notes = tomato_house();
    notes[1] = hang("post", "house", 300);
    let mut core = in_memory(&notes, june());
    for step in 0..288 {
        let t_c = curve(low, high, f64::from(step) / 12.0);
        let rh_pct = 100.0 * vapour_kpa / saturation(t_c);
        let at_ms = june() + i64::from(step) * 5 * MINUTE;
        hear(&mut core, at_ms, &[("post", AIR, t_c), ("post", HUMIDITY, rh_pct)]);
    }
    core.advance(moment(june() + DAY));
    everything(&mut core)
}

/// Computed test vectors of the project's agronomy notes (B.3 and B.5).
#[test]
fn curve_days_come_out_as_in_the_computed_test_vectors_of_the_projects_agronomy_notes() {
    // low, high, dew point; mean, integral, extremes-clipped 10/30, hours from 32, mean and highest deficit.
    let days = [
        (16.0, 36.0, 15.0, [24.29, 13.34, 13.0, 4.75, 1.55, 4.24]),
        (18.0, 42.0, 16.0, [27.94, 15.26, 14.0, 8.0, 2.33, 6.38]),
        (12.0, 30.0, 10.0, [19.46, 9.46, 11.0, 0.0, 1.18, 3.02]),
    ];
    for (low, high, dew_c, [mean, integral, clipped, from_32, deficit, highest]) in days {
        let all = curve_day(low, high, dew_c);
        let page = &all["day_pages"][0];
        let figure = |pointer: &str| page.pointer(pointer).and_then(Value::as_f64).unwrap();
        close(figure("/t_mean_c"), mean, 0.011, "mean air");
        close(figure("/degree_days/integral 10~130"), integral, 0.011, "integral");
        close(figure("/degree_days/extremes-clipped 10~130"), clipped, 0.011, "extremes-clipped");
        // The average of the deficit, not the deficit of averages (1.18, 1.73 and 0.94 kPa). Humidity comes in tenths.
        close(figure("/vpd_mean_kpa"), deficit, 0.008, "mean deficit");
        close(figure("/vpd_max_kpa"), highest, 0.011, "highest deficit");
        let from = all["planting_pages"][0]["rule_hours"]["day_moderate"].as_f64().unwrap();
        close(from, from_32, 0.09, "hours from 32, to one step of five minutes");
    }
}

/// Computed test vectors of the project's agronomy notes (B.3, column single sine).
#[test]
fn a_thermometer_read_by_hand_in_the_evening_makes_its_own_days_page() {
    for (low, high, sine) in [(16.0, 36.0, 14.56), (18.0, 42.0, 16.18), (12.0, 30.0, 11.0)] {
        let mut core = in_memory(&tomato_house(), june());
        let read =
            Note::Thermometer { place: "house".into(), now_c: None, low_c: Some(low), high_c: Some(high) };
        core.note(moment(june() + 19 * HOUR), read, None).unwrap();
        core.advance(moment(june() + 2 * DAY));
        let all = everything(&mut core);
        let page = &all["day_pages"][0];
        assert_eq!((&page["date"], &page["read_by_hand"]), (&"2026-06-01".into(), &true.into()));
        close(page["degree_days"]["integral 10/30"].as_f64().unwrap(), sine, 0.006, "single sine");
    }
}

#[test]
fn read_in_the_morning_the_highest_belongs_to_the_day_before() {
    let mut core = in_memory(&tomato_house(), june());
    for (day, low, high) in [(1, 14.0, 31.0), (2, 15.0, 33.0)] {
        let read =
            Note::Thermometer { place: "house".into(), now_c: None, low_c: Some(low), high_c: Some(high) };
        core.note(moment(june() + day * DAY + 8 * HOUR), read, None).unwrap();
    }
    core.advance(moment(june() + 3 * DAY));
    let all = everything(&mut core);
    let pages = all["day_pages"].as_array().unwrap();
    assert_eq!(pages.len(), 1, "of the first day only the highest is known, of the third only the lowest");
    assert_eq!((&pages[0]["t_min_c"], &pages[0]["t_max_c"]), (&14.0.into(), &33.0.into()));
}

#[test]
fn below_eighteen_hours_a_day_has_no_degree_days_and_says_its_share() {
    let mut notes = tomato_house();
    notes[1] = hang("post", "house", 900);
    for (hours, counts) in [(17, false), (18, true)] {
        let mut core = in_memory(&notes, june());
        // The last reading holds for two intervals: half an hour.
        walk(&mut core, "post", june(), 15 * MINUTE, &[(0, 20.0), (hours * HOUR - 15 * MINUTE, 20.0)]);
        core.advance(moment(june() + DAY));
        let all = everything(&mut core);
        let page = &all["day_pages"][0];
        close(page["measured_share"].as_f64().unwrap(), hours as f64 / 24.0, 0.000_1, "share");
        assert_eq!(page["degree_days"]["integral 10/30"].is_number(), counts, "{hours} h");
    }
}
