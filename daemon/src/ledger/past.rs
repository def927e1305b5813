//! Past readings straight into chunks: the way of a record that is taken in.
//!
//! Ten years of a garden are a hundred million readings. As batches they would be written twice and compacted piece by
//! piece; so each week of a series is merged with what stands and written as the chunk it will be. The rule is the one
//! of [`merge`](super::merge): what is there already is dropped, a second value of the same time is doubtful.
//!
//! What follows from new readings goes into the same transaction: counts that were kept of them, and the day pages
//! that are no longer true. A page that is gone is made afresh at the next start, whatever came between.

use std::collections::{BTreeMap, BTreeSet};

use agronomy::quantity::Quantity;

use super::bytes::seal;
use super::compaction::{Count, put_chunk, renew_following, standing};
use super::merge::{Kept, merge};
use super::series::{SeriesBook, series_for};
use super::week::{HOUR_MS, MOST_MS, chunk_id, start_ms, ticks, week};
use super::{LedgerError, View, schema};
use crate::reading::{ProbeName, Reading, Reason};

/// A graded reading of a record, as small as it can be: a record is long.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PastReading {
    /// When it was measured, UTC ms.
    pub at_ms: i64,
    /// Value times ten to the decimals of the quantity; 0 where it is missing.
    pub ticks: i32,
    /// Why it has its grade. Whether it was heard before is found out here.
    pub reason: Reason,
}

impl PastReading {
    /// A graded reading of a quantity in its few bytes.
    pub fn of(reading: &Reading) -> Self {
        let missing = reading.reason == Reason::Missing || reading.value.is_nan();
        let (ticks, reason) = if missing {
            (0, Reason::Missing)
        } else {
            (ticks(reading.value, reading.quantity.decimals()), reading.reason)
        };
        Self { at_ms: reading.at_ms, ticks, reason }
    }
}

/// Past readings of one probe and quantity, in the order of the record.
#[derive(Clone, Copy, Debug)]
pub struct Past<'a> {
    /// Which instrument.
    pub probe: &'a ProbeName,
    /// What it measured.
    pub quantity: Quantity,
    /// The readings; few weeks at a time, for each week takes a chunk's worth of memory.
    pub readings: &'a [PastReading],
}

/// What became of past readings.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TakenIn {
    /// Readings that were new.
    pub new: u64,
    /// Readings that were there already.
    pub held: u64,
    /// All of them by series and reason, those that were there already as repeated, by name.
    pub counts: Vec<Count>,
    /// When new readings of a probe were measured: first and last of each hour, UTC ms.
    pub times: BTreeSet<(ProbeName, i64)>,
}

/// What must become durable with them.
#[derive(Clone, Debug, Default)]
pub struct Aftermath<'a> {
    /// Day pages that are no longer true, of whatever edition: subject, day since 1970 in the standard offset.
    pub pages: Vec<(String, i64)>,
    /// Snapshot of the running state after this: edition, bytes.
    pub state: Option<(&'a str, Vec<u8>)>,
}

/// See [`Ledger::take_in`](super::Ledger::take_in). Inside a transaction.
pub(super) fn take_in<'s>(
    view: View<'_>,
    next_seq: &mut i64,
    book: &mut SeriesBook,
    arrived_ms: i64,
    past: &[Past<'_>],
    after: impl FnOnce(&TakenIn) -> Aftermath<'s>,
) -> Result<TakenIn, LedgerError> {
    let seq = *next_seq;
    let mut taken = TakenIn::default();
    let mut written = BTreeSet::new();
    for one in past {
        let series = series_for(view.conn, book, (one.probe.clone(), one.quantity))?;
        let mut weeks: BTreeMap<i64, Vec<Kept>> = BTreeMap::new();
        let of = |reading: &PastReading| week(placed(reading, arrived_ms).at_ms, view.shared.offset_ms);
        for run in one.readings.chunk_by(|a, b| of(a) == of(b)) {
            weeks.entry(of(&run[0])).or_default().extend(run.iter().map(|it| placed(it, arrived_ms)));
        }
        let mut counts = BTreeMap::new();
        for (week, arrivals) in weeks {
            let id = chunk_id(series.id, week);
            let known = known(view, series.id, week)?;
            let all = arrivals.len() as u64;
            let mut merged = Vec::new();
            if !all_there(&known, &arrivals) {
                merged = if known.is_empty() {
                    merge(arrivals)
                } else {
                    merge(known.iter().copied().chain(arrivals).collect())
                };
            }
            let new = news(&known, &merged, one.probe, &mut taken.times, &mut counts);
            *counts.entry(Reason::Repeated).or_insert(0) += all - new;
            taken.new += new;
            taken.held += all - new;
            if new > 0 {
                put_chunk(view, id, seq, &merged)?;
                written.insert(id);
            }
        }
        taken.counts.extend(counts.into_iter().filter(|(_, count)| *count > 0).map(|(reason, count)| {
            Count { probe: one.probe.clone(), quantity: one.quantity, reason, count }
        }));
    }
    renew_following(view, &written)?;
    if !written.is_empty() {
        // The number is used up: a copy elsewhere knows by it what it has not seen.
        schema::set(view.conn, "compacted_seq", &seq)?;
        *next_seq += 1;
    }
    follow(view, *next_seq - 1, after(&taken))?;
    Ok(taken)
}

/// A reading as it is kept. A stamp that cannot be a time is no time, as in a commit.
fn placed(reading: &PastReading, arrived_ms: i64) -> Kept {
    let PastReading { mut at_ms, ticks, mut reason } = *reading;
    if !(0..=MOST_MS).contains(&at_ms) {
        (at_ms, reason) = (arrived_ms.clamp(0, MOST_MS), Reason::NoTime);
    }
    Kept { at_ms, ticks, reason, late: Some(arrived_ms) }
}

/// What stands of a week: its chunk, and what batches have of it.
fn known(view: View<'_>, series: i64, week: i64) -> Result<Vec<Kept>, LedgerError> {
    let mut known = standing(view, chunk_id(series, week))?;
    let offset_ms = view.shared.offset_ms;
    let range = start_ms(week, offset_ms)..start_ms(week + 1, offset_ms);
    let fresh = view.in_batches(&[series], &range)?.pop().unwrap_or_default();
    if fresh.is_empty() {
        return Ok(known);
    }
    known.extend(fresh);
    Ok(merge(known))
}

/// Whether every arrival is plainly there already: a record that is taken in once more need not be merged.
fn all_there(known: &[Kept], arrivals: &[Kept]) -> bool {
    let mut known = known.iter();
    arrivals.iter().all(|arrival| {
        let same = known.find(|known| known.at_ms >= arrival.at_ms);
        same.is_some_and(|known| known.at_ms == arrival.at_ms && arrival.repeats(known))
    })
}

/// Notes what `merged` (or nothing, if nothing is new) has beyond `known`, and says how much that is. Both are in measured order, and nothing known is
/// left out of the other.
fn news(
    known: &[Kept],
    merged: &[Kept],
    probe: &ProbeName,
    times: &mut BTreeSet<(ProbeName, i64)>,
    counts: &mut BTreeMap<Reason, u64>,
) -> u64 {
    let mut known = known.iter().peekable();
    let mut new = 0;
    // First and last new one of the hour being looked at.
    let mut hour: Option<(i64, i64)> = None;
    let mut note = |hour: Option<(i64, i64)>| {
        times.extend(
            hour.into_iter().flat_map(|(first, last)| [first, last]).map(|at_ms| (probe.clone(), at_ms)),
        );
    };
    for kept in merged {
        if known.next_if(|known| *known == kept).is_some() {
            continue;
        }
        new += 1;
        *counts.entry(kept.reason).or_insert(0) += 1;
        let same = |(first, _): &(i64, i64)| first.div_euclid(HOUR_MS) == kept.at_ms.div_euclid(HOUR_MS);
        hour = match hour.filter(same) {
            Some((first, _)) => Some((first, kept.at_ms)),
            None => {
                note(hour);
                Some((kept.at_ms, kept.at_ms))
            }
        };
    }
    note(hour);
    new
}

fn follow(view: View<'_>, seq: i64, after: Aftermath<'_>) -> Result<(), LedgerError> {
    let mut delete = view.conn.prepare("DELETE FROM day_page WHERE subject = ?1 AND day = ?2")?;
    for page in after.pages {
        delete.execute(page)?;
    }
    if let Some((edition, mut body)) = after.state {
        seal(&mut body, &[seq]);
        let sql = "INSERT OR REPLACE INTO state (id, seq, edition, body) VALUES (1, ?1, ?2, ?3)";
        view.conn.execute(sql, (seq, edition, body))?;
    }
    Ok(())
}
