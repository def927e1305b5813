//! The control to the refusals: SQLite with the ledger's settings, but reopened after a refused write *without* making
//! the system forget what it holds of the file. It reads back from memory what the disk never took, goes on behind
//! it, and loses to the next cut what it acknowledged since. LEDGER section 7: 43 of 300.

use std::path::Path;

use rand::{RngExt as _, SeedableRng as _};
use rand_pcg::Pcg64Mcg;
use rusqlite::config::DbConfig;
use rusqlite::{Connection, FileControl, MAIN_DB, OpenFlags};
use rustix::fs::{Advice, fadvise, fdatasync};
use tests::block_disk::{Disk, Flushes, Mounted, Refused, make_ext4, namespace, small_tmpfs};
use tests::counts;

use super::DISK_PROCESS;

/// Longer than a page of the file system, so that the next commit does not rewrite all of it by chance.
const BODY_BYTES: usize = 9_000;
const ROWS: i64 = 20;

fn open(folder: &Path) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE;
    let conn = Connection::open_with_flags_and_vfs(folder.join("rows"), flags, c"unix-excl")?;
    conn.execute_batch(
        "PRAGMA page_size = 512; PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;
         PRAGMA journal_size_limit = -1; PRAGMA wal_autocheckpoint = 0;",
    )?;
    conn.file_control(Some(MAIN_DB), FileControl::PersistWal(&mut 1))?;
    conn.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
    Ok(conn)
}

/// A table, in a file and a log whose blocks were written before.
fn found(conn: &Connection) {
    conn.execute_batch(
        "CREATE TABLE filling (body BLOB); INSERT INTO filling VALUES (zeroblob(1200000));
         PRAGMA wal_checkpoint(RESTART); DROP TABLE filling;
         CREATE TABLE kept (number INTEGER PRIMARY KEY, body BLOB); PRAGMA wal_checkpoint(RESTART);",
    )
    .unwrap();
}

fn put(conn: &Connection, number: i64) -> rusqlite::Result<usize> {
    let body = vec![number as u8; BODY_BYTES];
    conn.execute("INSERT INTO kept VALUES (?1, ?2) ON CONFLICT DO NOTHING", (number, body))
}

fn forget(folder: &Path) {
    for name in ["rows", "rows-wal"] {
        let file = std::fs::File::open(folder.join(name)).unwrap();
        let _ = fdatasync(&file);
        fadvise(&file, 0, None, Advice::DontNeed).unwrap();
    }
}

/// Rows that were acknowledged and are gone after a cut.
fn lost(seed: u64, forgets: bool) -> usize {
    let mut random = Pcg64Mcg::seed_from_u64(seed);
    let folder = tempfile::tempdir().unwrap();
    let memory = small_tmpfs(&folder.path().join("memory"), 100);
    make_ext4(&memory.path().join("image"), 24, 4096);
    let disk = Disk::attach(memory.path(), DISK_PROCESS);
    let mounted = disk.mount(&folder.path().join("mount"));
    let mut conn = open(mounted.path()).unwrap();
    found(&conn);
    let trouble = random.random_range(2..ROWS - 5);
    let mut acknowledged = Vec::new();
    for number in 0..ROWS {
        if number == trouble {
            disk.refuse(Refused::Writes(1));
        }
        if put(&conn, number).is_ok() {
            acknowledged.push(number);
            continue;
        }
        drop(conn);
        if forgets {
            forget(mounted.path());
        }
        conn = open(mounted.path()).unwrap();
        if put(&conn, number).is_ok() {
            acknowledged.push(number);
        }
    }
    assert!(disk.heal() > 0, "nothing was refused");
    let image = disk.cut(disk.moment(), Flushes::Honoured, random.random());
    let after = Mounted::mount(&image, &folder.path().join("after"), "noatime").unwrap();
    let conn = open(after.path()).unwrap();
    let there = |number: &i64| {
        let sql = "SELECT count(*) FROM kept WHERE number = ?1 AND length(body) = ?2";
        conn.query_row(sql, (number, BODY_BYTES as i64), |row| row.get::<_, i64>(0))
            .is_ok_and(|count| count == 1)
    };
    acknowledged.iter().filter(|number| !there(number)).count()
}

#[test]
fn reopened_with_a_warm_cache_acknowledged_rows_are_lost_and_with_a_cold_one_none() {
    if !namespace::enter(
        "trap::reopened_with_a_warm_cache_acknowledged_rows_are_lost_and_with_a_cold_one_none",
    ) {
        return;
    }
    let runs = counts::of(8, 100);
    let harmed = |forgets| (0..runs).filter(|seed| lost(*seed, forgets) > 0).count();
    let (warm, cold) = (harmed(false), harmed(true));
    println!("reopened after a refused write: {runs} runs each, {warm} lost rows warm, {cold} cold");
    assert!(warm > 0, "the trap is not there: the refusals prove less than they should");
    assert_eq!(cold, 0);
}
