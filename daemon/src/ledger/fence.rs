//! Damaged rows as entries of the ledger: named and dated once, when the damage is first found, and answered by an
//! entry when a backup has mended it.
//!
//! The fence itself ([`Fence`]) is in memory: reading trips over it anew in each run. The entry is what the grower is
//! told, and what `ledger mend` goes by.

use std::collections::BTreeMap;
use std::ops::Range;

use agronomy::quantity::Quantity;
use rusqlite::OptionalExtension;

use super::dating::Boots;
use super::shared::Fence;
use super::view::blob;
use super::week::{of_chunk, start_ms};
use super::{Ledger, LedgerError, NewNote, View, batch, commit, schema};
use crate::entry::{Entry, Fenced, Note};

/// What a fence says of roll-ups only: they come back from the readings beside them and are nobody's loss.
const HOURS: &str = "hours: ";

impl Fence {
    /// Whether nothing but roll-ups is damaged.
    pub fn is_of_hours_only(&self) -> bool {
        self.table == "chunk" && self.what.starts_with(HOURS)
    }
}

/// The fences that entries name and no later entry says are mended: entry number and what is fenced, by table and row.
pub fn open_fences(entries: &[Entry]) -> BTreeMap<(String, i64), (i64, Fenced)> {
    let mut open = BTreeMap::new();
    for entry in entries {
        match &entry.note {
            Note::Fence(fenced) => {
                open.insert((fenced.table.clone(), fenced.row), (entry.id, fenced.clone()));
            }
            Note::Mended { fence, .. } => open.retain(|_, (id, _)| id != fence),
            _ => {}
        }
    }
    open
}

impl View<'_> {
    /// The damaged rows met so far that may have held readings of these series with times in `range` (UTC ms, end
    /// excluded), with what is known of each.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn lost(&self, series: &[(String, Quantity)], range: Range<i64>) -> Result<Vec<Fenced>, LedgerError> {
        let mut lost = Vec::new();
        for fence in self.shared.fences() {
            if fence.is_of_hours_only() || !["log", "batch", "chunk", "series"].contains(&fence.table) {
                continue;
            }
            let fenced = describe(*self, &fence)?;
            // Of a row that does not say whose it is, or from when, anything may be missing.
            let of_another = |(probe, quantity): (&String, &String)| {
                !series.iter().any(|(known, measured)| known == probe && measured.as_str() == quantity)
            };
            let of_others = fenced.probe.as_ref().zip(fenced.quantity.as_ref()).is_some_and(of_another);
            let outside = fenced.since_ms.is_some_and(|since| since >= range.end)
                || fenced.until_ms.is_some_and(|until| until <= range.start);
            if !of_others && !outside {
                lost.push(fenced);
            }
        }
        Ok(lost)
    }
}

impl Ledger {
    /// How many damaged rows were met so far.
    pub fn fences(&self) -> usize {
        self.fenced().len()
    }

    /// Enters every damaged row that was met and that no entry names yet; the new entries.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn name_fences(&mut self, at_ms: i64) -> Result<Vec<Entry>, LedgerError> {
        let fences: Vec<Fence> =
            self.fenced().into_iter().filter(|fence| !fence.is_of_hours_only()).collect();
        if fences.is_empty() {
            return Ok(Vec::new());
        }
        let known = open_fences(&self.entries()?);
        let view = self.view()?;
        let mut notes: Vec<NewNote> = Vec::new();
        for fence in &fences {
            let fenced = describe(view, fence)?;
            let key = (fenced.table.clone(), fenced.row);
            let twice =
                |new: &NewNote| matches!(&new.note, Note::Fence(it) if (it.table.clone(), it.row) == key);
            if !known.contains_key(&key) && !notes.iter().any(twice) {
                notes.push(NewNote { at_ms, from_ms: at_ms, note: Note::Fence(fenced) });
            }
        }
        self.enter(notes)
    }

    /// Enters notes of the ledger about itself.
    pub(super) fn enter(&mut self, notes: Vec<NewNote>) -> Result<Vec<Entry>, LedgerError> {
        if notes.is_empty() {
            return Ok(Vec::new());
        }
        let ids = self.write(|conn, seq, _| commit::enter(conn, &notes, *seq - 1))?;
        let entry = |(new, id): (NewNote, i64)| {
            let NewNote { at_ms, from_ms, note } = new;
            Entry { id, at_ms, from_ms, note }
        };
        Ok(notes.into_iter().zip(ids).map(entry).collect())
    }
}

/// What is known of a damaged row: of which probe, from when to when.
pub(super) fn describe(view: View<'_>, fence: &Fence) -> Result<Fenced, LedgerError> {
    let mut fenced = Fenced {
        table: fence.table.to_owned(),
        row: fence.row,
        wrong: fence.what.clone(),
        probe: None,
        quantity: None,
        since_ms: None,
        until_ms: None,
    };
    match fence.table {
        "chunk" => {
            let (series, week) = of_chunk(fence.row);
            let name = name_of(view, series)?;
            (fenced.probe, fenced.quantity) = name.unzip();
            let offset_ms = view.shared.offset_ms;
            fenced.since_ms = Some(start_ms(week, offset_ms));
            fenced.until_ms = Some(start_ms(week + 1, offset_ms));
        }
        "batch" => (fenced.since_ms, fenced.until_ms) = around(view, fence.row)?,
        "entry" => {
            let sql = "SELECT at_ms FROM entry WHERE id = ?1";
            let at_ms: Option<Option<i64>> =
                view.conn.query_row(sql, [fence.row], |row| Ok(row.get(0).ok())).optional()?;
            fenced.since_ms = at_ms.flatten();
            fenced.until_ms = fenced.since_ms;
        }
        _ => {}
    }
    Ok(fenced)
}

/// Probe and quantity of a series.
pub(super) fn name_of(view: View<'_>, series: i64) -> Result<Option<(String, String)>, LedgerError> {
    let sql = "SELECT probe, quantity FROM series WHERE id = ?1";
    Ok(view.conn.query_row(sql, [series], |row| Ok((row.get(0)?, row.get(1)?))).optional()?)
}

/// When the commits before and after a batch were made, UTC ms, as far as they are known.
fn around(view: View<'_>, seq: i64) -> Result<(Option<i64>, Option<i64>), LedgerError> {
    let boots = Boots::read(view.conn)?;
    let nearest = |sql: &str| -> Result<Option<i64>, LedgerError> {
        let mut statement = view.conn.prepare(sql)?;
        let mut rows = statement.query([seq])?;
        while let Some(row) = rows.next()? {
            if let Ok(content) = batch::decode(row.get(0)?, blob(row, 1)?) {
                return Ok(boots.commit_ms(&content));
            }
        }
        Ok(None)
    };
    let before = nearest("SELECT seq, body FROM batch WHERE seq < ?1 ORDER BY seq DESC")?;
    let before = before.or(schema::get(view.conn, "compacted_ms")?);
    Ok((before, nearest("SELECT seq, body FROM batch WHERE seq > ?1 ORDER BY seq")?))
}
