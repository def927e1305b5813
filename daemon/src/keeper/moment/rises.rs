//! Water in the ground that nobody accounts for: moisture probes that rose at once, and whether anything explains it.

use agronomy::quantity::Quantity;

use crate::almanac::pages::Readings;
use crate::entry::Note;
use crate::ground::Place;
use crate::keeper::engine::Engine;
use crate::minders::soil_now::Rise;
use crate::minders::soil_wet::{ASKED_MS, BEFORE_MS, LOOKED_MS, standing};

impl Engine {
    /// The rises at a place that stand and that nothing explains; none where no moisture probe holds a value, or in the open
    /// without a rain gauge.
    pub(super) fn rises(&self, place: &Place, at_ms: i64) -> Option<Vec<Rise>> {
        let held: Vec<_> = self.each_held(&place.id, Quantity::SoilMoisture, at_ms);
        let rained = if place.kind.under_cover() { Vec::new() } else { self.rained(at_ms)? };
        let watered = || self.watered_at(place, at_ms);
        let explained = |rise: &Rise| {
            let from_ms = rise.from_ms - BEFORE_MS;
            rained.iter().any(|at| (from_ms..=rise.from_ms).contains(at)) || watered().any(|at| at >= from_ms)
        };
        let rise = |probe: &str| {
            let hang = self.ground.hangs_in(&place.id, at_ms, at_ms + 1).find(|hang| hang.probe == probe)?;
            // No further than memory surely holds (54 h), so that a start sees the same.
            let window = hang.from_ms.max(at_ms - LOOKED_MS)..at_ms + 1;
            standing(probe, &self.tracks.sound(probe, Quantity::SoilMoisture, window), at_ms)
        };
        let rises = held.iter().filter_map(|(probe, _)| rise(probe)).filter(|rise| !explained(rise));
        (!held.is_empty()).then(|| rises.collect())
    }

    /// When it rained since a rise could matter, UTC ms; none where no gauge was heard in that time.
    fn rained(&self, at_ms: i64) -> Option<Vec<i64>> {
        let window = at_ms - ASKED_MS - BEFORE_MS..at_ms + 1;
        let hangs = self.ground.hangs.iter().filter(|hang| hang.overlaps(window.start, window.end));
        let gauges = hangs.map(|hang| self.tracks.sound(&hang.probe, Quantity::Rain, window.clone()));
        let rain: Vec<_> = gauges.filter(|rain| !rain.is_empty()).flatten().collect();
        (!rain.is_empty()).then(|| rain.into_iter().filter(|(_, mm)| *mm > 0.0).map(|(at, _)| at).collect())
    }

    /// When water was noted for a place, or for what is planted there, up to a moment, UTC ms.
    fn watered_at<'a>(&'a self, place: &'a Place, at_ms: i64) -> impl Iterator<Item = i64> + 'a {
        let here = move |subject: &str| {
            let planted =
                |id: &str| self.ground.plantings.iter().any(|it| it.id == id && it.place == place.id);
            subject == place.id || planted(subject)
        };
        self.ground.entries.iter().filter(move |entry| entry.from_ms <= at_ms).filter_map(move |entry| {
            match &entry.note {
                Note::Watered { subject, .. } if here(subject) => Some(entry.from_ms),
                _ => None,
            }
        })
    }
}
