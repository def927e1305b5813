//! From an older schema to this program's: a copy is changed, checked and flushed, and only then takes the place of
//! the ledger. Whenever the power goes, the old ledger or the new one is there, whole.
//!
//! The old file stays beside the new one, named by its schema, for whoever must go back to the older program; it may
//! be deleted. A ledger of a newer schema is refused by name and never touched.

use std::fs::File;
use std::path::Path;
use std::sync::Arc;

use rusqlite::{Connection, OptionalExtension, Row};
use rustix::fs::fsync;

use super::bytes::{seal, seal_text};
use super::commit::EntryRow;
use super::copied::{Header, vacuum_into};
use super::file::{Home, NAME, Role};
use super::folder::Folder;
use super::series::{series_checksum, series_key};
use super::{LedgerError, health, schema};

/// The copy while it is worked on.
const NEXT: &str = "ledger-next";

/// Changes a ledger of one schema into the next.
type Change = fn(&Connection) -> Result<(), LedgerError>;

/// From schema 1 on, each into the next.
const CHANGES: [Change; (schema::VERSION - 1) as usize] = [to_schema_2];

/// How far a migration has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Stage {
    /// The log is folded into the old file, and a copy is made.
    Copied,
    /// The copy is changed.
    Changed,
    /// The copy's structure was found whole.
    Checked,
    /// The copy lasts through a power cut.
    Flushed,
    /// The old file has its second name.
    Kept,
    /// The copy is the ledger.
    Renamed,
}

/// Brings the ledger of a folder up to this program's schema, unless it has it or there is none. `at` is told each
/// stage. The schema it had, if it was older.
pub(super) fn bring_up(folder: &Path, at: &mut dyn FnMut(Stage)) -> Result<Option<i64>, LedgerError> {
    let (file, next) = (folder.join(NAME), folder.join(NEXT));
    remove(&next)?;
    remove(&folder.join(format!("{NEXT}-journal")))?;
    match Header::read(&file)? {
        None => return Ok(None),
        Some(header) if header.version == schema::VERSION => return Ok(None),
        Some(header) if header.version > schema::VERSION => {
            return Err(LedgerError::Newer { version: header.version, known: schema::VERSION });
        }
        Some(_) => {}
    }
    let conn = Home::Disk(Arc::new(Folder::at(folder)?)).connect(Role::Writer)?;
    let application = schema::number(&conn, "application_id")?;
    let version = schema::number(&conn, "user_version")?;
    if application != schema::APPLICATION || !(1..schema::VERSION).contains(&version) {
        // Being founded, or none of ours: what opens it next says so.
        return Ok(None);
    }
    // The log of the old file must hold nothing when a new file takes its name.
    let busy: i64 = conn.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get(0))?;
    if busy != 0 {
        return Err(LedgerError::Held { by: "another connection".to_owned() });
    }
    renew(&conn, &next, at)?;
    drop(conn);
    flush(&next)?;
    flush(folder)?;
    at(Stage::Flushed);
    let kept = folder.join(format!("{NAME}-schema-{version}"));
    remove(&kept)?;
    if let Err(error) = std::fs::hard_link(&file, &kept) {
        tracing::warn!(%error, "the ledger's old form could not be kept beside the new one");
    }
    at(Stage::Kept);
    std::fs::rename(&next, &file)?;
    flush(folder)?;
    at(Stage::Renamed);
    tracing::info!(from = version, to = schema::VERSION, "the ledger has this program's form now");
    Ok(Some(version))
}

/// Writes a copy of an older ledger in this program's form to a path where nothing is.
pub(super) fn renew(conn: &Connection, copy: &Path, at: &mut dyn FnMut(Stage)) -> Result<(), LedgerError> {
    vacuum_into(conn, copy)?;
    at(Stage::Copied);
    let mut conn = Connection::open(copy)?;
    conn.execute_batch(schema::COMMON_SETTINGS)?;
    let version = schema::number(&conn, "user_version")?;
    let changing = conn.transaction()?;
    for change in CHANGES.iter().skip(usize::try_from(version - 1).unwrap_or(usize::MAX)) {
        change(&changing)?;
    }
    schema::set(&changing, schema::UNFILLED, &1_i64)?;
    changing.execute_batch(&format!("PRAGMA user_version = {};", schema::VERSION))?;
    changing.commit()?;
    at(Stage::Changed);
    health::whole(&conn)?;
    at(Stage::Checked);
    Ok(())
}

/// Two tables as schema 2 has them, and their rows brought over. Tables are made, not altered, so that each is
/// described in its schema's own words.
const MADE_ANEW: &str = "
    ALTER TABLE entry RENAME TO entry_before;
    CREATE TABLE entry (id INTEGER PRIMARY KEY, seq INTEGER NOT NULL, kind TEXT NOT NULL, subject TEXT NOT NULL,
        at_ms INTEGER NOT NULL, from_ms INTEGER NOT NULL, body TEXT NOT NULL, sum INTEGER NOT NULL);
    INSERT INTO entry SELECT id, seq, kind, subject, at_ms, from_ms, body, 0 FROM entry_before;
    DROP TABLE entry_before;
    ALTER TABLE outbox RENAME TO outbox_before;
    CREATE TABLE outbox (step INTEGER NOT NULL, courier TEXT NOT NULL, due_ms INTEGER NOT NULL,
        expires_ms INTEGER NOT NULL, tries INTEGER NOT NULL, state INTEGER NOT NULL, why TEXT,
        PRIMARY KEY (step, courier)) WITHOUT ROWID;
    INSERT INTO outbox SELECT step, courier, due_ms, expires_ms, tries, state, NULL FROM outbox_before;
    DROP TABLE outbox_before;
";

/// Outbox rows get a reason; entries, pages, the snapshot and the names of series their checksums.
fn to_schema_2(conn: &Connection) -> Result<(), LedgerError> {
    conn.execute_batch(MADE_ANEW)?;
    seal_entries(conn)?;
    seal_pages(conn)?;
    seal_snapshot(conn)?;
    seal_names(conn)
}

fn seal_pages(conn: &Connection) -> Result<(), LedgerError> {
    let mut statement = conn.prepare("SELECT rowid, day, body FROM day_page")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        // A page that holds no text stays as it is, and is made afresh.
        let Ok(body) = row.get::<_, String>(2) else { continue };
        let (number, day): (i64, i64) = (row.get(0)?, row.get(1)?);
        conn.execute("UPDATE day_page SET body = ?2 WHERE rowid = ?1", (number, seal_text(&body, &[day])))?;
    }
    Ok(())
}

fn seal_snapshot(conn: &Connection) -> Result<(), LedgerError> {
    let read = |row: &Row<'_>| Ok((row.get::<_, i64>(0)?, row.get::<_, Vec<u8>>(1)?));
    let Some((seq, mut body)) = conn.query_row("SELECT seq, body FROM state", [], read).optional()? else {
        return Ok(());
    };
    seal(&mut body, &[seq]);
    conn.execute("UPDATE state SET body = ?1", [body])?;
    Ok(())
}

fn seal_names(conn: &Connection) -> Result<(), LedgerError> {
    let mut statement = conn.prepare("SELECT id, probe, quantity, decimals FROM series")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let (probe, quantity): (String, String) = (row.get(1)?, row.get(2)?);
        let sum = series_checksum(&probe, &quantity, row.get(0)?, row.get(3)?);
        schema::set(conn, &series_key(row.get(0)?), &sum)?;
    }
    Ok(())
}

fn seal_entries(conn: &Connection) -> Result<(), LedgerError> {
    let sql = "SELECT id, seq, kind, subject, at_ms, from_ms, body FROM entry ORDER BY id";
    let mut statement = conn.prepare(sql)?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        // A row that holds no text was damaged before: it keeps no checksum, and is fenced when it is read.
        let (Ok(kind), Ok(subject), Ok(body)) =
            (row.get::<_, String>(2), row.get::<_, String>(3), row.get::<_, String>(6))
        else {
            continue;
        };
        let (id, seq, at_ms, from_ms) = (row.get(0)?, row.get(1)?, row.get(4)?, row.get(5)?);
        let stored = EntryRow { id, seq, kind: &kind, subject: &subject, at_ms, from_ms, body: &body };
        conn.execute("UPDATE entry SET sum = ?2 WHERE id = ?1", (id, stored.sum()))?;
    }
    Ok(())
}

/// Removes a file that may be absent.
pub(super) fn remove(path: &Path) -> Result<(), LedgerError> {
    match std::fs::remove_file(path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => Err(error.into()),
        _ => Ok(()),
    }
}

/// Makes a file's bytes, or a folder's names, last through a power cut.
pub(super) fn flush(path: &Path) -> Result<(), LedgerError> {
    Ok(fsync(File::open(path)?).map_err(std::io::Error::from)?)
}
