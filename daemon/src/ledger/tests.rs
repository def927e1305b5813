//! Tests of the ledger as a whole.

mod answers;
mod durable;
mod faults;
mod happenings;
mod killed;
mod migrated;
mod tended;

use agronomy::quantity::Quantity;

use super::{Commit, Founding, Ledger};
use crate::reading::{Reading, Reason};

/// 2026-06-01T00:00:00Z (`date -u -d 2026-06-01 +%s`), a Monday.
pub(super) const JUNE: i64 = 1_780_272_000_000;
pub(super) const MINUTE: i64 = 60_000;
pub(super) const HOUR: i64 = 3_600_000;
pub(super) const DAY: i64 = 86_400_000;

pub(super) fn founding() -> Founding {
    Founding { offset_ms: HOUR, program: "glasshour test".to_owned() }
}

pub(super) fn air(probe: &str, at_ms: i64, value: f64) -> Reading {
    Reading { probe: probe.into(), quantity: Quantity::AirTemperature, value, at_ms, reason: Reason::None }
}

/// Commits readings at a wall time, in a boot that knew the time from the start.
pub(super) fn put(ledger: &mut Ledger, boot: i64, wall_ms: i64, readings: &[Reading]) -> i64 {
    let commit = Commit { readings, ..Commit::empty(boot, wall_ms, wall_ms - JUNE) };
    ledger.commit(&commit).unwrap().seq.unwrap()
}

pub(super) fn all(ledger: &Ledger, probe: &str) -> Vec<Reading> {
    ledger.readings(probe, Quantity::AirTemperature, 0..i64::MAX).unwrap()
}
