//! Chance from a seed, in streams by name, so that a new draw in one place does not move the others.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng as _;

/// All the streams of a disk.
#[derive(Clone, Debug)]
pub(crate) struct Chance {
    /// What a power cut leaves.
    pub(crate) cut: Stream,
    /// Which sectors of a refused flush reached the platter all the same.
    pub(crate) refusal: Stream,
    /// Where a bit flips.
    pub(crate) flip: Stream,
    /// What SQLite's own random numbers start from.
    pub(crate) sqlite: Stream,
}

impl Chance {
    pub(crate) fn new(seed: u64) -> Self {
        let stream = |name: &str| Stream(Pcg32::new(seed, hashed(name)));
        Self {
            cut: stream("cut"),
            refusal: stream("refusal"),
            flip: stream("flip"),
            sqlite: stream("sqlite"),
        }
    }
}

/// FNV-1a, 64 bits: turns a name into the number of a stream.
fn hashed(name: &str) -> u64 {
    name.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

/// One stream of draws.
#[derive(Clone, Debug)]
pub(crate) struct Stream(Pcg32);

impl Stream {
    /// A number below `limit`; 0 where the limit is 0.
    pub(crate) fn below(&mut self, limit: u64) -> u64 {
        // The bias of a remainder of 64 bits is far under anything these draws are for.
        self.0.next_u64().checked_rem(limit).unwrap_or(0)
    }

    /// True half the time.
    pub(crate) fn even(&mut self) -> bool {
        self.0.next_u32() & 1 == 1
    }

    /// Random bytes.
    pub(crate) fn fill(&mut self, bytes: &mut [u8]) {
        self.0.fill_bytes(bytes);
    }

    /// Any number but 0.
    pub(crate) fn number(&mut self) -> i32 {
        (self.0.next_u32() | 1) as i32
    }
}
