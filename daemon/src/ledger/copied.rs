//! A ledger file that is only looked at: a backup, a copy, the ledger of a stopped service.
//!
//! Nothing is written to it, nor beside it. A file of an older schema is copied into the system's folder for temporary
//! files and brought up to this program's form there. So is a file with a log that may not be written to, such as that
//! of a card gone read-only: SQLite reads a log only where it may keep an index of it. A file that was copied from
//! under a running service lacks the log beside it, where the newest commits are: that shows in its header, and is
//! said.

use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};

use rusqlite::{Connection, OpenFlags, OptionalExtension};
use tempfile::TempDir;

use super::file::{Home, NAME, leave_log, without_log};
use super::folder;
use super::shared::{Fence, Shared};
use super::{LedgerError, View, dating, fence, health, identity, migrate, schema};
use crate::entry::Fenced;

/// Length of the header of an SQLite file (SQLite's file format document, section 1.3).
const HEADER: usize = 100;
/// How every SQLite file begins.
const MAGIC: &[u8; 16] = b"SQLite format 3\0";

/// What the header of a ledger file says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Header {
    /// Number of its schema; 0 while it is being founded.
    pub(super) version: i64,
    /// Whether commits may lie in a log beside it.
    pub(super) logged: bool,
}

impl Header {
    /// Reads the header; none where the file is absent or empty.
    pub(super) fn read(path: &Path) -> Result<Option<Self>, LedgerError> {
        let mut bytes = Vec::new();
        match File::open(path) {
            Ok(file) => _ = file.take(HEADER as u64).read_to_end(&mut bytes)?,
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(error.into()),
        }
        if bytes.is_empty() {
            return Ok(None);
        }
        let strange = || LedgerError::NotALedger { file: path.display().to_string() };
        let word =
            |at: usize| bytes.get(at..at + 4).and_then(|word| word.try_into().ok()).map(u32::from_be_bytes);
        let (version, application) = (word(60).ok_or_else(strange)?, word(68).ok_or_else(strange)?);
        let known = [0, schema::APPLICATION].contains(&i64::from(application));
        if bytes.len() < HEADER || !bytes.starts_with(MAGIC) || !known {
            return Err(strange());
        }
        Ok(Some(Self { version: i64::from(version), logged: bytes[18] == 2 }))
    }
}

/// Refuses the ledger of a folder if a newer program wrote it; nothing else is looked at.
///
/// # Errors
///
/// [`LedgerError::Newer`].
pub fn refuse_newer(folder: &Path) -> Result<(), LedgerError> {
    match Header::read(&folder.join(NAME)) {
        Ok(Some(header)) if header.version > schema::VERSION => {
            Err(LedgerError::Newer { version: header.version, known: schema::VERSION })
        }
        _ => Ok(()),
    }
}

/// Whether a file says that it has no log: a backup, and a ledger that nobody has opened since its restore.
pub fn needs_no_log(file: &Path) -> bool {
    matches!(Header::read(file), Ok(Some(header)) if !header.logged)
}

/// Whether a file may be read here, but not written to.
pub fn may_not_be_written(file: &Path) -> bool {
    let refused = File::options().append(true).open(file).map_err(|error| error.kind());
    matches!(refused, Err(ErrorKind::ReadOnlyFilesystem | ErrorKind::PermissionDenied))
}

/// The log that belongs to a file.
pub(super) fn log_of(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push("-wal");
    name.into()
}

/// A ledger file, to be read only.
#[derive(Debug)]
pub struct Copied {
    conn: Connection,
    shared: Shared,
    schema: i64,
    bytes: u64,
    lacks_log: bool,
    /// Where a copy of it lies that is read in its place.
    _instead: Option<TempDir>,
}

impl Copied {
    /// Opens a ledger file, whatever its name.
    ///
    /// # Errors
    ///
    /// [`LedgerError::Absent`], [`LedgerError::NotALedger`], [`LedgerError::Newer`], [`LedgerError::Held`] while a
    /// service has it, [`LedgerError::NoTemporary`] where it must be copied and cannot be, or what the storage refuses.
    pub fn open(path: &Path) -> Result<Self, LedgerError> {
        let strange = || LedgerError::NotALedger { file: path.display().to_string() };
        let absent = || LedgerError::Absent { file: path.display().to_string() };
        let header = Header::read(path)?.ok_or_else(|| if path.exists() { strange() } else { absent() })?;
        if header.version > schema::VERSION {
            return Err(LedgerError::Newer { version: header.version, known: schema::VERSION });
        }
        let length = |path: &Path| std::fs::metadata(path).map_or(0, |data| data.len());
        let bytes = length(path) + length(&log_of(path));
        let has_log = header.logged && length(&log_of(path)) > 0;
        let mut instead = None;
        let mut conn = if !has_log {
            as_it_lies(path)?
        } else if may_not_be_written(path) {
            let copy = instead.insert(temporary()?).path().join(NAME);
            copy_with_log(path, &copy)?;
            with_log(&copy)?
        } else {
            with_log(path)?
        };
        let version = schema::number(&conn, "user_version")?;
        if version < 1 {
            return Err(strange());
        }
        if version < schema::VERSION {
            let folder = temporary()?;
            let renewed = folder.path().join("renewed");
            migrate::renew(&conn, &renewed, &mut |_| {}).map_err(no_room)?;
            conn = as_it_lies(&renewed)?;
            instead = Some(folder);
        }
        conn.execute_batch("PRAGMA query_only = ON;")?;
        let shared = Shared::new(Home::memory(), None, dating::frozen_offset_ms(&conn)?);
        if has_log && version == schema::VERSION {
            health::name_commits_cut_off(&conn, &shared, || Ok(std::fs::read(log_of(path))?))?;
        }
        health::name_known_damage(&conn, &shared)?;
        let lacks_log = header.logged && !log_of(path).exists();
        Ok(Self { conn, shared, schema: version, bytes, lacks_log, _instead: instead })
    }

    /// One look at it.
    pub fn view(&self) -> View<'_> {
        View { conn: &self.conn, shared: &self.shared }
    }

    /// The name that no other ledger has; empty where it was never given one.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn name(&self) -> Result<String, LedgerError> {
        Ok(identity::name(&self.conn)?.unwrap_or_default())
    }

    /// The standard offset that was frozen at its founding, ms east of UTC.
    pub fn offset_ms(&self) -> i64 {
        self.shared.offset_ms
    }

    /// Whether it was copied from under a running service without its log, so that its newest commits may be missing.
    pub fn lacks_log(&self) -> bool {
        self.lacks_log
    }

    /// Refuses a ledger that lacks its log, as opening it to write would.
    ///
    /// # Errors
    ///
    /// [`LedgerError::Damaged`].
    pub fn refuse_without_log(&self) -> Result<(), LedgerError> {
        if self.lacks_log { Err(without_log()) } else { Ok(()) }
    }

    /// Number of its schema, as the file has it.
    pub fn schema(&self) -> i64 {
        self.schema
    }

    /// Bytes of the file, its log included.
    pub fn bytes(&self) -> u64 {
        self.bytes
    }

    /// Looks at everything: the file's own structure and every checksum; the damaged rows.
    ///
    /// # Errors
    ///
    /// [`LedgerError::Damaged`] where the structure is, or when the storage refuses.
    pub fn check(&self) -> Result<Vec<Fence>, LedgerError> {
        health::whole(&self.conn)?;
        health::checksums(self.view())?;
        Ok(self.shared.fences())
    }

    /// Looks at everything as [`check`](Self::check) does; what is lost, with what is known of it.
    ///
    /// # Errors
    ///
    /// As [`check`](Self::check).
    pub fn damaged(&self) -> Result<Vec<Fenced>, LedgerError> {
        let lost = self.check()?.into_iter().filter(|fence| !fence.is_of_hours_only());
        lost.map(|fence| fence::describe(self.view(), &fence)).collect()
    }

    /// The newest moment it knows of, UTC ms: its last commit with readings, or its last entry.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn newest_ms(&self) -> Result<Option<i64>, LedgerError> {
        let sql = "SELECT max(at_ms) FROM entry";
        let entry: Option<i64> = self.conn.query_row(sql, [], |row| row.get(0)).optional()?.flatten();
        Ok(self.view().newest_commit_ms()?.max(entry))
    }

    /// Writes a copy of it in this program's form, as one file, to a path where nothing is or an empty file.
    ///
    /// # Errors
    ///
    /// When the storage refuses, or the structure of the file is damaged.
    pub fn copy_to(&self, path: &Path) -> Result<(), LedgerError> {
        // For SQLite, a copy made elsewhere is writing as well.
        self.conn.execute_batch("PRAGMA query_only = OFF;")?;
        let copied = vacuum_into(&self.conn, path);
        self.conn.execute_batch("PRAGMA query_only = ON;")?;
        copied
    }
}

/// Writes a copy of one state of a ledger, without log or gaps, to a path where nothing is.
pub(super) fn vacuum_into(conn: &Connection, path: &Path) -> Result<(), LedgerError> {
    let path =
        path.to_str().ok_or_else(|| LedgerError::Io { what: "the path is no UTF-8 text".to_owned() })?;
    conn.execute("VACUUM INTO ?1", [path])?;
    Ok(())
}

/// Reads a file without a log as it lies: SQLite would make one beside it.
fn as_it_lies(path: &Path) -> Result<Connection, LedgerError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
    let conn = Connection::open_with_flags(immutable(path), flags)?;
    conn.execute_batch(schema::COMMON_SETTINGS)?;
    Ok(conn)
}

/// Reads a file with its log. The index of the log is kept in memory, which SQLite does only where it may write; the
/// log stays as it is.
fn with_log(path: &Path) -> Result<Connection, LedgerError> {
    let conn = Connection::open_with_flags_and_vfs(path, OpenFlags::SQLITE_OPEN_READ_WRITE, c"unix-excl")?;
    leave_log(&conn)?;
    conn.execute_batch(schema::COMMON_SETTINGS)?;
    Ok(conn)
}

/// A folder of its own among the system's temporary files.
fn temporary() -> Result<TempDir, LedgerError> {
    tempfile::tempdir().map_err(|error| no_temporary(&error.to_string()))
}

/// Copies a file and its log, which nobody may write to meanwhile.
fn copy_with_log(path: &Path, copy: &Path) -> Result<(), LedgerError> {
    let folder = path.parent().filter(|_| path.file_name().is_some_and(|name| name == NAME));
    let _hold = folder.map(folder::hold_unchanged).transpose()?;
    for (from, to) in [(path, copy), (&log_of(path), &log_of(copy))] {
        let mut from = File::open(from)?;
        // Not with the permissions of what may not be written to.
        let copied = File::create(to).and_then(|mut to| std::io::copy(&mut from, &mut to));
        copied.map_err(|error| no_room(error.into()))?;
    }
    Ok(())
}

/// What a full disk is called when it is that of temporary files.
fn no_room(error: LedgerError) -> LedgerError {
    if error == LedgerError::Full { no_temporary("it is full") } else { error }
}

fn no_temporary(why: &str) -> LedgerError {
    LedgerError::NoTemporary { folder: std::env::temp_dir().display().to_string(), why: why.to_owned() }
}

/// The path as a URI that says that nobody changes the file meanwhile.
fn immutable(path: &Path) -> String {
    use std::os::unix::ffi::OsStrExt;
    let mut uri = "file:".to_owned();
    for byte in path.as_os_str().as_bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b'.' | b'-' | b'_' => {
                uri.push(char::from(*byte));
            }
            _ => uri.push_str(&format!("%{byte:02x}")),
        }
    }
    uri + "?immutable=1"
}
