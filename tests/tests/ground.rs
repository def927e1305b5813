//! Ground and diary by the command line: back-dated, undone, refused; with and without a running service.

use std::fmt::Write as _;

use serde_json::Value;
use tests::long_house::{self, AIR, HUMIDITY};
use tests::program::{Garden, said};

/// Place and probe stand from the first planting on.
fn new_garden() -> Garden {
    Garden::new(&format!("{}{}", long_house::start(3600), long_house::planting("heads", "lettuce")))
}

/// Three days in July that rise to 33, 35 and 37 °C at noon, and one missing humidity.
fn take_in(garden: &Garden) -> Value {
    let mut rows = String::new();
    for day in 1..=3 {
        for hour in 0..24 {
            let t_c = 15.0 + f64::from(18 + 2 * (day - 1)) * (1.0 - f64::from((hour - 12_i32).abs()) / 12.0);
            let rh = if hour == 5 { String::new() } else { format!("{}", 80 - 2 * hour) };
            let _ = writeln!(rows, "2026-07-{day:02} {hour:02}:00,{t_c:.2},{rh}");
        }
    }
    let record = long_house::write_record(garden.path(), 3600, &[AIR, HUMIDITY], &rows);
    long_house::take_in(garden, &record)
}

fn export(garden: &Garden) -> Value {
    garden.json(&["export", "--json"])
}

/// What a glance says whatever the clock says.
fn timeless(mut glance: Value) -> Value {
    for key in ["at_ms", "board"] {
        glance[key].take();
    }
    glance
}

fn planting_dates(export: &Value, planting: &str) -> Vec<String> {
    let pages = export["planting_pages"].as_array().unwrap().iter();
    let of_it = pages.filter(|page| page["planting"] == planting);
    of_it.map(|page| page["date"].as_str().unwrap().to_owned()).collect()
}

#[test]
fn a_back_dated_planting_makes_its_days_afresh_and_undoing_it_takes_them_away() {
    let garden = new_garden();
    let service = garden.start();
    take_in(&garden);
    let before = export(&garden);
    assert_eq!(before["day_pages"].as_array().unwrap().len(), 3);
    assert_eq!(planting_dates(&before, "reds"), [""; 0]);
    let entry = garden.note(&["--at", "2026-07-02", "planting", "reds", "tomato", "long", "--count", "8"]);
    let after = export(&garden);
    assert_eq!(planting_dates(&after, "reds"), ["2026-07-02", "2026-07-03"]);
    let pages = after["planting_pages"].as_array().unwrap();
    let totals: Vec<f64> = pages
        .iter()
        .filter(|page| page["planting"] == "reds")
        .map(|page| page["total"].as_f64().unwrap())
        .collect();
    assert!(totals[0] > 0.0 && totals[1] > totals[0], "{totals:?}");
    garden.note(&["--at", "2026-07-03", "end", "reds"]);
    assert_eq!(planting_dates(&export(&garden), "reds"), ["2026-07-02"], "gone from the site's midnight on");
    garden.note(&["undo", &entry.to_string()]);
    let undone = export(&garden);
    assert_eq!(undone["planting_pages"], before["planting_pages"]);
    assert_eq!(undone["day_pages"], before["day_pages"]);
    assert!(service.stop().success());
    assert_eq!(export(&garden)["day_pages"], before["day_pages"]);
}

#[test]
fn with_and_without_a_running_service_the_answers_are_the_same() {
    let (running, resting) = (new_garden(), new_garden());
    let service = running.start();
    for garden in [&running, &resting] {
        let taken = take_in(garden);
        assert_eq!((&taken["readings"], &taken["by_hand"]), (&144.into(), &0.into()));
        garden.note(&["--at", "2026-07-01", "planting", "reds", "tomato", "long"]);
        garden.note(&["--at", "2026-07-02T08:00+02:00", "vents", "long", "open"]);
        garden.note(&["--at", "2026-07-02T08:00+02:00", "water", "reds", "12.5"]);
        garden.note(&["--at", "2026-07-03T08:00+02:00", "first-flower", "reds"]);
    }
    // Notices bear the time at which they were told, which differs between the two.
    let reckoned = |garden: &Garden| {
        let mut export = export(garden);
        export["notices"].take();
        export
    };
    assert_eq!(reckoned(&running), reckoned(&resting));
    let ground = |garden: &Garden| garden.json(&["ground", "--json"]);
    assert_eq!(ground(&running), ground(&resting));
    assert_eq!(ground(&running)["places"][0]["plantings"][1]["planting"], "reds");
    // Entries bear the time at which they were noted, which differs between the two, and a number: the ledger's own
    // entries are counted with them, and come when they come.
    let now = |garden: &Garden| {
        let mut glance = timeless(garden.json(&["now", "--json"]));
        for entry in glance["entries"].as_array_mut().unwrap() {
            entry["at_ms"].take();
            entry["id"].take();
        }
        glance
    };
    assert_eq!(now(&running)["plantings"], now(&resting)["plantings"]);
    assert_eq!(now(&running)["entries"], now(&resting)["entries"]);
    assert!(service.stop().success());
    assert_eq!(reckoned(&running), reckoned(&resting), "after its end as well");
}

#[test]
fn taking_in_twice_changes_nothing() {
    let garden = new_garden();
    let days = serde_json::json!([{ "from": "2026-07-01", "to": "2026-07-03" }]);
    let expected = |new: u64, days: Value| {
        serde_json::json!({
            "readings": 144, "by_hand": 0, "new": new, "held": 144 - new, "days": days, "unplaced": []
        })
    };
    assert_eq!(take_in(&garden), expected(144, days));
    let once = export(&garden);
    assert_eq!(once["day_pages"][2]["t_max_c"], 37.0);
    assert_eq!(take_in(&garden), expected(0, serde_json::json!([])));
    assert_eq!(export(&garden)["day_pages"], once["day_pages"]);
    let service = garden.start();
    take_in(&garden);
    let twice = export(&garden);
    assert_eq!(twice["day_pages"], once["day_pages"]);
    for quantity in ["air_temperature", "relative_humidity"] {
        let count = |export: &Value, grade: &str| export["readings"]["post"][quantity][grade].as_u64();
        assert_eq!(count(&twice, "sound"), count(&once, "sound"), "{quantity}");
        assert_eq!(count(&twice, "doubtful"), Some(0), "{quantity}");
    }
    assert_eq!(twice["readings"]["post"]["air_temperature"]["reasons"]["repeated"], 2 * 72);
    assert!(service.stop().success());
    assert_eq!(export(&garden)["day_pages"], once["day_pages"]);
}

#[test]
fn what_is_not_in_the_book_or_on_the_ground_is_refused_with_words() {
    let garden = new_garden();
    for running in [false, true] {
        let service = running.then(|| garden.start());
        for (what, word) in [
            (vec!["planting", "reds", "tomatoe", "long"], "tomato"),
            (vec!["planting", "reds", "tomato", "longg"], "longg"),
            (vec!["end", "blues"], "blues"),
            (vec!["undo", "4711"], "4711"),
            (vec!["place", "a b", "A B", "house"], "a b"),
            (vec!["reply", "2026-07-01.long.too-hot", "on-it"], "notice"),
        ] {
            let output = garden.ask(&[&["note"], what.as_slice()].concat());
            assert_eq!(output.status.code(), Some(2), "{what:?}: {}", said(&output));
            assert!(said(&output).contains(word), "{what:?}: {}", said(&output));
        }
        assert_eq!(garden.json(&["ground", "--json"])["places"][0]["plantings"].as_array().unwrap().len(), 1);
        drop(service);
    }
}
