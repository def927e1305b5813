//! A grower's own figures for one planting, from the site file and the command line to pages, sums and lines.

use std::fmt::Write as _;

use serde_json::Value;
use tests::long_house::{self, AIR, planting};
use tests::program::{Garden, said};

/// Two plantings of tomatoes side by side; one goes by the book, the other has a line and a base of its own.
fn start() -> String {
    let own = "figures.heat_rule.day_severe.threshold = 37.0\nfigures.gdd.t_base_c = 9.0\n";
    [long_house::start(3600), planting("book", "tomato"), planting("own", "tomato"), own.to_owned()].concat()
}

/// Two days in July: from 15 °C at midnight in a straight line to 35 and 37 °C at noon and back.
fn take_in(garden: &Garden) {
    let mut rows = String::new();
    for (day, high) in [(1, 35.0), (2, 37.0)] {
        for hour in 0..24 {
            let t_c = 15.0 + (high - 15.0) * (1.0 - f64::from((hour - 12_i32).abs()) / 12.0);
            let _ = writeln!(rows, "2026-07-{day:02} {hour:02}:00,{t_c:.2}");
        }
    }
    long_house::take_in(garden, &long_house::write_record(garden.path(), 3600, &[AIR], &rows));
}

/// `(line, hours past it, degree days)` of each day of a planting.
fn days(garden: &Garden, planting: &str) -> Vec<(f64, f64, f64)> {
    let all = garden.json(&["export", "--json"]);
    let pages = all["planting_pages"].as_array().unwrap().iter();
    let figure = |page: &Value, key: &str| page[key].as_f64().unwrap();
    let of_it = pages.filter(|page| page["planting"] == planting);
    of_it
        .map(|page| (figure(page, "line_c"), figure(page, "stress_hours"), figure(page, "degree_days")))
        .collect()
}

/// By hand: 35 °C is reached for the hour of noon on the first day and for three hours on the second (35.17, 37,
/// 35.17), 37 °C for one. Mean of the extremes capped at 28: (15 + 28) / 2 ... the mean itself, 25 and 26, lies below
/// the cap; less the base of 7 (crop book) or 9.
const BY_BOOK: [(f64, f64, f64); 2] = [(35.0, 1.0, 18.0), (35.0, 3.0, 19.0)];
const BY_OWN: [(f64, f64, f64); 2] = [(37.0, 0.0, 16.0), (37.0, 1.0, 17.0)];

#[test]
fn own_figures_of_a_site_file_hold_for_their_planting_and_the_page_says_so() {
    let garden = Garden::new(&start());
    let service = garden.start();
    take_in(&garden);
    assert_eq!(days(&garden, "book"), BY_BOOK);
    assert_eq!(days(&garden, "own"), BY_OWN);
    let (status, page) = service.get("/season/own");
    assert_eq!(status, 200);
    for words in [
        "Your own figures",
        "37 °C",
        "your own figure; book: 35 °C",
        "9 °C",
        "book: 7 °C",
        "mean-capped 9/28",
    ] {
        assert!(page.contains(words), "{words} is missing in {page}");
    }
    assert!(!service.get("/season/book").1.contains("Your own figures"));
    assert!(service.stop().success());
    assert_eq!(days(&garden, "own"), BY_OWN, "after a restart");
}

#[test]
fn an_own_figure_is_noted_and_undone_by_command_and_a_wrong_one_is_refused() {
    let garden = Garden::new(&start());
    let service = garden.start();
    take_in(&garden);
    let line = garden.note(&["figure", "book", "heat_rule.day_severe.threshold", "37"]);
    let base = garden.note(&["figure", "book", "gdd.t_base_c", "9"]);
    assert_eq!(days(&garden, "book"), BY_OWN);
    for entry in [line, base] {
        garden.note(&["undo", &entry.to_string()]);
    }
    assert_eq!(days(&garden, "book"), BY_BOOK);
    let refused = garden.ask(&["note", "figure", "book", "heat_rule.day_severe.treshold", "37"]);
    assert_eq!(refused.status.code(), Some(2), "{}", said(&refused));
    assert!(said(&refused).contains("write heat_rule.day_severe.threshold"), "{}", said(&refused));
    // All that speaks against it is told: the milder rule and the base of growth.
    let refused = garden.ask(&["note", "figure", "book", "heat_rule.day_severe.threshold", "-5"]);
    assert_eq!(refused.status.code(), Some(2), "{}", said(&refused));
    for words in ["below heat_rule.day_moderate.threshold 32", "not above gdd.t_base_c 7"] {
        assert!(said(&refused).contains(words), "{words} is missing in {}", said(&refused));
    }
    assert!(service.stop().success());
}

#[test]
fn a_figure_from_which_nothing_is_reckoned_yet_is_kept_and_said_to_wait() {
    let garden = Garden::new(&start());
    let note = |figure: &str, value: &str| {
        let output = garden.ask(&["note", "figure", "book", figure, value]);
        assert!(output.status.success(), "{}", said(&output));
        let told = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(told.contains("undo with: glasshour note undo"), "{told}");
        told.contains("noted; nothing is reckoned from it yet")
    };
    assert!(note("water.height_m", "1.8"), "without a service");
    let service = garden.start();
    assert!(note("water.root_depth_m", "0.8"));
    assert!(!note("heat_rule.acute.threshold", "41"));
    let (status, page) = service.get("/season/book");
    assert_eq!(status, 200);
    assert_eq!(page.matches("nothing is reckoned from it yet").count(), 2, "{page}");
    assert!(service.stop().success());
}

#[test]
fn own_figures_that_cannot_stand_keep_the_service_from_starting_and_are_all_told() {
    let wrong = start()
        .replace("t_base_c = 9.0", "t_base_c = 29.0")
        .replace("threshold = 37.0", "threshold = \"hot\"");
    let garden = Garden::new(&wrong);
    let output = garden.ask(&["now"]);
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    for words in [
        "own, heat_rule.day_severe: threshold is text; write a number in °C",
        "own: gdd.t_upper_c 28 is not above gdd.t_base_c 29",
    ] {
        assert!(said(&output).contains(words), "{words} is missing in {}", said(&output));
    }
}
