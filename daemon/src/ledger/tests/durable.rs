//! What was acknowledged is there after a crash; one process at a time.

use std::path::Path;

use super::*;
use crate::ledger::LedgerError;

/// The two files as they are on disk now: what a crash at this moment leaves.
fn crash(from: &Path, to: &Path) {
    for name in ["ledger", "ledger-wal"] {
        std::fs::copy(from.join(name), to.join(name)).unwrap();
    }
}

#[test]
fn every_commit_that_returned_is_there_after_a_crash() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::open(folder.path(), &founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    for minute in 0..40_i64 {
        let at = JUNE + minute * MINUTE;
        put(&mut ledger, boot, at, &[air("tunnel", at, 20.0 + minute as f64 / 4.0)]);
        if minute == 20 {
            ledger.compact(JUNE + 10 * MINUTE).unwrap();
        }
        if minute % 13 == 0 {
            let after = tempfile::tempdir().unwrap();
            crash(folder.path(), after.path());
            let mut found = Ledger::open(after.path(), &founding()).unwrap();
            assert_eq!(all(&found, "tunnel"), all(&ledger, "tunnel"), "after minute {minute}");
            assert_eq!(found.check().unwrap(), []);
            assert_eq!(found.begin_boot(0, None).unwrap(), 2);
            assert_eq!(put(&mut found, 2, at, &[air("tunnel", at + MINUTE, 1.0)]), minute + 2);
        }
    }
    drop(ledger);
    let ledger = Ledger::open(folder.path(), &founding()).unwrap();
    assert_eq!(all(&ledger, "tunnel").len(), 40);
}

#[test]
fn a_second_opener_is_told_who_holds_the_ledger() {
    let folder = tempfile::tempdir().unwrap();
    let ledger = Ledger::open(folder.path(), &founding()).unwrap();
    let by = format!("process {}", std::process::id());
    assert_eq!(Ledger::open(folder.path(), &founding()).err(), Some(LedgerError::Held { by }));
    let reader = ledger.reader().unwrap();
    drop(ledger);
    assert!(Ledger::open(folder.path(), &founding()).is_err(), "a reader still has the file open");
    drop(reader);
    Ledger::open(folder.path(), &founding()).unwrap();
}

#[test]
fn the_settings_are_those_that_were_measured() {
    let folder = tempfile::tempdir().unwrap();
    let ledger = Ledger::open(folder.path(), &founding()).unwrap();
    let conn = ledger.conn.as_ref().unwrap();
    let ask = |name: &str| conn.query_row(&format!("PRAGMA {name}"), [], |row| row.get::<_, i64>(0)).unwrap();
    let expected = [
        ("page_size", 512),
        ("synchronous", 2),
        ("wal_autocheckpoint", 0),
        ("journal_size_limit", -1),
        ("mmap_size", 0),
        ("temp_store", 2),
        ("auto_vacuum", 0),
        ("trusted_schema", 0),
        ("cell_size_check", 1),
        ("foreign_keys", 1),
        ("cache_size", -2_000),
    ];
    for (name, value) in expected {
        assert_eq!(ask(name), value, "{name}");
    }
    // unix-excl keeps the index of the log in memory; file and log are filled beforehand.
    assert!(!folder.path().join("ledger-shm").exists());
    let sizes = ledger.sizes().unwrap();
    assert!(sizes.file_bytes >= 1_200_000 && sizes.log_bytes >= 1_200_000, "{sizes:?}");
    let options: Vec<String> = {
        let mut statement = conn.prepare("PRAGMA compile_options").unwrap();
        statement.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
    };
    assert!(options.iter().any(|option| option.starts_with("THREADSAFE")), "{options:?}");
}

#[test]
fn the_offset_is_frozen_at_founding() {
    let folder = tempfile::tempdir().unwrap();
    drop(Ledger::open(folder.path(), &founding()).unwrap());
    let moved = Founding { offset_ms: 2 * HOUR, ..founding() };
    let ledger = Ledger::open(folder.path(), &moved).unwrap();
    assert_eq!((ledger.offset_ms(), ledger.founding_differs()), (HOUR, Some(2 * HOUR)));
}

#[test]
fn a_strange_file_and_a_newer_ledger_are_refused_by_name() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("ledger"), vec![b'x'; 4_096]).unwrap();
    assert!(matches!(Ledger::open(folder.path(), &founding()), Err(LedgerError::NotALedger { .. })));

    let folder = tempfile::tempdir().unwrap();
    let other = rusqlite::Connection::open(folder.path().join("ledger")).unwrap();
    other.execute_batch("CREATE TABLE recipes (name)").unwrap();
    drop(other);
    assert!(matches!(Ledger::open(folder.path(), &founding()), Err(LedgerError::NotALedger { .. })));

    let folder = tempfile::tempdir().unwrap();
    let ledger = Ledger::open(folder.path(), &founding()).unwrap();
    ledger.conn.as_ref().unwrap().execute_batch("PRAGMA user_version = 99").unwrap();
    drop(ledger);
    assert_eq!(
        Ledger::open(folder.path(), &founding()).err(),
        Some(LedgerError::Newer { version: 99, known: 2 })
    );
}

#[test]
fn a_founding_cut_short_is_done_again() {
    let folder = tempfile::tempdir().unwrap();
    let cut = rusqlite::Connection::open(folder.path().join("ledger")).unwrap();
    cut.execute_batch("PRAGMA page_size = 512; PRAGMA journal_mode = WAL; CREATE TABLE filling (body)")
        .unwrap();
    drop(cut);
    let ledger = Ledger::open(folder.path(), &founding()).unwrap();
    assert_eq!(ledger.check().unwrap(), []);
}

#[test]
fn the_log_is_copied_once_it_is_long_and_readers_see_it_all() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::open(folder.path(), &founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    let reader = ledger.reader().unwrap();
    let mut longest = 0;
    for minute in 0..3_000 {
        let at = JUNE + minute * MINUTE;
        put(&mut ledger, boot, at, &[air("tunnel", at, 20.0)]);
        ledger.checkpoint().unwrap();
        longest = longest.max(ledger.sizes().unwrap().log_bytes);
        if minute % 500 == 0 {
            assert_eq!(
                reader.readings("tunnel", Quantity::AirTemperature, 0..i64::MAX).unwrap().len() as i64,
                minute + 1
            );
        }
    }
    // The filling of 1.2 MB is a little longer than 2,000 pages with their heads: the log never grew.
    assert!(longest < 1_400_000, "{longest}");
}

#[test]
fn a_reader_works_on_another_thread_while_the_writer_writes() {
    fn is_shared<T: Send + Sync>(_: &T) {}
    fn is_sent<T: Send>(_: &T) {}
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::open(folder.path(), &founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    let reader = ledger.reader().unwrap();
    is_shared(&reader);
    is_sent(&ledger);
    std::thread::scope(|scope| {
        let watching = scope.spawn(move || {
            let mut seen = 0;
            while seen < 200 {
                let now = reader.readings("tunnel", Quantity::AirTemperature, 0..i64::MAX).unwrap().len();
                assert!(now >= seen);
                seen = now;
            }
        });
        for minute in 0..200 {
            let at = JUNE + minute * MINUTE;
            put(&mut ledger, boot, at, &[air("tunnel", at, 20.0)]);
            if minute % 50 == 49 {
                ledger.compact(at - 10 * MINUTE).unwrap();
            }
        }
        watching.join().unwrap();
    });
}
