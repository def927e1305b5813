//! A ledger file that is only looked at: a backup, a copy, the ledger of a stopped service.
//!
//! Nothing is written to it. A file of an older schema is copied into the system's folder for temporary files and
//! brought up to this program's form there. A file that was copied from under a running service lacks the log beside
//! it, where the newest commits are: that shows in its header, and is said.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use rusqlite::{Connection, OpenFlags, OptionalExtension};
use tempfile::TempDir;

use super::file::Home;
use super::shared::{Fence, Shared};
use super::{LedgerError, View, dating, health, identity, migrate, schema};

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
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
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
    match Header::read(&folder.join(super::file::NAME)) {
        Ok(Some(header)) if header.version > schema::VERSION => {
            Err(LedgerError::Newer { version: header.version, known: schema::VERSION })
        }
        _ => Ok(()),
    }
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
    /// Where its form of today lies, where the file itself is older.
    _renewed: Option<TempDir>,
}

impl Copied {
    /// Opens a ledger file, whatever its name.
    ///
    /// # Errors
    ///
    /// [`LedgerError::NotALedger`], [`LedgerError::Newer`], [`LedgerError::Held`] while a service has it, or what the
    /// storage refuses.
    pub fn open(path: &Path) -> Result<Self, LedgerError> {
        let strange = || LedgerError::NotALedger { file: path.display().to_string() };
        let header = Header::read(path)?.ok_or_else(strange)?;
        if header.version > schema::VERSION {
            return Err(LedgerError::Newer { version: header.version, known: schema::VERSION });
        }
        let length = |path: &Path| std::fs::metadata(path).map_or(0, |data| data.len());
        let bytes = length(path) + length(&log_of(path));
        let has_log = header.logged && length(&log_of(path)) > 0;
        let mut conn = connect(path, has_log)?;
        let version = schema::number(&conn, "user_version")?;
        if version < 1 {
            return Err(strange());
        }
        let mut renewed = None;
        if version < schema::VERSION {
            let folder = tempfile::tempdir()?;
            let copy = folder.path().join("renewed");
            migrate::renew(&conn, &copy, &mut |_| {})?;
            conn = connect(&copy, false)?;
            renewed = Some(folder);
        }
        let shared = Shared::new(Home::memory(), None, dating::frozen_offset_ms(&conn)?);
        let lacks_log = header.logged && !log_of(path).exists();
        Ok(Self { conn, shared, schema: version, bytes, lacks_log, _renewed: renewed })
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

    /// Whether it was copied from under a running service without its log, so that its newest commits may be missing.
    pub fn lacks_log(&self) -> bool {
        self.lacks_log
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
        vacuum_into(&self.conn, path)
    }
}

/// Writes a copy of one state of a ledger, without log or gaps, to a path where nothing is.
pub(super) fn vacuum_into(conn: &Connection, path: &Path) -> Result<(), LedgerError> {
    let path =
        path.to_str().ok_or_else(|| LedgerError::Io { what: "the path is no UTF-8 text".to_owned() })?;
    conn.execute("VACUUM INTO ?1", [path])?;
    Ok(())
}

/// A connection that changes nothing. Without a log the file is read as it lies: SQLite would make one beside it.
fn connect(path: &Path, has_log: bool) -> Result<Connection, LedgerError> {
    let conn = if has_log {
        Connection::open_with_flags_and_vfs(path, OpenFlags::SQLITE_OPEN_READ_ONLY, c"unix-excl")?
    } else {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
        Connection::open_with_flags(immutable(path), flags)?
    };
    conn.execute_batch(schema::COMMON_SETTINGS)?;
    Ok(conn)
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
