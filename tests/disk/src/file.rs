//! One file: what is on the platter, and what the system remembers of it.
//!
//! A write goes into the cache, by sectors of 512 bytes, and is pending there until a flush of the file. Programs see
//! the cache before the platter. A refused flush marks what it did not write as done with: the program still reads
//! it, no later flush writes it, and it is gone as soon as the system forgets its cache. (Linux does so since its
//! errors are told once for each open file; the PostgreSQL project described the trap in November 2018.) Blocks of
//! 4 KiB are what the cache writes at once: touching a block again makes all of it pending again.

use std::collections::BTreeMap;

use crate::chance::Stream;

/// Bytes that reach the platter together or not at all, unless they are spoilt.
pub const SECTOR: usize = 512;
/// Sectors of a block of the cache.
const BLOCK_SECTORS: u64 = 8;
/// Bytes of a block: room is given out in these.
pub(crate) const BLOCK: u64 = BLOCK_SECTORS * SECTOR as u64;

/// How much of a sector that was being written a power cut may spoil.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Spoils {
    /// The bytes being written. SQLite counts on it ("powersafe overwrite"), on every file system.
    #[default]
    Written,
    /// The whole sector, so also bytes beside them that were flushed long ago.
    Sector,
}

/// A sector in the cache.
#[derive(Clone, Debug)]
struct Cached {
    bytes: [u8; SECTOR],
    /// Whether a flush would write it; else a flush was refused over it.
    pending: bool,
    /// From the first to the last byte written.
    first: usize,
    last: usize,
}

/// See the module.
#[derive(Clone, Debug, Default)]
pub(crate) struct File {
    platter: Vec<u8>,
    cache: BTreeMap<u64, Cached>,
    /// The length programs see; that of the platter is behind until a flush.
    length: u64,
    /// The shortest the file was since the last flush: the platter past it is not to be seen again.
    shortest: Option<u64>,
    /// Good sectors that lie in the wrong place, over what belongs there.
    strays: BTreeMap<u64, [u8; SECTOR]>,
}

impl File {
    pub(crate) fn length(&self) -> u64 {
        self.length
    }

    /// Blocks of room it takes.
    pub(crate) fn blocks(&self) -> u64 {
        self.length.max(self.platter.len() as u64).div_ceil(BLOCK)
    }

    /// What is on the platter, strays lifted.
    pub(crate) fn platter(&self) -> &[u8] {
        &self.platter
    }

    /// Reads what a program sees; returns how many bytes there were before the end.
    pub(crate) fn read(&self, offset: u64, into: &mut [u8]) -> usize {
        let count = self.length.saturating_sub(offset).min(into.len() as u64) as usize;
        each_sector(offset, count, |number, within, place| {
            let length = place.len();
            into[place].copy_from_slice(&self.seen(number)[within..within + length]);
        });
        count
    }

    fn seen(&self, number: u64) -> [u8; SECTOR] {
        if let Some(cached) = self.cache.get(&number) {
            return cached.bytes;
        }
        let visible = self.shortest.unwrap_or(u64::MAX);
        match self.strays.get(&number) {
            Some(stray) => *stray,
            None => self.on_platter(number, visible),
        }
    }

    /// A sector of the platter, zeros past its end or past `visible`.
    fn on_platter(&self, number: u64, visible: u64) -> [u8; SECTOR] {
        let mut bytes = [0; SECTOR];
        let start = number as usize * SECTOR;
        let end = (start + SECTOR).min(self.platter.len()).min(usize::try_from(visible).unwrap_or(usize::MAX));
        if start < end {
            bytes[..end - start].copy_from_slice(&self.platter[start..end]);
        }
        bytes
    }

    /// Writes into the cache.
    pub(crate) fn write(&mut self, offset: u64, from: &[u8]) {
        each_sector(offset, from.len(), |number, within, place| {
            let seen = self.seen(number);
            let end = within + place.len();
            let cached = self.cache.entry(number).or_insert(Cached {
                bytes: seen,
                pending: true,
                first: within,
                last: end,
            });
            cached.bytes[within..end].copy_from_slice(&from[place]);
            (cached.first, cached.last) = (cached.first.min(within), cached.last.max(end));
            let block = number / BLOCK_SECTORS * BLOCK_SECTORS;
            for (_, cached) in self.cache.range_mut(block..block + BLOCK_SECTORS) {
                cached.pending = true;
            }
        });
        self.length = self.length.max(offset + from.len() as u64);
    }

    /// Changes the length in the cache.
    pub(crate) fn truncate(&mut self, length: u64) {
        if length < self.length {
            self.shortest = Some(self.shortest.unwrap_or(u64::MAX).min(length));
            let whole = length.div_ceil(SECTOR as u64);
            self.cache.retain(|number, _| *number < whole);
            if let Some(cached) = self.cache.get_mut(&(length / SECTOR as u64)) {
                cached.bytes[(length % SECTOR as u64) as usize..].fill(0);
            }
        }
        self.length = length;
    }

    /// Whether a flush would have something to do.
    pub(crate) fn is_pending(&self) -> bool {
        self.shortest.is_some()
            || self.length != self.platter.len() as u64
            || self.cache.values().any(|cached| cached.pending)
    }

    /// Brings everything pending to the platter; returns how many bytes that were.
    pub(crate) fn flush(&mut self) -> u64 {
        self.settle_length(self.length);
        let mut bytes = 0;
        for (number, cached) in std::mem::take(&mut self.cache) {
            if cached.pending {
                self.strays.remove(&number);
                self.put(number, &cached.bytes);
                bytes += SECTOR as u64;
            } else {
                self.cache.insert(number, cached);
            }
        }
        bytes
    }

    /// A flush that is refused: some sectors reach the platter, the others are done with.
    pub(crate) fn refuse_flush(&mut self, chance: &mut Stream) {
        self.settle_length(self.length);
        for (number, mut cached) in std::mem::take(&mut self.cache) {
            if cached.pending && chance.even() {
                self.put(number, &cached.bytes);
            } else {
                cached.pending = false;
                self.cache.insert(number, cached);
            }
        }
    }

    /// Forgets what a refused flush left in the cache.
    pub(crate) fn forget(&mut self) {
        self.cache.retain(|_, cached| cached.pending);
    }

    /// The power goes: every pending sector by itself is old, new or spoilt, and so is the length.
    pub(crate) fn power_cut(&mut self, chance: &mut Stream, spoils: Spoils) {
        let old = self.platter.len() as u64;
        let shortest = self.shortest.filter(|shortest| *shortest < old && chance.even());
        let grown_from = shortest.unwrap_or(old);
        let length = if self.length > grown_from {
            // Anything between, by whole sectors, or all of it.
            let steps = (self.length - grown_from).div_ceil(SECTOR as u64);
            (grown_from + chance.below(steps + 1) * SECTOR as u64).min(self.length)
        } else {
            grown_from
        };
        if shortest.is_some() {
            self.settle_length(length);
        } else {
            self.platter.resize(length as usize, 0);
        }
        for (number, cached) in std::mem::take(&mut self.cache) {
            if !cached.pending {
                continue;
            }
            match chance.below(3) {
                0 => {}
                1 => self.put(number, &cached.bytes),
                _ => {
                    let mut spoilt = self.on_platter(number, u64::MAX);
                    match spoils {
                        Spoils::Written => chance.fill(&mut spoilt[cached.first..cached.last]),
                        Spoils::Sector => chance.fill(&mut spoilt),
                    }
                    self.put(number, &spoilt);
                }
            }
        }
        self.length = self.platter.len() as u64;
        self.shortest = None;
    }

    /// Flips one bit of the platter; false where there is no such byte.
    pub(crate) fn flip(&mut self, byte: u64, bit: u8) -> bool {
        match self.platter.get_mut(byte as usize) {
            Some(place) => {
                *place ^= 1 << (bit & 7);
                true
            }
            None => false,
        }
    }

    /// Lays what stands in one run of sectors over another.
    pub(crate) fn misdirect(&mut self, from: u64, to: u64, sectors: u64) {
        for step in 0..sectors {
            let stray = self.on_platter(from + step, u64::MAX);
            self.strays.insert(to + step, stray);
        }
    }

    /// Lifts every stray; what belongs there is seen again.
    pub(crate) fn lift(&mut self) {
        self.strays.clear();
    }

    fn settle_length(&mut self, length: u64) {
        if let Some(shortest) = self.shortest.take() {
            self.platter.truncate(shortest as usize);
        }
        self.platter.resize(length as usize, 0);
    }

    /// Puts a sector on the platter, as far as the file reaches.
    fn put(&mut self, number: u64, bytes: &[u8; SECTOR]) {
        let start = number as usize * SECTOR;
        let end = (start + SECTOR).min(self.platter.len());
        if start < end {
            self.platter[start..end].copy_from_slice(&bytes[..end - start]);
        }
    }
}

/// Goes through the sectors under `count` bytes from `offset`: number, first byte within it, place in the buffer.
fn each_sector(offset: u64, count: usize, mut visit: impl FnMut(u64, usize, std::ops::Range<usize>)) {
    let mut done = 0;
    while done < count {
        let at = offset + done as u64;
        let within = (at % SECTOR as u64) as usize;
        let step = (SECTOR - within).min(count - done);
        visit(at / SECTOR as u64, within, done..done + step);
        done += step;
    }
}
