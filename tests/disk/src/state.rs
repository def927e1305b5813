//! The disk as a whole: every operation passes here, is counted, and meets the faults that are on.

use std::collections::BTreeMap;
use std::sync::{Arc, Weak};

use crate::faults::{Asked, Counts, Faults, Refused};
use crate::file::BLOCK;
use crate::locks::{FileLocks, HandleId, Index};
use crate::medium::{FileId, Medium};

/// See the module.
#[derive(Debug)]
pub(crate) struct State {
    pub(crate) medium: Medium,
    pub(crate) faults: Faults,
    pub(crate) counts: Counts,
    /// The power is off.
    pub(crate) dark: bool,
    /// How many changes pass before the power goes.
    pub(crate) power_left: Option<u64>,
    /// From which write on the changes are counted, and how many they are.
    pub(crate) trap: Option<(Vec<u8>, u64)>,
    /// Goes up with each power cut: what was opened before is worth nothing after it.
    pub(crate) boot: u64,
    pub(crate) held: bool,
    pub(crate) locks: BTreeMap<FileId, FileLocks>,
    pub(crate) indexes: BTreeMap<FileId, Weak<Index>>,
    pub(crate) next_handle: HandleId,
    /// Wall time for SQLite, UTC ms.
    pub(crate) now_ms: i64,
    pub(crate) waited_ms: u64,
}

impl State {
    pub(crate) fn new(medium: Medium) -> Self {
        Self {
            medium,
            faults: Faults::default(),
            counts: Counts::default(),
            dark: false,
            power_left: None,
            trap: None,
            boot: 0,
            held: false,
            locks: BTreeMap::new(),
            indexes: BTreeMap::new(),
            next_handle: 1,
            now_ms: 0,
            waited_ms: 0,
        }
    }

    /// Lets an operation pass, or refuses it. True if the power goes while it is done.
    fn admit(&mut self, asked: Asked) -> Result<bool, Refused> {
        if self.dark {
            return Err(Refused::Dark);
        }
        match asked {
            Asked::Read => self.counts.reads += 1,
            Asked::Write => self.counts.writes += 1,
            Asked::Flush => self.counts.flushes += 1,
            Asked::Name => self.counts.names += 1,
        }
        match asked {
            Asked::Write => self.wait(self.faults.slow_ms.0),
            Asked::Flush => self.wait(self.faults.slow_ms.1),
            Asked::Read | Asked::Name => {}
        }
        if asked != Asked::Read {
            match &mut self.power_left {
                Some(0) => {
                    self.dark = true;
                    return Ok(true);
                }
                Some(left) => *left -= 1,
                None => {}
            }
        }
        if self.faults.refuses(asked) {
            self.counts.refused += 1;
            return Err(Refused::Error);
        }
        if self.faults.read_only && matches!(asked, Asked::Write | Asked::Name) {
            self.counts.refused += 1;
            return Err(Refused::ReadOnly);
        }
        Ok(false)
    }

    /// Simulated time passes.
    pub(crate) fn wait(&mut self, ms: u64) {
        self.waited_ms += ms;
        self.now_ms += ms as i64;
    }

    pub(crate) fn read(&mut self, id: FileId, offset: u64, into: &mut [u8]) -> Result<usize, Refused> {
        self.admit(Asked::Read)?;
        Ok(self.medium.file(id)?.read(offset, into))
    }

    /// What a write brings is pending also when the power goes under it.
    pub(crate) fn write(&mut self, id: FileId, offset: u64, from: &[u8]) -> Result<(), Refused> {
        let goes = self.admit(Asked::Write)?;
        if let Some((_, changes)) =
            self.trap.take_if(|(bytes, _)| from.windows(bytes.len()).any(|window| window == bytes))
        {
            self.power_left = Some(changes);
        }
        let file = self.medium.file_mut(id)?;
        let mut fits = from.len();
        let (before, end) = (file.blocks(), offset + from.len() as u64);
        if let Some(room) = &mut self.faults.room {
            let most = (before + *room) * BLOCK;
            fits = fits.min(most.saturating_sub(offset) as usize);
            *room -= (end.min(most)).div_ceil(BLOCK).saturating_sub(before);
        }
        file.write(offset, &from[..fits]);
        self.counts.bytes_written += fits as u64;
        if goes {
            return Err(Refused::Dark);
        }
        if fits < from.len() {
            self.counts.refused += 1;
            return Err(Refused::Full);
        }
        Ok(())
    }

    pub(crate) fn truncate(&mut self, id: FileId, length: u64) -> Result<(), Refused> {
        let goes = self.admit(Asked::Write)?;
        self.medium.file_mut(id)?.truncate(length);
        if goes { Err(Refused::Dark) } else { Ok(()) }
    }

    /// Everything pending reaches the platter, unless the disk lies, refuses or loses its power.
    pub(crate) fn flush(&mut self, id: FileId) -> Result<(), Refused> {
        match self.admit(Asked::Flush) {
            Ok(false) => {}
            Ok(true) => return Err(Refused::Dark),
            Err(Refused::Error) => {
                self.medium.refuse_flush(id);
                return Err(Refused::Error);
            }
            Err(refused) => return Err(refused),
        }
        if self.faults.lies {
            return Ok(());
        }
        let file = self.medium.file_mut(id)?;
        if self.faults.read_only {
            return if file.is_pending() { Err(Refused::ReadOnly) } else { Ok(()) };
        }
        self.counts.bytes_flushed += file.flush();
        Ok(())
    }

    pub(crate) fn flush_folder(&mut self) -> Result<(), Refused> {
        if self.admit(Asked::Flush)? {
            return Err(Refused::Dark);
        }
        if !self.faults.lies && !self.faults.read_only {
            self.medium.flush_folder();
        }
        Ok(())
    }

    /// A file by its name, made if it is absent and may be; and whether it was made.
    pub(crate) fn open(&mut self, name: &str, make: bool) -> Result<(FileId, bool), Refused> {
        if self.dark {
            return Err(Refused::Dark);
        }
        if let Some(id) = self.medium.find(name) {
            return Ok((id, false));
        }
        if !make {
            return Err(Refused::Absent);
        }
        let goes = self.admit(Asked::Name)?;
        let id = self.medium.make(Some(name));
        if goes { Err(Refused::Dark) } else { Ok((id, true)) }
    }

    pub(crate) fn remove(&mut self, name: &str) -> Result<(), Refused> {
        let goes = self.admit(Asked::Name)?;
        self.medium.remove(name)?;
        if goes { Err(Refused::Dark) } else { Ok(()) }
    }

    pub(crate) fn rename(&mut self, from: &str, to: &str) -> Result<(), Refused> {
        let goes = self.admit(Asked::Name)?;
        self.medium.rename(from, to)?;
        if goes { Err(Refused::Dark) } else { Ok(()) }
    }

    /// The index of a file's log; connections of one boot that have it open at the same time share it.
    pub(crate) fn index(&mut self, id: FileId) -> Arc<Index> {
        if let Some(index) = self.indexes.get(&id).and_then(Weak::upgrade) {
            return index;
        }
        let index = Arc::new(Index::default());
        self.indexes.insert(id, Arc::downgrade(&index));
        index
    }

    /// The power goes, or went, and comes back.
    pub(crate) fn power_cut(&mut self) {
        self.medium.power_cut();
        self.counts.cuts += 1;
        self.begin_boot();
    }

    /// Whatever was open is worth nothing from now on.
    pub(crate) fn begin_boot(&mut self) {
        (self.dark, self.power_left, self.held) = (false, None, false);
        self.trap = None;
        self.boot += 1;
        self.locks.clear();
        self.indexes.clear();
    }
}
