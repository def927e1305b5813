//! S11: a second process on one ledger, a careless copy of its files. S7: a rotten bit in a chunk.

use std::collections::BTreeMap;
use std::io::Read as _;
use std::path::Path;
use std::process::Command;
use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};
use std::thread::scope;

use agronomy::quantity::Quantity;
use glasshour::ledger::{Commit, Ledger, LedgerError};
use glasshour::reading::{Reading, Reason};
use rusqlite::{Connection, OpenFlags};
use serde_json::Value;
use tests::counts;
use tests::program::{Garden, said};
use tests::servers::process::until;

use super::life;
use super::yard::page;

const WEEK: i64 = 604_800_000;
/// The first week of chunks, UTC ms: weeks are counted from 1970 on (LEDGER section 1).
const FIRST_WEEK: i64 = life::JUNE - life::JUNE % WEEK;

#[test]
fn a_second_program_on_a_ledger_names_the_first_and_leaves_it_alone() {
    let garden = Garden::new("");
    let first = garden.start();
    let second = garden.try_start().expect_err("a second service runs on the same ledger");
    assert!(!second.success());
    let holder = format!("held by process {}", first.id());
    assert!(garden.log().contains(&holder), "{}", garden.log());
    page(&first);
    // A command that needs the ledger asks the service instead.
    assert!(garden.note(&["remark", "still here"]) > 0, "the first goes on");
    first.stop();
}

fn copy(from: &Path, to: &Path, names: &[&str]) {
    let _ = std::fs::remove_dir_all(to);
    std::fs::create_dir_all(to).unwrap();
    for name in names {
        let done = Command::new("cp").arg(from.join(name)).arg(to).output().unwrap();
        assert!(done.status.success(), "{}", said(&done));
    }
}

/// How often the log was begun again (SQLite's file format, section 4.1: bytes 12 to 15).
fn begun_again(ledger: &Path) -> [u8; 4] {
    let mut header = [0; 16];
    std::fs::File::open(ledger.join("ledger-wal")).and_then(|mut log| log.read_exact(&mut header)).unwrap();
    [header[12], header[13], header[14], header[15]]
}

/// A copy is whole, or refused in words.
fn opens_whole_or_says_why(copy: &Path, acknowledged: i64) -> Result<(), String> {
    let whole = life::open(copy).and_then(|ledger| ledger.check().map(|_| ledger));
    let ledger = match whole {
        Ok(ledger) => ledger,
        Err(LedgerError::Damaged { what }) => return Err(what),
        Err(other) => panic!("{other}"),
    };
    let fenced = ledger.fenced();
    if !fenced.is_empty() {
        return Err(fenced[0].what.clone());
    }
    let found = life::whole(&ledger, false).unwrap_or_else(|torn| panic!("a torn copy opened: {torn}"));
    assert!(found >= acknowledged, "a copy is short without a word: {found} of {acknowledged}");
    Ok(())
}

/// Commits until told to stop; how far it has come stands in `acknowledged`.
fn commit_all_the_time(ledger: &Path, stop: &AtomicBool, acknowledged: &AtomicI64) {
    let mut writer = life::open(ledger).unwrap();
    let boot = writer.begin_boot(0, Some((life::JUNE, "test"))).unwrap();
    for number in 0.. {
        if stop.load(Ordering::Relaxed) {
            return;
        }
        life::put(&mut writer, boot, number).unwrap();
        acknowledged.store(number + 1, Ordering::Relaxed);
        life::work(&mut writer, number).unwrap();
    }
}

/// Whoever copies the file and then, after the log was begun again, the log, has a part of neither: that copy cannot
/// be judged. It takes a day of commits at one a minute until a log is begun again.
#[test]
fn a_copy_made_under_load_is_whole_or_refused_and_never_short_without_a_word() {
    let folder = tempfile::tempdir().unwrap();
    let (ledger, to) = (folder.path().join("ledger"), folder.path().join("copy"));
    let (stop, acknowledged) = (AtomicBool::new(false), AtomicI64::new(0));
    let (mut whole, mut overtaken, mut refused) = (0, 0, BTreeMap::new());
    scope(|threads| {
        let writer = threads.spawn(|| commit_all_the_time(&ledger, &stop, &acknowledged));
        until("it commits", || (acknowledged.load(Ordering::Relaxed) > 0).then_some(()));
        for _ in 0..counts::of(20, 300) {
            let (before, log) = (acknowledged.load(Ordering::Relaxed), begun_again(&ledger));
            copy(&ledger, &to, &["ledger", "ledger-wal"]);
            if begun_again(&ledger) != log {
                overtaken += 1;
                continue;
            }
            // The writer must end before the test can fail.
            match std::panic::catch_unwind(|| opens_whole_or_says_why(&to, before)) {
                Ok(Ok(())) => whole += 1,
                Ok(Err(why)) => *refused.entry(why).or_insert(0) += 1,
                Err(panic) => {
                    stop.store(true, Ordering::Relaxed);
                    std::panic::resume_unwind(panic);
                }
            }
        }
        stop.store(true, Ordering::Relaxed);
        writer.join().unwrap();
    });
    println!("copies under load: {whole} whole, {overtaken} overtaken, refused: {refused:?}");
    assert!(whole > 0);
}

#[test]
fn a_copy_without_its_log_is_refused_by_name() {
    let folder = tempfile::tempdir().unwrap();
    let (ledger, to) = (folder.path().join("ledger"), folder.path().join("copy"));
    let mut writer = life::open(&ledger).unwrap();
    let boot = writer.begin_boot(0, Some((life::JUNE, "test"))).unwrap();
    for number in 0..10 {
        life::put(&mut writer, boot, number).unwrap();
    }
    copy(&ledger, &to, &["ledger"]);
    for empty in [false, true] {
        if empty {
            std::fs::write(to.join("ledger-wal"), b"").unwrap();
        }
        match life::open(&to) {
            Err(LedgerError::Damaged { what }) => assert!(what.contains("ledger-wal"), "{what}"),
            other => panic!("short without a word: {other:?}"),
        }
    }
    // With its log it is whole.
    copy(&ledger, &to, &["ledger", "ledger-wal"]);
    assert_eq!(life::whole(&life::open(&to).unwrap(), false), Ok(10));
}

/// Two probes for three weeks, in chunks, in the file itself; the chunk's body of the first probe's second week.
fn three_weeks(folder: &Path) -> Vec<u8> {
    let mut ledger = life::open(folder).unwrap();
    let boot = ledger.begin_boot(0, Some((life::JUNE, "test"))).unwrap();
    for hour in 0..3 * 168 {
        let at = FIRST_WEEK + hour * 3_600_000;
        let reading = |probe: &str, value: f64| Reading {
            probe: probe.into(),
            quantity: Quantity::AirTemperature,
            value,
            at_ms: at,
            reason: Reason::None,
        };
        let readings = [reading("tunnel", 20.0 + (hour % 97) as f64 / 10.0), reading("bed", 15.0)];
        ledger.commit(&Commit { readings: &readings, ..Commit::empty(boot, at, hour) }).unwrap();
    }
    ledger.compact(i64::MAX).unwrap();
    drop(ledger);
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE;
    let conn = Connection::open_with_flags_and_vfs(folder.join("ledger"), flags, c"unix-excl").unwrap();
    conn.file_control(Some(rusqlite::MAIN_DB), rusqlite::FileControl::PersistWal(&mut 1)).unwrap();
    let sql = "SELECT body FROM chunk ORDER BY id LIMIT 1 OFFSET 1";
    let body = conn.query_row(sql, [], |row| row.get(0)).unwrap();
    let busy = conn.query_row("PRAGMA wal_checkpoint(RESTART)", [], |row| row.get::<_, i64>(0)).unwrap();
    assert_eq!(busy, 0);
    // The next commit begins the log again; until then a later opening would read from it.
    conn.execute("UPDATE meta SET value = 'other' WHERE key = 'program'", []).unwrap();
    body
}

fn count(ledger: &Ledger, probe: &str) -> Vec<usize> {
    (0..3)
        .map(|week| {
            let from = FIRST_WEEK + week * WEEK;
            ledger.readings(probe, Quantity::AirTemperature, from..from + WEEK).unwrap().len()
        })
        .collect()
}

#[test]
fn a_rotten_bit_in_a_chunk_costs_that_week_of_that_series_and_the_program_says_so() {
    let garden = Garden::new(
        "[start]\n[[start.place]]\nid = \"long\"\nname = \"Long House\"\nkind = \"house\"\n\
         [[start.planting]]\nid = \"reds\"\ncrop = \"tomato\"\nplace = \"long\"\nplanted_out = 2026-05-04\n\
         [[start.probe]]\nprobe = \"tunnel\"\nplace = \"long\"\nshelter = \"screened\"\nusual_interval_s = 3600\n",
    );
    let body = three_weeks(&garden.ledger());
    let file = garden.ledger().join("ledger");
    let mut bytes = std::fs::read(&file).unwrap();
    let places: Vec<usize> =
        bytes.windows(48).enumerate().filter(|(_, at)| *at == &body[..48]).map(|(at, _)| at).collect();
    // Replaced rows may have left the same bytes in free pages: all of them rot.
    assert!(!places.is_empty(), "the chunk lies in the file");
    for place in places {
        bytes[place + 40] ^= 0x04;
    }
    std::fs::write(&file, bytes).unwrap();
    let service = garden.start();
    page(&service);
    let (status, body) = service.get("/api/export");
    assert_eq!(status, 200, "{body}");
    let export: Value = serde_json::from_str(&body).unwrap();
    let measured = |day: &Value| day["measured_share"].as_f64() == Some(1.0);
    let whole = export["day_pages"].as_array().unwrap().iter().filter(|day| measured(day)).count();
    assert!((13..=15).contains(&whole), "days of two weeks are served, and none of the third: {whole}");
    assert!(service.stop().success(), "{}", garden.log());
    assert!(garden.log().contains("a damaged row of the ledger is skipped"), "{}", garden.log());

    let ledger = life::open(&garden.ledger()).unwrap();
    let fences = ledger.check().unwrap();
    assert_eq!((fences.len(), fences[0].table), (1, "chunk"), "{fences:?}");
    assert_eq!(count(&ledger, "bed"), [168, 168, 168]);
    assert_eq!(count(&ledger, "tunnel"), [168, 0, 168]);
}
