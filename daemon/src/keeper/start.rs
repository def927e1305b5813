//! Starting on a ledger: the engine is brought to where the ledger stands, and nothing is told anew.

use std::collections::BTreeSet;

use agronomy::quantity::Quantity;
use agronomy::series::{MS_PER_DAY, MS_PER_HOUR};
use serde::{Deserialize, Serialize};

use super::core::{Core, Moment, Route};
use super::counts::Counts;
use super::engine::Engine;
use crate::almanac::pages::{Made, Pages};
use crate::calendar::Day;
use crate::entry::{Entry, Note};
use crate::ground::Ground;
use crate::ledger::{Batch, Commit, Ledger, LedgerError};
use crate::site::Site;

/// Readings of how far back come into memory, ms.
const RECALL_MS: i64 = 54 * MS_PER_HOUR;
/// Days whose shapes are looked at.
const SHAPE_DAYS: Day = 14;

/// What is kept in the ledger beside the batches, so that a start need not read ten years.
#[derive(Serialize, Deserialize)]
struct Snapshot {
    /// Counts up to and with the batch the snapshot was made at.
    counts: Counts,
    /// Newest entry whose touched days had all been made afresh.
    entry: i64,
}

impl Core {
    /// Opens the core on a ledger at a moment. `ready`: the boot was begun under this number.
    ///
    /// # Errors
    ///
    /// When the ledger cannot be read.
    pub fn start(
        site: Site,
        ledger: Ledger,
        boot: i64,
        moment: Moment,
        routes: Vec<Route>,
    ) -> Result<Self, LedgerError> {
        let edition = site.edition();
        let entries = ledger.entries()?;
        let (pages, known) = pages(&ledger, &edition, &entries)?;
        let snapshot = ledger
            .state(&edition)?
            .and_then(|(seq, body)| Some((seq, serde_json::from_slice::<Snapshot>(&body).ok()?)));
        let (from_seq, mut counts, clean_entry) = match snapshot {
            Some((seq, snapshot)) => (seq, snapshot.counts, snapshot.entry),
            None => (0, Counts::default(), 0),
        };
        let now_ms = if moment.trusted {
            moment.wall_ms
        } else {
            ledger.newest_commit_ms()?.unwrap_or(moment.wall_ms)
        };
        let mut engine = Engine::new(site, now_ms);
        let mut seq = from_seq;
        let mut touched = BTreeSet::new();
        each_batch(&ledger, from_seq, |batch| {
            seq = batch.seq;
            for reading in &batch.readings {
                counts.take(reading);
                if batch.dated {
                    touched.insert((reading.probe.clone(), reading.at_ms.div_euclid(MS_PER_HOUR)));
                }
            }
        })?;
        engine.restore(entries.clone(), pages, counts);
        for (probe, hour) in touched {
            engine.touch(&probe, hour * MS_PER_HOUR);
        }
        for entry in entries.iter().filter(|entry| entry.id > clean_entry) {
            engine.touch_by(entry);
        }
        if known.is_none() {
            mark_everything(&mut engine, &ledger)?;
        }
        for (probe, quantity) in ledger.series()? {
            // Of a probe that has long been silent, its last days: since when it is silent must still be known.
            let newest_ms =
                ledger.newest(&probe, quantity)?.map_or(now_ms, |newest| newest.at_ms.min(now_ms));
            let from_ms = newest_ms - RECALL_MS;
            let readings = ledger.readings(&probe, quantity, from_ms..now_ms + MS_PER_DAY)?;
            engine.recall(&probe, quantity, from_ms, &readings);
        }
        recall_shapes(&mut engine, &ledger, now_ms)?;
        for hang in engine.ground().hangs.clone() {
            ledger.set_usual_interval(&hang.probe, hang.usual_interval_ms);
        }
        engine.skip_to(now_ms);
        Ok(Self::new(engine, ledger, boot, seq, routes))
    }

    /// Keeps a snapshot, so that the next start is quick; only when nothing waits and no day is marked.
    ///
    /// # Errors
    ///
    /// When the ledger refuses.
    pub fn snapshot(&mut self, moment: Moment, boot: i64) -> Result<(), LedgerError> {
        if self.engine().is_dirty() || self.waits() {
            return Ok(());
        }
        let entry = self.engine().newest_entry();
        let snapshot = Snapshot { counts: self.engine().counts().clone(), entry };
        let body = serde_json::to_vec(&snapshot).unwrap_or_default();
        let edition = self.engine().site().edition();
        let mut commit = Commit::empty(boot, moment.wall_ms, moment.mono_ms);
        commit.state = Some((&edition, &body));
        self.ledger_mut().commit(&commit).map(|_| ())
    }
}

/// The kept pages of this edition; the day of the newest, none where there are none.
fn pages(ledger: &Ledger, edition: &str, entries: &[Entry]) -> Result<(Pages, Option<Day>), LedgerError> {
    let ground = Ground::of(entries);
    let mut pages = Pages::default();
    let mut newest = None;
    for page in ledger.pages(edition)? {
        newest = newest.max(Some(page.day));
        if let Ok(made) = serde_json::from_str::<Option<Made>>(&page.body) {
            pages.put(&ground, &page.subject, page.day, made);
        }
    }
    Ok((pages, newest))
}

fn each_batch(ledger: &Ledger, from_seq: i64, mut each: impl FnMut(&Batch)) -> Result<(), LedgerError> {
    let mut seq = from_seq;
    loop {
        let batches = ledger.batches_after(seq, 500)?;
        let Some(last) = batches.last() else { return Ok(()) };
        seq = last.seq;
        batches.iter().for_each(&mut each);
    }
}

/// Marks every day since the first reading: after a new edition nothing kept can be used.
fn mark_everything(engine: &mut Engine, ledger: &Ledger) -> Result<(), LedgerError> {
    let mut first: Option<i64> = None;
    for (probe, quantity) in ledger.series()? {
        if let Some((from, _)) = ledger.span(&probe, quantity)? {
            first = Some(first.map_or(from, |first| first.min(from)));
        }
    }
    if let Some(first) = first {
        engine.mark_since(first);
    }
    Ok(())
}

fn recall_shapes(engine: &mut Engine, ledger: &Ledger, now_ms: i64) -> Result<(), LedgerError> {
    let calendar = engine.site().calendar.clone();
    let today = calendar.day_of(now_ms);
    for place in engine.ground().places.clone() {
        for day in today - SHAPE_DAYS..today {
            let window = calendar.start_of(day)..calendar.start_of(day + 1);
            let hang = engine.ground().hangs_in(&place.id, window.start, window.end).next().cloned();
            let Some(hang) = hang else { continue };
            let from = window.start - 2 * hang.usual_interval_ms;
            let stored = ledger.readings(&hang.probe, Quantity::AirTemperature, from..window.end)?;
            let air: Vec<(i64, f64)> = stored
                .iter()
                .filter(|reading| reading.grade() == crate::reading::Grade::Sound)
                .map(|reading| (reading.at_ms, reading.value))
                .collect();
            engine.recall_shape(&place.id, &air, hang.usual_interval_ms, day);
        }
    }
    Ok(())
}

/// Writes a site file's start into an empty ledger: once.
///
/// # Errors
///
/// When the ledger refuses.
pub fn seed(
    ledger: &mut Ledger,
    boot: i64,
    moment: Moment,
    notes: &[(i64, Note)],
) -> Result<(), LedgerError> {
    if !ledger.entries()?.is_empty() || notes.is_empty() {
        return Ok(());
    }
    let notes: Vec<_> = notes
        .iter()
        .map(|(from_ms, note)| crate::ledger::NewNote {
            at_ms: moment.wall_ms,
            from_ms: *from_ms,
            note: note.clone(),
        })
        .collect();
    let mut commit = Commit::empty(boot, moment.wall_ms, moment.mono_ms);
    commit.notes = &notes;
    ledger.commit(&commit).map(|_| ())
}
