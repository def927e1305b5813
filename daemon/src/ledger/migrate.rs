//! From an older schema to this program's: a copy is changed, checked and flushed, and only then takes the place of
//! the ledger. Whenever the power goes, the old ledger or the new one is there, whole.
//!
//! The old file stays beside the new one, named by its schema, for whoever must go back to the older program; it may
//! be deleted. A ledger of a newer schema is refused by name and never touched.

use std::fs::File;
use std::path::Path;

use rusqlite::Connection;
use rustix::fs::fsync;

use super::commit::EntryRow;
use super::copied::{Header, vacuum_into};
use super::file::{Home, NAME, Role};
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
    let conn = Home::Folder(folder.to_owned()).connect(Role::Writer)?;
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

/// Entries get their checksum, outbox rows a reason.
fn to_schema_2(conn: &Connection) -> Result<(), LedgerError> {
    conn.execute_batch(
        "ALTER TABLE entry ADD COLUMN sum INTEGER NOT NULL DEFAULT 0; ALTER TABLE outbox ADD COLUMN why TEXT;",
    )?;
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
