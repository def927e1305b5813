//! What the writer and the readers of one ledger share: where it is, what was fenced, how often probes speak.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard, Weak};

use rusqlite::Connection;

use super::LedgerError;
use super::file::{Hold, Home};

/// The usual interval of a probe nobody said one for, ms.
pub const DEFAULT_USUAL_INTERVAL_MS: i64 = 600_000;

/// A row that is damaged: it is left where it is, skipped, and everything else is served.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fence {
    /// Its table.
    pub table: &'static str,
    /// Its number (of a chunk: series × 65,536 + week).
    pub row: i64,
    /// What is wrong with it.
    pub what: String,
}

/// A reader's connection; none before its first question and after the ledger was closed.
pub(super) type Slot = Mutex<Option<Connection>>;

/// See the module.
#[derive(Debug)]
pub(super) struct Shared {
    pub(super) home: Home,
    pub(super) offset_ms: i64,
    /// Whether readers may connect. Every question holds it for reading; closing takes it for writing.
    gate: RwLock<bool>,
    readers: Mutex<Vec<Weak<Slot>>>,
    usual: Mutex<BTreeMap<String, i64>>,
    fences: Mutex<BTreeSet<Fence>>,
    /// Kept until the last reader is gone: its connection has the file open.
    _hold: Option<Hold>,
}

/// A lock whose holder panicked still guards whole data here: each critical section is a single step.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Shared {
    pub(super) fn new(home: Home, hold: Option<Hold>, offset_ms: i64) -> Self {
        Self {
            home,
            offset_ms,
            gate: RwLock::new(true),
            readers: Mutex::default(),
            usual: Mutex::default(),
            fences: Mutex::default(),
            _hold: hold,
        }
    }

    /// Lets a reader in for one question.
    pub(super) fn enter(&self) -> Result<RwLockReadGuard<'_, bool>, LedgerError> {
        let gate = self.gate.read().unwrap_or_else(PoisonError::into_inner);
        if *gate { Ok(gate) } else { Err(LedgerError::Closed) }
    }

    /// Waits for running questions, closes every reader's connection and lets no reader in until told.
    pub(super) fn shut(&self) -> RwLockWriteGuard<'_, bool> {
        let mut gate = self.gate.write().unwrap_or_else(PoisonError::into_inner);
        *gate = false;
        let mut readers = locked(&self.readers);
        readers.retain(|reader| reader.upgrade().is_some());
        for slot in readers.iter().filter_map(Weak::upgrade) {
            *locked(&slot) = None;
        }
        gate
    }

    /// A place for a new reader's connection.
    pub(super) fn admit(&self) -> Arc<Slot> {
        let slot = Arc::new(Slot::default());
        let mut readers = locked(&self.readers);
        readers.retain(|reader| reader.upgrade().is_some());
        readers.push(Arc::downgrade(&slot));
        slot
    }

    pub(super) fn usual_interval_ms(&self, probe: &str) -> i64 {
        locked(&self.usual).get(probe).copied().unwrap_or(DEFAULT_USUAL_INTERVAL_MS)
    }

    pub(super) fn set_usual_interval(&self, probe: &str, interval_ms: i64) {
        locked(&self.usual).insert(probe.to_owned(), interval_ms.max(1));
    }

    /// Notes a damaged row, once.
    pub(super) fn fence(&self, table: &'static str, row: i64, what: &impl ToString) {
        let fence = Fence { table, row, what: what.to_string() };
        if locked(&self.fences).insert(fence.clone()) {
            tracing::warn!(table, row, what = fence.what, "a damaged row of the ledger is skipped");
        }
    }

    pub(super) fn fences(&self) -> Vec<Fence> {
        locked(&self.fences).iter().cloned().collect()
    }

    pub(super) fn forget_fences(&self) {
        locked(&self.fences).clear();
    }
}

/// Takes a reader's slot for one question.
pub(super) fn occupy(slot: &Slot) -> MutexGuard<'_, Option<Connection>> {
    locked(slot)
}
