//! One commit: everything that became known together becomes durable together.

use rusqlite::{Connection, OptionalExtension};

use super::batch::{self, Content, Item};
use super::bytes::{checksum, put, seal};
use super::series::{Series, SeriesBook, series_for};
use super::week::{self, MOST_MS};
use super::{LedgerError, schema};
use crate::entry::{Entry, Note};
use crate::reading::{Reading, Reason};

/// A note to be entered.
#[derive(Clone, Debug, PartialEq)]
pub struct NewNote {
    /// When it was noted, UTC ms.
    pub at_ms: i64,
    /// From when it holds, UTC ms.
    pub from_ms: i64,
    /// What it says.
    pub note: Note,
}

/// Which entry a queued message is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StepRef {
    /// The note at this place in the same commit.
    Note(usize),
    /// An entry of an earlier commit.
    Entry(i64),
}

/// A step to be delivered by a courier. A step goes by a courier once: queueing it again changes nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Queued {
    /// What is delivered.
    pub step: StepRef,
    /// By whom.
    pub courier: String,
    /// Not before, UTC ms.
    pub due_ms: i64,
    /// Not after, UTC ms.
    pub expires_ms: i64,
}

/// The expiry of a step that was told while nobody knew the time. It gets its own when its boot is dated, and is dropped
/// when the boot ends before that.
pub const NO_EXPIRY_MS: i64 = i64::MAX;

/// How far a delivery has come. The number is its code in the ledger.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum OutboxState {
    /// To be tried when due.
    Waiting = 0,
    /// The far end took it.
    Sent = 1,
    /// It will never work.
    GivenUp = 2,
    /// Its time ran out.
    Expired = 3,
    /// It waited in a ledger that was restored or moved to another board: it may have been sent there.
    LeftUnsent = 4,
    /// Somebody had seen it, or it was over, before its turn came.
    NotNeeded = 5,
}

impl OutboxState {
    /// The state with this code; an unknown code counts as given up, so that nothing is sent twice.
    pub(super) fn from_code(code: i64) -> Self {
        match code {
            0 => Self::Waiting,
            1 => Self::Sent,
            3 => Self::Expired,
            4 => Self::LeftUnsent,
            5 => Self::NotNeeded,
            _ => Self::GivenUp,
        }
    }
}

/// What became of an attempt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TriedRow {
    /// The step's entry number.
    pub step: i64,
    /// The courier.
    pub courier: String,
    /// When to try again, UTC ms.
    pub due_ms: i64,
    /// Attempts so far.
    pub tries: u32,
    /// How far it has come.
    pub state: OutboxState,
    /// Why it was not sent, where it was not.
    pub why: Option<String>,
}

/// A reckoned page of one day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PageRow<'a> {
    /// A place or planting.
    pub subject: &'a str,
    /// Days since 1970 in the site's standard offset.
    pub day: i64,
    /// The edition it belongs to.
    pub edition: &'a str,
    /// JSON.
    pub body: &'a str,
}

/// What becomes durable together.
#[derive(Clone, Copy, Debug)]
pub struct Commit<'a> {
    /// The boot, as [`begin_boot`](super::Ledger::begin_boot) numbered it.
    pub boot: i64,
    /// Wall time of the commit, UTC ms. Not trusted where `dated` is false.
    pub wall_ms: i64,
    /// Monotonic time of the commit in its boot, ms.
    pub mono_ms: i64,
    /// Readings in order of arrival.
    pub readings: &'a [Reading],
    /// Whether the readings carry UTC times; false: monotonic ms of the boot, all of them.
    pub dated: bool,
    /// Notes to enter, in order.
    pub notes: &'a [NewNote],
    /// Deliveries to begin.
    pub queue: &'a [Queued],
    /// Deliveries that were tried.
    pub tried: &'a [TriedRow],
    /// Cursors to move: name, batch number. Minus a number: take the cursor away if it still stands there.
    pub cursors: &'a [(&'a str, i64)],
    /// Pages to keep; one of the same subject, day and edition is replaced.
    pub pages: &'a [PageRow<'a>],
    /// Snapshot of the running state after this commit: edition, bytes.
    pub state: Option<(&'a str, &'a [u8])>,
    /// Kept pages of other editions than these go; none named: all stay.
    pub editions: &'a [String],
}

impl Commit<'_> {
    /// A commit that holds nothing yet, to be filled by struct update.
    pub fn empty(boot: i64, wall_ms: i64, mono_ms: i64) -> Self {
        Self {
            boot,
            wall_ms,
            mono_ms,
            readings: &[],
            dated: true,
            notes: &[],
            queue: &[],
            tried: &[],
            cursors: &[],
            pages: &[],
            state: None,
            editions: &[],
        }
    }
}

/// What a commit was given.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Committed {
    /// Number of the batch; none if there were no readings.
    pub seq: Option<i64>,
    /// Numbers of the entries, in the order of the notes.
    pub entries: Vec<i64>,
}

/// Writes a commit into an open transaction. The book gains the series that are new; throw it away if this fails.
pub(super) fn write(
    conn: &Connection,
    commit: &Commit<'_>,
    next_seq: i64,
    book: &mut SeriesBook,
) -> Result<Committed, LedgerError> {
    let seq = (!commit.readings.is_empty()).then_some(next_seq);
    if let Some(seq) = seq {
        let items = items(conn, commit, book)?;
        let Commit { boot, wall_ms, mono_ms, dated, .. } = *commit;
        insert_batch(conn, seq, &Content { boot, wall_ms, mono_ms, dated, items })?;
    }
    let newest = seq.unwrap_or(next_seq - 1);
    let entries = enter(conn, commit.notes, newest)?;
    for new in commit.notes {
        if let Note::Clock { after_ms: Some(after_ms), .. } = new.note {
            super::dating::bring_back(conn, new.at_ms, after_ms)?;
        }
    }
    write_outbox(conn, commit, &entries)?;
    for (name, seq) in commit.cursors {
        super::mirrored::move_cursor(conn, name, *seq)?;
    }
    if let (Some(first), Some(last)) = (commit.editions.first(), commit.editions.last()) {
        conn.execute("DELETE FROM day_page WHERE edition NOT IN (?1, ?2)", (first, last))?;
    }
    for page in commit.pages {
        super::mirrored::put_page(conn, page)?;
    }
    if let Some((edition, body)) = commit.state {
        let sql = "INSERT OR REPLACE INTO state (id, seq, edition, body) VALUES (1, ?1, ?2, ?3)";
        let mut sealed = body.to_vec();
        seal(&mut sealed, &[newest]);
        conn.execute(sql, (newest, edition, sealed))?;
    }
    Ok(Committed { seq, entries })
}

/// Inserts one batch row.
pub(super) fn insert_batch(conn: &Connection, seq: i64, content: &Content) -> Result<(), LedgerError> {
    conn.execute("INSERT INTO batch (seq, body) VALUES (?1, ?2)", (seq, batch::encode(seq, content)))?;
    Ok(())
}

fn items(conn: &Connection, commit: &Commit<'_>, book: &mut SeriesBook) -> Result<Vec<Item>, LedgerError> {
    let mut items = Vec::with_capacity(commit.readings.len());
    for reading in commit.readings {
        let key = (reading.probe.clone(), reading.quantity);
        let series = series_for(conn, book, key)?;
        items.push(item(reading, series, commit));
    }
    Ok(items)
}

/// A reading as it is stored. What cannot be a value is missing; a stamp that cannot be a time is no time; a value
/// past what ticks can hold is kept at their limit (no quantity reaches it: such a reading is refused anyway).
fn item(reading: &Reading, series: Series, commit: &Commit<'_>) -> Item {
    let most = if commit.dated { MOST_MS } else { i64::MAX / 4 };
    let (mut at_ms, mut reason) = (reading.at_ms, reading.reason);
    if !(0..=most).contains(&at_ms) {
        at_ms = if commit.dated { commit.wall_ms } else { commit.mono_ms }.clamp(0, most);
        reason = Reason::NoTime;
    }
    if reading.value.is_nan() {
        reason = Reason::Missing;
    }
    let ticks = if reason == Reason::Missing { 0 } else { week::ticks(reading.value, series.decimals) };
    Item { series: series.id, at_ms, ticks, reason }
}

/// Enters notes: those of a commit, or what the ledger itself has to say of its rows. Their numbers.
pub(super) fn enter(conn: &Connection, notes: &[NewNote], seq: i64) -> Result<Vec<i64>, LedgerError> {
    let mut entries = Vec::with_capacity(notes.len());
    for new in notes {
        let body = body_of(&new.note)?;
        let id =
            1 + conn.query_row("SELECT coalesce(max(id), 0) FROM entry", [], |row| row.get::<_, i64>(0))?;
        let (kind, subject) = (new.note.kind(), new.note.subject());
        let row = EntryRow {
            id,
            seq,
            kind,
            subject: &subject,
            at_ms: new.at_ms,
            from_ms: new.from_ms,
            body: &body,
        };
        row.insert(conn)?;
        entries.push(id);
    }
    Ok(entries)
}

/// Writes an entry again in the place it has: once it has got its date.
pub(super) fn write_again(conn: &Connection, seq: i64, entry: &Entry) -> Result<(), LedgerError> {
    let body = body_of(&entry.note)?;
    let (kind, subject) = (entry.note.kind(), entry.note.subject());
    let Entry { id, at_ms, from_ms, .. } = *entry;
    let row = EntryRow { id, seq, kind, subject: &subject, at_ms, from_ms, body: &body };
    let sql = "UPDATE entry SET at_ms = ?2, from_ms = ?3, body = ?4, sum = ?5 WHERE id = ?1";
    conn.execute(sql, (id, at_ms, from_ms, &body, row.sum()))?;
    Ok(())
}

fn body_of(note: &Note) -> Result<String, LedgerError> {
    serde_json::to_string(note).map_err(|error| LedgerError::Refused { what: error.to_string() })
}

/// A row of `entry`, as it is stored.
#[derive(Clone, Copy, Debug)]
pub(super) struct EntryRow<'a> {
    pub(super) id: i64,
    pub(super) seq: i64,
    pub(super) kind: &'a str,
    pub(super) subject: &'a str,
    pub(super) at_ms: i64,
    pub(super) from_ms: i64,
    pub(super) body: &'a str,
}

impl EntryRow<'_> {
    /// The checksum over all that the row says, its number included.
    pub(super) fn sum(&self) -> i64 {
        let mut out = Vec::with_capacity(self.kind.len() + self.subject.len() + self.body.len() + 8);
        for text in [self.kind, self.subject, self.body] {
            put(&mut out, text.len() as u64);
            out.extend_from_slice(text.as_bytes());
        }
        i64::from(checksum(&out, &[self.id, self.seq, self.at_ms, self.from_ms]))
    }

    fn insert(&self, conn: &Connection) -> Result<(), LedgerError> {
        let sql = "INSERT INTO entry (id, seq, kind, subject, at_ms, from_ms, body, sum)
            VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)";
        let Self { id, seq, kind, subject, at_ms, from_ms, body } = *self;
        conn.execute(sql, (id, seq, kind, subject, at_ms, from_ms, body, self.sum()))?;
        Ok(())
    }
}

fn write_outbox(conn: &Connection, commit: &Commit<'_>, entries: &[i64]) -> Result<(), LedgerError> {
    for queued in commit.queue {
        let step = match queued.step {
            StepRef::Entry(id) => id,
            StepRef::Note(index) => *entries.get(index).ok_or_else(|| LedgerError::Refused {
                what: format!("queued note {index} of a commit with {}", entries.len()),
            })?,
        };
        let sql = "INSERT INTO outbox (step, courier, due_ms, expires_ms, tries, state)
            VALUES (?1, ?2, ?3, ?4, 0, 0) ON CONFLICT DO NOTHING";
        conn.execute(sql, (step, &queued.courier, queued.due_ms, queued.expires_ms))?;
    }
    for tried in commit.tried {
        let sql = "UPDATE outbox SET due_ms = ?3, tries = ?4, state = ?5, why = ?6
            WHERE step = ?1 AND courier = ?2";
        let TriedRow { step, courier, due_ms, tries, state, why } = tried;
        conn.execute(sql, (step, courier, due_ms, tries, *state as u8, why))?;
    }
    Ok(())
}

/// The number the next batch gets: one more than any there was, also of batches compacted away.
pub(super) fn next_seq(conn: &Connection) -> Result<i64, LedgerError> {
    let stored: Option<i64> =
        conn.query_row("SELECT max(seq) FROM batch", [], |row| row.get(0)).optional()?.flatten();
    let compacted = schema::get(conn, "compacted_seq")?;
    Ok(stored.max(compacted).unwrap_or(0) + 1)
}
