//! A made-up run of commits, each following from its number alone, and what must be found after any of them: the
//! shadow list that is kept outside the ledger.

#![allow(dead_code, reason = "each file of tests uses a part of it")]

use std::sync::{Arc, OnceLock};

use agronomy::quantity::Quantity;
use disk::{Disk, Image};
use glasshour::entry::Note;
use glasshour::ledger::{Commit, Fence, Founding, Ledger, LedgerError, NewNote, PageRow, Queued, StepRef};
use glasshour::reading::{Reading, Reason};

/// 2026-06-01T00:00:00Z (`date -u -d 2026-06-01 +%s`).
pub(crate) const JUNE: i64 = 1_780_272_000_000;
pub(crate) const MINUTE: i64 = 60_000;
pub(crate) const AIR: Quantity = Quantity::AirTemperature;
const PROBES: [&str; 3] = ["tunnel", "bed", "heap"];
const EDITION: &str = "e1";

/// The count of an ordinary run, or the full one if `GLASSHOUR_COUNTS` says so.
pub(crate) fn counts(ordinary: u64, full: u64) -> u64 {
    if std::env::var("GLASSHOUR_COUNTS").is_ok_and(|counts| counts == "full") { full } else { ordinary }
}

pub(crate) fn founding() -> Founding {
    Founding { offset_ms: 3_600_000, program: "glasshour test".to_owned() }
}

/// A disk with a new ledger on it, all flushed.
pub(crate) fn founded() -> &'static Image {
    static FOUNDED: OnceLock<Image> = OnceLock::new();
    FOUNDED.get_or_init(|| {
        let disk = Disk::new(1);
        drop(Ledger::open_on(disk.clone(), &founding()).unwrap());
        disk.image()
    })
}

pub(crate) fn at(number: u64) -> i64 {
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
    NewNote {
        at_ms: at(number),
        from_ms: at(number),
        note: Note::Remark { text: format!("notice {number}") },
    }
}

fn page(number: u64) -> String {
    format!("{{\"commit\":{number}}}")
}

/// Commits number `number`, the first being 1: readings, and with every third a notice and its delivery; now and then
/// a page and a snapshot (a long one with every 50th, so that the log grows past its limit).
pub(crate) fn commit(ledger: &mut Ledger, boot: i64, number: u64) -> Result<(), LedgerError> {
    commit_with(ledger, boot, number, if number.is_multiple_of(50) { 1_050_000 } else { 700 })
}

pub(crate) fn commit_with(
    ledger: &mut Ledger,
    boot: i64,
    number: u64,
    snapshot: usize,
) -> Result<(), LedgerError> {
    let readings = readings_of(number);
    let notes = [notice(number)];
    let queue = [Queued {
        step: StepRef::Note(0),
        courier: "mail".to_owned(),
        due_ms: at(number),
        expires_ms: at(number) + MINUTE,
    }];
    let body = page(number);
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
pub(crate) fn readings_after(probe: &str, count: u64) -> Vec<Reading> {
    (1..=count).flat_map(readings_of).filter(|reading| &*reading.probe == probe).collect()
}

/// Why a ledger is not what it should be.
#[derive(Debug)]
pub(crate) enum Wrong {
    /// It says so itself: it refuses.
    Refuses(LedgerError),
    /// It says so itself: rows are fenced.
    Fences(Vec<Fence>),
    /// It says nothing, and something is missing, half there, or another.
    Torn(String),
}

impl From<LedgerError> for Wrong {
    fn from(error: LedgerError) -> Self {
        Self::Refuses(error)
    }
}

fn same<T: PartialEq>(what: &str, count: u64, found: &T, expected: &T) -> Result<(), Wrong> {
    if found == expected { Ok(()) } else { Err(Wrong::Torn(format!("{count} commits, but other {what}"))) }
}

/// How many commits the ledger holds: all of each, nothing of any other.
pub(crate) fn found(ledger: &Ledger) -> Result<u64, Wrong> {
    let count = ledger.cursor("mirror")? as u64;
    for probe in PROBES {
        same(probe, count, &ledger.readings(probe, AIR, 0..i64::MAX)?, &readings_after(probe, count))?;
    }
    let entries: Vec<_> = ledger.entries()?.into_iter().map(|entry| (entry.at_ms, entry.note)).collect();
    let told = || (1..=count).filter(|number| has_notice(*number));
    same("notices", count, &entries, &told().map(|number| (at(number), notice(number).note)).collect())?;
    let outbox: Vec<_> =
        ledger.outbox()?.into_iter().map(|row| (row.courier, row.due_ms, row.tries)).collect();
    same("deliveries", count, &outbox, &told().map(|number| ("mail".to_owned(), at(number), 0)).collect())?;
    let pages: Vec<_> = ledger.pages(EDITION)?.into_iter().map(|page| (page.day, page.body)).collect();
    let paged = (1..=count).filter(|number| number.is_multiple_of(5));
    same("pages", count, &pages, &paged.map(|number| (number as i64 / 5, page(number))).collect())?;
    let state = ledger
        .state(EDITION)?
        .map(|(_, bytes)| bytes.iter().all(|byte| *byte == bytes[0]).then_some(bytes[0]));
    let last = count / 10 * 10;
    same("snapshot", count, &state, &(last > 0).then_some(Some(last as u8)))?;
    Ok(count)
}

/// Opens the ledger, looks at everything in it, and says how many commits there are.
pub(crate) fn open(disk: &Arc<Disk>) -> Result<(Ledger, u64), Wrong> {
    let ledger = Ledger::open_on(disk.clone(), &founding())?;
    let fences = ledger.check()?;
    if !fences.is_empty() {
        return Err(Wrong::Fences(fences));
    }
    let count = found(&ledger)?;
    Ok((ledger, count))
}

/// A ledger on a new disk, with `count` commits in it and a boot begun.
pub(crate) fn with_commits(count: u64) -> (Arc<Disk>, Ledger, i64) {
    let disk = Disk::of(founded());
    let mut ledger = Ledger::open_on(disk.clone(), &founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    for number in 1..=count {
        commit(&mut ledger, boot, number).unwrap();
    }
    (disk, ledger, boot)
}
