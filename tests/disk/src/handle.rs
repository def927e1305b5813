//! An open file, as SQLite asks it: the safe side of the file system. Answers are SQLite's result codes.

use std::ffi::c_int;
use std::sync::Arc;

use rusqlite::ffi;

use crate::Inner;
use crate::faults::Refused;
use crate::locks::{HandleId, Held, Index, Level};
use crate::medium::FileId;
use crate::state::State;

/// See the module.
#[derive(Debug)]
pub(crate) struct Handle {
    inner: Arc<Inner>,
    id: HandleId,
    file: FileId,
    boot: u64,
    /// No name leads to it: it goes when it is closed.
    nameless: bool,
    /// Its name is new: the first flush also flushes the folder, as SQLite does for logs and journals on Unix.
    flushes_folder: bool,
    persistent_log: c_int,
    index: Option<(Arc<Index>, Held)>,
}

/// Seeds SQLite's own random numbers, which are one for the whole process: so that a disk alone in its process leaves
/// the same bytes in each run.
fn seed_random_numbers(state: &mut State) {
    crate::vfs::seed_random_numbers(state.medium.chance.sqlite.number());
}

impl Handle {
    /// Opens a file. The flags are those of SQLite's `xOpen`, and so are those returned.
    pub(crate) fn open(inner: &Arc<Inner>, name: Option<&str>, flags: c_int) -> Result<(Self, c_int), c_int> {
        let mut state = inner.state();
        let make = flags & ffi::SQLITE_OPEN_CREATE != 0;
        let mut granted = flags;
        if state.faults.read_only && flags & ffi::SQLITE_OPEN_READWRITE != 0 {
            granted &= !(ffi::SQLITE_OPEN_READWRITE | ffi::SQLITE_OPEN_CREATE);
            granted |= ffi::SQLITE_OPEN_READONLY;
        }
        let (file, made) = match name {
            Some(name) => state.open(name, make).map_err(|_| ffi::SQLITE_CANTOPEN)?,
            None => (state.medium.make(None), false),
        };
        if flags & ffi::SQLITE_OPEN_MAIN_DB != 0 {
            seed_random_numbers(&mut state);
        }
        let log = ffi::SQLITE_OPEN_WAL | ffi::SQLITE_OPEN_MAIN_JOURNAL | ffi::SQLITE_OPEN_SUPER_JOURNAL;
        let id = state.next_handle;
        state.next_handle += 1;
        let handle = Self {
            inner: Arc::clone(inner),
            id,
            file,
            boot: state.boot,
            nameless: name.is_none(),
            flushes_folder: made && flags & log != 0,
            persistent_log: 0,
            index: None,
        };
        Ok((handle, granted))
    }

    /// Does something with the disk, unless the power was off since the file was opened.
    fn with<T>(&self, ask: impl FnOnce(&mut State) -> Result<T, Refused>) -> Result<T, Refused> {
        let mut state = self.inner.state();
        if state.dark || state.boot != self.boot { Err(Refused::Dark) } else { ask(&mut state) }
    }

    pub(crate) fn read(&self, into: &mut [u8], offset: u64) -> c_int {
        match self.with(|state| state.read(self.file, offset, into)) {
            Ok(count) if count == into.len() => ffi::SQLITE_OK,
            Ok(count) => {
                into[count..].fill(0);
                ffi::SQLITE_IOERR_SHORT_READ
            }
            // What SQLite's own file system for Unix answers for EIO.
            Err(Refused::Error) => ffi::SQLITE_IOERR_CORRUPTFS,
            Err(_) => ffi::SQLITE_IOERR_READ,
        }
    }

    pub(crate) fn write(&self, from: &[u8], offset: u64) -> c_int {
        match self.with(|state| state.write(self.file, offset, from)) {
            Ok(()) => ffi::SQLITE_OK,
            Err(Refused::Full) => ffi::SQLITE_FULL,
            Err(_) => ffi::SQLITE_IOERR_WRITE,
        }
    }

    pub(crate) fn truncate(&self, length: u64) -> c_int {
        let done = self.with(|state| state.truncate(self.file, length));
        if done.is_ok() { ffi::SQLITE_OK } else { ffi::SQLITE_IOERR_TRUNCATE }
    }

    pub(crate) fn flush(&mut self) -> c_int {
        if self.with(|state| state.flush(self.file)).is_err() {
            return ffi::SQLITE_IOERR_FSYNC;
        }
        if std::mem::take(&mut self.flushes_folder) {
            // SQLite on Unix does not ask what came of it.
            let _ = self.with(State::flush_folder);
        }
        ffi::SQLITE_OK
    }

    pub(crate) fn length(&self) -> Result<u64, c_int> {
        self.with(|state| Ok(state.medium.file(self.file)?.length())).map_err(|_| ffi::SQLITE_IOERR_FSTAT)
    }

    pub(crate) fn lock(&self, level: Level) -> c_int {
        match self.with(|state| Ok(state.locks.entry(self.file).or_default().lock(self.id, level))) {
            Ok(true) => ffi::SQLITE_OK,
            Ok(false) => ffi::SQLITE_BUSY,
            Err(_) => ffi::SQLITE_IOERR_LOCK,
        }
    }

    pub(crate) fn unlock(&self, level: Level) -> c_int {
        // After a power cut there is nothing left to give back.
        let _ = self.with(|state| {
            state.locks.entry(self.file).or_default().unlock(self.id, level);
            Ok(())
        });
        ffi::SQLITE_OK
    }

    pub(crate) fn is_reserved(&self) -> bool {
        self.with(|state| Ok(state.locks.get(&self.file).is_some_and(crate::locks::FileLocks::is_reserved)))
            .unwrap_or(false)
    }

    /// Whether the log is to stay when the last connection is closed: asked with a negative number, else set.
    pub(crate) fn persistent_log(&mut self, wanted: c_int) -> c_int {
        if wanted >= 0 {
            self.persistent_log = c_int::from(wanted > 0);
        }
        self.persistent_log
    }

    pub(crate) fn map_index(&mut self, region: usize, bytes: usize, extend: bool) -> Result<*mut u64, c_int> {
        if self.index.is_none() {
            let index = self.with(|state| Ok(state.index(self.file))).map_err(|_| ffi::SQLITE_IOERR_SHMOPEN)?;
            self.index = Some((index, Held::default()));
        }
        let found = self.index.as_ref().and_then(|(index, _)| index.region(region, bytes, extend));
        Ok(found.unwrap_or(std::ptr::null_mut()))
    }

    pub(crate) fn lock_index(&mut self, first: usize, count: usize, flags: c_int) -> c_int {
        let Some((index, held)) = &mut self.index else { return ffi::SQLITE_IOERR_SHMLOCK };
        if flags & ffi::SQLITE_SHM_UNLOCK != 0 {
            index.unlock(held, first, count);
            return ffi::SQLITE_OK;
        }
        let alone = flags & ffi::SQLITE_SHM_EXCLUSIVE != 0;
        if index.lock(held, first, count, alone) { ffi::SQLITE_OK } else { ffi::SQLITE_BUSY }
    }

    pub(crate) fn leave_index(&mut self) {
        if let Some((index, mut held)) = self.index.take() {
            index.leave(&mut held);
        }
    }
}

impl Drop for Handle {
    fn drop(&mut self) {
        self.leave_index();
        self.unlock(Level::None);
        if self.nameless {
            self.inner.state().medium.discard(self.file);
        }
    }
}
