//! How far batches reach: which of them may hold a reading of a range of times.
//!
//! Batches stand in the order in which they were committed, and late readings, stamps from the future and boots that
//! are dated afterwards make that another order than the one of time. So a small index is kept in memory, a pair of
//! times for every sixteen numbers: made from the rows when somebody asks, extended by those that came since. It
//! may name too many batches, never too few.

use std::collections::BTreeMap;
use std::ops::{Range, RangeInclusive};

/// Numbers in one block, as a power of two.
const BLOCK: u32 = 4;

/// See the module.
#[derive(Debug, Default)]
pub(super) struct Reach {
    /// What came before this number was forgotten.
    from: i64,
    /// The newest batch it knows.
    upto: i64,
    /// Earliest and latest time of the readings in each block.
    blocks: BTreeMap<i64, (i64, i64)>,
}

impl Reach {
    /// The newest batch it knows; those after it are still to be taken.
    pub(super) fn upto(&self) -> i64 {
        self.upto
    }

    /// Takes a batch with the earliest and latest time in it; none where that is not known, or not for good.
    pub(super) fn take(&mut self, seq: i64, times: Option<(i64, i64)>) {
        self.upto = self.upto.max(seq);
        let (first, last) = times.unwrap_or((i64::MIN, i64::MAX));
        let block = self.blocks.entry(seq >> BLOCK).or_insert((first, last));
        *block = (block.0.min(first), block.1.max(last));
    }

    /// Stretches of numbers in which every batch lies that may hold something of the range, in order.
    pub(super) fn of(&self, range: &Range<i64>) -> Vec<RangeInclusive<i64>> {
        let mut stretches: Vec<RangeInclusive<i64>> = Vec::new();
        for (block, times) in &self.blocks {
            if times.0 >= range.end || times.1 < range.start {
                continue;
            }
            let (first, last) = (block << BLOCK, (block << BLOCK) | ((1 << BLOCK) - 1));
            match stretches.last_mut() {
                Some(before) if *before.end() == first - 1 => *before = *before.start()..=last,
                _ => stretches.push(first..=last),
            }
        }
        stretches
    }

    /// Forgets blocks that lie wholly before a number: their batches are gone.
    pub(super) fn forget_before(&mut self, seq: i64) {
        let block = seq >> BLOCK;
        self.from = self.from.max(block << BLOCK);
        self.blocks = self.blocks.split_off(&block);
    }

    /// Whether it knows nothing any more of a batch that somebody still sees, who began to look before it was gone.
    pub(super) fn has_forgotten(&self, seq: i64) -> bool {
        seq < self.from
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_batch_that_may_hold_something_lies_in_a_stretch() {
        let mut reach = Reach::default();
        assert_eq!(reach.of(&(0..i64::MAX)), []);
        for seq in 1..=1_000 {
            reach.take(seq, Some((seq * 10, seq * 10 + 9)));
        }
        // Of a late reading, of one from the future, and of a boot without a date.
        reach.take(1_001, Some((3_000, 3_000)));
        assert_eq!(reach.upto(), 1_001);
        assert_eq!(reach.of(&(5_000..6_000)), [496..=607, 992..=1_007]);
        assert_eq!(reach.of(&(2_500..3_001)), [240..=303, 992..=1_007]);
        assert_eq!(reach.of(&(20_000..30_000)), []);
        reach.take(1_002, None);
        assert_eq!(reach.of(&(20_000..30_000)), [992..=1_007]);
        reach.forget_before(995);
        assert_eq!(reach.of(&(0..i64::MAX)), [992..=1_007]);
        assert!(reach.has_forgotten(991) && !reach.has_forgotten(992));
    }
}
