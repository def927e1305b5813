//! What a ledger is given, commit by commit, such that each commit can be recognised whole or torn afterwards.
//!
//! Commit `i` holds a reading of two probes at minute `i`; every eighth three hundred of a third probe besides, more
//! than a page of the file system; every fourth a remark with its delivery; each moves a cursor.

use std::path::Path;

use agronomy::quantity::Quantity;
use glasshour::entry::Note;
use glasshour::ledger::{Commit, Founding, Ledger, LedgerError, NewNote, Queued, StepRef};
use glasshour::reading::{Reading, Reason};

/// 2026-06-01T00:00:00Z (`date -u -d 2026-06-01 +%s`).
pub(crate) const JUNE: i64 = 1_780_272_000_000;
const MINUTE: i64 = 60_000;
const MANY: i64 = 300;
const CURSOR: &str = "told";
const COURIER: &str = "post";

fn air(probe: &str, at_ms: i64, value: f64) -> Reading {
    Reading { probe: probe.into(), quantity: Quantity::AirTemperature, value, at_ms, reason: Reason::None }
}

fn has_many(number: i64) -> bool {
    number % 8 == 5
}

fn has_remark(number: i64) -> bool {
    number % 4 == 3
}

/// Whole tenths: what the ledger keeps exactly.
fn value(from_tenths: i64, number: i64) -> f64 {
    (from_tenths + number % 100) as f64 / 10.0
}

/// Opens the ledger of a folder.
pub(crate) fn open(folder: &Path) -> Result<Ledger, LedgerError> {
    Ledger::open(folder, &Founding { offset_ms: 0, program: "test".to_owned() })
}

/// Makes commit `number`.
pub(crate) fn put(ledger: &mut Ledger, boot: i64, number: i64) -> Result<(), LedgerError> {
    let at = JUNE + number * MINUTE;
    let mut readings = vec![air("tunnel", at, value(200, number)), air("bed", at, value(150, number))];
    if has_many(number) {
        readings
            .extend((0..MANY).map(|step| air("vane", at + step * 100, ((step * step) % 977) as f64 / 100.0)));
    }
    let remark = NewNote { at_ms: at, from_ms: at, note: Note::Remark { text: format!("remark {number}") } };
    let notes = if has_remark(number) { vec![remark] } else { Vec::new() };
    let delivery =
        Queued { step: StepRef::Note(0), courier: COURIER.to_owned(), due_ms: at, expires_ms: at + MINUTE };
    let queue = if has_remark(number) { vec![delivery] } else { Vec::new() };
    let commit = Commit {
        readings: &readings,
        notes: &notes,
        queue: &queue,
        cursors: &[(CURSOR, number + 1)],
        ..Commit::empty(boot, at, number * MINUTE)
    };
    ledger.commit(&commit).map(|_| ())
}

/// The daily and the hourly work of the service: the log into the file, batches into chunks.
pub(crate) fn work(ledger: &mut Ledger, number: i64) -> Result<(), LedgerError> {
    if number % 20 == 19 {
        ledger.compact(JUNE + (number - 5) * MINUTE)?;
    }
    ledger.checkpoint()
}

/// How many commits are there, all of them whole and in order; or what is torn. With `twice` a commit may be there
/// twice: it was refused, not acknowledged, and made again.
pub(crate) fn whole(ledger: &Ledger, twice: bool) -> Result<i64, String> {
    let words = |error: LedgerError| error.to_string();
    let stored = |probe: &str| {
        let readings = ledger.readings(probe, Quantity::AirTemperature, 0..i64::MAX).map_err(words)?;
        Ok::<_, String>(
            readings.into_iter().filter(|reading| reading.reason != Reason::Repeated).collect::<Vec<_>>(),
        )
    };
    let fences = ledger.check().map_err(words)?;
    let tunnel = stored("tunnel")?;
    let count = tunnel.len() as i64;
    let wanted = |probe: &str, from_tenths: i64| -> Vec<Reading> {
        (0..count).map(|number| air(probe, JUNE + number * MINUTE, value(from_tenths, number))).collect()
    };
    let mut torn = Vec::new();
    if tunnel != wanted("tunnel", 200) || stored("bed")? != wanted("bed", 150) {
        torn.push("readings missing between others".to_owned());
    }
    let vane = (0..count).filter(|number| has_many(*number)).count() as i64 * MANY;
    if stored("vane")?.len() as i64 != vane {
        torn.push("part of a commit's readings".to_owned());
    }
    let mut remarks: Vec<String> = Vec::new();
    for entry in ledger.entries().map_err(words)? {
        if let Note::Remark { text } = entry.note {
            remarks.push(text);
        }
    }
    let deliveries = ledger.outbox().map_err(words)?.len();
    let made = remarks.len();
    if twice {
        remarks.dedup();
    }
    let told: Vec<_> =
        (0..count).filter(|number| has_remark(*number)).map(|n| format!("remark {n}")).collect();
    if remarks != told || deliveries != made {
        torn.push(format!("{made} remarks with {deliveries} deliveries, of {}", told.len()));
    }
    if ledger.cursor(CURSOR).map_err(words)? != count {
        torn.push("the cursor of another commit".to_owned());
    }
    torn.extend(fences.iter().map(|fence| format!("{} {}: {}", fence.table, fence.row, fence.what)));
    if torn.is_empty() { Ok(count) } else { Err(torn.join("; ")) }
}
