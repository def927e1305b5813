//! Batches into chunks: once a day, the readings of settled commits go where they take a fifteenth of the room.
//!
//! All in one transaction, so that a reading is in a batch or in a chunk, never in both or neither. Always a run of
//! batches from the oldest on, so that of two readings of the same time the earlier arrival stays the earlier.
//! Readings of a boot that ended without learning the time are put away by boot. Repeated readings end here: they
//! were there only for the count, which is handed back.

use std::collections::{BTreeMap, BTreeSet};

use rusqlite::{Connection, OptionalExtension};

use super::batch::{self, Content};
use super::bytes::Spoilt;
use super::dating::{self, Boots};
use super::hours::{self, HOURS, roll};
use super::merge::{Kept, merge};
use super::view::blob;
use super::week::{LAST_WEEK, WEEK_MS, chunk_id, of_chunk, start_ms, week};
use super::{LedgerError, View, chunk, schema};
use crate::reading::{ProbeName, Reason};
use agronomy::quantity::Quantity;

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

/// What is taken out of the batches.
#[derive(Default)]
struct Taken {
    /// Numbers of the batches.
    batches: Vec<i64>,
    readings: u64,
    counts: BTreeMap<(i64, Reason), u64>,
    /// By chunk: the newest batch, the readings in order of arrival.
    chunks: BTreeMap<i64, (i64, Vec<Kept>)>,
    /// By boot and series, monotonic times.
    undated: BTreeMap<(i64, i64), Vec<Kept>>,
    /// When the last two commits were made, UTC ms.
    commits: [Option<i64>; 2],
}

/// See [`Ledger::compact`](super::Ledger::compact). Inside a transaction.
pub(super) fn compact(view: View<'_>, before_ms: i64) -> Result<Compacted, LedgerError> {
    let taken = take(view, before_ms)?;
    let Some(last) = taken.batches.last() else { return Ok(Compacted::default()) };
    for (id, (last_seq, arrivals)) in &taken.chunks {
        write_chunk(view, *id, *last_seq, arrivals)?;
    }
    renew_following(view, &taken.chunks.keys().copied().collect())?;
    for ((boot, series), kept) in &taken.undated {
        put_away(view, *boot, *series, kept)?;
    }
    for seq in &taken.batches {
        view.conn.execute("DELETE FROM batch WHERE seq = ?1", [seq])?;
    }
    schema::set(view.conn, "compacted_seq", last)?;
    schema::set(view.conn, "before_compacted_ms", &taken.commits[0])?;
    schema::set(view.conn, "compacted_ms", &taken.commits[1])?;
    Ok(Compacted {
        batches: taken.batches.len() as u64,
        readings: taken.readings,
        chunks: taken.chunks.len() as u64,
        counts: counts(view.conn, &taken.counts)?,
    })
}

/// Takes batches from the oldest on, up to the first that is not settled.
fn take(view: View<'_>, before_ms: i64) -> Result<Taken, LedgerError> {
    let boots = Boots::read(view.conn)?;
    let running = dating::newest(view.conn)?;
    let meta = |key| schema::get(view.conn, key);
    let mut taken =
        Taken { commits: [meta("before_compacted_ms")?, meta("compacted_ms")?], ..Taken::default() };
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
        match boots.commit_ms(&content) {
            Some(commit_ms) if commit_ms < before_ms => {
                taken.dated(view, seq, &boots.date(content), commit_ms);
            }
            None if running != Some(content.boot) => taken.undated(seq, &content),
            _ => break,
        }
    }
    Ok(taken)
}

impl Taken {
    fn count(&mut self, seq: i64, content: &Content) {
        self.batches.push(seq);
        self.readings += content.items.len() as u64;
        for item in &content.items {
            *self.counts.entry((item.series, item.reason)).or_default() += 1;
        }
    }

    fn dated(&mut self, view: View<'_>, seq: i64, content: &Content, commit_ms: i64) {
        self.count(seq, content);
        for item in content.items.iter().filter(|item| item.reason != Reason::Repeated) {
            // Ordinary readings are measured between the last commit and this one; one commit later is no lateness.
            let late = self.commits[0].is_some_and(|before| item.at_ms < before).then_some(commit_ms);
            let kept = Kept { at_ms: item.at_ms, ticks: item.ticks, reason: item.reason, late };
            let id = chunk_id(item.series, week(item.at_ms, view.shared.offset_ms));
            let chunk = self.chunks.entry(id).or_default();
            chunk.0 = seq;
            chunk.1.push(kept);
        }
        self.commits = [self.commits[1], Some(commit_ms)];
    }

    fn undated(&mut self, seq: i64, content: &Content) {
        self.count(seq, content);
        for item in content.items.iter().filter(|item| item.reason != Reason::Repeated) {
            let kept = Kept { at_ms: item.at_ms, ticks: item.ticks, reason: item.reason, late: None };
            self.undated.entry((content.boot, item.series)).or_default().push(kept);
        }
    }
}

/// Merges readings into a chunk, new or there already, and rolls up its hours.
pub(super) fn write_chunk(
    view: View<'_>,
    id: i64,
    last_seq: i64,
    arrivals: &[Kept],
) -> Result<(), LedgerError> {
    let mut all = match stored(view.conn, id)? {
        None => Vec::new(),
        Some((_, Ok(kept))) => kept,
        Some((_, Err(spoilt))) => {
            fence_off(view, id, spoilt)?;
            Vec::new()
        }
    };
    all.extend_from_slice(arrivals);
    let kept = merge(all);
    let hours = hours_of(view, id, &kept)?;
    let row = [id, last_seq];
    let sql = "INSERT OR REPLACE INTO chunk (id, last_seq, hours, body) VALUES (?1, ?2, ?3, ?4)";
    view.conn.execute(sql, (id, last_seq, hours::encode(&row, &hours), chunk::encode(&row, &kept)))?;
    Ok(())
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
    let mut all = view.kept_of(series, &earlier, &[])?;
    all.extend_from_slice(kept);
    Ok(roll(&all, start_ms, HOURS, usual_ms))
}

/// Makes a chunk's roll-ups afresh from its readings; whether there is such a chunk, whole.
pub(super) fn renew_hours(view: View<'_>, id: i64) -> Result<bool, LedgerError> {
    let Some((last_seq, Ok(kept))) = stored(view.conn, id)? else { return Ok(false) };
    let hours = hours::encode(&[id, last_seq], &hours_of(view, id, &kept)?);
    view.conn.execute("UPDATE chunk SET hours = ?2 WHERE id = ?1", (id, hours))?;
    Ok(true)
}

fn usual_ms(view: View<'_>, series: i64) -> Result<i64, LedgerError> {
    let sql = "SELECT probe FROM series WHERE id = ?1";
    let probe: Option<String> = view.conn.query_row(sql, [series], |row| row.get(0)).optional()?;
    Ok(view.shared.usual_interval_ms(&probe.unwrap_or_default()))
}

type Stored = (i64, Result<Vec<Kept>, Spoilt>);

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
