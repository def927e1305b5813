//! One seed, many streams: a new draw in one place does not move the others.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng as _;

/// A named stream of chance.
#[derive(Clone, Debug)]
pub(crate) struct Chance(Pcg32);

impl Chance {
    /// The stream of this name that goes with a seed.
    pub(crate) fn new(seed: u64, name: &str) -> Self {
        Self(Pcg32::new(seed, u64::from(crc32fast::hash(name.as_bytes()))))
    }

    /// A number from 0 up to and without `end` (0 where that is 0).
    pub(crate) fn below(&mut self, end: u64) -> u64 {
        self.0.next_u64() % end.max(1)
    }

    /// A number from `low` up to and with `high`.
    pub(crate) fn between(&mut self, low: i64, high: i64) -> i64 {
        low + self.below((high - low + 1) as u64) as i64
    }

    /// A number from 0 up to 1.
    pub(crate) fn unit(&mut self) -> f64 {
        f64::from(self.0.next_u32()) / f64::from(u32::MAX)
    }

    /// Whether something happens that has this chance.
    pub(crate) fn happens(&mut self, share: f64) -> bool {
        self.unit() < share
    }

    /// One of several.
    pub(crate) fn pick<'a, T>(&mut self, of: &'a [T]) -> &'a T {
        &of[self.below(of.len() as u64) as usize]
    }
}

/// A number from -1 to 1 that goes with a seed and a slot, in whatever order they are asked for.
pub(crate) fn swing(seed: u64, slot: i64) -> f64 {
    let mixed = seed ^ (slot as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    2.0 * Chance::new(mixed, "swing").unit() - 1.0
}
