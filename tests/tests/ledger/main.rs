//! The ledger looked after by its commands: with the real program, while its service runs and while it does not.

mod backups;
mod exports;

use std::path::{Path, PathBuf};

use agronomy::quantity::Quantity;
use glasshour::ledger::{Commit, Founding, Ledger};
use glasshour::reading::{Reading, Reason};
use rusqlite::Connection;
use serde_json::{Value, json};
use tests::program::{Garden, root, run, said};
use tests::servers::process::until;

/// 2026-06-01T00:00:00Z (`date -u -d 2026-06-01 +%s`), a Monday.
const JUNE: i64 = 1_780_272_000_000;
const HOUR: i64 = 3_600_000;
/// Hours of readings in a garden of these tests.
const HOURS: i64 = 24 * 20;

const GROUND: &str = "[start]\n[[start.place]]\nid = \"long\"\nname = \"Long House\"\nkind = \"house\"\n\
    [[start.planting]]\nid = \"reds\"\ncrop = \"tomato\"\nplace = \"long\"\nplanted_out = 2026-05-04\n\
    [[start.probe]]\nprobe = \"bench-2\"\nplace = \"long\"\nshelter = \"screened\"\nusual_interval_s = 3600\n";

/// A garden with twenty days of readings, all but the last in chunks.
fn garden() -> Garden {
    let garden = Garden::new(GROUND);
    // The first start notes what hangs where, and how often it speaks.
    garden.start().stop();
    let founding = Founding { offset_ms: HOUR, program: "glasshour test".to_owned() };
    let mut ledger = Ledger::open(&garden.ledger(), &founding).unwrap();
    ledger.set_usual_interval("bench-2", HOUR);
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    for hour in 0..HOURS {
        let at_ms = JUNE + hour * HOUR;
        let reading = |quantity, value| Reading {
            probe: "bench-2".into(),
            quantity,
            value,
            at_ms,
            reason: Reason::None,
        };
        let t_c = 14.0 + (hour % 24) as f64 / 2.0;
        let readings = [
            reading(Quantity::AirTemperature, t_c),
            reading(Quantity::SoilMoisture, 30.0 - hour as f64 / 100.0),
        ];
        ledger.commit(&Commit { readings: &readings, ..Commit::empty(boot, at_ms, hour * HOUR) }).unwrap();
    }
    ledger.compact(JUNE + (HOURS - 1) * HOUR).unwrap();
    garden
}

/// Runs `ledger WHAT --site FILE ...`.
fn ask(garden: &Garden, args: &[&str]) -> std::process::Output {
    let site = garden.site_file();
    let (what, rest) = args.split_first().unwrap();
    run(&[&["ledger", what, "--site", site.to_str().unwrap()], rest].concat())
}

fn code(output: &std::process::Output) -> i32 {
    output.status.code().unwrap()
}

fn value(output: &std::process::Output) -> Value {
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {}", said(output)))
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

fn file(garden: &Garden) -> PathBuf {
    garden.ledger().join("ledger")
}

/// How what [`spoil`] spoils is named.
const SPOILT: &str = "bench-2 air_temperature, 2026-05-27T23:00:00Z to 2026-06-03T23:00:00Z";

/// Spoils the first chunk, as a worn card would; the service must not run.
fn spoil(garden: &Garden) {
    let conn = Connection::open(file(garden)).unwrap();
    let done =
        conn.execute("UPDATE chunk SET body = zeroblob(70) WHERE id = (SELECT min(id) FROM chunk)", []);
    assert_eq!(done.unwrap(), 1);
    without_log(&conn);
}

/// Has the file say that it needs no log: closing takes the log away, and a ledger that lacks it is refused.
fn without_log(conn: &Connection) {
    conn.query_row("PRAGMA journal_mode = DELETE", [], |_| Ok(())).unwrap();
}

fn keys(value: &Value) -> Vec<&str> {
    value.as_object().unwrap().keys().map(String::as_str).collect()
}

#[test]
fn a_check_says_the_same_with_and_without_a_service_and_of_a_backup() {
    let garden = garden();
    let backup = garden.path().join("saved");
    let stopped = ask(&garden, &["check", "--json"]);
    assert_eq!(code(&stopped), 0, "{}", said(&stopped));
    let stopped = value(&stopped);
    let wanted =
        ["bytes", "bytes_per_archived_reading", "chunks", "fenced", "first", "last", "readings", "schema"];
    assert_eq!(keys(&stopped), wanted);
    assert_eq!(stopped["readings"], 2 * HOURS);
    assert_eq!(stopped["first"], "2026-06-01T00:00:00Z");
    assert_eq!(stopped["last"], "2026-06-20T23:00:00Z");
    assert_eq!((&stopped["fenced"], &stopped["schema"]), (&json!([]), &json!(2)));
    let service = garden.start();
    let running = value(&ask(&garden, &["check", "--json"]));
    let by_folder = run(&["ledger", "check", "--json", text(&garden.ledger())]);
    let by_file = run(&["ledger", "check", "--json", text(&file(&garden))]);
    assert_eq!(code(&ask(&garden, &["backup", text(&backup)])), 0);
    let saved = value(&run(&["ledger", "check", "--json", text(&backup)]));
    for other in [&running, &value(&by_folder), &value(&by_file), &saved] {
        for key in ["readings", "first", "last", "chunks", "fenced", "bytes_per_archived_reading"] {
            assert_eq!(other[key], stopped[key], "{key}");
        }
    }
    assert!(saved["bytes"].as_u64() < running["bytes"].as_u64());
    service.kill();
}

#[test]
fn damage_is_said_on_the_page_and_mended_while_the_service_runs() {
    let garden = garden();
    let backup = garden.path().join("saved");
    assert_eq!(code(&ask(&garden, &["backup", text(&backup)])), 0);
    spoil(&garden);
    let service = garden.start();
    let found = ask(&garden, &["check"]);
    let told = String::from_utf8_lossy(&found.stdout).into_owned();
    assert_eq!(code(&found), 1, "{told}");
    assert!(
        told.contains("damaged and skipped: chunk") && told.contains("bench-2 air_temperature"),
        "{told}"
    );
    let sentence = "Readings of bench-2 (air temperature) from 28 May 2026 to 3 June 2026 are damaged";
    // The command is answered a moment before the page is made afresh.
    let told = |page: &String| page.contains(sentence) && page.contains("glasshour ledger mend BACKUP");
    until("the page tells of it", || Some(service.get("/").1).filter(told));
    let mended = ask(&garden, &["mend", "--json", text(&backup)]);
    assert_eq!(code(&mended), 0, "{}", said(&mended));
    // Midnight of the third day by the standard offset is 23:00 UTC: 71 hours since the first reading.
    assert_eq!(value(&mended), json!({ "rows": 1, "readings": 71, "left": [] }));
    until("the page says so", || (!service.get("/").1.contains("are damaged")).then_some(()));
    let checked = value(&ask(&garden, &["check", "--json"]));
    assert_eq!((&checked["readings"], &checked["fenced"]), (&json!(2 * HOURS), &json!([])));
    // Told once, and no more after a restart.
    assert!(service.stop().success());
    let service = garden.start();
    assert!(!service.get("/").1.contains("are damaged"));
    service.kill();
}

#[test]
fn a_backup_is_never_overwritten_unasked_and_a_restore_waits_for_the_service_to_stop() {
    let garden = garden();
    let backup = garden.path().join("saved");
    let service = garden.start();
    assert_eq!(code(&ask(&garden, &["backup", text(&backup)])), 0);
    let bytes = std::fs::read(&backup).unwrap();
    let again = ask(&garden, &["backup", text(&backup)]);
    assert_eq!(code(&again), 2);
    assert!(said(&again).contains("there already"), "{}", said(&again));
    assert!(std::fs::read(&backup).unwrap() == bytes);
    garden.note(&["remark", "after the backup"]);
    assert_eq!(code(&ask(&garden, &["backup", "--replace", text(&backup)])), 0);
    let left =
        std::fs::read_dir(garden.ledger()).unwrap().map(|it| it.unwrap().file_name()).collect::<Vec<_>>();
    assert!(!left.iter().any(|name| name.to_string_lossy().starts_with("ledger-copy")), "{left:?}");
    garden.note(&["remark", "lost by the restore"]);
    let refused = ask(&garden, &["restore", text(&backup)]);
    assert_eq!(code(&refused), 4, "{}", said(&refused));
    assert!(service.stop().success());
    let done = ask(&garden, &["restore", "--json", text(&backup)]);
    assert_eq!(code(&done), 0, "{}", said(&done));
    let aside = value(&done)["aside"].as_str().unwrap().to_owned();
    let service = garden.start();
    let (_, diary) = service.get("/diary");
    assert!(diary.contains("after the backup") && !diary.contains("lost by the restore"));
    let (_, page) = service.get("/");
    assert!(page.contains("Restored to ") && page.contains("no old notice waited"), "{page}");
    service.kill();
    let before = run(&["ledger", "check", "--json", &aside]);
    assert_eq!((code(&before), &value(&before)["readings"]), (0, &json!(2 * HOURS)));
}

#[test]
fn a_ledger_on_another_board_says_so_and_sends_nothing_old() {
    let garden = garden();
    garden.start().stop();
    let conn = Connection::open(file(&garden)).unwrap();
    let moved = conn.execute("UPDATE meta SET value = 'another' WHERE key = 'machine'", []).unwrap();
    without_log(&conn);
    drop(conn);
    if moved == 0 {
        // A system without a name for its board cannot tell boards apart.
        assert_eq!(glasshour::ledger::machine(), None);
        return;
    }
    let service = garden.start();
    assert!(service.get("/").1.contains("The ledger came to this board; no old notice waited."));
    service.kill();
}

#[test]
fn what_cannot_be_used_is_said_with_a_code_of_its_own() {
    let garden = garden();
    let strange = garden.path().join("notes.txt");
    std::fs::write(&strange, "seven lean cabbages").unwrap();
    let refused = run(&["ledger", "check", text(&strange)]);
    assert_eq!(code(&refused), 2);
    assert!(said(&refused).contains("notes.txt is not a ledger"), "{}", said(&refused));
    assert_eq!(code(&run(&["ledger", "check", text(&garden.path().join("absent"))])), 2);
    assert_eq!(code(&ask(&garden, &["restore", text(&strange)])), 2);
    // Another process has it: this one.
    let founding = Founding { offset_ms: HOUR, program: "glasshour test".to_owned() };
    let held = Ledger::open(&garden.ledger(), &founding).unwrap();
    let refused = ask(&garden, &["check"]);
    assert_eq!(code(&refused), 4, "{}", said(&refused));
    assert!(said(&refused).contains(&format!("process {}", std::process::id())), "{}", said(&refused));
    drop(held);
    // A newer program's: refused by name by every command, and not touched.
    let mut bytes = std::fs::read(file(&garden)).unwrap();
    // Offset 60 of an SQLite file is its user version (file format document, section 1.3).
    bytes[60..64].copy_from_slice(&99_u32.to_be_bytes());
    std::fs::remove_file(garden.ledger().join("ledger-wal")).unwrap();
    std::fs::write(file(&garden), &bytes).unwrap();
    for output in [ask(&garden, &["check"]), run(&["run", text(&garden.site_file())]), garden.ask(&["now"])] {
        assert_eq!(code(&output), 3, "{}", said(&output));
        assert!(said(&output).contains("schema 99, newer than this program's 2"), "{}", said(&output));
    }
    assert!(std::fs::read(file(&garden)).unwrap() == bytes);
}

fn exported(garden: &Garden, args: &[&str]) -> String {
    let output = garden.ask(&[&["export"], args].concat());
    assert!(output.status.success(), "{args:?}: {}", said(&output));
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn readings_go_out_alike_with_and_without_a_service_and_come_back_into_another_garden() {
    let garden = garden();
    let some = [
        "--csv",
        "--series",
        "bench-2/soil_moisture",
        "--from",
        "2026-06-03",
        "--to",
        "2026-06-04T12:00:00Z",
    ];
    let forms: [&[&str]; 4] = [&["--csv"], &["--ndjson"], &["--senml"], &some];
    let stopped = forms.map(|args| exported(&garden, args));
    let service = garden.start();
    assert_eq!(forms.map(|args| exported(&garden, args)), stopped);
    service.kill();
    let [csv, ndjson, senml, part] = stopped;
    assert_eq!(csv.lines().count() as i64, 1 + 2 * HOURS);
    assert_eq!(ndjson.lines().count() as i64, 2 * HOURS);
    let pack: Vec<Value> = serde_json::from_str(&senml).unwrap();
    assert_eq!((pack.len() as i64, &pack[0]["bu"]), (2 * HOURS, &json!("Cel")));
    // Days begin at midnight of the standard offset: 23:00 UTC of the day before.
    let rows: Vec<&str> = part.lines().skip(1).collect();
    assert_eq!(rows[0], "2026-06-02T23:00:00Z,bench-2,soil_moisture,%,29.53,sound,");
    assert_eq!((rows.len(), rows[36]), (37, "2026-06-04T11:00:00Z,bench-2,soil_moisture,%,29.17,sound,"));
    let unknown = garden.ask(&["export", "--csv", "--series", "bench-3/light"]);
    assert_eq!(unknown.status.code(), Some(2), "{}", said(&unknown));

    let other = Garden::new(GROUND);
    let table = other.path().join("readings.csv");
    std::fs::write(&table, &csv).unwrap();
    let map = root().join("config/examples/records/export.toml");
    let taken = other.json(&["take-in", "--json", "--record", text(&map), text(&table)]);
    assert_eq!(taken["readings"], 2 * HOURS);
    assert_eq!(exported(&other, &["--csv"]), csv);
}

#[test]
fn old_readings_go_when_somebody_says_so_twice() {
    let garden = garden();
    let service = garden.start();
    let before = value(&ask(&garden, &["check", "--json"]));
    let asked = ask(&garden, &["forget", "--json", "--before", "2026-06-12"]);
    assert_eq!(code(&asked), 0);
    assert!(said(&asked).contains("--yes"), "{}", said(&asked));
    // Whole weeks, which end on Thursdays at midnight of the standard offset: nine days and 23 hours in.
    assert_eq!(value(&asked)["readings"], 2 * (10 * 24 - 1));
    assert_eq!(value(&ask(&garden, &["check", "--json"])), before);
    let done = ask(&garden, &["forget", "--yes", "--before", "2026-06-12"]);
    assert_eq!(code(&done), 0, "{}", said(&done));
    let after = value(&ask(&garden, &["check", "--json"]));
    assert_eq!(after["readings"], 2 * (HOURS - 10 * 24 + 1));
    assert_eq!((&after["first"], &after["fenced"]), (&json!("2026-06-10T23:00:00Z"), &json!([])));
    service.kill();
}

#[test]
fn a_service_starts_on_a_ledger_of_the_first_schema_and_a_backup_of_it_is_read() {
    let garden = Garden::new(GROUND);
    let old = root().join("daemon/tests/ledger/schema-1");
    let put_in: Value =
        serde_json::from_str(&std::fs::read_to_string(old.with_extension("json")).unwrap()).unwrap();
    let series = put_in["readings"].as_object().unwrap().values();
    let dated: usize = series.map(|rows| rows.as_array().unwrap().len()).sum();
    let readings = dated as u64 + put_in["undated"].as_u64().unwrap();
    std::fs::create_dir_all(garden.ledger()).unwrap();
    std::fs::copy(&old, file(&garden)).unwrap();
    let as_it_lies = value(&run(&["ledger", "check", "--json", text(&old)]));
    assert_eq!((&as_it_lies["schema"], &as_it_lies["readings"]), (&json!(1), &json!(readings)));
    let service = garden.start();
    let checked = value(&ask(&garden, &["check", "--json"]));
    assert_eq!((&checked["schema"], &checked["readings"]), (&json!(2), &json!(readings)));
    assert_eq!(checked["fenced"], json!([]));
    service.kill();
    assert!(garden.ledger().join("ledger-schema-1").exists());
}
