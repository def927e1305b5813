//! What lies on a disk that takes no writes, or is full, can still be saved from it: S5, S6.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::Path;
use std::process::{Command, Output};

use agronomy::quantity::Quantity;
use glasshour::ledger::Commit;
use glasshour::reading::{Reading, Reason};
use serde_json::Value;
use tests::block_disk::{Mounted, make_ext4, namespace, small_tmpfs};
use tests::program::{Garden, VOUCHED, program, said};

use super::life;
use super::program::fill_up;

const READINGS: i64 = 100;

/// A garden whose ledger lies on a disk of its own, with readings that are in its log only.
fn on_a_disk(folder: &Path) -> (Mounted, Garden) {
    make_ext4(&folder.join("image"), 24, 1024);
    let mounted = Mounted::mount(&folder.join("image"), &folder.join("mount"), "noatime").unwrap();
    let at = mounted.path().join("ledger");
    let head = Garden::head();
    let garden = Garden::of(|_| {
        format!("{head}{VOUCHED}[ledger]\nfolder = \"{}\"\ncommit_every_s = 0.2\n", at.display())
    });
    let mut ledger = life::open(&at).unwrap();
    let boot = ledger.begin_boot(0, Some((life::JUNE, "test"))).unwrap();
    for minute in 0..READINGS {
        let at_ms = life::JUNE + minute * 60_000;
        let (probe, quantity) = ("post".into(), Quantity::AirTemperature);
        let reading = Reading { probe, quantity, value: 20.0, at_ms, reason: Reason::None };
        ledger.commit(&Commit { readings: &[reading], ..Commit::empty(boot, at_ms, minute) }).unwrap();
    }
    (mounted, garden)
}

fn all_of(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let items = std::fs::read_dir(folder).unwrap().map(|item| item.unwrap());
    let read = |path| std::fs::read(path).unwrap();
    items.map(|item| (item.file_name().to_string_lossy().into_owned(), read(item.path()))).collect()
}

/// Runs a command about the garden, with its temporary files in a folder.
fn ask(garden: &Garden, temporary: &Path, args: &[&str]) -> Output {
    let mut command = Command::new(program());
    command.args(args).arg("--site").arg(garden.site_file()).env("TMPDIR", temporary);
    command.output().unwrap()
}

#[test]
fn from_a_disk_gone_read_only_a_ledger_is_checked_given_out_and_backed_up() {
    program();
    if !namespace::enter("saved::from_a_disk_gone_read_only_a_ledger_is_checked_given_out_and_backed_up") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let (mounted, garden) = on_a_disk(folder.path());
    mounted.remount("ro").unwrap();
    assert!(File::create(mounted.path().join("probe")).is_err(), "it takes writes");
    let before = all_of(&mounted.path().join("ledger"));
    let temporary = folder.path().join("temporary");
    std::fs::create_dir(&temporary).unwrap();
    let good = |args: &[&str]| {
        let output = ask(&garden, &temporary, args);
        assert!(output.status.success(), "{args:?}: {}", said(&output));
        String::from_utf8(output.stdout).unwrap()
    };
    let readings = |text: &str| serde_json::from_str::<Value>(text).unwrap()["readings"].as_i64();
    assert_eq!(readings(&good(&["ledger", "check", "--json"])), Some(READINGS));
    assert_eq!(good(&["export", "--csv"]).lines().count() as i64, 1 + READINGS);
    let reckoned: Value = serde_json::from_str(&good(&["export"])).unwrap();
    assert_eq!(reckoned["readings"]["post"]["air_temperature"]["sound"], READINGS);
    let saved = folder.path().join("saved");
    good(&["ledger", "backup", saved.to_str().unwrap()]);
    assert_eq!(readings(&good(&["ledger", "check", "--json", saved.to_str().unwrap()])), Some(READINGS));
    assert!(all_of(&mounted.path().join("ledger")) == before);
    assert!(all_of(&temporary).is_empty(), "temporary copies are taken away again");

    // No room for the copy: said, with what to do.
    let small = small_tmpfs(&folder.path().join("small"), 1);
    fill_up(&small.path().join("ballast"));
    for args in [&["ledger", "check"] as &[&str], &["export", "--csv"]] {
        let output = ask(&garden, small.path(), args);
        let why = format!("no copy of the ledger can be made in {}", small.path().display());
        assert_eq!(output.status.code(), Some(1), "{}", said(&output));
        assert!(said(&output).contains(&why) && said(&output).contains("TMPDIR=FOLDER"), "{}", said(&output));
    }
    // Nobody copies what a service has.
    let holder = File::open(mounted.path().join("ledger/ledger-holder")).unwrap();
    rustix::fs::flock(&holder, rustix::fs::FlockOperation::NonBlockingLockExclusive).unwrap();
    assert_eq!(ask(&garden, &temporary, &["export", "--csv"]).status.code(), Some(4));
}

#[test]
fn from_a_full_disk_a_running_service_makes_a_backup_on_another() {
    program();
    if !namespace::enter("saved::from_a_full_disk_a_running_service_makes_a_backup_on_another") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let (mounted, garden) = on_a_disk(folder.path());
    let service = garden.start();
    fill_up(&mounted.path().join("ballast"));
    assert!(std::fs::write(mounted.path().join("probe"), [7; 4096]).is_err(), "there is room for a copy");
    let saved = folder.path().join("saved");
    let output = ask(&garden, folder.path(), &["ledger", "backup", saved.to_str().unwrap()]);
    assert!(output.status.success(), "{}", said(&output));
    let output = ask(&garden, folder.path(), &["ledger", "check", "--json", saved.to_str().unwrap()]);
    let found: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!((&found["readings"], &found["fenced"]), (&READINGS.into(), &Value::Array(vec![])));
    service.kill();
    drop(mounted);
}
