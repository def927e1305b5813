//! Starting on a ledger: the engine is brought to where the ledger stands, and nothing is told anew.

use std::collections::BTreeSet;

use agronomy::quantity::Quantity;
use agronomy::series::MS_PER_HOUR;
use serde::{Deserialize, Serialize};

use super::core::{Core, Moment, Route};
use super::counts::Counts;
use super::editions::Editions;
use super::engine::Engine;
use super::grading::FUTURE_MS;
use super::stored::{Stored, reason_now};
use crate::almanac::days_seen::{SEEN_DAYS, see};
use crate::almanac::humid_nights::humid_nights;
use crate::almanac::pages::{Made, Pages, held};
use crate::calendar::Day;
use crate::entry::{Entry, Note, UNDATED_BELOW_MS};
use crate::ground::Ground;
use crate::ledger::{Batch, Commit, Ledger, LedgerError};
use crate::outlook::past::REMEMBERED;
use crate::site::Site;

/// Readings of how far back come into memory, ms.
const RECALL_MS: i64 = 54 * MS_PER_HOUR;
/// Days whose shapes are looked at.
const SHAPE_DAYS: Day = 14;

/// The form of the snapshot. Counts do not hang on the edition of the pages, and must outlive it: batches that
/// became chunks cannot be counted again.
pub(super) const FORM: &str = "counts 1";

/// What is kept in the ledger beside the batches, so that a start need not read ten years.
#[derive(Serialize, Deserialize)]
struct Snapshot {
    /// Counts up to and with the batch the snapshot was made at.
    counts: Counts,
    /// Newest entry whose touched days had all been made afresh.
    entry: i64,
}

impl Core {
    /// Opens the core on a ledger at a moment of a boot that was begun under this number.
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
        let Standing { engine, seq, outdated } = stand(site, &ledger, moment)?;
        let mut core = Self::new(engine, ledger, boot, seq, routes);
        if let Some(kept) = outdated {
            core.keep_editions(kept);
        }
        Ok(core)
    }

    /// Brings the engine to where the ledger stands, as at a start: for a clock that was set back, since an engine cannot
    /// un-know what it lived through. Nothing may wait.
    ///
    /// # Errors
    ///
    /// When the ledger cannot be read; the engine stays as it was then.
    pub fn start_again(&mut self, moment: Moment) -> Result<(), LedgerError> {
        let Standing { engine, seq, .. } = stand(self.engine().site().clone(), self.ledger(), moment)?;
        self.stand_at(engine, seq);
        Ok(())
    }

    /// Keeps a snapshot, so that the next start is quick; only when nothing waits and no day is marked. Whether it
    /// was kept: batches that no snapshot covers must not be compacted, as they could not be counted again.
    ///
    /// # Errors
    ///
    /// When the ledger refuses.
    pub fn snapshot(&mut self, moment: Moment, boot: i64) -> Result<bool, LedgerError> {
        if self.engine().is_dirty() || self.waits() {
            return Ok(false);
        }
        let body = snapshot_of(self.engine());
        let mut commit = Commit::empty(boot, moment.wall_ms, moment.mono_ms);
        commit.state = Some((FORM, &body));
        self.ledger_mut().commit(&commit).map(|_| true)
    }
}

/// An engine that stands at a ledger's state.
struct Standing {
    engine: Engine,
    /// Newest batch.
    seq: i64,
    /// The only editions whose pages are to be kept, where there are others.
    outdated: Option<Vec<String>>,
}

/// The engine of a site, brought to where its ledger stands.
fn stand(site: Site, ledger: &Ledger, moment: Moment) -> Result<Standing, LedgerError> {
    let entries = ledger.entries()?;
    let snapshot = ledger
        .state(FORM)?
        .and_then(|(seq, body)| Some((seq, serde_json::from_slice::<Snapshot>(&body).ok()?)));
    let (from_seq, mut counts, clean_entry) = match snapshot {
        Some((seq, snapshot)) => (seq, snapshot.counts, snapshot.entry),
        None => (0, Counts::default(), 0),
    };
    let now_ms =
        if moment.trusted { moment.wall_ms } else { ledger.newest_commit_ms()?.unwrap_or(moment.wall_ms) };
    // What bears a later date was stored under a word on the time that was taken back. Its day will come.
    let (today, until_ms) = (site.calendar.day_of(now_ms), now_ms.saturating_add(FUTURE_MS));
    let until_ms = if moment.trusted { until_ms } else { i64::MAX };
    let mut engine = Engine::new(site, now_ms);
    let mut seq = from_seq;
    let mut touched = BTreeSet::new();
    each_batch(ledger, from_seq, |batch| {
        seq = batch.seq;
        // What has no date is in no count until it gets one.
        for reading in batch.readings.iter().filter(|_| batch.dated) {
            counts.take(reading);
            touched.insert((reading.probe.clone(), reading.at_ms.div_euclid(MS_PER_HOUR)));
        }
    })?;
    let editions = Editions::of(&entries, engine.site().edition());
    let (pages, made) = pages(ledger, &editions, &Ground::of(&entries), today)?;
    engine.restore(entries.clone(), pages, counts);
    for (probe, hour) in touched {
        engine.touch(&probe, hour * MS_PER_HOUR);
    }
    touch_since(&mut engine, &entries, clean_entry);
    if let Some(first_ms) = first_ms(ledger, &entries)? {
        engine.mark_missing(first_ms, &made);
    }
    recall(&mut engine, ledger, now_ms, until_ms)?;
    recall_shapes(&mut engine, ledger, now_ms);
    recall_seen(&mut engine, ledger, now_ms);
    for hang in engine.ground().hangs.clone() {
        ledger.set_usual_interval(&hang.probe, hang.usual_interval_ms);
    }
    engine.skip_to(now_ms);
    engine.learn_outlook();
    engine.look_back();
    let kept = editions.kept();
    let others = ledger.editions()?.iter().any(|edition| !kept.contains(edition));
    Ok(Standing { engine, seq, outdated: others.then_some(kept) })
}

/// The snapshot of an engine none of whose marked days has a page in the ledger.
pub(super) fn snapshot_of(engine: &Engine) -> Vec<u8> {
    let snapshot = Snapshot { counts: engine.counts().clone(), entry: engine.newest_entry() };
    serde_json::to_vec(&snapshot).unwrap_or_default()
}

/// Places and days whose pages were made, also those that came to nothing.
type MadeDays = BTreeSet<(String, Day)>;

/// The kept pages of the edition that is served, up to today, and which days the edition to be reckoned has already.
fn pages(
    ledger: &Ledger,
    editions: &Editions,
    ground: &Ground,
    today: Day,
) -> Result<(Pages, MadeDays), LedgerError> {
    let mut pages = Pages::default();
    let mut days = MadeDays::new();
    each_page(ledger, editions.served(), |place, day, made| {
        if day < today {
            pages.put(ground, place, day, made);
        }
        days.insert((place.to_owned(), day));
    })?;
    if editions.renewing() {
        days.clear();
        each_page(ledger, editions.current(), |place, day, _| _ = days.insert((place.to_owned(), day)))?;
    }
    Ok((pages, days))
}

/// Every kept page of an edition; one that cannot be read is as if it had not been made.
pub(super) fn each_page(
    ledger: &Ledger,
    edition: &str,
    mut each: impl FnMut(&str, Day, Option<Made>),
) -> Result<(), LedgerError> {
    for page in ledger.pages(edition)? {
        if let Ok(made) = serde_json::from_str::<Option<Made>>(&page.body) {
            each(&page.subject, page.day, made);
        }
    }
    Ok(())
}

/// Marks the days that entries after `clean_entry` touched.
fn touch_since(engine: &mut Engine, entries: &[Entry], clean_entry: i64) {
    for (at, entry) in entries.iter().enumerate().filter(|(_, entry)| entry.id > clean_entry) {
        if matches!(entry.note.kind(), "ground" | "diary" | "undo") {
            engine.touch_by(entry, &Ground::of(&entries[..at]));
            engine.touch_by(entry, &Ground::of(&entries[..=at]));
        }
    }
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

/// When the first thing was measured or noted, UTC ms.
fn first_ms(ledger: &Ledger, entries: &[Entry]) -> Result<Option<i64>, LedgerError> {
    // What was told while nobody knew the time stands at no date.
    let dated = entries.iter().filter(|entry| entry.from_ms >= UNDATED_BELOW_MS);
    let mut first = dated.map(|entry| entry.from_ms).min();
    for (probe, quantity) in ledger.series()? {
        let span = ledger.span(&probe, quantity)?;
        first = first.into_iter().chain(span.map(|(from, _)| from)).min();
    }
    Ok(first)
}

/// The last days of every series, for the minders: what was measured before `until_ms`.
fn recall(engine: &mut Engine, ledger: &Ledger, now_ms: i64, until_ms: i64) -> Result<(), LedgerError> {
    for (probe, quantity) in ledger.series()? {
        // Of a probe that has long been silent, its last days: since when it is silent must still be known.
        let newest_ms = ledger.newest(&probe, quantity)?.map_or(now_ms, |newest| newest.at_ms.min(now_ms));
        let from_ms = newest_ms - RECALL_MS;
        let mut recalled = ledger.readings(&probe, quantity, from_ms..until_ms)?;
        for reading in &mut recalled {
            reading.reason = reason_now(engine.site(), engine.ground(), reading);
        }
        engine.recall(&probe, quantity, from_ms, &recalled);
    }
    Ok(())
}

fn recall_shapes(engine: &mut Engine, ledger: &Ledger, now_ms: i64) {
    let calendar = engine.site().calendar.clone();
    let today = calendar.day_of(now_ms);
    // Forecasts are held against a month; without any, nobody asks for the hours of so many days.
    let days = if engine.has_outlooks() { REMEMBERED } else { SHAPE_DAYS };
    for place in engine.ground().places.clone() {
        for day in today - days..today {
            let wide = calendar.start_of(day - 1)..calendar.start_of(day + 1);
            let (site, ground) = (engine.site(), engine.ground());
            let stored = Stored { site, ground, ledger, waiting: &[] };
            let air = held(ground, &stored, &place.id, Quantity::AirTemperature, &wide);
            if day < today - SHAPE_DAYS {
                engine.recall_hours(&place.id, &air, day);
            } else {
                engine.recall_shape(&place.id, &air, day);
            }
        }
    }
}

/// What the last days came to, for the minders that look at days. Light is looked at for yesterday only.
fn recall_seen(engine: &mut Engine, ledger: &Ledger, now_ms: i64) {
    let today = engine.site().calendar.day_of(now_ms);
    for place in engine.ground().places.clone() {
        for day in today - SEEN_DAYS..today {
            let (site, ground) = (engine.site(), engine.ground());
            let stored = Stored { site, ground, ledger, waiting: &[] };
            if let Some(seen) = see(site, ground, &stored, &place, day, today - day) {
                engine.recall_seen(&place.id, seen);
            }
        }
    }
    for day in today - SEEN_DAYS..today {
        let (site, ground) = (engine.site(), engine.ground());
        let stored = Stored { site, ground, ledger, waiting: &[] };
        for (probe, night) in humid_nights(&site.calendar, ground, &stored, day) {
            engine.recall_humid(&probe, night);
        }
    }
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
