//! The ledger's two files: how they are opened, and what is asked of the disk they lie on.
//!
//! A system's page cache may show writes that the disk refused: after a write error, and even in a process started
//! later, what is read back need not be what a power cut would leave. So both files are flushed and dropped from the
//! cache before every opening.

use std::any::Any;
use std::ffi::CStr;
use std::fmt::Debug;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, FileControl, MAIN_DB, OpenFlags};

use super::{LedgerError, schema};

/// The ledger's name in its folder; its log is beside it.
pub(super) const NAME: &str = "ledger";
pub(super) const LOG: &str = "ledger-wal";
/// How long a connection waits for another of this process.
const PATIENCE: Duration = Duration::from_secs(5);

/// What the ledger asks of the disk it lies on. The real one is a folder; tests put a simulated one in its place.
pub trait Disk: Debug + Send + Sync {
    /// Name of the SQLite file system that reaches it. Its index of the log must stay in memory.
    fn vfs(&self) -> &CStr;

    /// The ledger's file, as that file system knows it. Its log is beside it, with `-wal` after its name.
    fn path(&self) -> PathBuf;

    /// Holds the ledger against everybody else until what is returned is dropped.
    ///
    /// # Errors
    ///
    /// [`LedgerError::Held`] names who has it; otherwise what the storage refuses.
    fn hold(&self) -> Result<Hold, LedgerError>;

    /// Flushes file and log, where they are, and makes the system forget what it holds of them. No connection is open.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    fn drop_page_cache(&self) -> Result<(), LedgerError>;

    /// The folder it is; none where it is something else.
    fn folder(&self) -> Option<&Path> {
        None
    }

    /// Makes the names of new files last through a power cut.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    fn flush_folder(&self) -> Result<(), LedgerError>;

    /// The log as it lies there; empty if there is none.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    fn log(&self) -> Result<Vec<u8>, LedgerError>;

    /// Bytes of file and log; 0 for a file that is not there, none for a log that is not.
    fn lengths(&self) -> (u64, Option<u64>);
}

/// Holds a ledger for as long as it lives.
pub type Hold = Box<dyn Any + Send + Sync>;

/// Where a ledger is.
#[derive(Clone, Debug)]
pub(super) enum Home {
    /// On this disk.
    Disk(Arc<dyn Disk>),
    /// In the memory of this process, under this name.
    Memory(String),
}

/// What a connection is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Role {
    /// Writes, and makes the file if it is absent.
    Founder,
    /// Writes.
    Writer,
    /// Only reads.
    Reader,
}

/// Has the closing of a connection neither copy the log into the file nor remove it.
pub(super) fn leave_log(conn: &Connection) -> Result<(), LedgerError> {
    conn.file_control(Some(MAIN_DB), FileControl::PersistWal(&mut 1))?;
    conn.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
    Ok(())
}

/// Why a ledger without its log is refused.
pub(super) fn without_log() -> LedgerError {
    let what = format!(
        "{LOG} is missing beside {NAME}, and with it what was stored last: copy both while nothing runs on them, or \
         restore a backup"
    );
    LedgerError::Damaged { what }
}

/// Every ledger in memory has a name of its own, so that its readers find it and no other.
static NAMES: AtomicU64 = AtomicU64::new(1);

impl Home {
    /// A new one in memory.
    pub(super) fn memory() -> Self {
        Self::Memory(format!("file:/ledger-{}?vfs=memdb", NAMES.fetch_add(1, Ordering::Relaxed)))
    }

    /// Opens a connection.
    pub(super) fn connect(&self, role: Role) -> Result<Connection, LedgerError> {
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let flags = if role == Role::Founder { flags | OpenFlags::SQLITE_OPEN_CREATE } else { flags };
        self.refuse_orphaned_log()?;
        let without_log = matches!(self.lengths(), (1.., None | Some(0)));
        let conn = match self {
            // Readers open for writing too: the log must be readable while nobody has recovered it yet.
            Self::Disk(disk) => Connection::open_with_flags_and_vfs(disk.path(), flags, disk.vfs())?,
            Self::Memory(name) => Connection::open_with_flags(name, flags | OpenFlags::SQLITE_OPEN_URI)?,
        };
        conn.busy_timeout(PATIENCE)?;
        if without_log {
            Self::refuse_without_log(&conn)?;
        }
        if let Self::Disk(_) = self {
            // Before anything that may be refused: after an error the log is read afresh at the next opening.
            leave_log(&conn)?;
            conn.execute_batch(schema::FILE_SETTINGS)?;
            let mode: String = conn.query_row("PRAGMA journal_mode", [], |row| row.get(0))?;
            if mode != "wal" {
                return Err(LedgerError::Refused {
                    what: format!("write-ahead log, keeping journal mode {mode}"),
                });
            }
        } else {
            conn.execute_batch(schema::MEMORY_SETTINGS)?;
        }
        conn.execute_batch(schema::COMMON_SETTINGS)?;
        if role == Role::Reader {
            conn.execute_batch("PRAGMA query_only = ON;")?;
        }
        Ok(conn)
    }

    /// SQLite throws a log away when it finds no file, or an empty one, beside it: acknowledged commits may be in it.
    fn refuse_orphaned_log(&self) -> Result<(), LedgerError> {
        let (file, log) = self.lengths();
        if file > 0 || log.is_none_or(|log| log == 0) {
            return Ok(());
        }
        let what =
            format!("{NAME} is gone or empty but {LOG} is there: bring the file back, or move both away");
        Err(LedgerError::Damaged { what })
    }

    /// A ledger always has its log beside it: without it, it is a copy that somebody made of the one file, and what was
    /// committed last is missing. A backup is another matter: its file says that it needs no log.
    fn refuse_without_log(conn: &Connection) -> Result<(), LedgerError> {
        let mode: String = conn.query_row("PRAGMA journal_mode", [], |row| row.get(0))?;
        // One that is being founded has none yet; one of an older schema was folded to be brought up.
        if mode != "wal" || !matches!(schema::stands(conn), Ok(true)) {
            return Ok(());
        }
        Err(without_log())
    }

    /// See [`Disk::folder`]; none in memory.
    pub(super) fn folder(&self) -> Option<&Path> {
        if let Self::Disk(disk) = self { disk.folder() } else { None }
    }

    /// See [`Disk::lengths`]; nothing in memory.
    pub(super) fn lengths(&self) -> (u64, Option<u64>) {
        if let Self::Disk(disk) = self { disk.lengths() } else { (0, None) }
    }
}
