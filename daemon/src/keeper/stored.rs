//! Readings straight from the ledger: what pages are made afresh from.

use std::collections::BTreeSet;
use std::ops::Range;

use agronomy::quantity::Quantity;

use crate::almanac::pages::Readings;
use crate::ledger::Ledger;
use crate::reading::Grade;

/// Sound readings straight from the ledger.
pub struct LedgerReadings<'a>(pub &'a Ledger);

impl Readings for LedgerReadings<'_> {
    fn sound(&self, probe: &str, quantity: Quantity, range: Range<i64>) -> Vec<(i64, f64)> {
        let stored = self.0.readings(probe, quantity, range).unwrap_or_default();
        let sound = stored.iter().filter(|reading| reading.grade() == Grade::Sound);
        sound.map(|reading| (reading.at_ms, reading.value)).collect()
    }

    fn heard(&self, probe: &str, range: Range<i64>) -> bool {
        let series = self.0.series().unwrap_or_default();
        let of_probe: BTreeSet<Quantity> =
            series.into_iter().filter(|(name, _)| name == probe).map(|(_, quantity)| quantity).collect();
        of_probe
            .into_iter()
            .any(|quantity| !self.0.readings(probe, quantity, range.clone()).unwrap_or_default().is_empty())
    }
}
