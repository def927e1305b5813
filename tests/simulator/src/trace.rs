//! A running hash over what happened, kept each thousand steps: two runs of a seed show where they part.

/// Steps between two marks.
const MARK: u64 = 1_000;

/// The hash so far, and its marks.
#[derive(Clone, Debug)]
pub(crate) struct Trace {
    hash: u64,
    marks: Vec<u64>,
}

impl Default for Trace {
    fn default() -> Self {
        // The offset basis of FNV-1a, 64 bits.
        Self { hash: 0xcbf2_9ce4_8422_2325, marks: Vec::new() }
    }
}

impl Trace {
    fn take(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.hash = (self.hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
        }
    }

    /// Something that happened, with a number.
    pub(crate) fn note(&mut self, what: &str, number: i64) {
        self.take(what.as_bytes());
        self.take(&number.to_le_bytes());
    }

    /// A step of the run at a moment.
    pub(crate) fn step(&mut self, number: u64, at_ms: i64) {
        self.take(&at_ms.to_le_bytes());
        if number.is_multiple_of(MARK) {
            self.marks.push(self.hash);
        }
    }

    /// The marks, and the hash of the whole.
    pub(crate) fn marks(&self) -> Vec<u64> {
        let mut marks = self.marks.clone();
        marks.push(self.hash);
        marks
    }
}
