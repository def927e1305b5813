//! Back-test: limits tried on a made record, on the open tunnel record, and on one's own past out of a ledger.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::Path;

use serde_json::{Value, json};
use tests::long_house::{self, AIR, planting};
use tests::program::{Garden, run, said};
use tests::records::{records, shipped};

/// One house with tomatoes, which stand last.
fn start() -> String {
    long_house::start(900) + &planting("red", "tomato")
}

/// An hour east of UTC.
const SITE: &str = "\
[site]
name = \"Bindweed Yard\"
latitude = 52.1
longitude = 5.3
standard_offset = \"+01:00\"
";

const DAMAGE: &str = "{\"from\": \"2026-07-10\", \"what\": \"damage\", \"planting\": \"red\", \"text\": \"dropped flowers\"}\n";

/// Six days of 30 °C at most, one of 37, one of 30: in a straight line from 16 °C at midnight to the highest at 13:00
/// and back. Every quarter of an hour, from 1 July.
fn made(folder: &Path) {
    let mut rows = String::new();
    for (day, high) in (1..).zip([30.0, 30.0, 30.0, 30.0, 30.0, 30.0, 37.0, 30.0]) {
        for quarter in 0..96 {
            let hour = f64::from(quarter) / 4.0;
            let share = if hour <= 13.0 { hour / 13.0 } else { (24.0 - hour) / 11.0 };
            let _ = writeln!(
                rows,
                "2026-07-{day:02} {:02}:{:02},{:.2}",
                quarter / 4,
                quarter % 4 * 15,
                16.0 + (high - 16.0) * share
            );
        }
    }
    long_house::write_record(folder, 900, &[AIR], &rows);
    let ground = format!("{SITE}{}", start());
    for (name, text) in [
        ("ground.toml", &*ground),
        ("other.toml", &format!("{ground}figures.heat_rule.day_severe.threshold = 38.0\n")),
        ("notes.ndjson", DAMAGE),
    ] {
        std::fs::write(folder.join(name), text).unwrap();
    }
}

/// Replays the made record with its notes and further options.
fn replayed(folder: &Path, options: &[&str]) -> std::process::Output {
    let file = |name: &str| folder.join(name).display().to_string();
    let [map, ground, air] = ["map.toml", "ground.toml", "air.csv"].map(file);
    run(&[&["replay", "--record", &map, "--ground", &ground], options, &[&air]].concat())
}

fn parsed(output: &std::process::Output) -> Value {
    assert!(output.status.success(), "{}", said(output));
    serde_json::from_slice(&output.stdout).unwrap()
}

const HOTTER: &str = "red:heat_rule.day_severe.threshold=38";

/// What the made record comes to, by hand. Tomatoes bear 35 °C (crop book): the seventh day passes it at 12:00 by quarters
/// of an hour, 2 °C and more above a median of 30 over six days, so it buzzes at 12:10. The damage of the tenth lies
/// within seven days of it. At 38 °C nothing buzzes, and the notice of the moderate line (32 °C) came before the damage.
fn as_by_hand(came_to: &Value) {
    let (stands, changed) = (&came_to["as_it_stands"], &came_to["changed"]);
    assert_eq!(stands["push_days"], json!(["2026-07-07"]));
    assert_eq!(changed["push_days"], json!([]));
    assert_eq!((&stands["pushed"], &changed["pushed"]), (&json!(1), &json!(0)));
    assert_eq!(stands["by_minder"]["too-hot"], json!({ "severe": 1 }));
    assert_eq!(changed["by_minder"]["too-hot"], json!({ "moderate": 1 }));
    assert_eq!((&stands["severe_line"]["passed"], &changed["severe_line"]["passed"]), (&json!(1), &json!(0)));
    assert_eq!(stands["place_line"]["passed"], 0);
    // A course is told at most three hours before the air is expected at the line, which on this curve is at 11:46; by
    // quarters of an hour it is seen there at 12:00.
    assert_eq!(stands["severe_line"]["told_ahead"], 1);
    let lead = stands["severe_line"]["median_min"].as_f64().unwrap();
    assert!((120.0..=194.0).contains(&lead), "{lead}");
    assert_eq!(stands["severe_line"]["worst_min"], lead);
    assert_eq!(changed["severe_line"]["median_min"], Value::Null);
    for (column, buzzed) in [(stands, true), (changed, false)] {
        let damage = &column["damage"][0];
        assert_eq!(damage["date"], "2026-07-10");
        assert_eq!((&damage["planting"], &damage["text"]), (&json!("red"), &json!("dropped flowers")));
        assert_eq!(damage["buzzed"], buzzed, "{damage}");
        assert_eq!(column["followed"]["too-hot"], 1);
    }
}

#[test]
fn another_line_for_one_planting_shows_what_it_would_have_told_and_what_damage_came_after() {
    let folder = tempfile::tempdir().unwrap();
    made(folder.path());
    let [notes, other] =
        ["notes.ndjson", "other.toml"].map(|name| folder.path().join(name).display().to_string());
    let by_figure = parsed(&replayed(folder.path(), &["--json", "--notes", &notes, "--figure", HOTTER]));
    as_by_hand(&by_figure);
    let by_ground = parsed(&replayed(folder.path(), &["--json", "--notes", &notes, "--against", &other]));
    assert_eq!(by_ground, by_figure);
    let text = replayed(folder.path(), &["--notes", &notes, "--figure", HOTTER]);
    let text = String::from_utf8(text.stdout).unwrap();
    let row = |what: &str| -> Vec<String> {
        let line =
            text.lines().find(|line| line.starts_with(what)).unwrap_or_else(|| panic!("{what}: {text}"));
        line[what.len()..].split_whitespace().map(str::to_owned).collect()
    };
    assert_eq!(row("would have buzzed a phone"), ["1", "0"]);
    assert_eq!(row("  too-hot, severe at worst"), ["1", "0"]);
    assert_eq!(row("  too-hot, moderate at worst"), ["0", "1"]);
    assert_eq!(row("  within 7 days of a notice that buzzed"), ["1", "0"]);
    assert_eq!(row("  within 7 days of one that did not"), ["0", "1"]);
    assert_eq!(row("days that buzz no more:"), ["2026-07-07"]);
}

#[test]
fn ones_own_past_comes_out_of_the_ledger_with_its_diary() {
    let garden = Garden::new(&start());
    made(garden.path());
    let file = |name: &str| garden.path().join(name).display().to_string();
    garden.json(&["take-in", "--json", "--record", &file("map.toml"), &file("air.csv")]);
    let seen = ["note", "--json", "--at", "2026-07-10", "damage", "red", "dropped flowers"];
    let undone = garden.json(&["note", "--json", "--at", "2026-07-02", "damage", "red", "none after all"]);
    garden.json(&["note", "--json", "undo", &undone["entry"].to_string()]);
    garden.json(&seen);
    let ledger = garden.ledger().display().to_string();
    let came_to = garden.json(&["replay", "--json", "--folder", &ledger, "--figure", HOTTER]);
    as_by_hand(&came_to);
    assert_eq!(came_to["as_it_stands"]["damage"].as_array().unwrap().len(), 1, "one was undone");
    // The same past on another ground.
    let grounds = ["--ground", &file("ground.toml"), "--against", &file("other.toml")];
    let on_grounds = garden.json(&[&["replay", "--json", "--folder", &ledger][..], &grounds].concat());
    as_by_hand(&on_grounds);
    // And a backup of it, while the service has the ledger.
    let service = garden.start();
    let held = garden.ask(&["replay", "--folder", &ledger, "--figure", HOTTER]);
    assert_eq!(held.status.code(), Some(4), "{}", said(&held));
    assert!(said(&held).contains("glasshour ledger backup"), "{}", said(&held));
    let (site, backup) = (garden.site_file().display().to_string(), file("backup"));
    let saved = run(&["ledger", "backup", "--site", &site, &backup]);
    assert!(saved.status.success(), "{}", said(&saved));
    drop(service);
    assert_eq!(garden.json(&["replay", "--json", "--folder", &backup, "--figure", HOTTER]), came_to);
}

#[test]
fn what_cannot_be_used_is_said_with_its_line_or_its_reason() {
    let folder = tempfile::tempdir().unwrap();
    made(folder.path());
    let notes = folder.path().join("wrong.ndjson");
    std::fs::write(&notes, format!("{DAMAGE}\n{{\"what\": \"remark\", \"text\": \"hot\"}}\n")).unwrap();
    let notes = notes.display().to_string();
    let refused = replayed(folder.path(), &["--notes", &notes]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(said(&refused).contains("wrong.ndjson:3: \"from\" is missing"), "{}", said(&refused));
    // A note that makes no sense on this ground is left out, said, and the rest comes out.
    std::fs::write(&notes, DAMAGE.replace("red", "blue")).unwrap();
    let left_out = replayed(folder.path(), &["--json", "--notes", &notes]);
    assert_eq!(left_out.status.code(), Some(2));
    assert!(said(&left_out).contains("unknown planting \"blue\"; known: red"), "{}", said(&left_out));
    assert!(serde_json::from_slice::<Value>(&left_out.stdout).unwrap()["notices"].is_array());
    for (figure, why) in [
        ("blue:heat_rule.day_severe.threshold=38", "unknown planting \"blue\""),
        ("red:heat_rule.day_severe.threshold=20", "heat_rule.day_severe.threshold"),
        ("red=38", "PLANTING:NAME=VALUE"),
    ] {
        let refused = replayed(folder.path(), &["--figure", figure]);
        assert_eq!(refused.status.code(), Some(2), "{figure}");
        assert!(said(&refused).contains(why), "{figure}: {}", said(&refused));
    }
    assert_eq!(run(&["replay"]).status.code(), Some(2), "neither a record nor a past");
}

#[test]
fn notices_have_the_form_of_the_work_order() {
    let folder = tempfile::tempdir().unwrap();
    made(folder.path());
    let replayed = parsed(&replayed(folder.path(), &["--json"]));
    // ISO 8601 in UTC, as RFC 3339 writes it.
    let is_time = |value: &Value| {
        let text = value.as_str().unwrap_or_default();
        text.len() == 20 && glasshour::calendar::day(&text[..10]).is_some() && text.ends_with('Z')
    };
    let severities = ["minor", "moderate", "severe", "extreme"];
    let severity = |value: &Value| severities.contains(&value.as_str().unwrap_or_default());
    let notices = replayed["notices"].as_array().unwrap();
    let mut ids = BTreeSet::new();
    for notice in notices {
        for text in ["id", "minder", "place"] {
            assert!(notice[text].is_string(), "{text} of {notice}");
        }
        assert!(ids.insert(notice["id"].as_str().unwrap()), "{notice}");
        assert!(notice["planting"].is_string() || notice["planting"].is_null(), "{notice}");
        assert!(severity(&notice["severity"]) && notice["pushed"].is_boolean(), "{notice}");
        assert!(is_time(&notice["opened_at"]), "{notice}");
        assert!(is_time(&notice["closed_at"]) || notice["closed_at"].is_null(), "{notice}");
        let steps = notice["steps"].as_array().unwrap();
        assert_eq!(steps[0]["at"], notice["opened_at"]);
        for step in steps {
            assert!(is_time(&step["at"]) && severity(&step["severity"]), "{step}");
            assert!(!step["text"].as_str().unwrap().is_empty(), "{step}");
        }
        let pushed = steps.iter().any(|step| step["pushed"] == true);
        assert_eq!(notice["pushed"], pushed, "{notice}");
    }
    let heat: Vec<&Value> = notices.iter().filter(|notice| notice["minder"] == "too-hot").collect();
    assert_eq!(heat.len(), 1);
    assert_eq!((&heat[0]["place"], &heat[0]["planting"]), (&json!("long"), &json!("red")));
    assert_eq!((&heat[0]["severity"], &heat[0]["pushed"]), (&json!("severe"), &json!(true)));
    let told: Vec<(&str, &str)> = heat[0]["steps"].as_array().unwrap()[..2]
        .iter()
        .map(|step| (step["at"].as_str().unwrap(), step["severity"].as_str().unwrap()))
        .collect();
    // By hand: 32 °C from 10:00 on (16 + 21 × 10 / 13 = 32.15), 35 °C from 12:00 on; ten minutes later each; an hour
    // east of UTC.
    assert_eq!(told, [("2026-07-07T09:10:00Z", "moderate"), ("2026-07-07T11:10:00Z", "severe")]);
    // On a straight way down 13:00 to 24:00 it is 1.5 °C below 32 from 16:30 on: told twenty minutes later.
    assert_eq!(heat[0]["closed_at"], "2026-07-07T15:50:00Z");
}

/// The tunnel with tomatoes alone, since the most tender crop of a place sets its line.
const TUNNEL: &str = "\
[site]
name = \"Tunnel of the record\"
latitude = 45.3
longitude = 11.9
standard_offset = \"+01:00\"
[[start.place]]
id = \"tunnel\"
name = \"Tunnel\"
kind = \"house\"
[[start.probe]]
probe = \"ref\"
place = \"tunnel\"
height_m = 1.5
shelter = \"screened\"
usual_interval_s = 900
[[start.planting]]
id = \"tomato\"
crop = \"tomato\"
place = \"tunnel\"
planted_out = 2022-05-01
ended = 2022-10-31
";

/// On how many days of May to October 2022 the record's air came to stand at a line or above for ten minutes, each
/// reading taken to hold until the next, at most half an hour.
fn days_at(air: &Path, line_c: f64) -> usize {
    let mut rows = csv::Reader::from_path(air).unwrap();
    let mut days = BTreeSet::new();
    // The day and the minute since when it stands, and until when that is known.
    let mut standing: Option<(i64, i64, i64)> = None;
    for row in rows.records().map(Result::unwrap) {
        // `22/06/2021 11:15:00`.
        let (stamp, value) = (&row[1], row[0].parse::<f64>());
        let number = |range: std::ops::Range<usize>| stamp[range].parse::<i64>().unwrap();
        let day = glasshour::calendar::day(&format!("{}-{}-{}", &stamp[6..10], &stamp[3..5], &stamp[..2]));
        let day = day.unwrap();
        let minute = day * 24 * 60 + number(11..13) * 60 + number(14..16);
        if let Some((day, since, until)) = standing
            && minute.min(until) - since >= 10
        {
            days.insert(day);
        }
        let Ok(value) = value else { continue };
        let since =
            standing.filter(|(_, _, until)| minute <= *until).map_or((day, minute), |it| (it.0, it.1));
        standing = (value >= line_c).then_some((since.0, since.1, minute + 30));
    }
    let [first, last] = ["2022-05-01", "2022-10-31"].map(|date| glasshour::calendar::day(date).unwrap());
    days.range(first..=last).count()
}

#[test]
fn on_the_tunnel_record_a_line_of_38_for_tomatoes_buzzes_less_than_one_of_35() {
    let Some(folder) = records() else { return };
    let folder = folder.join("it-tunnel-greenhouse-1");
    let scratch = tempfile::tempdir().unwrap();
    let ground = scratch.path().join("ground.toml");
    std::fs::write(&ground, TUNNEL).unwrap();
    let air = folder.join("Ref_AirTemp.csv");
    let map = shipped("tunnel-ref.toml");
    let [map, ground, file] = [&map, &ground, &air].map(|path| path.display().to_string());
    let figure = "tomato:heat_rule.day_severe.threshold=38";
    let came_to =
        parsed(&run(&["replay", "--json", "--record", &map, "--ground", &ground, "--figure", figure, &file]));
    let count =
        |column: &str, pointer: &str| came_to[column].pointer(pointer).unwrap().as_u64().unwrap() as usize;
    let days = |column: &str| -> BTreeSet<String> {
        let days = came_to[column]["push_days"].as_array().unwrap().iter();
        days.map(|day| day.as_str().unwrap().to_owned()).collect()
    };
    let (stands, changed) = (days("as_it_stands"), days("changed"));
    println!("{came_to:#}");
    assert!(changed.len() < stands.len(), "{} and {}", stands.len(), changed.len());
    assert!(changed.is_subset(&stands), "a higher line buzzes on no day more");
    // The place's own line, 40 °C, is the same in both.
    assert_eq!(count("as_it_stands", "/place_line/passed"), count("changed", "/place_line/passed"));
    // A notice that stands over midnight is not told anew, and a single reading may be refused.
    for (column, line_c) in [("as_it_stands", 35.0), ("changed", 38.0)] {
        let (told, counted) = (count(column, "/severe_line/passed"), days_at(&air, line_c));
        println!("{line_c}: {told} days told, {counted} counted");
        assert!(told.abs_diff(counted) <= 2, "{line_c}: {told} told, {counted} counted");
    }
}
