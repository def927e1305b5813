//! A folder of the real file system: the disk of every ledger that is not simulated.

use std::fs::{File, OpenOptions};
use std::io::{Error, ErrorKind, Read, Seek, Write};
use std::path::{Path, PathBuf};

use rustix::fs::{Advice, FlockOperation, fadvise, fdatasync, flock, fsync};

use super::LedgerError;
use super::file::{Disk, Hold, LOG, NAME};

/// Its lock holds the ledger, and it says who has that.
pub(super) const HOLDER: &str = "ledger-holder";

/// See the module.
#[derive(Debug)]
pub(super) struct Folder(PathBuf);

impl Folder {
    /// The folder at a path, made if absent.
    pub(super) fn at(path: &Path) -> Result<Self, LedgerError> {
        std::fs::create_dir_all(path)?;
        Ok(Self(path.to_owned()))
    }
}

/// Holds the ledger of a folder that takes no writes, for as long as it is copied; none where nobody ever held it.
pub(super) fn hold_unchanged(folder: &Path) -> Result<Option<File>, LedgerError> {
    match File::open(folder.join(HOLDER)) {
        Ok(mut file) => lock(&mut file).map(|()| Some(file)),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
        Err(error) => Err(error.into()),
    }
}

/// Locks the file that says who has the ledger.
fn lock(file: &mut File) -> Result<(), LedgerError> {
    let Err(error) = flock(&*file, FlockOperation::NonBlockingLockExclusive) else { return Ok(()) };
    if error != rustix::io::Errno::WOULDBLOCK {
        return Err(Error::from(error).into());
    }
    let mut by = String::new();
    file.read_to_string(&mut by)?;
    let by = if by.trim().is_empty() { "another process".to_owned() } else { by.trim().to_owned() };
    Err(LedgerError::Held { by })
}

impl Disk for Folder {
    fn vfs(&self) -> &std::ffi::CStr {
        // Of the built-in ones, this keeps the index of the log in memory.
        c"unix-excl"
    }

    fn path(&self) -> PathBuf {
        self.0.join(NAME)
    }

    /// By the lock of a file beside the ledger, which says who has it.
    fn hold(&self) -> Result<Hold, LedgerError> {
        let path = self.0.join(HOLDER);
        let mut file = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(path)?;
        lock(&mut file)?;
        file.set_len(0)?;
        file.rewind()?;
        // On a full disk the name may not fit: the lock holds all the same, and the ledger can still be read.
        match writeln!(file, "process {}", std::process::id()) {
            Err(error) if error.kind() != ErrorKind::StorageFull => Err(error.into()),
            _ => Ok(Box::new(file)),
        }
    }

    fn drop_page_cache(&self) -> Result<(), LedgerError> {
        for name in [NAME, LOG] {
            match File::open(self.0.join(name)) {
                Ok(file) => {
                    fdatasync(&file).map_err(Error::from)?;
                    fadvise(&file, 0, None, Advice::DontNeed).map_err(Error::from)?;
                }
                Err(error) if error.kind() == ErrorKind::NotFound => {}
                Err(error) => return Err(error.into()),
            }
        }
        Ok(())
    }

    fn folder(&self) -> Option<&Path> {
        Some(&self.0)
    }

    fn flush_folder(&self) -> Result<(), LedgerError> {
        Ok(fsync(File::open(&self.0)?).map_err(Error::from)?)
    }

    fn log(&self) -> Result<Vec<u8>, LedgerError> {
        match std::fs::read(self.0.join(LOG)) {
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(Vec::new()),
            read => Ok(read?),
        }
    }

    fn lengths(&self) -> (u64, Option<u64>) {
        let length = |name| std::fs::metadata(self.0.join(name)).ok().map(|data| data.len());
        (length(NAME).unwrap_or(0), length(LOG))
    }
}
