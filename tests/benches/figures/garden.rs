//! Twenty made series and the ledger they go into.

use std::path::Path;

use agronomy::quantity::Quantity;
use glasshour::ledger::{Commit, Founding, Ledger};
use glasshour::reading::{ProbeName, Reading, Reason};

use super::air::Air;

/// A minute, ms.
pub(crate) const MINUTE_MS: i64 = 60_000;
/// A day, ms.
pub(crate) const DAY_MS: i64 = 86_400_000;
/// Batches older than this are compacted by the service, ms.
pub(crate) const SETTLED_MS: i64 = 2 * DAY_MS;
/// A moment of an invented year, UTC ms: 2031-03-03T00:00:00Z, a Monday.
pub(crate) const MONDAY_MS: i64 = 1_930_262_400_000;

/// Instruments that all speak once a minute, on the minute.
pub(crate) struct Garden {
    probes: Vec<(ProbeName, Air)>,
    humid: bool,
}

impl Garden {
    /// Twenty probes of air temperature, from a moment on: as the design measured storage.
    pub(crate) fn thermometers(from_ms: i64) -> Self {
        Self { probes: probes(20, from_ms), humid: false }
    }

    /// Ten probes of air temperature and humidity, named as in [`super::product::site`].
    pub(crate) fn pairs(from_ms: i64) -> Self {
        Self { probes: probes(10, from_ms), humid: true }
    }

    /// Adds the twenty readings of the next minute, which is to be `at_ms`.
    pub(crate) fn minute(&mut self, at_ms: i64, readings: &mut Vec<Reading>) {
        for (probe, air) in &mut self.probes {
            let minute = air.next();
            let mut push = |quantity, value| {
                readings.push(Reading { probe: probe.clone(), quantity, value, at_ms, reason: Reason::None });
            };
            push(Quantity::AirTemperature, minute.t_c);
            if self.humid {
                push(Quantity::RelativeHumidity, minute.rh_pct);
            }
        }
    }
}

fn probes(count: u64, from_ms: i64) -> Vec<(ProbeName, Air)> {
    (0..count).map(|number| (format!("p{number}").into(), Air::new(number, from_ms / MINUTE_MS))).collect()
}

/// A ledger that a garden is written into.
pub(crate) struct Book {
    /// The ledger.
    pub(crate) ledger: Ledger,
    garden: Garden,
    boot: i64,
    /// The next minute, UTC ms.
    pub(crate) now_ms: i64,
}

impl Book {
    /// Opens it in a folder; days are those of the offset `+01:00`.
    pub(crate) fn open(folder: &Path, garden: Garden, from_ms: i64) -> Self {
        let founding = Founding { offset_ms: 3_600_000, program: "figures".to_owned() };
        let mut ledger = Ledger::open(folder, &founding).expect("a ledger in a new folder");
        let boot = ledger.begin_boot(0, Some((from_ms, "figures"))).expect("room for a boot");
        for number in 0..20 {
            ledger.set_usual_interval(&format!("p{number}"), MINUTE_MS);
        }
        Self { ledger, garden, boot, now_ms: from_ms }
    }

    /// Writes the next minutes in one durable commit, as the keeper would, and folds the log when it is long.
    pub(crate) fn commit(&mut self, minutes: i64) {
        let mut readings = Vec::new();
        for _ in 0..minutes {
            self.garden.minute(self.now_ms, &mut readings);
            self.now_ms += MINUTE_MS;
        }
        let mut commit = Commit::empty(self.boot, self.now_ms, self.now_ms);
        commit.readings = &readings;
        self.ledger.commit(&commit).expect("room for a commit");
        self.ledger.checkpoint().expect("room for a checkpoint");
    }

    /// Compacts what is older than the service leaves in batches.
    pub(crate) fn compact(&mut self) {
        self.ledger.compact(self.now_ms - SETTLED_MS).expect("room for chunks");
    }
}
