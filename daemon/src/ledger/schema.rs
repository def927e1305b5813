//! The tables, and what a connection is told before it may touch them.
//!
//! Integer primary keys only, no second index on `batch` or `chunk`: each would be one more page in every commit.

use rusqlite::{Connection, OptionalExtension};

use super::{Founding, LedgerError};

/// Marks the file as ours ("GlHs").
pub(super) const APPLICATION: i64 = 0x476c_4873;
/// Number of this schema.
pub(super) const VERSION: i64 = 2;
/// Log and file are filled once to this length, so that a commit later never writes a block for the first time.
const FILLING_BYTES: i64 = 1_200_000;
/// In `meta` of a ledger that was copied and not filled since.
pub(super) const UNFILLED: &str = "unfilled";

pub(super) const TABLES: &str = "
    CREATE TABLE meta (key TEXT PRIMARY KEY, value) WITHOUT ROWID;
    CREATE TABLE boot (id INTEGER PRIMARY KEY, started_ms INTEGER NOT NULL, offset_ms INTEGER, vouched TEXT);
    CREATE TABLE series (id INTEGER PRIMARY KEY, probe TEXT NOT NULL, quantity TEXT NOT NULL,
        decimals INTEGER NOT NULL);
    CREATE TABLE batch (seq INTEGER PRIMARY KEY, body BLOB NOT NULL);
    CREATE TABLE chunk (id INTEGER PRIMARY KEY, last_seq INTEGER NOT NULL, hours BLOB NOT NULL, body BLOB NOT NULL);
    CREATE TABLE undated (boot INTEGER NOT NULL, series INTEGER NOT NULL, body BLOB NOT NULL,
        PRIMARY KEY (boot, series));
    CREATE TABLE entry (id INTEGER PRIMARY KEY, seq INTEGER NOT NULL, kind TEXT NOT NULL, subject TEXT NOT NULL,
        at_ms INTEGER NOT NULL, from_ms INTEGER NOT NULL, body TEXT NOT NULL, sum INTEGER NOT NULL);
    CREATE TABLE outbox (step INTEGER NOT NULL, courier TEXT NOT NULL, due_ms INTEGER NOT NULL,
        expires_ms INTEGER NOT NULL, tries INTEGER NOT NULL, state INTEGER NOT NULL, why TEXT,
        PRIMARY KEY (step, courier)) WITHOUT ROWID;
    CREATE TABLE day_page (subject TEXT NOT NULL, day INTEGER NOT NULL, edition TEXT NOT NULL, body TEXT NOT NULL,
        PRIMARY KEY (subject, day, edition));
    CREATE TABLE state (id INTEGER PRIMARY KEY CHECK (id = 1), seq INTEGER NOT NULL, edition TEXT NOT NULL,
        body BLOB NOT NULL);
    CREATE TABLE cursor (name TEXT PRIMARY KEY, seq INTEGER NOT NULL) WITHOUT ROWID;
";

/// What every connection to a file is told. The page size counts only before the first table.
pub(super) const FILE_SETTINGS: &str = "
    PRAGMA page_size = 512;
    PRAGMA journal_mode = WAL;
    PRAGMA synchronous = FULL;
    PRAGMA journal_size_limit = -1;
    PRAGMA wal_autocheckpoint = 0;
    PRAGMA mmap_size = 0;
";

/// What a connection to a ledger in memory is told.
pub(super) const MEMORY_SETTINGS: &str = "
    PRAGMA journal_mode = MEMORY;
    PRAGMA synchronous = OFF;
";

/// What both are told: bounded memory, and distrust of a file that somebody may have tampered with.
pub(super) const COMMON_SETTINGS: &str = "
    PRAGMA cache_size = -2000;
    PRAGMA temp_store = MEMORY;
    PRAGMA trusted_schema = OFF;
    PRAGMA cell_size_check = ON;
    PRAGMA foreign_keys = ON;
";

/// A number a `PRAGMA` answers with.
pub(super) fn number(conn: &Connection, pragma: &str) -> Result<i64, LedgerError> {
    Ok(conn.query_row(&format!("PRAGMA {pragma}"), [], |row| row.get(0))?)
}

/// Whether the tables are there; refuses what is not ours, what is newer than we are, and what is older: that is for
/// [`migrate`](super::migrate) to change first.
pub(super) fn stands(conn: &Connection) -> Result<bool, LedgerError> {
    let (application, version) = (number(conn, "application_id")?, number(conn, "user_version")?);
    match (application, version) {
        (APPLICATION, VERSION) => return as_made(conn).map(|()| true),
        (APPLICATION, older) if (1..VERSION).contains(&older) => {
            return Err(LedgerError::Older { version: older, known: VERSION });
        }
        (APPLICATION, newer) if newer > VERSION => {
            return Err(LedgerError::Newer { version: newer, known: VERSION });
        }
        (0, 0) => {}
        _ => return Err(LedgerError::NotALedger { file: super::file::NAME.to_owned() }),
    }
    // A power cut during an earlier founding may have left the filling; anything else is somebody's.
    let strange: Option<String> = conn
        .query_row("SELECT name FROM sqlite_schema WHERE name <> 'filling' LIMIT 1", [], |row| row.get(0))
        .optional()?;
    match strange {
        Some(_) => Err(LedgerError::NotALedger { file: super::file::NAME.to_owned() }),
        None => Ok(false),
    }
}

/// Refuses tables that are described in other words than ours: a bit of a description that flips can make a whole
/// table read as empty, and SQLite finds nothing wrong with it.
fn as_made(conn: &Connection) -> Result<(), LedgerError> {
    let mut statement = conn
        .prepare("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL AND name <> 'filling' ORDER BY sql")?;
    let described = statement.query_map([], |row| row.get(0))?.collect::<Result<Vec<String>, _>>();
    let mut made: Vec<&str> = TABLES.split(';').map(str::trim).filter(|table| !table.is_empty()).collect();
    made.sort_unstable();
    if described.is_ok_and(|described| described == made) {
        return Ok(());
    }
    Err(LedgerError::Damaged { what: "its tables are not described as they were made".to_owned() })
}

/// Makes the tables unless they are there; in a file, fills it and its log first.
pub(super) fn found(conn: &Connection, founding: &Founding, fill: bool) -> Result<(), LedgerError> {
    if stands(conn)? {
        return refill(conn, fill);
    }
    conn.execute_batch("PRAGMA auto_vacuum = NONE; DROP TABLE IF EXISTS filling;")?;
    if fill {
        fill_once(conn)?;
    }
    let making = conn.unchecked_transaction()?;
    making.execute_batch(TABLES)?;
    set(&making, "epoch", &1_i64)?;
    set(&making, "offset_ms", &founding.offset_ms)?;
    set(&making, "program", &founding.program)?;
    super::identity::give_name(&making)?;
    making
        .execute_batch(&format!("PRAGMA application_id = {APPLICATION}; PRAGMA user_version = {VERSION};"))?;
    making.commit()?;
    if fill {
        conn.query_row("PRAGMA wal_checkpoint(RESTART)", [], |_| Ok(()))?;
    }
    Ok(())
}

/// A ledger that was copied (migrated, or brought back from a backup) is as short as can be: fills it and its log, once.
fn refill(conn: &Connection, fill: bool) -> Result<(), LedgerError> {
    if !fill || get(conn, UNFILLED)?.is_none() {
        return Ok(());
    }
    conn.execute_batch("DROP TABLE IF EXISTS filling;")?;
    fill_once(conn)?;
    conn.execute("DELETE FROM meta WHERE key = ?1", [UNFILLED])?;
    Ok(())
}

/// Writes every block of log and file once. A write that is refused and then heals leaves a growing file with blocks
/// that ext4 keeps marked as unwritten: they read as zeros after a remount. Blocks written before are safe from that.
fn fill_once(conn: &Connection) -> Result<(), LedgerError> {
    conn.execute_batch("CREATE TABLE filling (body BLOB NOT NULL);")?;
    conn.execute("INSERT INTO filling VALUES (zeroblob(?1))", [FILLING_BYTES])?;
    conn.query_row("PRAGMA wal_checkpoint(RESTART)", [], |_| Ok(()))?;
    conn.execute_batch("DROP TABLE filling;")?;
    Ok(conn.query_row("PRAGMA wal_checkpoint(RESTART)", [], |_| Ok(()))?)
}

/// Writes one fact about the ledger itself.
pub(super) fn set(conn: &Connection, key: &str, value: &dyn rusqlite::ToSql) -> Result<(), LedgerError> {
    conn.execute("INSERT OR REPLACE INTO meta (key, value) VALUES (?1, ?2)", (key, value))?;
    Ok(())
}

/// Reads one number about the ledger itself.
pub(super) fn get(conn: &Connection, key: &str) -> Result<Option<i64>, LedgerError> {
    Ok(conn.query_row("SELECT value FROM meta WHERE key = ?1", [key], |row| row.get(0)).optional()?.flatten())
}
