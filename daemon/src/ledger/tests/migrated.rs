//! Older forms of the ledger, brought up to this one; and the bytes that must never change.
//!
//! `daemon/tests/ledger/schema-1` is a ledger of the first schema, with weeks of readings (missing, refused and
//! doubtful ones among them), batches, a boot that never learnt the time, entries, an outbox, a page, a snapshot and a
//! cursor. `schema-1.json` beside it is what was put in, written from the figures that went in, not read back.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};

use super::*;
use crate::ledger::copied::Header;
use crate::ledger::merge::Kept;
use crate::ledger::migrate::{Stage, bring_up};
use crate::ledger::{Copied, LedgerError, chunk, schema};

/// Where the child finds its folder and the stage at which it dies.
const FOLDER: &str = "LEDGER_TEST_MIGRATED_FOLDER";
const STAGE: &str = "LEDGER_TEST_MIGRATED_STAGE";
const STAGES: [Stage; 6] =
    [Stage::Copied, Stage::Changed, Stage::Checked, Stage::Flushed, Stage::Kept, Stage::Renamed];

fn golden() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/ledger/schema-1")
}

fn put_in() -> Value {
    serde_json::from_str(&std::fs::read_to_string(golden().with_extension("json")).unwrap()).unwrap()
}

/// A folder with the old ledger in it.
fn old() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::copy(golden(), folder.path().join("ledger")).unwrap();
    folder
}

fn readings(ledger: &Ledger, put_in: &Value) -> Value {
    let names = put_in["readings"].as_object().unwrap().keys();
    let of = |name: &String| {
        let (probe, quantity) = name.split_once('/').unwrap();
        let readings = ledger.readings(probe, quantity.parse().unwrap(), 0..i64::MAX).unwrap();
        let rows = readings.iter().map(|it| {
            let value = if it.reason == Reason::Missing { Value::Null } else { json!(it.value) };
            json!([it.at_ms, value, it.reason])
        });
        (name.clone(), rows.collect::<Value>())
    };
    names.map(of).collect::<serde_json::Map<_, _>>().into()
}

/// Everything that was put in is there, and nothing is damaged.
fn assert_whole(ledger: &Ledger) {
    let put_in = put_in();
    assert_eq!(readings(ledger, &put_in), put_in["readings"]);
    assert_eq!(json!(ledger.entries().unwrap()), put_in["entries"]);
    let waiting = ledger.outbox().unwrap();
    let waiting: Vec<Value> =
        waiting.iter().map(|it| json!([it.step, it.courier, it.due_ms, it.expires_ms])).collect();
    assert_eq!(json!(waiting), put_in["waiting"]);
    assert_eq!(json!(ledger.undated().unwrap()), put_in["undated"]);
    assert_eq!(json!(ledger.cursor("mirror").unwrap()), put_in["cursors"]["mirror"]);
    let page = &ledger.pages("e1").unwrap()[0];
    assert_eq!(json!([["e1", page.subject, page.day, page.body]]), put_in["pages"]);
    let (seq, body) = ledger.state("counts 1").unwrap().unwrap();
    assert_eq!(json!(["counts 1", seq, String::from_utf8(body).unwrap()]), put_in["state"]);
    assert_eq!(json!(ledger.offset_ms()), put_in["offset_ms"]);
    assert_eq!(ledger.check().unwrap(), []);
}

#[test]
fn a_ledger_of_the_first_schema_becomes_one_of_this_with_everything_in_it() {
    let folder = old();
    let mut ledger = Ledger::open(folder.path(), &founding()).unwrap();
    assert_whole(&ledger);
    assert_eq!(json!(ledger.epoch().unwrap()), put_in()["epoch"]);
    let kept = std::fs::read(folder.path().join("ledger-schema-1")).unwrap();
    let header = Header::read(&folder.path().join("ledger-schema-1")).unwrap().unwrap();
    assert_eq!((header.version, kept.len() as u64), (1, std::fs::metadata(golden()).unwrap().len()));
    // It is filled again, and goes on.
    assert!(ledger.sizes().unwrap().file_bytes > 1_000_000);
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    put(&mut ledger, boot, JUNE + 20 * DAY, &[air("tunnel", JUNE + 20 * DAY, 21.0)]);
    drop(ledger);
    let ledger = Ledger::open(folder.path(), &founding()).unwrap();
    assert_eq!(all(&ledger, "tunnel").len(), 193);
}

#[test]
fn an_older_backup_is_read_as_it_lies() {
    let before = std::fs::read(golden()).unwrap();
    let copied = Copied::open(&golden()).unwrap();
    assert_eq!((copied.schema(), copied.check().unwrap().len()), (1, 0));
    assert_eq!(json!(copied.view().entries().unwrap()), put_in()["entries"]);
    assert_eq!(std::fs::read(golden()).unwrap(), before);
}

/// Not a test by itself: a process that dies in the middle of a migration.
#[test]
fn child_migrates_until_a_stage() {
    let Some(folder) = std::env::var_os(FOLDER) else { return };
    let stage: usize = std::env::var(STAGE).unwrap().parse().unwrap();
    let die = &mut |at| {
        if at == STAGES[stage] {
            std::process::abort();
        }
    };
    bring_up(Path::new(&folder), die).unwrap();
}

#[test]
fn a_process_that_dies_at_any_stage_leaves_the_old_ledger_or_the_new_one_whole() {
    for (index, stage) in STAGES.iter().enumerate() {
        let folder = old();
        let name = "ledger::tests::migrated::child_migrates_until_a_stage";
        let died = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", name])
            .env(FOLDER, folder.path())
            .env(STAGE, index.to_string())
            .output()
            .unwrap();
        assert!(!died.status.success(), "{stage:?}");
        let header = Header::read(&folder.path().join("ledger")).unwrap().unwrap();
        let expected = if *stage == Stage::Renamed { schema::VERSION } else { 1 };
        assert_eq!(header.version, expected, "{stage:?}");
        assert_whole(&Ledger::open(folder.path(), &founding()).unwrap());
        let left = folder.path().join("ledger-next");
        assert!(!left.exists(), "{stage:?}");
    }
}

#[test]
fn a_newer_ledger_is_refused_by_name_and_left_as_it_is() {
    let folder = old();
    let file = folder.path().join("ledger");
    let mut bytes = std::fs::read(&file).unwrap();
    // Offset 60 of an SQLite file is its user version (file format document, section 1.3).
    bytes[60..64].copy_from_slice(&99_u32.to_be_bytes());
    std::fs::write(&file, &bytes).unwrap();
    let newer = LedgerError::Newer { version: 99, known: schema::VERSION };
    assert_eq!(Ledger::open(folder.path(), &founding()).err(), Some(newer.clone()));
    assert_eq!(Copied::open(&file).err(), Some(newer));
    assert_eq!(std::fs::read(&file).unwrap(), bytes);
}

#[test]
fn what_is_no_ledger_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("notes");
    for text in [&b""[..], b"seven lean cabbages", &[b'x'; 5_000]] {
        std::fs::write(&file, text).unwrap();
        let refused = Copied::open(&file).err();
        assert!(matches!(refused, Some(LedgerError::NotALedger { .. })), "{refused:?}");
    }
    let theirs = rusqlite::Connection::open(folder.path().join("theirs")).unwrap();
    theirs.execute_batch("CREATE TABLE a (b); PRAGMA user_version = 1;").unwrap();
    drop(theirs);
    let refused = Copied::open(&folder.path().join("theirs")).err();
    assert!(refused.is_some(), "{refused:?}");
    let absent = Copied::open(&folder.path().join("absent")).err();
    assert!(matches!(absent, Some(LedgerError::Absent { .. })), "{absent:?}");
}

/// The body of row 68,479 of the golden ledger, last batch 36: pco's bytes within ours. They are read for ever, and a
/// release that writes others must say so and leave this test.
const CHUNK: &str = "012480b0d787d06780bab703001c70636f210300c50804010222000000100008000000000000000000003e70636f\
    2103000509040103230000d104000010510200a0feffff07f800000040c004009402000000a09e00000000098fa901524ad5344d03041efe\
    55010000009e7a1bb5";

fn bytes(hex: &str) -> Vec<u8> {
    let digits: Vec<u8> = hex.bytes().filter(u8::is_ascii_hexdigit).collect();
    digits.chunks(2).map(|pair| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap()).collect()
}

/// The same body in form 2, which is written now.
const CHUNK_2: &str = "022480b0d787d06780bab70303310401d104000010510200a0feffff07f800000040c004009402000000a09e00000000\
    098fa901524ad5344d03041efe55010000d73d5843";

#[test]
fn the_first_form_of_a_chunk_is_still_read_and_the_second_is_written_to_the_byte() {
    let kept: Vec<Kept> = (0..36)
        .map(|i| Kept {
            at_ms: JUNE + i * 2 * HOUR,
            ticks: 1_500 + (i * 77 % 1_800) as i32,
            reason: Reason::None,
            late: None,
        })
        .collect();
    let row = [68_479, 36];
    assert_eq!(chunk::decode(&row, &bytes(CHUNK)).unwrap(), kept);
    assert_eq!(chunk::encode(&row, &kept), bytes(CHUNK_2));
    assert_eq!(chunk::decode(&row, &bytes(CHUNK_2)).unwrap(), kept);
}
