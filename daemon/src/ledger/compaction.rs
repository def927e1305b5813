//! Batches into chunks: once a day, the readings of settled commits go where they take a fifteenth of the room.
//!
//! A plan first: a run of batches from the oldest on, so that of two readings of the same time the earlier arrival
//! stays the earlier. Then slices of so many series, each in a transaction of its own, so that neither memory nor log
//! grows with the garden. The last transaction deletes the batches. Until then their readings are in chunks and
//! batches both, which harms nobody, for [`merge`] drops what repeats: a compaction that was cut short is begun anew.
//!
//! Readings of a boot that ended without learning the time are put away by boot. Repeated readings end here: they were
//! there only for the count, which is handed back.

use std::collections::{BTreeMap, BTreeSet};

use rusqlite::{Connection, OptionalExtension};

use super::batch::{self, Content};
use super::bytes::Spoilt;
use super::dating::{self, Boots};
use super::hours::{self, HOURS, Span, roll};
use super::merge::{Kept, merge};
use super::view::blob;
use super::week::{LAST_WEEK, WEEK_MS, chunk_id, of_chunk, start_ms, week};
use super::{LedgerError, View, chunk, schema};
use crate::reading::{ProbeName, Reason};
use agronomy::quantity::Quantity;

/// Series in one transaction.
const SERIES_AT_ONCE: usize = 64;

/// How many readings of one reason a series had in the batches compacted, repeated ones included.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Count {
    /// Which instrument.
    pub probe: ProbeName,
    /// What it measured.
    pub quantity: Quantity,
    /// Which reason (it says the grade).
    pub reason: Reason,
    /// How many.
    pub count: u64,
}

/// What a compaction did.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Compacted {
    /// Batches that are gone.
    pub batches: u64,
    /// Readings that were in them.
    pub readings: u64,
    /// Chunks written, new or again.
    pub chunks: u64,
    /// Readings by series and reason, as stored in the batches, by name. Counts kept from batches stay true by adding
    /// these to what the remaining batches hold.
    pub counts: Vec<Count>,
}

/// Which batches are to go, and what is known of them before any is touched.
#[derive(Default)]
pub(super) struct Plan {
    /// Number of each batch, and when it was committed, UTC ms; none where its boot never learnt the time.
    batches: BTreeMap<i64, Option<i64>>,
    readings: u64,
    counts: BTreeMap<(i64, Reason), u64>,
    /// Series with dated readings in them.
    series: BTreeSet<i64>,
    /// When the last two commits before them were made, UTC ms.
    commits: [Option<i64>; 2],
    /// Chunks written so far.
    chunks: u64,
}

/// Plans with batches from the oldest on, up to the first that is not settled.
pub(super) fn plan(view: View<'_>, before_ms: i64) -> Result<Plan, LedgerError> {
    let boots = Boots::read(view.conn)?;
    let running = dating::newest(view.conn)?;
    let word = dating::Word::last(view.conn)?;
    // What was stored under a word that was taken back would hold up everything after it until its date has come.
    let made_ms = |seq: i64, content: &Content| {
        let commit_ms = boots.commit_ms(content)?;
        Some(word.filter(|word| seq <= word.seq).map_or(commit_ms, |word| commit_ms.min(word.at_ms)))
    };
    let meta = |key| schema::get(view.conn, key);
    let mut plan = Plan { commits: [meta("before_compacted_ms")?, meta("compacted_ms")?], ..Plan::default() };
    let mut statement = view.conn.prepare("SELECT seq, body FROM batch ORDER BY seq")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let seq: i64 = row.get(0)?;
        let content = match batch::decode(seq, blob(row, 1)?) {
            Ok(content) => content,
            Err(spoilt) => {
                // It stays where it is, for whoever can mend it.
                view.shared.fence("batch", seq, &spoilt);
                continue;
            }
        };
        match made_ms(seq, &content) {
            Some(commit_ms) if commit_ms < before_ms => plan.take(seq, &content, Some(commit_ms)),
            None if running != Some(content.boot) => plan.take(seq, &content, None),
            _ => break,
        }
    }
    Ok(plan)
}

impl Plan {
    fn take(&mut self, seq: i64, content: &Content, commit_ms: Option<i64>) {
        self.batches.insert(seq, commit_ms);
        self.readings += content.items.len() as u64;
        for item in &content.items {
            *self.counts.entry((item.series, item.reason)).or_default() += 1;
            if commit_ms.is_some() && item.reason != Reason::Repeated {
                self.series.insert(item.series);
            }
        }
    }

    /// The series of each slice.
    pub(super) fn slices(&self) -> Vec<Vec<i64>> {
        let series: Vec<i64> = self.series.iter().copied().collect();
        series.chunks(SERIES_AT_ONCE).map(<[i64]>::to_vec).collect()
    }

    /// Puts the readings of some series into their chunks. Inside a transaction.
    pub(super) fn slice(&mut self, view: View<'_>, series: &[i64]) -> Result<(), LedgerError> {
        let chunks = self.gather(view, series)?;
        for (id, (last_seq, arrivals)) in &chunks {
            write_chunk(view, *id, *last_seq, arrivals)?;
        }
        renew_following(view, &chunks.keys().copied().collect())?;
        self.chunks += chunks.len() as u64;
        Ok(())
    }

    /// By chunk: the newest batch, the readings in order of arrival.
    fn gather(
        &mut self,
        view: View<'_>,
        series: &[i64],
    ) -> Result<BTreeMap<i64, (i64, Vec<Kept>)>, LedgerError> {
        let mut chunks: BTreeMap<i64, (i64, Vec<Kept>)> = BTreeMap::new();
        let Some((first, last)) = self.ends() else { return Ok(chunks) };
        let mut commits = self.commits;
        let mut met = BTreeSet::new();
        view.dated_items(
            first..=last,
            |_| true,
            |seq, commit_ms, items| {
                if !self.batches.contains_key(&seq) {
                    return;
                }
                met.insert(seq);
                for item in items.iter().filter(|item| item.reason != Reason::Repeated) {
                    if series.binary_search(&item.series).is_err() {
                        continue;
                    }
                    // Ordinary readings are measured between the last commit and this one; one commit later is no
                    // lateness.
                    let late = commits[0].is_some_and(|before| item.at_ms < before).then_some(commit_ms);
                    let kept = Kept { at_ms: item.at_ms, ticks: item.ticks, reason: item.reason, late };
                    let id = chunk_id(item.series, week(item.at_ms, view.shared.offset_ms));
                    let chunk = chunks.entry(id).or_default();
                    chunk.0 = seq;
                    chunk.1.push(kept);
                }
                commits = [commits[1], Some(commit_ms)];
            },
        )?;
        // What could be read when it was planned and cannot be read now must not be deleted.
        self.batches.retain(|seq, commit_ms| commit_ms.is_none() || met.contains(seq));
        Ok(chunks)
    }

    /// First and last number.
    pub(super) fn ends(&self) -> Option<(i64, i64)> {
        Some((*self.batches.first_key_value()?.0, *self.batches.last_key_value()?.0))
    }

    /// Puts away what never got a date and deletes the batches. Inside a transaction, after all slices.
    pub(super) fn finish(&self, view: View<'_>) -> Result<Compacted, LedgerError> {
        let Some((_, last)) = self.ends() else { return Ok(Compacted::default()) };
        self.put_away(view)?;
        let mut delete = view.conn.prepare("DELETE FROM batch WHERE seq = ?1")?;
        for seq in self.batches.keys() {
            delete.execute([seq])?;
        }
        let dated = self.batches.values().filter_map(|commit_ms| *commit_ms);
        let commits = dated.fold(self.commits, |commits, commit_ms| [commits[1], Some(commit_ms)]);
        let newest = schema::get(view.conn, "compacted_seq")?.unwrap_or(0).max(last);
        schema::set(view.conn, "compacted_seq", &newest)?;
        schema::set(view.conn, "before_compacted_ms", &commits[0])?;
        schema::set(view.conn, "compacted_ms", &commits[1])?;
        Ok(Compacted {
            batches: self.batches.len() as u64,
            readings: self.readings,
            chunks: self.chunks,
            counts: counts(view.conn, &self.counts)?,
        })
    }

    fn put_away(&self, view: View<'_>) -> Result<(), LedgerError> {
        let mut undated: BTreeMap<(i64, i64), Vec<Kept>> = BTreeMap::new();
        let mut statement = view.conn.prepare("SELECT body FROM batch WHERE seq = ?1")?;
        for seq in self.batches.iter().filter(|(_, commit_ms)| commit_ms.is_none()).map(|(seq, _)| *seq) {
            let body: Vec<u8> = statement.query_row([seq], |row| row.get(0))?;
            let content = batch::decode(seq, &body)
                .map_err(|spoilt| LedgerError::Damaged { what: format!("batch {seq}: {spoilt}") })?;
            for item in content.items.iter().filter(|item| item.reason != Reason::Repeated) {
                let kept = Kept { at_ms: item.at_ms, ticks: item.ticks, reason: item.reason, late: None };
                undated.entry((content.boot, item.series)).or_default().push(kept);
            }
        }
        undated.iter().try_for_each(|((boot, series), kept)| put_away(view, *boot, *series, kept))
    }
}

/// Merges readings into a chunk, new or there already, and rolls up its hours.
pub(super) fn write_chunk(
    view: View<'_>,
    id: i64,
    last_seq: i64,
    arrivals: &[Kept],
) -> Result<(), LedgerError> {
    let mut all = standing(view, id)?;
    all.extend_from_slice(arrivals);
    put_chunk(view, id, last_seq, &merge(all))
}

/// Writes a chunk, new or again, with its hours. `kept` is merged and not empty.
pub(super) fn put_chunk(view: View<'_>, id: i64, last_seq: i64, kept: &[Kept]) -> Result<(), LedgerError> {
    let row = [id, last_seq];
    let Some(hours) = hours_body(view, row, kept)? else { return Ok(()) };
    let sql = "INSERT OR REPLACE INTO chunk (id, last_seq, hours, body) VALUES (?1, ?2, ?3, ?4)";
    view.conn.execute(sql, (id, last_seq, hours, chunk::encode(&row, kept)))?;
    Ok(())
}

/// The roll-ups of a chunk; none if nothing is in it.
fn hours_body(view: View<'_>, row: [i64; 2], kept: &[Kept]) -> Result<Option<Vec<u8>>, LedgerError> {
    let Some(span) = Span::of(kept) else { return Ok(None) };
    Ok(Some(hours::encode(&row, span, &hours_of(view, row[0], kept)?)))
}

/// A reading may hold into later weeks: the hours of chunks that follow a rewritten one are made afresh.
pub(super) fn renew_following(view: View<'_>, written: &BTreeSet<i64>) -> Result<(), LedgerError> {
    let mut following = BTreeSet::new();
    for id in written {
        let (series, week) = of_chunk(*id);
        let reach = usual_ms(view, series)?.saturating_mul(2) / WEEK_MS + 1;
        following.extend((1..=reach.min(LAST_WEEK - week)).map(|weeks| id + weeks));
    }
    for id in following.difference(written) {
        renew_hours(view, *id)?;
    }
    Ok(())
}

/// The roll-ups that a chunk's readings give.
pub(super) fn hours_of(view: View<'_>, id: i64, kept: &[Kept]) -> Result<Vec<hours::HourTicks>, LedgerError> {
    let (series, week) = of_chunk(id);
    let usual_ms = usual_ms(view, series)?;
    let start_ms = start_ms(week, view.shared.offset_ms);
    let earlier = start_ms.saturating_sub(usual_ms.saturating_mul(2))..start_ms;
    let mut all = Vec::new();
    let first = chunk_id(series, super::week::week(earlier.start, view.shared.offset_ms));
    view.chunks(first..=id - 1, &earlier, |_, kept| {
        all.extend(kept.iter().filter(|kept| earlier.contains(&kept.at_ms)));
    })?;
    all.extend_from_slice(kept);
    Ok(roll(&all, start_ms, HOURS, usual_ms))
}

/// Makes a chunk's roll-ups afresh from its readings; whether there is such a chunk, whole.
pub(super) fn renew_hours(view: View<'_>, id: i64) -> Result<bool, LedgerError> {
    let Some((last_seq, Ok(kept))) = stored(view.conn, id)? else { return Ok(false) };
    let Some(hours) = hours_body(view, [id, last_seq], &kept)? else { return Ok(false) };
    view.conn.execute("UPDATE chunk SET hours = ?2 WHERE id = ?1", (id, hours))?;
    Ok(true)
}

fn usual_ms(view: View<'_>, series: i64) -> Result<i64, LedgerError> {
    let sql = "SELECT probe FROM series WHERE id = ?1";
    let probe: Option<String> = view.conn.query_row(sql, [series], |row| row.get(0)).optional()?;
    Ok(view.shared.usual_interval_ms(&probe.unwrap_or_default()))
}

type Stored = (i64, Result<Vec<Kept>, Spoilt>);

/// The readings of a chunk that is to be written again; none of a new one. A damaged one is moved out of the way.
pub(super) fn standing(view: View<'_>, id: i64) -> Result<Vec<Kept>, LedgerError> {
    match stored(view.conn, id)? {
        None => Ok(Vec::new()),
        Some((_, Ok(kept))) => Ok(kept),
        Some((_, Err(spoilt))) => {
            fence_off(view, id, spoilt)?;
            Ok(Vec::new())
        }
    }
}

/// A chunk row: newest batch in it, its readings.
fn stored(conn: &Connection, id: i64) -> Result<Option<Stored>, LedgerError> {
    let mut statement = conn.prepare("SELECT last_seq, body FROM chunk WHERE id = ?1")?;
    let mut rows = statement.query([id])?;
    let Some(row) = rows.next()? else { return Ok(None) };
    let last_seq = row.get(0)?;
    Ok(Some((last_seq, chunk::decode(&[id, last_seq], blob(row, 1)?))))
}

/// Moves a damaged chunk out of the way, bytes and all, to the negative of its number: new readings of its week need
/// the place, and a backup may mend it later.
fn fence_off(view: View<'_>, id: i64, spoilt: Spoilt) -> Result<(), LedgerError> {
    view.shared.fence("chunk", id, &spoilt);
    view.conn.execute("UPDATE OR REPLACE chunk SET id = -id WHERE id = ?1", [id])?;
    Ok(())
}

fn put_away(view: View<'_>, boot: i64, series: i64, kept: &[Kept]) -> Result<(), LedgerError> {
    let mut all = Vec::new();
    let sql = "SELECT body FROM undated WHERE boot = ?1 AND series = ?2";
    let body: Option<Vec<u8>> = view.conn.query_row(sql, (boot, series), |row| row.get(0)).optional()?;
    if let Some(body) = body {
        match chunk::decode(&[boot, series], &body) {
            Ok(kept) => all = kept,
            Err(spoilt) => {
                view.shared.fence("undated", boot, &format!("series {series}: {spoilt}"));
                let sql = "UPDATE OR REPLACE undated SET boot = -boot WHERE boot = ?1 AND series = ?2";
                view.conn.execute(sql, (boot, series))?;
            }
        }
    }
    all.extend_from_slice(kept);
    let body = chunk::encode(&[boot, series], &merge(all));
    view.conn.execute(
        "INSERT OR REPLACE INTO undated (boot, series, body) VALUES (?1, ?2, ?3)",
        (boot, series, body),
    )?;
    Ok(())
}

fn counts(conn: &Connection, counted: &BTreeMap<(i64, Reason), u64>) -> Result<Vec<Count>, LedgerError> {
    let mut statement = conn.prepare("SELECT probe, quantity FROM series WHERE id = ?1")?;
    let mut counts = Vec::new();
    for ((series, reason), count) in counted {
        let name =
            statement.query_row([series], |row| Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?)));
        if let Some((probe, quantity)) = name.optional()?
            && let Ok(quantity) = quantity.parse()
        {
            counts.push(Count { probe: probe.into(), quantity, reason: *reason, count: *count });
        }
    }
    counts.sort_by(|a, b| (&a.probe, a.quantity, a.reason).cmp(&(&b.probe, b.quantity, b.reason)));
    Ok(counts)
}
