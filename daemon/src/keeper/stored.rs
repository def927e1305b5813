//! Readings from the ledger and from what waits for it: what pages are made afresh from.

use std::ops::Range;

use agronomy::quantity::Quantity;

use crate::almanac::pages::Readings;
use crate::ledger::Ledger;
use crate::reading::{Grade, Reading, Reason};

/// Everything that was heard, stored already or not yet.
pub struct Stored<'a> {
    /// The ledger.
    pub ledger: &'a Ledger,
    /// Dated readings that wait for the next commit, in order of arrival.
    pub waiting: &'a [Reading],
}

impl Stored<'_> {
    fn waiting(&self, probe: &str, range: Range<i64>) -> impl Iterator<Item = &Reading> {
        self.waiting.iter().filter(move |it| it.probe.as_ref() == probe && range.contains(&it.at_ms))
    }
}

impl Readings for Stored<'_> {
    fn sound(&self, probe: &str, quantity: Quantity, range: Range<i64>) -> Vec<(i64, f64)> {
        let stored = self.ledger.readings(probe, quantity, range.clone()).unwrap_or_default();
        let waiting = self.waiting(probe, range).filter(|it| it.quantity == quantity);
        let all = stored.iter().chain(waiting).filter(|it| it.grade() == Grade::Sound);
        let mut sound: Vec<(i64, f64)> = all.map(|it| (it.at_ms, it.value)).collect();
        sound.sort_by_key(|(at_ms, _)| *at_ms);
        sound
    }

    fn heard(&self, probe: &str, range: Range<i64>) -> bool {
        let stored = |quantity| self.ledger.readings(probe, quantity, range.clone()).unwrap_or_default();
        let series = self.ledger.series().unwrap_or_default();
        let mut of_probe = series.into_iter().filter(|(name, _)| name == probe);
        self.waiting(probe, range.clone()).any(|it| it.reason != Reason::Repeated)
            || of_probe.any(|(_, quantity)| !stored(quantity).is_empty())
    }
}
