//! The file on disk: who holds it, what the page cache may not remember, how it is opened.
//!
//! The system's page cache may show writes that the disk refused: after a write error, and even in a process started
//! later, what is read back need not be what a power cut would leave. So both files are flushed and dropped from the
//! cache before every opening.

use std::fs::{File, OpenOptions};
use std::io::{Read, Seek, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, FileControl, MAIN_DB, OpenFlags};
use rustix::fs::{Advice, FlockOperation, fadvise, fdatasync, flock, fsync};

use super::{LedgerError, schema};

/// The ledger's name in its folder; its log is beside it.
pub(super) const NAME: &str = "ledger";
const LOG: &str = "ledger-wal";
const HOLDER: &str = "ledger-holder";
/// How long a connection waits for another of this process.
const PATIENCE: Duration = Duration::from_secs(5);

/// Where a ledger is.
#[derive(Clone, Debug)]
pub(super) enum Home {
    /// In this folder.
    Folder(PathBuf),
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
        let without_log = matches!(self.lengths(), (1.., 0));
        let conn = match self {
            // Readers open for writing too: the log must be readable while nobody has recovered it yet.
            Self::Folder(folder) => {
                Connection::open_with_flags_and_vfs(folder.join(NAME), flags, c"unix-excl")?
            }
            Self::Memory(name) => Connection::open_with_flags(name, flags | OpenFlags::SQLITE_OPEN_URI)?,
        };
        conn.busy_timeout(PATIENCE)?;
        if without_log {
            Self::refuse_without_log(&conn)?;
        }
        if let Self::Folder(_) = self {
            conn.execute_batch(schema::FILE_SETTINGS)?;
            let mode: String = conn.query_row("PRAGMA journal_mode", [], |row| row.get(0))?;
            if mode != "wal" {
                return Err(LedgerError::Refused {
                    what: format!("write-ahead log, keeping journal mode {mode}"),
                });
            }
            conn.file_control(Some(MAIN_DB), FileControl::PersistWal(&mut 1))?;
            // A closing after an error must not copy anything: what is in the log is read afresh at the next opening.
            conn.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
        } else {
            conn.execute_batch(schema::MEMORY_SETTINGS)?;
        }
        conn.execute_batch(schema::COMMON_SETTINGS)?;
        if role == Role::Reader {
            conn.execute_batch("PRAGMA query_only = ON;")?;
        }
        Ok(conn)
    }

    /// Flushes both files and makes the system forget what it holds of them. No connection may be open.
    pub(super) fn drop_page_cache(&self) -> Result<(), LedgerError> {
        let Self::Folder(folder) = self else { return Ok(()) };
        for name in [NAME, LOG] {
            match File::open(folder.join(name)) {
                Ok(file) => {
                    fdatasync(&file).map_err(std::io::Error::from)?;
                    fadvise(&file, 0, None, Advice::DontNeed).map_err(std::io::Error::from)?;
                }
                Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
                Err(error) => return Err(error.into()),
            }
        }
        Ok(())
    }

    /// SQLite throws a log away when it finds no file, or an empty one, beside it: acknowledged commits may be in it.
    fn refuse_orphaned_log(&self) -> Result<(), LedgerError> {
        let (file, log) = self.lengths();
        if file > 0 || log == 0 {
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
        if mode != "wal" || !schema::stands(conn)? {
            return Ok(());
        }
        let what = format!(
            "{LOG} is missing beside {NAME}, and with it what was stored last: copy both while nothing runs on them, or \
             restore a backup"
        );
        Err(LedgerError::Damaged { what })
    }

    /// Makes the names of new files last through a power cut.
    pub(super) fn flush_folder(&self) -> Result<(), LedgerError> {
        let Self::Folder(folder) = self else { return Ok(()) };
        Ok(fsync(File::open(folder)?).map_err(std::io::Error::from)?)
    }

    /// Bytes of file and log on disk.
    pub(super) fn lengths(&self) -> (u64, u64) {
        let Self::Folder(folder) = self else { return (0, 0) };
        let length = |name| std::fs::metadata(folder.join(name)).map_or(0, |data| data.len());
        (length(NAME), length(LOG))
    }
}

/// Holds the ledger of a folder against every other process, for as long as it lives.
#[derive(Debug)]
pub(super) struct Holder(#[expect(dead_code, reason = "its lock is what counts")] File);

impl Holder {
    /// Takes hold, or says who has it.
    pub(super) fn take(folder: &Path) -> Result<Self, LedgerError> {
        let path = folder.join(HOLDER);
        let mut file = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(path)?;
        if let Err(error) = flock(&file, FlockOperation::NonBlockingLockExclusive) {
            if error != rustix::io::Errno::WOULDBLOCK {
                return Err(std::io::Error::from(error).into());
            }
            let mut by = String::new();
            file.read_to_string(&mut by)?;
            let by = if by.trim().is_empty() { "another process".to_owned() } else { by.trim().to_owned() };
            return Err(LedgerError::Held { by });
        }
        file.set_len(0)?;
        file.rewind()?;
        // On a full disk the name may not fit: the lock holds all the same, and the ledger can still be read.
        match writeln!(file, "process {}", std::process::id()) {
            Err(error) if error.kind() != std::io::ErrorKind::StorageFull => Err(error.into()),
            _ => Ok(Self(file)),
        }
    }
}
