//! Who may do what with a file at once: SQLite's locks of the file, and those of the index of the log.
//!
//! Both follow SQLite's own rules for Unix ("File Locking And Concurrency", "WAL-mode File Format"), within one process.

use std::collections::BTreeSet;
use std::sync::atomic::AtomicU64;
use std::sync::{Mutex, PoisonError};

/// Number of an open file.
pub(crate) type HandleId = u64;

/// How far a lock goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Level {
    None,
    Shared,
    Reserved,
    Exclusive,
}

/// The locks of one file.
#[derive(Clone, Debug, Default)]
pub(crate) struct FileLocks {
    shared: BTreeSet<HandleId>,
    reserved: Option<HandleId>,
    /// Lets no new reader in.
    pending: Option<HandleId>,
}

impl FileLocks {
    /// Takes a lock; false where somebody else is in the way.
    pub(crate) fn lock(&mut self, who: HandleId, level: Level) -> bool {
        let free = |lock: Option<HandleId>| lock.is_none_or(|other| other == who);
        match level {
            Level::None => true,
            Level::Shared => {
                let admitted = self.shared.contains(&who) || free(self.pending);
                if admitted {
                    self.shared.insert(who);
                }
                admitted
            }
            Level::Reserved => {
                let admitted = free(self.reserved);
                if admitted {
                    self.reserved = Some(who);
                }
                admitted
            }
            Level::Exclusive => {
                if !free(self.reserved) || !free(self.pending) {
                    return false;
                }
                self.pending = Some(who);
                self.shared.iter().all(|reader| *reader == who)
            }
        }
    }

    /// Goes back to a lock that lets others in.
    pub(crate) fn unlock(&mut self, who: HandleId, level: Level) {
        for lock in [&mut self.reserved, &mut self.pending] {
            lock.take_if(|holder| *holder == who);
        }
        if level == Level::None {
            self.shared.remove(&who);
        }
    }

    pub(crate) fn is_reserved(&self) -> bool {
        self.reserved.is_some()
    }
}

/// Locks that the index of a log has.
const SLOTS: usize = 8;

/// The index of a log, in memory: regions that connections share, and their locks.
#[derive(Debug, Default)]
pub(crate) struct Index {
    regions: Mutex<Vec<Box<[AtomicU64]>>>,
    /// For each slot: -1 held by one alone, else by how many together.
    slots: Mutex<[i32; SLOTS]>,
}

/// What one connection holds of an index.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Held {
    alone: u8,
    together: u8,
}

impl Index {
    /// Start of a region, made with those before it if `extend`. It stays where it is as long as the index lives.
    pub(crate) fn region(&self, number: usize, bytes: usize, extend: bool) -> Option<*mut u64> {
        let mut regions = self.regions.lock().unwrap_or_else(PoisonError::into_inner);
        while extend && regions.len() <= number {
            regions.push((0..bytes.div_ceil(8)).map(|_| AtomicU64::new(0)).collect());
        }
        Some(regions.get(number)?.first()?.as_ptr())
    }

    /// Takes slots, alone or together with others; false where somebody is in the way.
    pub(crate) fn lock(&self, held: &mut Held, first: usize, count: usize, alone: bool) -> bool {
        let mut slots = self.slots.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(wanted) = slots.get_mut(first..first + count) else { return false };
        let mask = mask(first, count);
        if alone {
            // Its own shared hold would be in the way as well, as with Unix.
            if wanted.iter().any(|slot| *slot != 0) {
                return false;
            }
            wanted.fill(-1);
            held.alone |= mask;
        } else if held.together & mask == 0 {
            if wanted.iter().any(|slot| *slot < 0) {
                return false;
            }
            wanted.iter_mut().for_each(|slot| *slot += 1);
            held.together |= mask;
        }
        true
    }

    /// Gives slots back, those that are held.
    pub(crate) fn unlock(&self, held: &mut Held, first: usize, count: usize) {
        let mut slots = self.slots.lock().unwrap_or_else(PoisonError::into_inner);
        for (number, slot) in slots.iter_mut().enumerate().skip(first).take(count) {
            let mask = mask(number, 1);
            if held.alone & mask != 0 {
                *slot = 0;
            } else if held.together & mask != 0 {
                *slot -= 1;
            }
            held.alone &= !mask;
            held.together &= !mask;
        }
    }

    /// Gives everything back.
    pub(crate) fn leave(&self, held: &mut Held) {
        self.unlock(held, 0, SLOTS);
    }
}

fn mask(first: usize, count: usize) -> u8 {
    (first..first + count).fold(0, |mask, slot| mask | 1_u8.checked_shl(slot as u32).unwrap_or(0))
}
