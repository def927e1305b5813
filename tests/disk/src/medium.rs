//! The medium: files, and the one folder that names them.
//!
//! A name made, moved or removed is pending until a flush of the folder, as a write is until a flush of its file.

use std::collections::BTreeMap;

use crate::chance::Chance;
use crate::faults::Refused;
use crate::file::{File, Spoils};

/// Number of a file; a name leads to it.
pub(crate) type FileId = u64;

/// A change of the folder that is still pending.
#[derive(Clone, Debug)]
enum Change {
    Made(String, FileId),
    Moved(String, String, FileId),
    Removed(String),
}

/// See the module. A copy of it is the disk's image: with everything pending, and with the state of chance.
#[derive(Clone, Debug)]
pub(crate) struct Medium {
    files: BTreeMap<FileId, File>,
    /// The folder as programs see it.
    names: BTreeMap<String, FileId>,
    /// The folder on the platter.
    kept: BTreeMap<String, FileId>,
    pending: Vec<Change>,
    next: FileId,
    pub(crate) chance: Chance,
    pub(crate) spoils: Spoils,
}

impl Medium {
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            files: BTreeMap::new(),
            names: BTreeMap::new(),
            kept: BTreeMap::new(),
            pending: Vec::new(),
            next: 1,
            chance: Chance::new(seed),
            spoils: Spoils::default(),
        }
    }

    pub(crate) fn find(&self, name: &str) -> Option<FileId> {
        self.names.get(name).copied()
    }

    /// Makes a file under a name, or one that no name leads to.
    pub(crate) fn make(&mut self, name: Option<&str>) -> FileId {
        let id = self.next;
        self.next += 1;
        self.files.insert(id, File::default());
        if let Some(name) = name {
            self.names.insert(name.to_owned(), id);
            self.pending.push(Change::Made(name.to_owned(), id));
        }
        id
    }

    pub(crate) fn remove(&mut self, name: &str) -> Result<(), Refused> {
        self.names.remove(name).ok_or(Refused::Absent)?;
        self.pending.push(Change::Removed(name.to_owned()));
        Ok(())
    }

    /// Moves a file to another name, over whatever had it.
    pub(crate) fn rename(&mut self, from: &str, to: &str) -> Result<(), Refused> {
        let id = self.names.remove(from).ok_or(Refused::Absent)?;
        self.names.insert(to.to_owned(), id);
        self.pending.push(Change::Moved(from.to_owned(), to.to_owned(), id));
        Ok(())
    }

    /// Throws away a file that no name leads to.
    pub(crate) fn discard(&mut self, id: FileId) {
        if !self.names.values().chain(self.kept.values()).any(|named| *named == id) {
            self.files.remove(&id);
        }
    }

    pub(crate) fn file(&self, id: FileId) -> Result<&File, Refused> {
        self.files.get(&id).ok_or(Refused::Absent)
    }

    pub(crate) fn file_mut(&mut self, id: FileId) -> Result<&mut File, Refused> {
        self.files.get_mut(&id).ok_or(Refused::Absent)
    }

    pub(crate) fn named(&self, name: &str) -> Result<&File, Refused> {
        self.file(self.find(name).ok_or(Refused::Absent)?)
    }

    pub(crate) fn named_mut(&mut self, name: &str) -> Result<&mut File, Refused> {
        self.file_mut(self.find(name).ok_or(Refused::Absent)?)
    }

    /// A flush of a file that is refused.
    pub(crate) fn refuse_flush(&mut self, id: FileId) {
        if let Some(file) = self.files.get_mut(&id) {
            file.refuse_flush(&mut self.chance.refusal);
        }
    }

    pub(crate) fn flush_folder(&mut self) {
        self.kept.clone_from(&self.names);
        self.pending.clear();
    }

    pub(crate) fn names(&self) -> Vec<String> {
        self.names.keys().cloned().collect()
    }

    /// The system forgets what refused flushes left in its cache.
    pub(crate) fn forget(&mut self) {
        self.files.values_mut().for_each(File::forget);
    }

    pub(crate) fn lift(&mut self) {
        self.files.values_mut().for_each(File::lift);
    }

    /// The power goes: each pending change of the folder and each pending sector by itself.
    pub(crate) fn power_cut(&mut self) {
        for change in std::mem::take(&mut self.pending) {
            if !self.chance.cut.even() {
                continue;
            }
            match change {
                Change::Made(name, id) => {
                    self.kept.insert(name, id);
                }
                Change::Moved(from, to, id) => {
                    self.kept.remove(&from);
                    self.kept.insert(to, id);
                }
                Change::Removed(name) => {
                    self.kept.remove(&name);
                }
            }
        }
        self.names.clone_from(&self.kept);
        let named: Vec<FileId> = self.names.values().copied().collect();
        self.files.retain(|id, _| named.contains(id));
        for file in self.files.values_mut() {
            file.power_cut(&mut self.chance.cut, self.spoils);
        }
    }
}
