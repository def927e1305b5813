//! What the ledger asks of the disk under it, beside what SQLite does.

use std::ffi::CStr;
use std::path::PathBuf;
use std::sync::Arc;

use glasshour::ledger::{Hold, LedgerError};

use super::faults::Refused;
use super::file::File;
use super::{Disk, Inner, LEDGER, LOG};

/// Holds the disk's ledger until dropped, or until the power goes.
struct Holding {
    inner: Arc<Inner>,
    boot: u64,
}

impl Drop for Holding {
    fn drop(&mut self) {
        let mut state = self.inner.state();
        if state.boot == self.boot {
            state.held = false;
        }
    }
}

fn refused(refused: Refused) -> LedgerError {
    std::io::Error::from(refused).into()
}

impl glasshour::ledger::Disk for Disk {
    fn vfs(&self) -> &CStr {
        self.entry.name()
    }

    fn path(&self) -> PathBuf {
        LEDGER.into()
    }

    fn hold(&self) -> Result<Hold, LedgerError> {
        let mut state = self.state();
        if state.held {
            return Err(LedgerError::Held { by: "another ledger on this disk".to_owned() });
        }
        // The real one opens a file of its own for writing.
        if state.dark {
            return Err(refused(Refused::Dark));
        }
        if state.faults.read_only {
            return Err(refused(Refused::ReadOnly));
        }
        state.held = true;
        let boot = state.boot;
        drop(state);
        Ok(Box::new(Holding { inner: Arc::clone(&self.inner), boot }))
    }

    fn drop_page_cache(&self) -> Result<(), LedgerError> {
        let mut state = self.state();
        for name in [LEDGER, LOG] {
            match state.open(name, false) {
                Ok((id, _)) => state.flush(id).map_err(refused)?,
                Err(Refused::Absent) => {}
                Err(error) => return Err(refused(error)),
            }
        }
        state.medium.forget();
        Ok(())
    }

    fn flush_folder(&self) -> Result<(), LedgerError> {
        self.state().flush_folder().map_err(refused)
    }

    fn log(&self) -> Result<Vec<u8>, LedgerError> {
        match self.read(LOG) {
            Err(Refused::Absent) => Ok(Vec::new()),
            read => read.map_err(refused),
        }
    }

    fn lengths(&self) -> (u64, Option<u64>) {
        let state = self.state();
        let length = |name| state.medium.named(name).map(File::length);
        (length(LEDGER).unwrap_or(0), length(LOG).ok())
    }
}
