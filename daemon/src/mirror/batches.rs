//! The batches of the real ledger, as the mirror reads them.

use super::{Dating, Portion, Source};
use crate::ledger::{Batch, Reader};

/// The mirror's cursor in the ledger.
pub const CURSOR: &str = "mirror";

/// Reads batches through a reader of the ledger.
#[derive(Debug)]
pub struct Batches {
    reader: Reader,
    open_from: i64,
}

impl Batches {
    /// Over this reader. `open_from` is the oldest boot that may still be dated: this run's own, or an earlier one whose
    /// monotonic time still runs.
    pub fn new(reader: Reader, open_from: i64) -> Self {
        Self { reader, open_from }
    }

    fn portion(&self, batch: Batch) -> Portion {
        let dating = match batch {
            Batch { dated: true, .. } => Dating::Dated,
            Batch { boot, .. } if boot >= self.open_from => Dating::Waits,
            _ => Dating::Never,
        };
        Portion { seq: batch.seq, dating, readings: batch.readings }
    }
}

impl Source for Batches {
    fn cursor(&mut self) -> Result<i64, String> {
        self.reader.cursor(CURSOR).map_err(|error| error.to_string())
    }

    fn after(&mut self, seq: i64, limit: usize) -> Result<Vec<Portion>, String> {
        let batches = self.reader.batches_after(seq, limit).map_err(|error| error.to_string())?;
        Ok(batches.into_iter().map(|batch| self.portion(batch)).collect())
    }
}

#[cfg(test)]
mod tests {
    use agronomy::quantity::Quantity;

    use super::*;
    use crate::ledger::{Commit, Founding, Ledger};
    use crate::reading::{Reading, Reason};

    fn put(ledger: &mut Ledger, boot: i64, at_ms: i64, dated: bool) {
        let quantity = Quantity::AirTemperature;
        let readings =
            [Reading { probe: "bench-2".into(), quantity, value: 20.5, at_ms, reason: Reason::None }];
        ledger.commit(&Commit { readings: &readings, dated, ..Commit::empty(boot, at_ms, at_ms) }).unwrap();
    }

    #[test]
    fn a_boot_that_may_still_be_dated_waits_and_a_dead_one_is_passed_over() {
        let founding = Founding { offset_ms: 0, program: "test".to_owned() };
        let mut ledger = Ledger::in_memory(&founding).unwrap();
        let dead = ledger.begin_boot(0, None).unwrap();
        put(&mut ledger, dead, 1_000, false);
        let boot = ledger.begin_boot(0, None).unwrap();
        put(&mut ledger, boot, 2_000, false);
        let mut batches = Batches::new(ledger.reader().unwrap(), boot);
        let seen = |batches: &mut Batches, seq| {
            let portions = batches.after(seq, 9).unwrap();
            portions.into_iter().map(|p| (p.seq, p.dating, p.readings[0].at_ms)).collect::<Vec<_>>()
        };
        assert_eq!(seen(&mut batches, 0), [(1, Dating::Never, 1_000), (2, Dating::Waits, 2_000)]);
        ledger.date_boot(boot, 1_900_000_000_000, "test").unwrap();
        assert_eq!(seen(&mut batches, 1)[0], (2, Dating::Dated, 1_900_000_002_000));
    }

    #[test]
    fn the_cursor_is_the_ledgers_own() {
        let founding = Founding { offset_ms: 0, program: "test".to_owned() };
        let mut ledger = Ledger::in_memory(&founding).unwrap();
        let boot = ledger.begin_boot(0, Some((0, "test"))).unwrap();
        let mut batches = Batches::new(ledger.reader().unwrap(), boot);
        assert_eq!(batches.cursor().unwrap(), 0);
        ledger.commit(&Commit { cursors: &[(CURSOR, 7)], ..Commit::empty(boot, 1, 1) }).unwrap();
        assert_eq!(batches.cursor().unwrap(), 7);
    }
}
