//! Readings that do not come out whole are never passed off as whole.

use std::io::{Read as _, Write as _};
use std::os::unix::net::UnixListener;
use std::process::{Command, Stdio};

use serde_json::{Value, json};
use tests::program::{program, said};

use super::{HOURS, SPOILT, ask, code, garden, spoil, text};

#[test]
fn damaged_weeks_are_named_when_readings_go_out_without_them() {
    let garden = garden();
    spoil(&garden);
    let check = || {
        for form in ["--csv", "--ndjson", "--senml"] {
            let output = garden.ask(&["export", form]);
            assert_eq!(code(&output), 1, "{form}: {}", said(&output));
            let said = said(&output);
            assert!(said.contains(SPOILT), "{said}");
            assert!(said.contains("1 damaged row was left out"), "{said}");
        }
        let rows = |args: &[&str]| {
            let output = garden.ask(&[&["export", "--csv"], args].concat());
            (code(&output), String::from_utf8(output.stdout).unwrap().lines().count() as i64 - 1)
        };
        assert_eq!(rows(&[]), (1, 2 * HOURS - 71));
        // What was asked for is whole.
        assert_eq!(rows(&["--series", "bench-2/soil_moisture"]), (0, HOURS));
        assert_eq!(rows(&["--from", "2026-06-04"]), (0, 2 * (HOURS - 71)));
        assert_eq!(rows(&["--series", "bench-2/air_temperature", "--to", "2026-06-02"]), (1, 0));
    };
    check();
    let service = garden.start();
    check();
    service.kill();
}

#[test]
fn damaged_weeks_are_named_beside_what_was_reckoned_and_in_it_until_they_are_mended() {
    let garden = garden();
    let saved = garden.path().join("saved");
    assert_eq!(code(&ask(&garden, &["backup", text(&saved)])), 0);
    let damaged = || {
        let output = garden.ask(&["export", "--json"]);
        let value: Value = serde_json::from_slice(&output.stdout).unwrap();
        (code(&output), value["damaged"].clone(), said(&output))
    };
    assert_eq!(damaged().1, json!([]));
    spoil(&garden);
    assert_eq!(code(&ask(&garden, &["check"])), 1);
    let check = || {
        let (code, damaged, said) = damaged();
        assert_eq!(code, 1, "{said}");
        assert!(said.contains(SPOILT) && said.contains("1 damaged row was left out"), "{said}");
        assert_eq!((damaged.as_array().unwrap().len(), &damaged[0]["probe"]), (1, &json!("bench-2")));
        assert_eq!(damaged[0]["quantity"], "air_temperature");
    };
    check();
    let service = garden.start();
    check();
    assert_eq!(code(&ask(&garden, &["mend", text(&saved)])), 0);
    let (code, damaged, said) = damaged();
    assert_eq!((code, damaged), (0, json!([])), "{said}");
    service.kill();
}

#[test]
fn a_ledger_without_its_log_gives_out_what_it_has_and_says_what_is_missing() {
    let garden = garden();
    std::fs::remove_file(garden.ledger().join("ledger-wal")).unwrap();
    let checked = ask(&garden, &["check"]);
    let output = garden.ask(&["export", "--csv"]);
    assert_eq!((code(&output), code(&checked)), (1, 1), "{}", said(&output));
    assert!(output.stdout.starts_with(b"time,probe"));
    assert!(said(&output).contains("ledger-wal is missing beside ledger"), "{}", said(&output));
    assert_eq!(said(&output), said(&checked));
    let saved = garden.path().join("saved");
    assert_eq!(code(&ask(&garden, &["backup", text(&saved)])), 1);
    assert!(!saved.exists());
}

#[test]
fn moments_are_taken_as_they_are_written_elsewhere_and_in_their_order() {
    let garden = garden();
    let rows = |args: &[&str]| {
        let output = garden.ask(&[&["export", "--csv", "--series", "bench-2/soil_moisture"], args].concat());
        assert_eq!(code(&output), 0, "{}", said(&output));
        String::from_utf8(output.stdout).unwrap().lines().count() - 1
    };
    // 04:30 UTC of the third day: hours 5 to 23.
    assert_eq!(rows(&["--from", "2026-06-03T06:30+02:00", "--to", "2026-06-04T00:00:00Z"]), 19);
    assert_eq!(rows(&["--from", "2026-06-03", "--to", "2026-06-03"]), 0);
    let check = || {
        let output = garden.ask(&["export", "--csv", "--from", "2026-06-04", "--to", "2026-06-03"]);
        assert_eq!((code(&output), output.stdout.len()), (2, 0), "{}", said(&output));
        assert!(said(&output).contains("--from is later than --to"), "{}", said(&output));
    };
    check();
    let service = garden.start();
    check();
    service.kill();
}

#[test]
fn a_reader_that_closes_the_pipe_is_no_failure_and_a_service_that_speaks_of_one_is() {
    let garden = garden();
    let site = garden.site_file();
    let mut export = Command::new(program());
    export.args(["export", "--csv", "--site", text(&site)]).stdout(Stdio::piped());
    let mut export = export.spawn().unwrap();
    drop(export.stdout.take());
    assert!(export.wait().unwrap().success());

    // In the place of the service: whoever asks something is told of a pipe.
    let socket = UnixListener::bind(garden.ledger().join("socket")).unwrap();
    let answer = || loop {
        let (mut stream, _) = socket.accept().unwrap();
        let mut asked = [0; 4096];
        if stream.read(&mut asked).unwrap() > 0 {
            let why = r#"{"refused":"Broken pipe (os error 32)"}"#;
            let head = "HTTP/1.1 500 Internal Server Error\r\nConnection: close\r\nContent-Length";
            return write!(stream, "{head}: {}\r\n\r\n{why}", why.len()).unwrap();
        }
    };
    std::thread::scope(|scope| {
        scope.spawn(answer);
        let output = garden.ask(&["export"]);
        assert_eq!(code(&output), 1, "{}", said(&output));
        assert!(said(&output).contains("asking the running service: Broken pipe"), "{}", said(&output));
        assert!(!said(&output).contains("500"), "{}", said(&output));
    });
}
