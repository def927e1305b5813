//! Looking after the ledger while it is in use: damage named, mended from a backup, old readings thrown away. The
//! engine learns what the ledger then has to tell.

use super::core::{Core, Moment};
use crate::ledger::{Copied, Forgotten, Inspection, LedgerError, Mended};

impl Core {
    /// Enters damaged rows that were met and not named yet.
    ///
    /// # Errors
    ///
    /// When the ledger refuses.
    pub fn name_fences(&mut self, moment: Moment) -> Result<(), LedgerError> {
        for entry in self.ledger_mut().name_fences(moment.wall_ms)? {
            self.engine_mut().learn(entry);
        }
        Ok(())
    }

    /// Does what an inspection found to do: roll-ups made afresh, damage named. How many roll-ups were made.
    ///
    /// # Errors
    ///
    /// When the ledger refuses.
    pub fn tend(&mut self, moment: Moment, found: &Inspection) -> Result<u64, LedgerError> {
        let renewed = self.ledger_mut().renew_hours(&found.stale_hours)?;
        self.name_fences(moment)?;
        Ok(renewed)
    }

    /// Brings damaged rows back from a backup; the days they touch are marked to be made afresh.
    ///
    /// # Errors
    ///
    /// As [`Ledger::mend`](crate::ledger::Ledger::mend).
    pub fn mend(&mut self, moment: Moment, backup: &Copied) -> Result<Mended, LedgerError> {
        self.name_fences(moment)?;
        let mended = self.ledger_mut().mend(backup, moment.wall_ms)?;
        for entry in mended.entries.clone() {
            self.engine_mut().learn(entry);
        }
        Ok(mended)
    }

    /// Throws away the readings of the weeks before a moment (UTC ms).
    ///
    /// # Errors
    ///
    /// When the ledger refuses.
    pub fn forget(&mut self, moment: Moment, before_ms: i64) -> Result<Forgotten, LedgerError> {
        let (forgotten, entries) = self.ledger_mut().forget(before_ms, moment.wall_ms)?;
        for entry in entries {
            self.engine_mut().learn(entry);
        }
        Ok(forgotten)
    }
}
