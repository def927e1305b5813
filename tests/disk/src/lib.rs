//! A simulated disk, with the real ledger on it, in one process.
//!
//! The ledger's own code runs unchanged, SQLite and all: only the file system under it is ours. It knows what programs
//! see and what is on the platter, and the difference is what a power cut takes. No thread, no sleep, no clock: a run
//! follows from its seed. To the byte, if nothing else in the process uses SQLite meanwhile, whose random numbers (they
//! mark the log) are one for all; without that, in everything but these marks.
//!
//! | file | knows |
//! | --- | --- |
//! | `file`, `medium` | sectors and names, pending and kept; what a power cut leaves |
//! | `faults`, `state` | what is refused, what is counted |
//! | `inner` | the lock that all who ask go through |
//! | `locks`, `handle`, `vfs` | how SQLite asks |
//! | `asked` | how the ledger asks beside it |
//! | `chance` | draws from the seed, in streams by name |

mod asked;
mod chance;
mod faults;
mod file;
mod handle;
mod inner;
mod locks;
mod medium;
mod state;
mod vfs;

use std::sync::{Arc, MutexGuard};

pub use faults::{Counts, Lasting, Of, Refusal, Refused};
pub use file::{SECTOR, Spoils};

use inner::Inner;
use medium::Medium;
use state::State;

/// Name of the ledger's file.
pub const LEDGER: &str = "ledger";
/// Name of its log.
pub const LOG: &str = "ledger-wal";

/// A simulated disk. Give it to [`Ledger::open_on`](glasshour::ledger::Ledger::open_on).
#[derive(Debug)]
pub struct Disk {
    inner: Arc<Inner>,
    entry: vfs::Registered,
}

/// A disk as it was at a moment: what is on the platter, what was pending, and the state of chance.
#[derive(Clone, Debug)]
pub struct Image(Medium);

/// A bit of the platter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bit {
    /// Name of the file.
    pub name: String,
    /// Byte in it.
    pub byte: u64,
    /// Bit of that byte, 0 to 7.
    pub bit: u8,
}

/// A disk is well and empty when it is made.
impl Disk {
    /// An empty disk.
    pub fn new(seed: u64) -> Arc<Self> {
        Self::with(Medium::new(seed))
    }

    /// Another disk with the same content (a cloned card), its chance as it was then; see [`reseed`](Self::reseed).
    pub fn of(image: &Image) -> Arc<Self> {
        Self::with(image.0.clone())
    }

    fn with(medium: Medium) -> Arc<Self> {
        let inner = Arc::new(Inner::new(medium));
        let entry = vfs::Registered::new(&inner);
        Arc::new(Self { inner, entry })
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.inner.state()
    }

    /// Lets chance begin anew from a seed.
    pub fn reseed(&self, seed: u64) {
        self.state().medium.chance = chance::Chance::new(seed);
    }

    // What goes wrong.

    /// The power goes and comes back: every pending sector, name and length is by itself old, new or spoilt. Whatever
    /// is open gets nothing but errors from then on; faults of the disk stay.
    pub fn power_cut(&self) {
        self.state().power_cut();
    }

    /// The power goes during the change after the next `changes` of them (writes, flushes, names): from then on nothing
    /// works until [`power_cut`](Self::power_cut) settles what is left.
    pub fn power_goes_after(&self, changes: u64) {
        self.state().power_left = Some(changes);
    }

    /// The power goes in the same way, counted from the next write that holds these bytes.
    pub fn power_goes_after_writing(&self, bytes: &[u8], changes: u64) {
        self.state().trap = Some((bytes.to_vec(), changes));
    }

    /// The power does not go after all, if it is still on.
    pub fn power_stays(&self) {
        let mut state = self.state();
        (state.power_left, state.trap) = (None, None);
    }

    /// Whether the power is off.
    pub fn is_dark(&self) -> bool {
        self.state().dark
    }

    /// How much a power cut may spoil.
    pub fn set_spoils(&self, spoils: Spoils) {
        self.state().medium.spoils = spoils;
    }

    /// Arms a refusal with EIO. Several count side by side.
    pub fn refuse(&self, refusal: Refusal) {
        self.state().faults.refusals.push(refusal);
    }

    /// From now on files may grow by this many bytes more, in blocks of 4 KiB (ENOSPC). None: without limit.
    pub fn set_room(&self, bytes: Option<u64>) {
        self.state().faults.room = bytes.map(|bytes| bytes / file::BLOCK);
    }

    /// Whether the file system takes no writes (EROFS). What is open for writing is refused as well.
    pub fn set_read_only(&self, read_only: bool) {
        self.state().faults.read_only = read_only;
    }

    /// Whether flushes are reported and not done. What they would have written stays pending.
    pub fn set_lies(&self, lies: bool) {
        self.state().faults.lies = lies;
    }

    /// How long a write and a flush take, simulated ms.
    pub fn set_slow(&self, write_ms: u64, flush_ms: u64) {
        self.state().faults.slow_ms = (write_ms, flush_ms);
    }

    /// Ends every fault that is on or armed. What is spoilt already stays spoilt.
    pub fn heal(&self) {
        self.state().faults = faults::Faults::default();
    }

    /// Flips a bit of the platter; false if the file does not reach so far.
    pub fn flip(&self, bit: &Bit) -> bool {
        let mut state = self.state();
        state.medium.named_mut(&bit.name).is_ok_and(|file| file.flip(bit.byte, bit.bit))
    }

    /// Flips a bit of a file by chance; none if there is no byte of it.
    pub fn flip_one(&self, name: &str) -> Option<Bit> {
        let bit = {
            let mut state = self.state();
            let bytes = state.medium.named(name).ok()?.platter().len() as u64;
            let chance = &mut state.medium.chance.flip;
            Bit { name: name.to_owned(), byte: chance.below(bytes), bit: chance.below(8) as u8 }
        };
        self.flip(&bit).then_some(bit)
    }

    /// Lays what stands on the platter in `sectors` sectors from number `from` over those from number `to`: a good
    /// block in the wrong place. False if there is no such file.
    pub fn misdirect(&self, name: &str, from: u64, to: u64, sectors: u64) -> bool {
        let mut state = self.state();
        state.medium.named_mut(name).map(|file| file.misdirect(from, to, sectors)).is_ok()
    }

    /// Lifts all that was misdirected: what belongs there is seen again.
    pub fn lift(&self) {
        self.state().medium.lift();
    }

    /// The system forgets what refused flushes left in its cache.
    pub fn drop_cache(&self) {
        self.state().medium.forget();
    }

    // What is seen.

    /// What was asked so far.
    pub fn counts(&self) -> Counts {
        self.state().counts
    }

    /// Sets the wall time SQLite is told, UTC ms.
    pub fn set_now_ms(&self, now_ms: i64) {
        self.state().now_ms = now_ms;
    }

    /// How long everything so far has waited for a slow disk, simulated ms. It only grows.
    pub fn waited_ms(&self) -> u64 {
        self.state().waited_ms
    }

    /// What is on the platter of a file.
    pub fn platter(&self, name: &str) -> Option<Vec<u8>> {
        self.state().medium.named(name).ok().map(|file| file.platter().to_vec())
    }

    /// The disk as it is at this moment. To see what a power cut would leave now, make a disk of it and cut there.
    pub fn image(&self) -> Image {
        Image(self.state().medium.clone())
    }

    /// Puts everything back to an image. Whatever is open gets nothing but errors from then on.
    pub fn restore(&self, image: &Image) {
        let mut state = self.state();
        state.medium = image.0.clone();
        state.begin_boot();
    }

    // Other files beside the ledger: site file, keys. A safe save is: write under another name, flush, rename over,
    // flush the folder.

    /// The names of all files.
    pub fn names(&self) -> Vec<String> {
        self.state().medium.names()
    }

    /// What a program reads of a file.
    ///
    /// # Errors
    ///
    /// As the disk refuses.
    pub fn read(&self, name: &str) -> Result<Vec<u8>, Refused> {
        let mut state = self.state();
        let (id, _) = state.open(name, false)?;
        let mut bytes = vec![0; state.medium.file(id)?.length() as usize];
        state.read(id, 0, &mut bytes)?;
        Ok(bytes)
    }

    /// Writes a file anew, making it if it is absent. Pending until flushed.
    ///
    /// # Errors
    ///
    /// As the disk refuses.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), Refused> {
        let mut state = self.state();
        let (id, made) = state.open(name, true)?;
        if !made {
            state.truncate(id, 0)?;
        }
        state.write(id, 0, bytes)
    }

    /// Flushes a file.
    ///
    /// # Errors
    ///
    /// As the disk refuses.
    pub fn flush(&self, name: &str) -> Result<(), Refused> {
        let mut state = self.state();
        let (id, _) = state.open(name, false)?;
        state.flush(id)
    }

    /// Moves a file to another name, over whatever has it. Pending until the folder is flushed.
    ///
    /// # Errors
    ///
    /// As the disk refuses.
    pub fn rename(&self, from: &str, to: &str) -> Result<(), Refused> {
        self.state().rename(from, to)
    }

    /// Removes a file. Pending until the folder is flushed.
    ///
    /// # Errors
    ///
    /// As the disk refuses.
    pub fn remove(&self, name: &str) -> Result<(), Refused> {
        self.state().remove(name)
    }

    /// Flushes the folder.
    ///
    /// # Errors
    ///
    /// As the disk refuses.
    pub fn flush_folder(&self) -> Result<(), Refused> {
        self.state().flush_folder()
    }
}
