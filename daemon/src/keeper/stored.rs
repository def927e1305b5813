//! Readings from the ledger and from what waits for it: what pages are made afresh from.

use std::ops::Range;

use agronomy::quantity::Quantity;

use super::grading::regraded;
use crate::almanac::pages::Readings;
use crate::ground::Ground;
use crate::ledger::Ledger;
use crate::reading::{Grade, Reading, Reason};
use crate::site::Site;

/// Everything that was heard, stored already or not yet.
pub struct Stored<'a> {
    /// Whose limits the probes have.
    pub site: &'a Site,
    /// What hangs where.
    pub ground: &'a Ground,
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

/// Why a reading is not simply sound, by the limits that probes have now.
pub(super) fn reason_now(site: &Site, ground: &Ground, reading: &Reading) -> Reason {
    regraded(reading, site.limits_of(&reading.probe, reading.quantity), || {
        ground.around(&reading.probe, reading.at_ms)
    })
}

impl Readings for Stored<'_> {
    fn sound(&self, probe: &str, quantity: Quantity, range: Range<i64>) -> Vec<(i64, f64)> {
        let stored = self.ledger.readings(probe, quantity, range.clone()).unwrap_or_default();
        let waiting = self.waiting(probe, range).filter(|it| it.quantity == quantity);
        let sound = |it: &&Reading| reason_now(self.site, self.ground, it).grade() == Grade::Sound;
        let all = stored.iter().chain(waiting).filter(sound);
        let mut sound: Vec<(i64, f64)> = all.map(|it| (it.at_ms, it.value)).collect();
        sound.sort_by_key(|(at_ms, _)| *at_ms);
        // What limits refused once may share its moment with what was heard then instead: the first to arrive counts.
        sound.dedup_by_key(|(at_ms, _)| *at_ms);
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
