//! What is asked about everything but readings: entries, outbox, pages, snapshot.

use rusqlite::{OptionalExtension, Row};

use super::bytes::{CHECKSUM_BYTES, Spoilt, unseal, unseal_text};
use super::commit::{EntryRow, OutboxState};
use super::{LedgerError, View};
use crate::entry::Entry;

/// A delivery that is not finished.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OutboxRow {
    /// The step's entry number.
    pub step: i64,
    /// The courier.
    pub courier: String,
    /// When to try (again), UTC ms.
    pub due_ms: i64,
    /// After this it is not sent any more, UTC ms.
    pub expires_ms: i64,
    /// Attempts so far.
    pub tries: u32,
    /// How far it has come.
    pub state: OutboxState,
    /// Why it was not sent, where it was not.
    pub why: Option<String>,
}

/// A reckoned page of one day, as kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Page {
    /// A place or planting.
    pub subject: String,
    /// Days since 1970 in the site's standard offset.
    pub day: i64,
    /// JSON.
    pub body: String,
}

fn outbox_row(row: &Row<'_>) -> rusqlite::Result<OutboxRow> {
    Ok(OutboxRow {
        step: row.get(0)?,
        courier: row.get(1)?,
        due_ms: row.get(2)?,
        expires_ms: row.get(3)?,
        tries: row.get(4)?,
        state: OutboxState::from_code(row.get(5)?),
        why: row.get(6)?,
    })
}

/// An entry out of a row of all its columns, once its checksum is found to fit; else what is wrong with it.
pub(super) fn entry(row: &Row<'_>) -> Result<Entry, String> {
    let text = |column| {
        let bytes = row.get_ref(column).ok().and_then(|value| value.as_bytes_or_null().ok().flatten());
        bytes.and_then(|bytes| std::str::from_utf8(bytes).ok()).ok_or_else(|| Spoilt::Form.to_string())
    };
    let number = |column| row.get::<_, i64>(column).map_err(|error| error.to_string());
    let (id, seq, at_ms, from_ms) = (number(0)?, number(1)?, number(4)?, number(5)?);
    let body = text(6)?;
    let stored = EntryRow { id, seq, kind: text(2)?, subject: text(3)?, at_ms, from_ms, body };
    if stored.sum() != number(7)? {
        return Err(Spoilt::Checksum.to_string());
    }
    let note = serde_json::from_str(body).map_err(|error| error.to_string())?;
    Ok(Entry { id, at_ms, from_ms, note })
}

/// Deliveries by a list of steps in JSON: one statement for all of them, which SQLite takes apart to look each up by the
/// table's own key.
pub(super) const DELIVERIES_OF: &str =
    "SELECT step, courier, due_ms, expires_ms, tries, state, why FROM outbox
    WHERE step IN (SELECT value FROM json_each(?1)) ORDER BY step, courier";

impl View<'_> {
    /// Every entry, in commit order.
    ///
    /// # Errors
    ///
    /// When the storage refuses. An entry that cannot be read is skipped and fenced.
    pub fn entries(&self) -> Result<Vec<Entry>, LedgerError> {
        self.entries_after(0)
    }

    /// The entries with numbers above `id`, in commit order.
    ///
    /// # Errors
    ///
    /// As [`entries`](Self::entries).
    pub fn entries_after(&self, id: i64) -> Result<Vec<Entry>, LedgerError> {
        self.entries_where("id > ?1", [id])
    }

    /// Every sound entry of which this is true, in commit order.
    pub(super) fn entries_where(
        &self,
        which: &str,
        of: impl rusqlite::Params,
    ) -> Result<Vec<Entry>, LedgerError> {
        let sql = format!(
            "SELECT id, seq, kind, subject, at_ms, from_ms, body, sum FROM entry WHERE {which} ORDER BY id"
        );
        let mut statement = self.conn.prepare(&sql)?;
        let mut rows = statement.query(of)?;
        let mut entries = Vec::new();
        while let Some(row) = rows.next()? {
            match entry(row) {
                Ok(entry) => entries.push(entry),
                Err(spoilt) => self.shared.fence("entry", row.get(0)?, &spoilt),
            }
        }
        Ok(entries)
    }

    /// Every delivery that is not finished, in the order in which the steps were told.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn outbox(&self) -> Result<Vec<OutboxRow>, LedgerError> {
        let sql = "SELECT step, courier, due_ms, expires_ms, tries, state, why FROM outbox WHERE state = 0
            ORDER BY step, courier";
        let mut statement = self.conn.prepare(sql)?;
        Ok(statement.query_map([], outbox_row)?.collect::<Result<_, _>>()?)
    }

    /// Every delivery of these steps, finished or not, in the order of the steps. It costs as much as is asked for, however
    /// long ago the steps were told and however many lie between.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn deliveries_of(&self, steps: &[i64]) -> Result<Vec<OutboxRow>, LedgerError> {
        let numbers: Vec<String> = steps.iter().map(i64::to_string).collect();
        let mut statement = self.conn.prepare(DELIVERIES_OF)?;
        Ok(statement
            .query_map([format!("[{}]", numbers.join(","))], outbox_row)?
            .collect::<Result<_, _>>()?)
    }

    /// Every delivery of one step, finished or not.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn deliveries(&self, step: i64) -> Result<Vec<OutboxRow>, LedgerError> {
        let sql = "SELECT step, courier, due_ms, expires_ms, tries, state, why FROM outbox WHERE step = ?1
            ORDER BY courier";
        let mut statement = self.conn.prepare(sql)?;
        Ok(statement.query_map([step], outbox_row)?.collect::<Result<_, _>>()?)
    }

    /// The pages of one edition, by subject and day.
    ///
    /// # Errors
    ///
    /// When the storage refuses. A page that cannot be read is skipped and fenced.
    pub fn pages(&self, edition: &str) -> Result<Vec<Page>, LedgerError> {
        let sql = "SELECT subject, day, body FROM day_page WHERE edition = ?1 ORDER BY subject, day";
        let mut statement = self.conn.prepare(sql)?;
        let mut rows = statement.query([edition])?;
        let mut pages = Vec::new();
        while let Some(row) = rows.next()? {
            let (subject, day) = (String::from_utf8_lossy(text(row, 0)?).into_owned(), row.get(1)?);
            match unseal_text(text(row, 2)?, &[day]) {
                Ok(body) => pages.push(Page { subject, day, body: body.to_owned() }),
                Err(spoilt) => self.shared.fence("day_page", day, &format!("{subject}: {spoilt}")),
            }
        }
        Ok(pages)
    }

    /// The editions of which pages are kept.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn editions(&self) -> Result<Vec<String>, LedgerError> {
        let mut statement = self.conn.prepare("SELECT DISTINCT edition FROM day_page ORDER BY edition")?;
        Ok(statement.query_map([], |row| row.get(0))?.collect::<Result<_, _>>()?)
    }

    /// The snapshot of the running state and the batch after which it was taken; none if it is of another edition or
    /// spoilt (it is a cache, and what it held follows from the batches).
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn state(&self, edition: &str) -> Result<Option<(i64, Vec<u8>)>, LedgerError> {
        let sql = "SELECT seq, body FROM state WHERE edition = ?1";
        let read = |row: &Row<'_>| Ok((row.get(0)?, row.get::<_, Vec<u8>>(1)?));
        let Some((seq, mut sealed)) = self.conn.query_row(sql, [edition], read).optional()? else {
            return Ok(None);
        };
        if let Err(spoilt) = unseal(&sealed, &[seq]) {
            tracing::warn!(%spoilt, "the snapshot of the running state is not used: it follows from the readings");
            return Ok(None);
        }
        sealed.truncate(sealed.len() - CHECKSUM_BYTES);
        Ok(Some((seq, sealed)))
    }
}

/// The bytes of a text, which damage may have made unreadable as such.
pub(super) fn text<'a>(row: &'a Row<'_>, column: usize) -> Result<&'a [u8], LedgerError> {
    Ok(row.get_ref(column)?.as_bytes_or_null().ok().flatten().unwrap_or_default())
}
