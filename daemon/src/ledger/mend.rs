//! Damaged rows brought back from a backup. Nothing is taken from it that its own checksums do not vouch for.
//!
//! A chunk's readings are merged with what came since, so a backup older than the damage brings back what it has. A
//! batch or an entry is one row and comes back as it was; where the backup speaks of another epoch, rows written since
//! the last restore are not taken from it, for the same number means another thing there.

use rusqlite::OptionalExtension;

use super::copied::Copied;
use super::fence::{name_of, open_fences};
use super::shared::Fence;
use super::view::blob;
use super::week::{of_chunk, start_ms};
use super::{
    Ledger, LedgerError, NewNote, View, batch, chunk, commit, compaction, health, identity, mirrored,
    records, schema,
};
use crate::entry::{Entry, Note};

/// What a mending did.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Mended {
    /// Rows brought back.
    pub rows: u64,
    /// Readings in them.
    pub readings: u64,
    /// Damaged rows that the backup has no better form of.
    pub left: Vec<Fence>,
    /// The entries that say so.
    pub entries: Vec<Entry>,
}

impl Ledger {
    /// Looks at everything, and brings back every damaged row that a backup of this ledger has whole.
    ///
    /// # Errors
    ///
    /// [`LedgerError::OtherLedger`] where the backup is of another ledger; [`LedgerError::Damaged`] where the
    /// structure of either is; or when the storage refuses.
    pub fn mend(&mut self, backup: &Copied, at_ms: i64) -> Result<Mended, LedgerError> {
        same_ledger(self.view()?, backup.view())?;
        self.check()?;
        backup.check()?;
        self.name_fences(at_ms)?;
        let named = open_fences(&self.entries()?);
        let (shared, fences) = (std::sync::Arc::clone(&self.shared), self.fenced());
        let mut mended = Mended::default();
        self.write(|conn, seq, _| {
            let mut notes = Vec::new();
            let view = View { conn, shared: &shared };
            for fence in fences.iter().filter(|fence| !fence.is_of_hours_only()) {
                let Some(readings) = bring_back(view, backup.view(), fence)? else { continue };
                mended.rows += 1;
                mended.readings += readings;
                if let Some((id, fenced)) = named.get(&(fence.table.to_owned(), fence.row)) {
                    let note = Note::Mended { fence: *id, readings, fenced: fenced.clone() };
                    notes.push(NewNote { at_ms, from_ms: fenced.since_ms.unwrap_or(at_ms), note });
                }
            }
            let ids = commit::enter(conn, &notes, *seq - 1)?;
            mended.entries = notes
                .iter()
                .zip(ids)
                .map(|(new, id)| Entry { id, at_ms, from_ms: new.from_ms, note: new.note.clone() })
                .collect();
            Ok(())
        })?;
        self.shared.forget_fences();
        health::checksums(self.view()?)?;
        mended.left = self.fenced().into_iter().filter(|fence| !fence.is_of_hours_only()).collect();
        Ok(mended)
    }
}

/// A backup of another ledger has other readings under the same numbers.
fn same_ledger(ours: View<'_>, theirs: View<'_>) -> Result<(), LedgerError> {
    let (ours, theirs) = (identity::name(ours.conn)?, identity::name(theirs.conn)?);
    if ours.is_some() && ours == theirs { Ok(()) } else { Err(LedgerError::OtherLedger) }
}

/// How many readings came back with a row; none where the backup does not have it.
fn bring_back(ours: View<'_>, theirs: View<'_>, fence: &Fence) -> Result<Option<u64>, LedgerError> {
    match fence.table {
        "chunk" => chunk_back(ours, theirs, fence.row),
        "batch" if same_number(ours, theirs, "epoch_seq", fence.row)? => batch_back(ours, theirs, fence.row),
        "entry" if same_number(ours, theirs, "epoch_entry", fence.row)? => {
            entry_back(ours, theirs, fence.row)
        }
        "undated" => undated_back(ours, theirs, fence.row),
        _ => Ok(None),
    }
}

/// Whether a row of this number means the same in both: they are of one epoch, or it is older than ours.
fn same_number(ours: View<'_>, theirs: View<'_>, since: &str, row: i64) -> Result<bool, LedgerError> {
    let epoch = |view: View<'_>| schema::get(view.conn, "epoch");
    let first = schema::get(ours.conn, since)?.unwrap_or(i64::MAX);
    Ok(epoch(ours)? == epoch(theirs)? || row < first)
}

fn chunk_back(ours: View<'_>, theirs: View<'_>, id: i64) -> Result<Option<u64>, LedgerError> {
    let (series, week) = of_chunk(id);
    if name_of(ours, series)? != name_of(theirs, series)? {
        return Ok(None);
    }
    let offset_ms = theirs.shared.offset_ms;
    let range = start_ms(week, offset_ms)..start_ms(week + 1, offset_ms);
    let back = theirs.kept_of(series, &range)?;
    if back.is_empty() {
        return Ok(None);
    }
    let last_seq = |view: View<'_>| -> Result<i64, LedgerError> {
        let sql = "SELECT max(last_seq) FROM chunk WHERE id IN (?1, -?1)";
        Ok(view.conn.query_row(sql, [id], |row| row.get::<_, Option<i64>>(0))?.unwrap_or(0))
    };
    let last_seq = last_seq(ours)?.max(last_seq(theirs)?);
    compaction::write_chunk(ours, id, last_seq, &back)?;
    ours.conn.execute("DELETE FROM chunk WHERE id = -?1", [id])?;
    compaction::renew_following(ours, &std::iter::once(id).collect())?;
    mirrored::mark(ours.conn, id)?;
    Ok(Some(back.len() as u64))
}

fn batch_back(ours: View<'_>, theirs: View<'_>, seq: i64) -> Result<Option<u64>, LedgerError> {
    let sql = "SELECT body FROM batch WHERE seq = ?1";
    let body: Option<Vec<u8>> = theirs.conn.query_row(sql, [seq], |row| row.get(0)).optional()?;
    let Some((body, content)) = body.and_then(|body| batch::decode(seq, &body).ok().map(|it| (body, it)))
    else {
        return Ok(None);
    };
    ours.conn.execute("UPDATE batch SET body = ?2 WHERE seq = ?1", (seq, body))?;
    Ok(Some(content.items.len() as u64))
}

/// All damaged rows of a boot that never learnt the time.
fn undated_back(ours: View<'_>, theirs: View<'_>, boot: i64) -> Result<Option<u64>, LedgerError> {
    let sql = "SELECT boot, series, body FROM undated WHERE boot IN (?1, -?1) ORDER BY boot, series";
    let mut statement = ours.conn.prepare(sql)?;
    let mut rows = statement.query([boot])?;
    let mut brought = None;
    while let Some(row) = rows.next()? {
        let (at, series): (i64, i64) = (row.get(0)?, row.get(1)?);
        if at > 0 && chunk::decode(&[at, series], blob(row, 2)?).is_ok() {
            continue;
        }
        let sql = "SELECT body FROM undated WHERE boot = ?1 AND series = ?2";
        let body: Option<Vec<u8>> =
            theirs.conn.query_row(sql, (boot, series), |row| row.get(0)).optional()?;
        let Some(body) = body else { continue };
        let Ok(kept) = chunk::decode(&[boot, series], &body) else { continue };
        let sql = "INSERT OR REPLACE INTO undated (boot, series, body) VALUES (?1, ?2, ?3)";
        ours.conn.execute(sql, (boot, series, body))?;
        ours.conn.execute("DELETE FROM undated WHERE boot = -?1 AND series = ?2", (boot, series))?;
        *brought.get_or_insert(0) += kept.len() as u64;
    }
    Ok(brought)
}

fn entry_back(ours: View<'_>, theirs: View<'_>, id: i64) -> Result<Option<u64>, LedgerError> {
    let sql = "SELECT id, seq, kind, subject, at_ms, from_ms, body, sum FROM entry WHERE id = ?1";
    let mut statement = theirs.conn.prepare(sql)?;
    let mut rows = statement.query([id])?;
    let Some(row) = rows.next()? else { return Ok(None) };
    if records::entry(row).is_err() {
        return Ok(None);
    }
    let texts: (String, String, String) = (row.get(2)?, row.get(3)?, row.get(6)?);
    let numbers: [i64; 4] = [row.get(1)?, row.get(4)?, row.get(5)?, row.get(7)?];
    let sql =
        "UPDATE entry SET seq = ?2, kind = ?3, subject = ?4, at_ms = ?5, from_ms = ?6, body = ?7, sum = ?8
        WHERE id = ?1";
    let (kind, subject, body) = texts;
    let [seq, at_ms, from_ms, sum] = numbers;
    ours.conn.execute(sql, (id, seq, kind, subject, at_ms, from_ms, body, sum))?;
    Ok(Some(0))
}
