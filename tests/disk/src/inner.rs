//! What the disk, its open files and SQLite's entry share, behind one lock.

use std::ffi::c_int;
use std::sync::{Mutex, MutexGuard, PoisonError};

use rusqlite::ffi;

use super::faults::Refused;
use super::file::File;
use super::medium::Medium;
use super::state::State;

/// What the disk, its open files and SQLite's entry share.
#[derive(Debug)]
pub(crate) struct Inner(Mutex<State>);

impl Inner {
    pub(crate) fn new(medium: Medium) -> Self {
        Self(Mutex::new(State::new(medium)))
    }

    pub(crate) fn state(&self) -> MutexGuard<'_, State> {
        // Whoever panicked did so outside: no operation of the state can.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(crate) fn delete(&self, name: &str, flush: bool) -> c_int {
        let mut state = self.state();
        match state.remove(name) {
            Ok(()) if flush && state.flush_folder().is_err() => ffi::SQLITE_IOERR_DIR_FSYNC,
            Ok(()) => ffi::SQLITE_OK,
            Err(Refused::Absent) => ffi::SQLITE_IOERR_DELETE_NOENT,
            Err(_) => ffi::SQLITE_IOERR_DELETE,
        }
    }

    pub(crate) fn access(&self, name: &str, flags: c_int) -> Result<bool, c_int> {
        let state = self.state();
        if state.dark {
            return Err(ffi::SQLITE_IOERR_ACCESS);
        }
        let length = state.medium.named(name).map(File::length);
        // As on Unix: an empty file counts as none when SQLite asks whether it is there.
        Ok(match length {
            Ok(length) if flags == ffi::SQLITE_ACCESS_EXISTS => length > 0,
            Ok(_) => !state.faults.read_only,
            Err(_) => false,
        })
    }
}
