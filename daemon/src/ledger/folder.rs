//! A folder of the real file system: the disk of every ledger that is not simulated.

use std::fs::{File, OpenOptions};
use std::io::{Error, ErrorKind, Read, Seek, Write};
use std::path::{Path, PathBuf};

use rustix::fs::{Advice, FlockOperation, fadvise, fdatasync, flock, fsync};

use super::LedgerError;
use super::file::{Disk, Hold, LOG, NAME};

const HOLDER: &str = "ledger-holder";

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
        if let Err(error) = flock(&file, FlockOperation::NonBlockingLockExclusive) {
            if error != rustix::io::Errno::WOULDBLOCK {
                return Err(Error::from(error).into());
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

    fn flush_folder(&self) -> Result<(), LedgerError> {
        Ok(fsync(File::open(&self.0)?).map_err(Error::from)?)
    }

    fn lengths(&self) -> (u64, u64) {
        let length = |name| std::fs::metadata(self.0.join(name)).map_or(0, |data| data.len());
        (length(NAME), length(LOG))
    }
}
