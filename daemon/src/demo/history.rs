//! What the probes said from spring until the story begins, with the blemishes of a real record: a hole, some
//! values that never came, one instrument silent for a day.

use std::sync::Arc;

use agronomy::quantity::Quantity;

use super::calendar::{HOUR_MS, MINUTE_MS};
use super::chance::{Stream, unit};
use super::{Truth, World, site};
use crate::reading::{Heard, ProbeName};

/// The step of the history.
const STEP_MS: i64 = 5 * MINUTE_MS;
/// Of so many values one is missing.
const ONE_IN: f64 = 4000.0;
/// Day and hour of the two-hour hole: a night without power.
const HOLE: (i64, i64) = (-48, 2);
/// The day in May on which a bed probe's battery was flat.
const SILENT_DAY: i64 = -59;

/// What every probe would say at a moment: probe, quantity, true value.
fn said(truth: &Truth) -> [(&'static str, Quantity, f64); 9] {
    use Quantity::{AirTemperature, Pressure, RelativeHumidity};
    let [gate, ditch] = [site::BED_PROBES[0].probe, site::BED_PROBES[1].probe];
    [
        (site::POST, AirTemperature, truth.house.t_c),
        (site::POST, RelativeHumidity, truth.house.rh_pct),
        (site::RIDGE, AirTemperature, truth.ridge.t_c),
        (site::RIDGE, RelativeHumidity, truth.ridge.rh_pct),
        (site::RIDGE, Pressure, truth.p_kpa),
        (gate, AirTemperature, truth.beds[0].t_c),
        (gate, RelativeHumidity, truth.beds[0].rh_pct),
        (ditch, AirTemperature, truth.beds[1].t_c),
        (ditch, RelativeHumidity, truth.beds[1].rh_pct),
    ]
}

/// What an instrument makes of the truth: a little noise, and the last digit it sends (0.01 of the unit).
pub(super) fn as_read(seed: u64, at_ms: i64, series: i64, quantity: Quantity, value: f64) -> f64 {
    let (noise, highest) = match quantity {
        Quantity::RelativeHumidity => (0.25, 100.0),
        Quantity::Pressure => (0.01, f64::MAX),
        _ => (0.06, f64::MAX),
    };
    let jitter = 2.0 * unit(seed, Stream::Instrument, at_ms / 1000 * 16 + series) - 1.0;
    libm::round((value + noise * jitter).min(highest) * 100.0) / 100.0
}

/// The season's readings, oldest first, every five minutes: `(UTC ms, what was heard then)`.
///
/// From the first midnight of the season until just before the story begins. Moments at which nothing was heard are
/// left out.
pub fn readings(world: &World) -> impl Iterator<Item = (i64, Vec<Heard>)> + '_ {
    let names: Vec<ProbeName> = said(&world.at(world.season_start_ms())).map(|s| Arc::from(s.0)).to_vec();
    let steps = (world.start_ms() - world.season_start_ms() + STEP_MS - 1) / STEP_MS;
    (0..steps).map(move |step| world.season_start_ms() + step * STEP_MS).filter_map(move |at_ms| {
        if in_hole(world, at_ms) {
            return None;
        }
        let heard = said(&world.at(at_ms))
            .into_iter()
            .enumerate()
            .filter(|(_, (probe, ..))| !silent(world, probe, at_ms))
            .map(|(series, (_, quantity, value))| {
                let slot = at_ms / STEP_MS * 16 + series as i64;
                let lost = unit(world.seed(), Stream::Loss, slot) < 1.0 / ONE_IN;
                let value = as_read(world.seed(), at_ms, series as i64, quantity, value);
                Heard {
                    probe: Arc::clone(&names[series]),
                    quantity,
                    value: (!lost).then_some(value),
                    measured_ms: Some(at_ms),
                    stale: false,
                }
            })
            .collect();
        Some((at_ms, heard))
    })
}

fn in_hole(world: &World, at_ms: i64) -> bool {
    let from_ms = world.calendar().at(HOLE.0, HOLE.1, 0);
    (from_ms..from_ms + 2 * HOUR_MS).contains(&at_ms)
}

fn silent(world: &World, probe: &str, at_ms: i64) -> bool {
    probe == site::BED_PROBES[1].probe && world.calendar().day_of(at_ms) == SILENT_DAY
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::calendar::local;
    use crate::demo::site::DEFAULT_START_MS;
    use std::collections::{BTreeMap, BTreeSet};

    #[test]
    fn ninety_days_of_four_probes_with_their_blemishes_and_no_others() {
        let world = World::new(1, DEFAULT_START_MS);
        let season: Vec<_> = readings(&world).collect();
        // 90 days and the five hours of day 0, 12 steps an hour, less the 24 steps of the hole.
        assert_eq!(season.len(), (90 * 24 + 5) * 12 - 24);
        assert!(season.windows(2).all(|w| w[0].0 < w[1].0));
        let holes: Vec<_> = season.windows(2).filter(|w| w[1].0 - w[0].0 != STEP_MS).collect();
        assert_eq!(holes.len(), 1);
        assert_eq!(holes[0][1].0 - holes[0][0].0, 2 * HOUR_MS + STEP_MS);

        let mut counts: BTreeMap<(String, Quantity), usize> = BTreeMap::new();
        let mut silent_days = BTreeSet::new();
        let mut missing = 0;
        for (at_ms, heard) in &season {
            if !heard.iter().any(|h| &*h.probe == "ditch") {
                silent_days.insert(local(*at_ms).date_naive().to_string());
            }
            for one in heard {
                assert_eq!(one.measured_ms, Some(*at_ms));
                missing += usize::from(one.value.is_none());
                *counts.entry((one.probe.to_string(), one.quantity)).or_default() += 1;
            }
        }
        assert_eq!(counts.len(), 9);
        assert_eq!(silent_days.into_iter().collect::<Vec<_>>(), ["2026-05-15"]);
        // One in 4,000 of about 233,000 is 58; four standard deviations of that count are 31.
        assert!((27..=90).contains(&missing), "{missing}");
    }

    #[test]
    fn every_value_could_have_been_measured() {
        let world = World::new(2, DEFAULT_START_MS);
        for (at_ms, heard) in readings(&world).step_by(7) {
            for one in heard {
                let Some(value) = one.value else { continue };
                let possible = match one.quantity {
                    Quantity::AirTemperature => -5.0..46.0,
                    Quantity::RelativeHumidity => 3.0..100.1,
                    Quantity::Pressure => 95.0..106.0,
                    other => panic!("{other:?}"),
                };
                assert!(possible.contains(&value), "{} {:?} {value}", local(at_ms), one.quantity);
            }
        }
    }
}
