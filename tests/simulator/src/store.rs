//! The disk the board's ledger lies on.

use std::path::PathBuf;
use glasshour::ledger::{Founding, Ledger, LedgerError};

pub(crate) struct Store(pub(crate) PathBuf);

impl Store {
    pub(crate) fn new(seed: u64) -> Self {
        let path = PathBuf::from(format!("/dev/shm/sim-{}-{seed}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        Self(path)
    }
    pub(crate) fn open(&self, founding: &Founding) -> Result<Ledger, LedgerError> {
        Ledger::open(&self.0, founding)
    }
}
