//! Old readings thrown away because somebody asked: nothing else ever deletes a reading.
//!
//! Whole weeks only. Day pages, entries and everything told stay; day pages as they were last reckoned, for nothing is
//! left to reckon them from again. The file does not become shorter, its room is used again.

use super::week::{HOUR_MS, chunk_id, week};
use std::sync::atomic::Ordering;

use super::view::blob;
use super::{Ledger, LedgerError, NewNote, View, chunk, commit, compaction};
use crate::entry::{Entry, Note};

/// What is, or would be, thrown away.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Forgotten {
    /// Weeks of single series.
    pub chunks: u64,
    /// Readings in them.
    pub readings: u64,
    /// Bytes they take, their roll-ups included.
    pub bytes: u64,
    /// Everything measured before this is gone, UTC ms: the beginning of a week.
    pub before_ms: i64,
}

impl View<'_> {
    /// What [`Ledger::forget`] would throw away.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn forgettable(&self, before_ms: i64) -> Result<Forgotten, LedgerError> {
        Ok(self.old(before_ms)?.1)
    }

    /// What is older than the years for which readings are meant to be kept; none where nothing is.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn outlived(&self, now_ms: i64) -> Result<Option<Forgotten>, LedgerError> {
        let years = i64::from(self.shared.keep_years.load(Ordering::Relaxed));
        let old = self.forgettable(now_ms - years * YEAR_MS)?;
        Ok((old.readings > 0).then_some(old))
    }

    /// The chunks of weeks that ended before a moment, and what they come to.
    fn old(&self, before_ms: i64) -> Result<(Vec<i64>, Forgotten), LedgerError> {
        let offset_ms = self.shared.offset_ms;
        let first_kept = week(before_ms, offset_ms);
        let before_ms = super::week::start_ms(first_kept, offset_ms);
        let (mut ids, mut all) = (Vec::new(), Forgotten { before_ms, ..Forgotten::default() });
        let sql = "SELECT id, body, length(hours) FROM chunk WHERE id BETWEEN ?1 AND ?2";
        let mut statement = self.conn.prepare(sql)?;
        for series in self.numbers_of_series()? {
            let mut rows = statement.query((chunk_id(series, 0), chunk_id(series, first_kept) - 1))?;
            while let Some(row) = rows.next()? {
                let body = blob(row, 1)?;
                ids.push(row.get(0)?);
                all.chunks += 1;
                all.readings += chunk::count(body);
                all.bytes += body.len() as u64 + row.get::<_, i64>(2)? as u64;
            }
        }
        Ok((ids, all))
    }

    fn numbers_of_series(&self) -> Result<Vec<i64>, LedgerError> {
        let mut statement = self.conn.prepare("SELECT id FROM series ORDER BY id")?;
        Ok(statement.query_map([], |row| row.get(0))?.collect::<Result<_, _>>()?)
    }
}

impl Ledger {
    /// States for how many years readings are meant to be kept (ten unless stated). Nothing is deleted by it.
    pub fn set_keep_years(&self, years: u32) {
        self.shared.keep_years.store(years, Ordering::Relaxed);
    }

    /// Throws away the readings of all weeks that ended before a moment (UTC ms), and enters that.
    ///
    /// # Errors
    ///
    /// When the storage refuses; nothing is thrown away then.
    pub fn forget(&mut self, before_ms: i64, at_ms: i64) -> Result<(Forgotten, Vec<Entry>), LedgerError> {
        let shared = std::sync::Arc::clone(&self.shared);
        self.write(|conn, seq, _| {
            let view = View { conn, shared: &shared };
            let (ids, all) = view.old(before_ms)?;
            for id in &ids {
                conn.execute("DELETE FROM chunk WHERE id = ?1", [id])?;
            }
            // The last value of a week holds into the next: its first hour no longer has it.
            compaction::renew_following(view, &ids.into_iter().collect())?;
            let Forgotten { before_ms, readings, .. } = all;
            let note = Note::Forgotten { before_ms, readings };
            let new = NewNote { at_ms, from_ms: at_ms, note: note.clone() };
            let ids = commit::enter(conn, &[new], *seq - 1)?;
            let entry = |id| Entry { id, at_ms, from_ms: at_ms, note: note.clone() };
            Ok((all, ids.into_iter().map(entry).collect()))
        })
    }
}

/// A year, with the leap day's share, ms.
const YEAR_MS: i64 = 8_766 * HOUR_MS;
