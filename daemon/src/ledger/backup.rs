//! Backups: a copy of one state of the ledger, made while it is written to; and a backup put in its place again.
//!
//! A copy gets its name only when it is whole and flushed. What was in place before a restore is moved aside and
//! named, never overwritten. A restored ledger begins a new epoch (see [`identity`](super::identity)).

use std::path::{Path, PathBuf};
use std::sync::Arc;

use rusqlite::Connection;

use super::copied::{Copied, log_of};
use super::file::{Disk, Home, NAME, Role};
use super::folder::Folder;
use super::identity::{Left, new_epoch};
use super::migrate::{flush, remove};
use super::{Ledger, LedgerError, Reader, commit, copied, schema};

/// The restored ledger while it is made.
const RESTORING: &str = "ledger-restoring";

impl Reader {
    /// Writes a copy of the ledger's present state to a path where nothing is. The writer is not kept waiting.
    ///
    /// # Errors
    ///
    /// When the ledger is closed, or the storage refuses.
    pub fn copy_to(&self, path: &Path) -> Result<(), LedgerError> {
        self.look_apart(|conn| copied::vacuum_into(conn, path))
    }
}

impl Reader {
    /// The folder the ledger is in; none in memory.
    pub fn folder(&self) -> Option<PathBuf> {
        match self.home() {
            Home::Disk(disk) => disk.folder().map(Path::to_owned),
            Home::Memory(_) => None,
        }
    }
}

impl Ledger {
    /// The folder it is in; none in memory.
    pub fn folder(&self) -> Option<&Path> {
        match &self.shared.home {
            Home::Disk(disk) => disk.folder(),
            Home::Memory(_) => None,
        }
    }

    /// Writes a copy of the ledger's present state to a path where nothing is.
    ///
    /// # Errors
    ///
    /// When the ledger is closed, or the storage refuses.
    pub fn copy_to(&self, path: &Path) -> Result<(), LedgerError> {
        copied::vacuum_into(self.view()?.conn, path)
    }
}

/// How the name of a copy begins that is made to be sent away; gone when it is sent.
pub const PASSING: &str = "ledger-copy-";

/// Removes copies that a killed process left in a folder.
pub(super) fn sweep(folder: &Path) -> Result<(), LedgerError> {
    for item in std::fs::read_dir(folder)? {
        let item = item?;
        if item.file_name().as_encoded_bytes().starts_with(PASSING.as_bytes()) {
            remove(&item.path())?;
        }
    }
    Ok(())
}

/// Writes a file under another name, makes it last, and only then gives it its name.
///
/// # Errors
///
/// When there is a file of that name and `replace` is not told (the system's error for that), or what `write` or the
/// storage refuses. A half-written copy is removed again.
pub fn place(
    path: &Path,
    replace: bool,
    write: impl FnOnce(&Path) -> Result<(), LedgerError>,
) -> Result<(), LedgerError> {
    let part = beside(path, ".part");
    remove(&part)?;
    if path.exists() && !replace {
        return Err(LedgerError::There { file: path.display().to_string() });
    }
    let written = write(&part).and_then(|()| flush(&part));
    if let Err(error) = written {
        // What is left of it takes room for nothing; that it cannot be removed is the smaller trouble.
        let _ = std::fs::remove_file(&part);
        return Err(error);
    }
    std::fs::rename(&part, path)?;
    flush(path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new(".")))
}

fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

/// What a restore did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Restored {
    /// The newest moment the restored ledger knows of, UTC ms.
    pub to_ms: Option<i64>,
    /// Messages that waited in it and will not be sent.
    pub unsent: u64,
    /// Damaged rows that it brought along.
    pub fenced: u64,
    /// Where what was in place before lies now.
    pub aside: Option<PathBuf>,
}

/// Puts a backup in the place of a folder's ledger.
///
/// # Errors
///
/// [`LedgerError::Held`] while a service runs on the folder; what the backup is at fault for; or what the storage
/// refuses. Until the last step the ledger in place stays as it was.
pub fn restore(folder: &Path, backup: &Copied, at_ms: i64, stamp: &str) -> Result<Restored, LedgerError> {
    let hold = Folder::at(folder)?.hold()?;
    let fenced = backup.check()?.len() as u64;
    let next = folder.join(RESTORING);
    remove(&next)?;
    remove(&beside(&next, "-journal"))?;
    backup.copy_to(&next)?;
    let to_ms = backup.newest_ms()?;
    let unsent = begin_anew(&next, to_ms.unwrap_or(at_ms), at_ms)?;
    flush(&next)?;
    flush(folder)?;
    let aside = set_aside(folder, stamp)?;
    std::fs::rename(&next, folder.join(NAME))?;
    flush(folder)?;
    drop(hold);
    Ok(Restored { to_ms, unsent, fenced, aside })
}

fn begin_anew(file: &Path, to_ms: i64, at_ms: i64) -> Result<u64, LedgerError> {
    let mut conn = Connection::open(file)?;
    conn.execute_batch(schema::COMMON_SETTINGS)?;
    let next_seq = commit::next_seq(&conn)?;
    let changing = conn.transaction()?;
    let unsent = new_epoch(&changing, next_seq, at_ms, Left::Restored { to_ms })?;
    schema::set(&changing, schema::UNFILLED, &1_i64)?;
    // Whichever board opens it next is its board.
    changing.execute("DELETE FROM meta WHERE key = 'machine'", [])?;
    changing.commit()?;
    Ok(unsent)
}

/// Gives the ledger in place a second name, and takes its log out of the way of the file that is to come.
fn set_aside(folder: &Path, stamp: &str) -> Result<Option<PathBuf>, LedgerError> {
    let file = folder.join(NAME);
    let aside = folder.join(format!("{NAME}-before-{stamp}"));
    let log = log_of(&file);
    if file.exists() {
        // What is in the log belongs into the file. A file too damaged for that keeps its log beside it.
        fold(folder);
        std::fs::hard_link(&file, &aside).or_else(|_| std::fs::copy(&file, &aside).map(|_| ()))?;
        flush(&aside)?;
    }
    match std::fs::metadata(&log).map(|data| data.len()) {
        Ok(0) => remove(&log)?,
        Ok(_) => std::fs::rename(&log, log_of(&aside))?,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
        Err(error) => return Err(error.into()),
    }
    flush(folder)?;
    Ok(file.exists().then_some(aside))
}

fn fold(folder: &Path) {
    let folded = Folder::at(folder)
        .and_then(|folder| Home::Disk(Arc::new(folder)).connect(Role::Writer))
        .and_then(|conn| Ok(conn.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))?));
    if let Err(error) = folded {
        tracing::warn!(%error, "the log of the ledger in place is kept beside it");
    }
}

/// The system's name for this board, made short and unreadable: enough to tell two boards apart, and nothing else.
pub fn machine() -> Option<String> {
    let name = std::fs::read_to_string("/etc/machine-id").ok()?;
    let name = name.trim();
    (!name.is_empty()).then(|| format!("{:08x}", crc32fast::hash(format!("glasshour {name}").as_bytes())))
}
