//! Grading: what each reading is worth, decided once, when it comes in.

use agronomy::quantity::{Quantity, Surroundings};

use super::tracks::Known;
use crate::reading::{Heard, Reading, Reason, SATURATED_PCT};

/// How far after the trusted clock a stamp may lie, ms.
pub(super) const FUTURE_MS: i64 = 120_000;
/// Stamps before 2000-01-01 are a node's reset, and stamps past the year 9999 nonsense: no times, UTC ms.
const STAMPS_MS: std::ops::Range<i64> = 946_684_800_000..253_402_300_800_000;

/// What grading needs to know besides the reading.
pub struct Circumstances {
    /// When it arrived, UTC ms (or monotonic ms while the clock is not trusted).
    pub arrived_ms: i64,
    /// Whether the wall clock is trusted: only then can a stamp lie in the future.
    pub trusted: bool,
    /// What is around the probe: air may pass 65 °C under cover, and so may the inside of a heap.
    pub around: Surroundings,
    /// The probe's own limits, where the site or a record states them.
    pub limits: Option<(f64, f64)>,
    /// What is known of an earlier reading at the same moment.
    pub known: Known,
}

/// The time of its own that was heard with a value, where it can be one, UTC ms.
pub fn stamp(heard: &Heard) -> Option<i64> {
    heard.measured_ms.filter(|stamp| STAMPS_MS.contains(stamp))
}

/// Grades what was heard.
///
/// A time of its own is kept as stamped; a bare number is dated by its arrival, unless it did not arrive live. So is one
/// whose stamp lies in the future or before 2000: the sender's clock is fast, or was never set.
pub fn grade(heard: &Heard, circumstances: &Circumstances) -> Reading {
    let (at_ms, mut reason) = match stamp(heard) {
        Some(stamp) if circumstances.trusted && stamp > circumstances.arrived_ms + FUTURE_MS => {
            // What arrives live is of now, whatever the sender's clock says.
            if heard.stale {
                (stamp, Reason::FromTheFuture)
            } else {
                (circumstances.arrived_ms, Reason::SendersClock)
            }
        }
        Some(stamp) => (stamp, Reason::None),
        None if heard.stale => (circumstances.arrived_ms, Reason::NoTime),
        None if heard.measured_ms.is_some() => (circumstances.arrived_ms, Reason::SendersClock),
        None => (circumstances.arrived_ms, Reason::None),
    };
    let Some(value) = heard.value.filter(|value| value.is_finite()) else {
        return reading(heard, 0.0, at_ms, Reason::Missing);
    };
    let value = ticked(value, heard.quantity);
    if !possible(heard.quantity, value, circumstances) {
        return reading(heard, value, at_ms, Reason::OutOfRange);
    }
    let value = if heard.quantity == Quantity::RelativeHumidity { value.clamp(0.0, 100.0) } else { value };
    if reason == Reason::None || reason == Reason::SendersClock {
        reason = match circumstances.known {
            Known::Value(known) if known == value => Reason::Repeated,
            Known::Value(_) => Reason::SameTimeOtherValue,
            Known::Nothing | Known::Forgotten if saturated(heard.quantity, value) => Reason::Saturated,
            Known::Nothing | Known::Forgotten => reason,
        };
    }
    reading(heard, value, at_ms, reason)
}

/// What a reading is worth in the sums of the edition in force: as it was graded when it came, but by the limits that
/// probes have now. Refused by limits it once had, it counts after all; past those it has now, it does not.
pub fn regraded(
    reading: &Reading,
    limits: Option<(f64, f64)>,
    around: impl FnOnce() -> Surroundings,
) -> Reason {
    let within = limits.is_none_or(|(low, high)| (low..=high).contains(&reading.value));
    match reading.reason {
        Reason::OutOfRange if within => {
            let humid = reading.quantity == Quantity::RelativeHumidity;
            let possible = reading.quantity.hard_range(around()).contains(&reading.value);
            match possible {
                // Past 100 % it was not only the limits that spoke against it.
                true if humid && !(0.0..=100.0).contains(&reading.value) => Reason::OutOfRange,
                true if saturated(reading.quantity, reading.value) => Reason::Saturated,
                true => Reason::None,
                false => Reason::OutOfRange,
            }
        }
        Reason::None | Reason::Saturated | Reason::SameTimeOtherValue if !within => Reason::OutOfRange,
        reason => reason,
    }
}

fn reading(heard: &Heard, value: f64, at_ms: i64, reason: Reason) -> Reading {
    Reading { probe: heard.probe.clone(), quantity: heard.quantity, value, at_ms, reason }
}

/// The value as the ledger keeps it: whole ticks of the quantity.
fn ticked(value: f64, quantity: Quantity) -> f64 {
    crate::almanac::day_page::rounded(value, quantity.decimals())
}

fn possible(quantity: Quantity, value: f64, circumstances: &Circumstances) -> bool {
    let own = circumstances.limits.is_none_or(|(low, high)| (low..=high).contains(&value));
    own && quantity.hard_range(circumstances.around).contains(&value)
}

fn saturated(quantity: Quantity, value: f64) -> bool {
    quantity == Quantity::RelativeHumidity && value >= SATURATED_PCT
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: i64 = 1_700_000_000_000;

    fn graded(value: Option<f64>, measured_ms: Option<i64>, stale: bool, known: Known) -> Reason {
        let heard =
            Heard { probe: "post".into(), quantity: Quantity::RelativeHumidity, value, measured_ms, stale };
        let circumstances = Circumstances {
            arrived_ms: NOW,
            trusted: true,
            around: Surroundings::UnderCover,
            limits: None,
            known,
        };
        grade(&heard, &circumstances).reason
    }

    #[test]
    fn each_doubt_has_its_reason() {
        let live = |value| graded(Some(value), Some(NOW), false, Known::Nothing);
        assert_eq!(live(55.0), Reason::None);
        assert_eq!(live(97.0), Reason::Saturated);
        assert_eq!(live(105.0), Reason::Saturated, "100 to 105 is read as 100");
        assert_eq!(live(105.1), Reason::OutOfRange);
        assert_eq!(graded(None, Some(NOW), false, Known::Nothing), Reason::Missing);
        assert_eq!(graded(Some(f64::NAN), Some(NOW), false, Known::Nothing), Reason::Missing);
        assert_eq!(graded(Some(55.0), Some(NOW), false, Known::Value(55.0)), Reason::Repeated);
        assert_eq!(graded(Some(55.0), Some(NOW), false, Known::Value(56.0)), Reason::SameTimeOtherValue);
        assert_eq!(graded(Some(55.0), Some(NOW + 120_000), false, Known::Nothing), Reason::None);
        assert_eq!(graded(Some(55.0), Some(NOW + 120_001), true, Known::Nothing), Reason::FromTheFuture);
        assert_eq!(graded(Some(55.0), Some(NOW + 120_001), false, Known::Nothing), Reason::SendersClock);
        assert_eq!(graded(Some(55.0), Some(60_000), false, Known::Nothing), Reason::SendersClock);
        assert_eq!(graded(Some(55.0), Some(60_000), true, Known::Nothing), Reason::NoTime);
        assert_eq!(graded(Some(55.0), Some(i64::MAX), false, Known::Nothing), Reason::SendersClock);
        assert_eq!(graded(Some(55.0), None, true, Known::Nothing), Reason::NoTime);
        assert_eq!(graded(Some(55.0), None, false, Known::Nothing), Reason::None);
    }
}
