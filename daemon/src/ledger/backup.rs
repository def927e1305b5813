//! Backups: a copy of one state of the ledger, made while it is written to; and a backup put in its place again.
//!
//! A copy gets its name only when it is whole and flushed, and never the name of what a ledger in use is made of. What
//! was in place before a restore is moved aside under a name that nothing has, never overwritten. A restored ledger
//! begins a new epoch (see [`identity`](super::identity)).

use std::fs::File;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use rusqlite::Connection;

use super::copied::{Copied, Header, log_of};
use super::file::{Disk, Home, NAME, Role};
use super::folder::{Folder, HOLDER};
use super::identity::{Left, new_epoch};
use super::migrate::{flush, remove};
use super::{LedgerError, commit, schema};
use crate::entry::Fenced;

/// The restored ledger while it is made.
const RESTORING: &str = "ledger-restoring";

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

/// Writes a file under another name, makes it last, and only then gives it its name. `write` finds an empty file.
///
/// # Errors
///
/// [`LedgerError::InUse`] where the name is one of a ledger's own; [`LedgerError::There`] where there is a file of that
/// name and `replace` is not told; or what `write` or the storage refuses. A half-written copy is removed again.
pub fn place<E: From<LedgerError>>(
    path: &Path,
    replace: bool,
    write: impl FnOnce(&Path) -> Result<(), E>,
) -> Result<(), E> {
    let placed = || path.display().to_string();
    if is_of_a_ledger(path) {
        return Err(LedgerError::InUse { file: placed() }.into());
    }
    if path.exists() && !replace {
        return Err(LedgerError::There { file: placed() }.into());
    }
    let part = Part::beside(path)?;
    write(&part.0)?;
    flush(&part.0)?;
    std::fs::rename(&part.0, path).map_err(LedgerError::from)?;
    Ok(flush(&folder_of(path))?)
}

fn folder_of(path: &Path) -> PathBuf {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new(".")).to_owned()
}

/// Whether a path names the ledger of a data folder, or something of it. A folder is one where a ledger was held, or
/// where one lies that has a log: a backup alone may be called `ledger` as well.
fn is_of_a_ledger(path: &Path) -> bool {
    let by_folder = || Some(folder_of(path).canonicalize().ok()?.join(path.file_name()?));
    let reached = path.canonicalize().ok();
    [by_folder(), reached].into_iter().flatten().any(|real| {
        let named = real.file_name().is_some_and(|name| name.as_encoded_bytes().starts_with(NAME.as_bytes()));
        let folder = folder_of(&real);
        let logged = || matches!(Header::read(&folder.join(NAME)), Ok(Some(header)) if header.logged);
        named && (folder.join(HOLDER).exists() || logged())
    })
}

/// A file that is not whole yet, under a name that nobody else gave; gone when it is let go, unless it was renamed.
struct Part(PathBuf);

impl Part {
    fn beside(path: &Path) -> Result<Self, LedgerError> {
        let mut number = std::process::id();
        loop {
            let part = beside(path, &format!(".part-{number}"));
            match File::create_new(&part) {
                Ok(_) => return Ok(Self(part)),
                Err(error) if error.kind() == ErrorKind::AlreadyExists => number = number.wrapping_add(1),
                Err(error) => return Err(error.into()),
            }
        }
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        // What is left of it takes room for nothing; that it cannot be removed is the smaller trouble.
        let _ = std::fs::remove_file(&self.0);
    }
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
    pub fenced: Vec<Fenced>,
    /// Where what was in place before lies now.
    pub aside: Option<PathBuf>,
}

/// Puts a backup in the place of a folder's ledger; that of another ledger only where `replace_other` is told.
///
/// # Errors
///
/// [`LedgerError::Held`] while a service runs on the folder; [`LedgerError::OtherInPlace`] where another ledger lies
/// there (one too damaged to say its name is taken for the same); what the backup is at fault for; or what the storage
/// refuses. Until the last step the ledger in place stays as it was.
pub fn restore(
    folder: &Path,
    backup: &Copied,
    at_ms: i64,
    stamp: &str,
    replace_other: bool,
) -> Result<Restored, LedgerError> {
    let hold = Folder::at(folder)?.hold()?;
    let in_place = Copied::open(&folder.join(NAME)).and_then(|ledger| ledger.name()).unwrap_or_default();
    if !replace_other && !in_place.is_empty() && in_place != backup.name()? {
        return Err(LedgerError::OtherInPlace);
    }
    let fenced = backup.damaged()?;
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
    let aside = free_name(folder, stamp);
    let log = log_of(&file);
    if file.exists() {
        // What is in the log belongs into the file. A file too damaged for that keeps its log beside it.
        fold(folder);
        match std::fs::hard_link(&file, &aside) {
            Err(error) if error.kind() == ErrorKind::AlreadyExists => return Err(error.into()),
            // Some file systems give no second names.
            Err(_) => _ = std::fs::copy(&file, &aside)?,
            Ok(()) => {}
        }
        flush(&aside)?;
    }
    match std::fs::metadata(&log).map(|data| data.len()) {
        Ok(0) => remove(&log)?,
        Ok(_) => std::fs::rename(&log, log_of(&aside))?,
        Err(error) if error.kind() == ErrorKind::NotFound => {}
        Err(error) => return Err(error.into()),
    }
    flush(folder)?;
    Ok(file.exists().then_some(aside))
}

/// The first name for what is set aside that neither a file nor a log has: two restores may fall into one second.
fn free_name(folder: &Path, stamp: &str) -> PathBuf {
    let mut aside = folder.join(format!("{NAME}-before-{stamp}"));
    let mut number = 1;
    let taken = |path: &Path| path.symlink_metadata().is_ok();
    while taken(&aside) || taken(&log_of(&aside)) {
        number += 1;
        aside = folder.join(format!("{NAME}-before-{stamp}-{number}"));
    }
    aside
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
