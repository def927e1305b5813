//! How far the copy is: a handful of numbers, each a cursor of the ledger.

/// How far the copy is. All zero: nothing was sent yet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Place {
    /// Every batch up to and with this number is copied, whether it still is a batch or lies in chunks.
    pub batch: i64,
    /// Readings of the next batch that are copied already.
    pub within: i64,
    /// While chunks are read: once they all are, every batch up to and with this number is copied. Else 0.
    pub until: i64,
    /// The last chunk that was read, or is being read.
    pub chunk: i64,
    /// It is read from here on, UTC ms; 0 when it was read to its end.
    pub chunk_ms: i64,
    /// The last entry whose step is copied.
    pub entry: i64,
    /// The last day page, by its number.
    pub page: i64,
    /// The first batch passed over for want of a date; 0 where none was.
    pub passed: i64,
    /// How many boots knew the time when that was last looked at.
    pub boots: i64,
    /// The chunk written past the batches that is being read.
    pub again: i64,
    /// It is read from here on, UTC ms.
    pub again_ms: i64,
    /// Which server all this is about, as a number of its address and bucket; 0 where none was ever written to.
    pub server: i64,
}

impl Place {
    /// The cursors' names in the ledger, in the order of [`numbers`](Self::numbers).
    pub const NAMES: [&str; 12] = [
        "mirror",
        "mirror-within",
        "mirror-until",
        "mirror-chunk",
        "mirror-chunk-ms",
        "mirror-entry",
        "mirror-page",
        "mirror-passed",
        "mirror-boots",
        "mirror-again",
        "mirror-again-ms",
        "mirror-server",
    ];

    /// As numbers, none negative.
    pub fn numbers(&self) -> [i64; 12] {
        let Self {
            batch,
            within,
            until,
            chunk,
            chunk_ms,
            entry,
            page,
            passed,
            boots,
            again,
            again_ms,
            server,
        } = *self;
        [batch, within, until, chunk, chunk_ms, entry, page, passed, boots, again, again_ms, server]
    }

    /// Out of such numbers.
    pub fn of(numbers: [i64; 12]) -> Self {
        let [batch, within, until, chunk, chunk_ms, entry, page, passed, boots, again, again_ms, server] =
            numbers;
        Self { batch, within, until, chunk, chunk_ms, entry, page, passed, boots, again, again_ms, server }
    }

    /// The cursors that stand elsewhere than at `before`.
    pub fn moved_from(&self, before: &Self) -> Vec<(String, i64)> {
        let pairs = self.numbers().into_iter().zip(before.numbers());
        let moved = Self::NAMES.iter().zip(pairs).filter(|(_, (now, then))| now != then);
        moved.map(|(name, (now, _))| ((*name).to_owned(), now)).collect()
    }

    /// Whether nothing was sent yet.
    pub fn is_beginning(&self) -> bool {
        *self == Self { server: self.server, ..Self::default() }
    }

    /// Back to before a batch that was passed over.
    pub fn back_to_passed(&mut self) {
        self.batch = self.batch.min(self.passed - 1);
        (self.within, self.until, self.chunk, self.chunk_ms, self.passed) = (0, 0, 0, 0, 0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_moved_is_written() {
        let before = Place { batch: 7, entry: 3, ..Place::default() };
        let after = Place { batch: 9, ..before };
        assert_eq!(after.moved_from(&before), [("mirror".to_owned(), 9)]);
        assert_eq!(Place::of(after.numbers()), after);
        // No cursor of ours may look like the mark of a chunk, which is a number after the same words.
        let mark = crate::ledger::mirrored::MARK;
        assert!(
            Place::NAMES
                .iter()
                .all(|name| name.strip_prefix(mark).is_none_or(|rest| rest.parse::<i64>().is_err()))
        );
    }
}
