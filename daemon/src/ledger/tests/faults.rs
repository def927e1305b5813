//! Damage, a full disk, a disk that refuses.

use std::io::Write;
use std::path::Path;
use std::process::Command;

use super::*;
use crate::ledger::LedgerError;

fn flip(ledger: &Ledger, table: &str, key: &str, row: i64, column: &str, place: usize) -> bool {
    let conn = ledger.conn.as_ref().unwrap();
    let read = format!("SELECT {column} FROM {table} WHERE {key} = {row}");
    let mut body: Vec<u8> = conn.query_row(&read, [], |row| row.get(0)).unwrap();
    let Some(byte) = body.get_mut(place) else { return false };
    *byte ^= 0x10;
    conn.execute(&format!("UPDATE {table} SET {column} = ?1 WHERE {key} = {row}"), [body]).unwrap();
    true
}

/// Two probes, two weeks, all compacted but for the last commit.
fn two_weeks() -> Ledger {
    let mut ledger = Ledger::in_memory(&founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    for hour in 0..200 {
        let at = JUNE + hour * HOUR;
        put(&mut ledger, boot, at, &[air("tunnel", at, 20.0), air("bed", at, 15.0)]);
    }
    ledger.compact(JUNE + 199 * HOUR).unwrap();
    ledger
}

#[test]
fn any_damaged_byte_of_a_chunk_is_noticed_and_the_rest_is_served() {
    let ledger = two_weeks();
    let id: i64 =
        ledger.conn.as_ref().unwrap().query_row("SELECT min(id) FROM chunk", [], |row| row.get(0)).unwrap();
    let whole = all(&ledger, "tunnel");
    let bed = all(&ledger, "bed");
    for (column, places) in [("body", 0..), ("hours", 0..)] {
        for place in places {
            if !flip(&ledger, "chunk", "id", id, column, place) {
                break;
            }
            ledger.shared.forget_fences();
            let fences = ledger.check().unwrap();
            assert_eq!((fences.len(), fences[0].row), (1, id), "{column} {place}");
            assert_eq!(all(&ledger, "bed"), bed);
            assert!(column == "hours" || all(&ledger, "tunnel").len() < whole.len());
            // Hours come from the readings where their own row is spoilt.
            assert!(
                column == "body"
                    || !ledger.hourly("tunnel", Quantity::AirTemperature, 0..JUNE + DAY).unwrap().is_empty()
            );
            flip(&ledger, "chunk", "id", id, column, place);
        }
    }
    ledger.shared.forget_fences();
    assert_eq!((ledger.check().unwrap(), all(&ledger, "tunnel")), (vec![], whole));
}

#[test]
fn a_damaged_chunk_is_moved_aside_not_overwritten_and_still_named_later() {
    let mut ledger = two_weeks();
    let ask = |ledger: &Ledger, sql: &str| {
        ledger.conn.as_ref().unwrap().query_row(sql, [], |row| row.get::<_, i64>(0)).unwrap()
    };
    let id = ask(&ledger, "SELECT min(id) FROM chunk");
    flip(&ledger, "chunk", "id", id, "body", 9);
    put(&mut ledger, 1, JUNE + 200 * HOUR, &[air("tunnel", JUNE + 1, 33.0)]);
    ledger.compact(i64::MAX).unwrap();
    assert!(all(&ledger, "tunnel").contains(&air("tunnel", JUNE + 1, 33.0)));
    assert_eq!(ask(&ledger, "SELECT count(*) FROM chunk WHERE id < 0"), 1);
    ledger.shared.forget_fences();
    let fences = ledger.check().unwrap();
    assert_eq!((fences.len(), fences[0].table, fences[0].row), (1, "chunk", id));
}

#[test]
fn a_damaged_batch_is_skipped_and_not_thrown_away() {
    let mut ledger = Ledger::in_memory(&founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    for minute in 0..3 {
        put(&mut ledger, boot, JUNE + minute * MINUTE, &[air("tunnel", JUNE + minute * MINUTE, 20.0)]);
    }
    flip(&ledger, "batch", "seq", 2, "body", 4);
    assert_eq!(all(&ledger, "tunnel").len(), 2);
    assert_eq!((ledger.fenced().len(), ledger.fenced()[0].row), (1, 2));
    assert_eq!(ledger.compact(i64::MAX).unwrap().batches, 2);
    flip(&ledger, "batch", "seq", 2, "body", 4);
    assert_eq!(all(&ledger, "tunnel").len(), 3, "mended, it is there again");
}

#[test]
fn a_ledger_that_went_away_is_closed_until_it_is_back_and_readers_go_on() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = Ledger::open(folder.path(), &founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    put(&mut ledger, boot, JUNE, &[air("tunnel", JUNE, 20.0)]);
    let reader = ledger.reader().unwrap();
    let ask = || reader.readings("tunnel", Quantity::AirTemperature, 0..i64::MAX);
    assert_eq!(ask().unwrap().len(), 1);
    let away = tempfile::tempdir().unwrap();
    let move_both = |from: &Path, to: &Path| {
        for name in ["ledger", "ledger-wal"] {
            std::fs::rename(from.join(name), to.join(name)).unwrap();
        }
    };
    move_both(folder.path(), away.path());
    let refused = ledger.reopen().unwrap_err();
    assert!(refused.is_storage_refusal() && refused.needs_reopening(), "{refused:?}");
    let late = [air("tunnel", JUNE + MINUTE, 21.0)];
    let commit = Commit { readings: &late, ..Commit::empty(boot, JUNE + MINUTE, MINUTE) };
    assert_eq!(ledger.commit(&commit).err(), Some(LedgerError::Closed));
    assert_eq!(ask().err(), Some(LedgerError::Closed));
    std::fs::write(folder.path().join("ledger"), b"").unwrap();
    assert!(
        matches!(ledger.reopen(), Err(LedgerError::Damaged { .. })),
        "an empty file is not founded again"
    );
    move_both(away.path(), folder.path());
    ledger.reopen().unwrap();
    assert_eq!(ledger.commit(&commit).unwrap().seq, Some(2));
    assert_eq!(ask().unwrap().len(), 2);
}

#[test]
fn a_log_without_its_file_is_not_thrown_away() {
    let folder = tempfile::tempdir().unwrap();
    drop(Ledger::open(folder.path(), &founding()).unwrap());
    let log = std::fs::metadata(folder.path().join("ledger-wal")).unwrap().len();
    std::fs::remove_file(folder.path().join("ledger")).unwrap();
    for empty in [false, true] {
        if empty {
            std::fs::write(folder.path().join("ledger"), b"").unwrap();
        }
        assert!(matches!(Ledger::open(folder.path(), &founding()), Err(LedgerError::Damaged { .. })));
        assert_eq!(std::fs::metadata(folder.path().join("ledger-wal")).unwrap().len(), log);
    }
}

/// A small file system of its own; unmounted when done.
struct Small<'a>(&'a Path);

impl<'a> Small<'a> {
    fn mount(at: &'a Path) -> Option<Self> {
        let args = ["-t", "tmpfs", "-o", "size=4m", "tmpfs"];
        let done = Command::new("mount").args(args).arg(at).output();
        done.is_ok_and(|done| done.status.success()).then_some(Self(at))
    }
}

impl Drop for Small<'_> {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.0).status();
    }
}

#[test]
fn a_disk_that_takes_no_writes_is_named_and_commits_go_on_after_it_does() {
    let folder = tempfile::tempdir().unwrap();
    let Some(_mounted) = Small::mount(folder.path()) else {
        let _ =
            writeln!(std::io::stderr(), "SKIPPED: read-only disk: mounting a small file system takes root");
        return;
    };
    let mut ledger = Ledger::open(folder.path(), &founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    put(&mut ledger, boot, JUNE, &[air("tunnel", JUNE, 20.0)]);
    drop(ledger);
    let remount = |how: &str| {
        let done = Command::new("mount").args(["-o", how]).arg(folder.path()).status();
        assert!(done.unwrap().success(), "{how}");
    };
    remount("remount,ro");
    let refused = Ledger::open(folder.path(), &founding()).unwrap_err();
    assert_eq!(refused, LedgerError::ReadOnly);
    assert!(refused.is_storage_refusal() && refused.needs_reopening());
    remount("remount,rw");
    let mut ledger = Ledger::open(folder.path(), &founding()).unwrap();
    put(&mut ledger, boot, JUNE + MINUTE, &[air("tunnel", JUNE + MINUTE, 20.0)]);
    assert_eq!(all(&ledger, "tunnel").len(), 2);
}

/// Takes up all the room there is.
fn fill_up(path: &Path) {
    let mut ballast = std::fs::File::create(path).unwrap();
    while ballast.write_all(&[7; 4_096]).is_ok() {}
}

#[test]
fn on_a_full_disk_commits_go_on_for_long_then_are_refused_whole_and_go_on_when_there_is_room() {
    let folder = tempfile::tempdir().unwrap();
    let Some(_mounted) = Small::mount(folder.path()) else {
        let _ = writeln!(std::io::stderr(), "SKIPPED: full disk: mounting a small file system takes root");
        return;
    };
    let mut ledger = Ledger::open(folder.path(), &founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    let reader = ledger.reader().unwrap();
    let ballast = folder.path().join("ballast");
    fill_up(&ballast);
    let mut done = 0;
    let refused = loop {
        let at = JUNE + done * MINUTE;
        let readings = [air("tunnel", at, 20.0), air("bed", at, 15.0)];
        match ledger.commit(&Commit { readings: &readings, ..Commit::empty(boot, at, done) }) {
            Ok(_) => done += 1,
            Err(error) => break error,
        }
        // Copying the log may be refused some time before commits are.
        assert!(matches!(ledger.checkpoint(), Ok(()) | Err(LedgerError::Full)));
        assert!(done < 100_000, "the disk never became full");
    };
    assert_eq!(refused, LedgerError::Full);
    // File and log were filled beforehand: three days of commits a minute at the least.
    assert!(done > 4_320, "{done}");
    assert!(refused.is_storage_refusal() && !refused.needs_reopening());
    let count = || reader.readings("tunnel", Quantity::AirTemperature, 0..i64::MAX).unwrap().len() as i64;
    assert_eq!(count(), done, "what was committed is read, nothing of the refused one");
    std::fs::remove_file(&ballast).unwrap();
    for minute in done..done + 100 {
        put(&mut ledger, boot, JUNE + minute * MINUTE, &[air("tunnel", JUNE + minute * MINUTE, 20.0)]);
    }
    assert_eq!(count(), done + 100);
    assert_eq!(ledger.check().unwrap(), []);
    drop((reader, ledger));
}
