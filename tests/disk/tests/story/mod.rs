//! A made-up run of commits, each following from its number alone, and what must be found after any of them: the
//! shadow list that is kept outside the ledger.

#![allow(dead_code, reason = "each file of tests uses a part")]

use std::sync::{Arc, OnceLock};

use agronomy::quantity::Quantity;
use disk::{Disk, Image};
use glasshour::entry::Note;
use glasshour::ledger::{Commit, Founding, Ledger, LedgerError, NewNote, PageRow, Queued, StepRef};
use glasshour::reading::{Reading, Reason};

/// 2026-06-01T00:00:00Z (`date -u -d 2026-06-01 +%s`).
pub const JUNE: i64 = 1_780_272_000_000;
pub const MINUTE: i64 = 60_000;
pub const AIR: Quantity = Quantity::AirTemperature;
const PROBES: [&str; 3] = ["tunnel", "bed", "heap"];
const EDITION: &str = "e1";

/// The count of an ordinary run, or the full one if `GLASSHOUR_COUNTS` says so.
pub fn counts(ordinary: u64, full: u64) -> u64 {
    if std::env::var("GLASSHOUR_COUNTS").is_ok_and(|counts| counts == "full") { full } else { ordinary }
}

pub fn founding() -> Founding {
    Founding { offset_ms: 3_600_000, program: "glasshour test".to_owned() }
}

/// A disk with a new ledger on it, all flushed.
pub fn founded() -> &'static Image {
    static FOUNDED: OnceLock<Image> = OnceLock::new();
    FOUNDED.get_or_init(|| {
        let disk = Disk::new(1);
        drop(Ledger::open_on(disk.clone(), &founding()).unwrap());
        disk.image()
    })
}

pub fn at(number: u64) -> i64 {
    JUNE + number as i64 * MINUTE
}

fn readings_of(number: u64) -> Vec<Reading> {
    let of = |(index, probe): (usize, &&str)| Reading {
        probe: (*probe).into(),
        quantity: AIR,
        // 10.00 to 39.99, far from alike.
        value: ((number * 7_919 + index as u64 * 1_009) % 3_000 + 1_000) as f64 / 100.0,
        at_ms: at(number),
        reason: Reason::None,
    };
    PROBES.iter().enumerate().take(if number.is_multiple_of(4) { 3 } else { 2 }).map(of).collect()
}

fn has_notice(number: u64) -> bool {
    number.is_multiple_of(3)
}

fn notice(number: u64) -> NewNote {
    NewNote { at_ms: at(number), from_ms: at(number), note: Note::Remark { text: format!("notice {number}") } }
}

/// Commits number `number`, the first being 1: readings, and with every third a notice and its delivery; now and then
/// a page and a snapshot (a long one with every 50th, so that the log grows past its limit).
pub fn commit(ledger: &mut Ledger, boot: i64, number: u64) -> Result<(), LedgerError> {
    commit_with(ledger, boot, number, if number.is_multiple_of(50) { 1_050_000 } else { 700 })
}

pub fn commit_with(ledger: &mut Ledger, boot: i64, number: u64, snapshot: usize) -> Result<(), LedgerError> {
    let readings = readings_of(number);
    let notes = [notice(number)];
    let queue = [Queued {
        step: StepRef::Note(0),
        courier: "mail".to_owned(),
        due_ms: at(number),
        expires_ms: at(number) + MINUTE,
    }];
    let body = format!("{{\"commit\":{number}}}");
    let pages = [PageRow { subject: "house", day: number as i64 / 5, edition: EDITION, body: &body }];
    let state = vec![number as u8; snapshot];
    let told = has_notice(number);
    ledger
        .commit(&Commit {
            readings: &readings,
            notes: if told { &notes } else { &[] },
            queue: if told { &queue } else { &[] },
            cursors: &[("mirror", number as i64)],
            pages: if number.is_multiple_of(5) { &pages } else { &[] },
            state: number.is_multiple_of(10).then_some((EDITION, state.as_slice())),
            ..Commit::empty(boot, at(number), at(number) - JUNE)
        })
        .map(|_| ())
}

/// What the readings of one probe are after `count` commits.
pub fn readings_after(probe: &str, count: u64) -> Vec<Reading> {
    (1..=count).flat_map(readings_of).filter(|reading| &*reading.probe == probe).collect()
}

/// How many commits the ledger holds: all of each, none of any other. What is torn is told.
pub fn found(ledger: &Ledger) -> Result<u64, String> {
    let told = |error: LedgerError| error.to_string();
    let count = ledger.cursor("mirror").map_err(told)? as u64;
    for probe in PROBES {
        let readings = ledger.readings(probe, AIR, 0..i64::MAX).map_err(told)?;
        if readings != readings_after(probe, count) {
            return Err(format!("{count} commits, but {} readings of {probe}", readings.len()));
        }
    }
    let notices: Vec<Note> = ledger.entries().map_err(told)?.into_iter().map(|entry| entry.note).collect();
    let expected: Vec<Note> = (1..=count).filter(|n| has_notice(*n)).map(|n| notice(n).note).collect();
    if notices != expected {
        return Err(format!("{count} commits, but {} notices", notices.len()));
    }
    let outbox = ledger.outbox().map_err(told)?;
    if outbox.len() != expected.len() || outbox.iter().any(|row| row.courier != "mail" || row.tries != 0) {
        return Err(format!("{count} commits, but {} deliveries", outbox.len()));
    }
    let pages = ledger.pages(EDITION).map_err(told)?;
    if pages.len() as u64 != count / 5 {
        return Err(format!("{count} commits, but {} pages", pages.len()));
    }
    let state = ledger.state(EDITION).map_err(told)?;
    let last = count / 10 * 10;
    let whole = match &state {
        None => last == 0,
        Some((_, bytes)) => last > 0 && bytes.iter().all(|byte| *byte == last as u8),
    };
    if whole { Ok(count) } else { Err(format!("{count} commits, but the snapshot is of another")) }
}

/// Opens the ledger, looks at everything in it, and says how many commits there are.
pub fn open(disk: &Arc<Disk>) -> Result<(Ledger, u64), String> {
    let told = |error: LedgerError| error.to_string();
    let ledger = Ledger::open_on(disk.clone(), &founding()).map_err(told)?;
    let fences = ledger.check().map_err(told)?;
    if !fences.is_empty() {
        return Err(format!("{fences:?}"));
    }
    let count = found(&ledger)?;
    Ok((ledger, count))
}

/// A ledger on a new disk, with `count` commits in it and a boot begun.
pub fn with_commits(count: u64) -> (Arc<Disk>, Ledger, i64) {
    let disk = Disk::of(founded());
    let mut ledger = Ledger::open_on(disk.clone(), &founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    for number in 1..=count {
        commit(&mut ledger, boot, number).unwrap();
    }
    (disk, ledger, boot)
}
