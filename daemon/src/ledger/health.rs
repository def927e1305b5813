//! Whether the file is whole, and how much room it takes.

use rusqlite::Connection;

use super::file::Home;
use super::shared::Shared;
use super::view::blob;
use super::{LedgerError, View, chunk, hours, schema, series};

/// How much room the ledger takes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sizes {
    /// Bytes of the file; 0 in memory.
    pub file_bytes: u64,
    /// Bytes of the log beside it; 0 in memory.
    pub log_bytes: u64,
    /// Bytes of pages in use.
    pub used_bytes: u64,
    /// Batches waiting for compaction.
    pub batches: u64,
    /// Bytes of their bodies.
    pub batch_bytes: u64,
    /// Chunks.
    pub chunks: u64,
    /// Readings in them.
    pub chunk_readings: u64,
    /// Bytes of readings in them.
    pub chunk_bytes: u64,
    /// Bytes of hourly roll-ups in them.
    pub hour_bytes: u64,
}

impl Sizes {
    /// Bytes for each reading in chunks, roll-ups included, without the pages' own cost.
    pub fn bytes_per_archived_reading(&self) -> f64 {
        (self.chunk_bytes + self.hour_bytes) as f64 / (self.chunk_readings as f64).max(1.0)
    }
}

/// See [`Ledger::sizes`](super::Ledger::sizes).
pub(super) fn sizes(view: View<'_>) -> Result<Sizes, LedgerError> {
    let (file_bytes, log_bytes) = view.shared.home.lengths();
    let log_bytes = log_bytes.unwrap_or(0);
    let number = |pragma| schema::number(view.conn, pragma).map(|number| number as u64);
    let used_bytes = (number("page_count")? - number("freelist_count")?) * number("page_size")?;
    let mut sizes = Sizes { file_bytes, log_bytes, used_bytes, ..Sizes::default() };
    let sql = "SELECT count(*), coalesce(sum(length(body)), 0) FROM batch";
    let (batches, bytes): (i64, i64) = view.conn.query_row(sql, [], |row| Ok((row.get(0)?, row.get(1)?)))?;
    (sizes.batches, sizes.batch_bytes) = (batches as u64, bytes as u64);
    let sql = "SELECT substr(body, 1, 11), length(body), length(hours) FROM chunk WHERE id > 0";
    let mut statement = view.conn.prepare(sql)?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        sizes.chunks += 1;
        sizes.chunk_readings += chunk::count(blob(row, 0)?);
        sizes.chunk_bytes += row.get::<_, i64>(1)? as u64;
        sizes.hour_bytes += row.get::<_, i64>(2)? as u64;
    }
    Ok(sizes)
}

/// Asks SQLite whether the file's own structure is whole.
pub(super) fn whole(conn: &Connection) -> Result<(), LedgerError> {
    let said: String = conn.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))?;
    if said == "ok" { Ok(()) } else { Err(LedgerError::Damaged { what: said }) }
}

/// Reads every body; what is damaged is fenced.
pub(super) fn checksums(view: View<'_>) -> Result<(), LedgerError> {
    name_known_damage(view.conn, view.shared)?;
    view.each_batch(0, usize::MAX, |_, _| {})?;
    view.chunks(1..=i64::MAX, &(i64::MIN..i64::MAX), |_, _| {})?;
    let mut statement =
        view.conn.prepare("SELECT id, last_seq, hours FROM chunk WHERE id > 0 ORDER BY id")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let id = row.get(0)?;
        if let Err(spoilt) = hours::decode(&[id, row.get(1)?], blob(row, 2)?) {
            view.shared.fence("chunk", id, &format!("hours: {spoilt}"));
        }
    }
    let mut statement =
        view.conn.prepare("SELECT boot, series, body FROM undated WHERE boot > 0 ORDER BY boot, series")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let (boot, series) = (row.get(0)?, row.get(1)?);
        if let Err(spoilt) = chunk::decode(&[boot, series], blob(row, 2)?) {
            view.shared.fence("undated", boot, &format!("series {series}: {spoilt}"));
        }
    }
    view.entries()?;
    let mut statement = view.conn.prepare("SELECT DISTINCT edition FROM day_page")?;
    let editions = statement.query_map([], |row| row.get::<_, String>(0))?;
    for edition in editions {
        view.pages(&edition?)?;
    }
    Ok(())
}

/// Commits that damage cut off the log: said at opening, before new ones are written over them.
pub(super) fn name_damaged_log(conn: &Connection, shared: &Shared) -> Result<(), LedgerError> {
    let Home::Disk(disk) = &shared.home else { return Ok(()) };
    name_commits_cut_off(conn, shared, || disk.log())
}

/// The same for a log that is read by `log`.
pub(super) fn name_commits_cut_off(
    conn: &Connection,
    shared: &Shared,
    log: impl FnOnce() -> Result<Vec<u8>, LedgerError>,
) -> Result<(), LedgerError> {
    let asked = conn.query_row("PRAGMA wal_checkpoint(NOOP)", [], |row| row.get(1));
    let end: i64 = match asked.map_err(LedgerError::from) {
        // SQLite does not say it then; nothing is written over the log either, so it can be said later.
        Err(LedgerError::ReadOnly) => return Ok(()),
        asked => asked?,
    };
    let log = log()?;
    let cut = super::log::bytes_cut(&log, end as usize);
    if cut > 0 {
        tracing::info!(bytes = cut, "the end of the ledger's log, begun and not finished, is cut");
    }
    let lost = super::log::commits_cut_off(&log, end as usize);
    if lost > 0 {
        shared.fence("log", end + 1, &format!("damaged: {lost} or more commits after it are lost"));
    }
    Ok(())
}

/// What is found to be damaged without reading every body.
pub(super) fn name_known_damage(conn: &Connection, shared: &Shared) -> Result<(), LedgerError> {
    name_fenced_chunks(conn, shared)?;
    name_spoilt_series(conn, shared)
}

/// A series whose names are not those it was given: its readings are there, under a name nobody asks for.
fn name_spoilt_series(conn: &Connection, shared: &Shared) -> Result<(), LedgerError> {
    let mut statement = conn.prepare("SELECT id, probe, quantity, decimals FROM series ORDER BY id")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let id = row.get(0)?;
        let names = (row.get::<_, String>(1), row.get::<_, String>(2), row.get(3));
        let sum = match names {
            (Ok(probe), Ok(quantity), Ok(decimals)) => {
                Some(series::series_checksum(&probe, &quantity, id, decimals))
            }
            _ => None,
        };
        if sum.is_none() || schema::get(conn, &series::series_key(id))? != sum {
            shared.fence("series", id, &"its probe or quantity is not the one it was made for");
        }
    }
    Ok(())
}

/// Chunks that an earlier compaction moved out of the way are still damaged.
fn name_fenced_chunks(conn: &Connection, shared: &Shared) -> Result<(), LedgerError> {
    let mut statement = conn.prepare("SELECT -id FROM chunk WHERE id < 0 ORDER BY id DESC")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        shared.fence("chunk", row.get(0)?, &"moved out of the way, to be mended from a backup");
    }
    Ok(())
}
