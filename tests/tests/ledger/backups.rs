//! Backups and restores that a slip of the hand must not turn into a loss.

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::json;
use tests::program::{Garden, run, said};

use super::{GROUND, HOURS, SPOILT, ask, code, file, garden, spoil, text, value};

/// Every file of a folder with its bytes.
fn all_of(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let items = std::fs::read_dir(folder).unwrap().map(|item| item.unwrap());
    let files = items.filter(|item| item.file_type().unwrap().is_file());
    files
        .map(|item| (item.file_name().to_string_lossy().into_owned(), std::fs::read(item.path()).unwrap()))
        .collect()
}

#[test]
fn no_backup_takes_a_name_in_the_folder_of_a_ledger_in_use_however_it_is_reached() {
    let garden = garden();
    let folder = garden.ledger();
    let (door, link) = (garden.path().join("door"), garden.path().join("link"));
    std::os::unix::fs::symlink(&folder, &door).unwrap();
    std::os::unix::fs::symlink(file(&garden), &link).unwrap();
    let targets = [
        file(&garden),
        folder.join("ledger-wal"),
        folder.join("ledger-holder"),
        folder.join("ledger-2026"),
        folder.join("..").join("ledger").join("ledger"),
        door.join("ledger"),
        link,
    ];
    let refused = |before: &BTreeMap<String, Vec<u8>>| {
        for target in &targets {
            let output = ask(&garden, &["backup", "--replace", text(target)]);
            assert_eq!(code(&output), 2, "{}: {}", target.display(), said(&output));
            assert!(said(&output).contains("name another place for the backup"), "{}", said(&output));
        }
        assert!(&all_of(&folder) == before);
    };
    refused(&all_of(&folder));
    let service = garden.start();
    let before = value(&ask(&garden, &["check", "--json"]));
    for target in &targets {
        let output = ask(&garden, &["backup", "--replace", text(target)]);
        assert_eq!(code(&output), 2, "{}: {}", target.display(), said(&output));
    }
    assert_eq!(value(&ask(&garden, &["check", "--json"]))["readings"], before["readings"]);
    assert!(service.stop().success(), "{}", garden.log());
    assert_eq!(value(&ask(&garden, &["check", "--json"]))["readings"], 2 * HOURS);
    // In a folder of its own a backup may have that name, and be written over.
    let stick = garden.path().join("stick");
    std::fs::create_dir(&stick).unwrap();
    for _ in 0..2 {
        let output = ask(&garden, &["backup", "--replace", text(&stick.join("ledger"))]);
        assert_eq!(code(&output), 0, "{}", said(&output));
    }
}

#[test]
fn a_backup_leaves_the_files_beside_it_alone_and_nothing_behind_where_it_fails() {
    let garden = garden();
    let stick = garden.path().join("stick");
    std::fs::create_dir_all(stick.join("taken")).unwrap();
    std::fs::write(stick.join("saved.part"), "mine").unwrap();
    let saved = stick.join("saved");
    assert_eq!(code(&ask(&garden, &["backup", text(&saved)])), 0);
    // The last step fails: a folder has that name.
    let output = ask(&garden, &["backup", "--replace", text(&stick.join("taken"))]);
    assert_eq!(code(&output), 1, "{}", said(&output));
    let left = all_of(&stick);
    assert_eq!(left.keys().map(String::as_str).collect::<Vec<_>>(), ["saved", "saved.part"]);
    assert_eq!(left["saved.part"], b"mine");
}

#[test]
fn a_damaged_ledger_does_not_take_the_place_of_a_backup_but_is_written_beside_it() {
    let garden = garden();
    let saved = garden.path().join("saved");
    assert_eq!(code(&ask(&garden, &["backup", text(&saved)])), 0);
    let whole = std::fs::read(&saved).unwrap();
    spoil(&garden);
    let refused = |other: &Path| {
        let output = ask(&garden, &["backup", "--replace", text(&saved)]);
        assert_eq!(code(&output), 1, "{}", said(&output));
        let said = said(&output);
        assert!(said.contains(SPOILT), "{said}");
        assert!(said.contains("is left as it was: name another file"), "{said}");
        assert!(std::fs::read(&saved).unwrap() == whole);
        let output = ask(&garden, &["backup", "--json", text(other)]);
        assert_eq!(code(&output), 1, "{}", tests::program::said(&output));
        assert_eq!(value(&output)["fenced"].as_array().unwrap().len(), 1);
        let found = value(&run(&["ledger", "check", "--json", text(other)]));
        assert_eq!(found["readings"], 2 * HOURS - 71);
    };
    refused(&garden.path().join("beside"));
    let service = garden.start();
    refused(&garden.path().join("beside-2"));
    service.kill();
}

#[test]
fn a_backup_that_is_called_ledger_is_looked_at_and_left_as_it_is() {
    let garden = garden();
    let stick = garden.path().join("stick");
    std::fs::create_dir(&stick).unwrap();
    assert_eq!(code(&ask(&garden, &["backup", text(&stick.join("ledger"))])), 0);
    let before = all_of(&stick);
    for path in [stick.join("ledger"), stick.clone()] {
        let output = run(&["ledger", "check", "--json", text(&path)]);
        assert_eq!((code(&output), &value(&output)["readings"]), (0, &json!(2 * HOURS)));
    }
    assert!(all_of(&stick) == before, "{:?}", all_of(&stick).keys());
}

#[test]
fn a_stopped_ledger_is_copied_and_given_out_without_a_trace() {
    let garden = garden();
    let before = all_of(&garden.ledger());
    assert_eq!(code(&ask(&garden, &["backup", text(&garden.path().join("saved"))])), 0);
    assert!(garden.ask(&["export", "--csv"]).status.success());
    let now = all_of(&garden.ledger());
    assert!(now == before, "{:?}", now.keys());
}

#[test]
fn a_restore_says_what_is_damaged_and_takes_no_other_gardens_ledger_unasked() {
    let garden = garden();
    let saved = garden.path().join("saved");
    spoil(&garden);
    assert_eq!(code(&ask(&garden, &["backup", text(&saved)])), 1);
    let done = ask(&garden, &["restore", "--json", text(&saved)]);
    assert_eq!(code(&done), 1, "{}", said(&done));
    assert!(said(&done).contains("damaged in the backup: chunk"), "{}", said(&done));
    assert_eq!(value(&done)["fenced"][0]["probe"], "bench-2");

    let other = Garden::new(GROUND);
    other.note(&["remark", "of the other garden"]);
    let before = std::fs::read(file(&other)).unwrap();
    let refused = ask(&other, &["restore", text(&saved)]);
    assert_eq!(code(&refused), 2, "{}", said(&refused));
    assert!(said(&refused).contains("say --replace-other"), "{}", said(&refused));
    assert!(std::fs::read(file(&other)).unwrap() == before);
    let done = ask(&other, &["restore", "--replace-other", text(&saved)]);
    assert_eq!(code(&done), 1, "{}", said(&done));
    assert_eq!(value(&ask(&other, &["check", "--json"]))["readings"], 2 * HOURS - 71);
    // Where none is in place, none is replaced.
    let fresh = Garden::new(GROUND);
    let done = ask(&fresh, &["restore", text(&saved)]);
    assert!(String::from_utf8_lossy(&done.stdout).contains("restored to"), "{}", said(&done));
}

#[test]
fn what_is_not_there_is_called_so_and_not_made() {
    let garden = Garden::new(GROUND);
    let nope = garden.path().join("nope");
    let here = garden.path().join("here");
    std::fs::create_dir(&here).unwrap();
    for what in ["check", "restore", "mend"] {
        let output = ask(&garden, &[what, text(&nope)]);
        assert_eq!(code(&output), 2, "{}", said(&output));
        assert!(said(&output).contains(&format!("there is no file {}", nope.display())), "{}", said(&output));
    }
    let commands: [&[&str]; 6] =
        [&["export", "--csv"], &["export", "--json"], &["export"], &["now"], &["now", "--json"], &["ground"]];
    for command in commands {
        for folder in [&nope, &here] {
            let output = garden.ask(&[command, &["--folder", text(folder)]].concat());
            assert_eq!(code(&output), 2, "{}", said(&output));
            let why = format!("there is no ledger in {}", folder.display());
            assert!(said(&output).contains(&why), "{}", said(&output));
        }
    }
    assert!(!nope.exists() && all_of(&here).is_empty());
}

#[test]
fn a_ledger_that_cannot_be_read_ends_every_command_alike() {
    let garden = garden();
    std::fs::write(file(&garden), vec![0x55; 5_000]).unwrap();
    let site = garden.site_file();
    let commands = [
        garden.ask(&["export"]),
        garden.ask(&["export", "--csv"]),
        run(&["run", text(&site)]),
        ask(&garden, &["check"]),
        ask(&garden, &["backup", text(&garden.path().join("saved"))]),
    ];
    for output in commands {
        assert_eq!(code(&output), 2, "{}", said(&output));
        assert!(said(&output).contains("is not a ledger of this program"), "{}", said(&output));
    }
}
