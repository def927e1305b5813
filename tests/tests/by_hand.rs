//! A garden without any instrument: what the grower reads off a thermometer becomes day pages.

use std::path::Path;

use serde_json::{Value, json};
use tests::program::{Garden, root, said};

const START: &str = "[start]\n[[start.place]]\nid = \"long\"\nname = \"Long House\"\nkind = \"house\"\n";

fn page(garden: &Garden, date: &str) -> Value {
    let export = garden.json(&["export", "--json"]);
    let pages = export["day_pages"].as_array().unwrap();
    pages.iter().find(|page| page["date"] == date).cloned().unwrap_or(Value::Null)
}

/// Lowest, highest, single sine and clipped extremes at 10/30 °C, of some rows of the reference table.
fn reference() -> Vec<(f64, f64, f64, f64)> {
    let table = root().join(Path::new("tests/reference/degree_days_synthetic.csv"));
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(table).unwrap();
    let headers = reader.headers().unwrap().clone();
    let column = |name: &str| headers.iter().position(|header| header == name).unwrap();
    let [lower, upper, low, high] = ["lower", "upper", "tmin", "tmax"].map(column);
    let [sine, clipped] = ["single_sine_horizontal", "avg_clipped_extremes"].map(column);
    let rows = reader.records().map(Result::unwrap);
    let figures = rows.filter(|row| &row[lower] == "10" && &row[upper] == "30").map(|row| {
        let [low, high, sine, clipped] = [low, high, sine, clipped].map(|at| row[at].parse::<f64>().unwrap());
        (low, high, sine, clipped)
    });
    // One of each case is enough: below, across the lower, between, across the upper, above, across both.
    figures
        .filter(|(low, high, ..)| (low * 10.0).fract() == 0.0 && *high < 45.0)
        .take(22)
        .step_by(2)
        .collect()
}

#[test]
fn lows_and_highs_read_in_the_evening_give_the_single_sine_of_published_tables() {
    let garden = Garden::new(START);
    let rows = reference();
    assert!(rows.len() > 8, "{rows:?}");
    let service = garden.start();
    for (n, (low, high, ..)) in rows.iter().enumerate() {
        let at = format!("2026-07-{:02}T20:00+02:00", n + 1);
        let (low, high) = (low.to_string(), high.to_string());
        garden.note(&["--at", &at, "thermometer", "long", "--low", &low, "--high", &high]);
    }
    for (n, (low, high, sine, clipped)) in rows.iter().enumerate() {
        let page = page(&garden, &format!("2026-07-{:02}", n + 1));
        assert_eq!(page["read_by_hand"], true, "{page}");
        assert_eq!((page["t_min_c"].as_f64(), page["t_max_c"].as_f64()), (Some(*low), Some(*high)));
        // The pages have two decimals.
        let near = |rule: &str, told: f64| {
            let found = page["degree_days"][rule].as_f64().unwrap();
            assert!((found - told).abs() <= 0.005_001, "{low} to {high}, {rule}: {found}, told {told}");
        };
        near("integral 10/30", *sine);
        near("extremes-clipped 10/30", *clipped);
        assert_eq!(page["measured_share"], 0.0, "a reading by hand measures no share of a day");
        assert_eq!(page["vpd_mean_kpa"], Value::Null, "nothing is known of the air's dryness");
    }
    assert!(service.stop().success());
}

#[test]
fn read_in_the_morning_the_high_belongs_to_the_day_before() {
    // Common practice in keeping weather books.
    let garden = Garden::new(START);
    garden.note(&["--at", "2026-07-01T20:00+02:00", "thermometer", "long", "--low", "12", "--high", "28"]);
    garden.note(&["--at", "2026-07-02T07:00+02:00", "thermometer", "long", "--low", "14", "--high", "34"]);
    garden.note(&["--at", "2026-07-03T07:00+02:00", "thermometer", "long", "--low", "15", "--high", "36"]);
    let second = page(&garden, "2026-07-02");
    assert_eq!((&second["t_min_c"], &second["t_max_c"]), (&json!(14.0), &json!(36.0)));
}

#[test]
fn an_entry_that_is_undone_takes_its_day_page_with_it() {
    let garden = Garden::new(START);
    let service = garden.start();
    let entry = garden.note(&[
        "--at",
        "2026-07-01T20:00+02:00",
        "thermometer",
        "long",
        "--low",
        "12",
        "--high",
        "28",
    ]);
    assert_eq!(page(&garden, "2026-07-01")["t_max_c"], 28.0);
    garden.note(&["undo", &entry.to_string()]);
    assert_eq!(page(&garden, "2026-07-01"), Value::Null);
    assert!(service.stop().success());
    assert_eq!(page(&garden, "2026-07-01"), Value::Null, "also when it is opened again");
}

#[test]
fn what_cannot_be_is_refused_with_words() {
    let garden = Garden::new(START);
    for running in [false, true] {
        let service = running.then(|| garden.start());
        for (what, word) in [
            (vec!["thermometer", "long"], "lowest and highest"),
            (vec!["thermometer", "long", "--low", "30", "--high", "20"], "low"),
            (vec!["thermometer", "loong", "--now", "20"], "loong"),
            (vec!["thermometer", "long", "--now", "900"], "900"),
        ] {
            let output = garden.ask(&[&["note"], what.as_slice()].concat());
            assert_eq!(output.status.code(), Some(2), "{what:?}: {}", said(&output));
            assert!(said(&output).contains(word), "{what:?}: {}", said(&output));
        }
        drop(service);
    }
}
