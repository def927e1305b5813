//! Hourly roll-ups: 168 hours of a week, in the hours of the site's standard offset.
//!
//! Sound readings only. A reading holds until the next one, at most twice the probe's usual interval; an hour's mean
//! is weighted by the time its values held, its lowest and highest are over the values that held in it.
//!
//! Form 1 of the row: form byte · seconds covered of every hour · and of the hours with any: lowest, highest, mean in
//! sixteenths of a tick · CRC-32 over the numbers of the row and all of it.

use super::bytes::{Spoilt, put_column, seal, unseal};
use super::merge::Kept;
use super::week::HOUR_MS;
use crate::reading::Grade;

const FORM: u8 = 1;
/// Hours in a week.
pub(super) const HOURS: usize = 168;

/// One hour, in ticks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct HourTicks {
    /// Seconds of the hour in which a value held; the rest means nothing where it is 0.
    pub(super) covered_s: u32,
    pub(super) min: i32,
    pub(super) max: i32,
    /// Sixteenths of a tick.
    pub(super) mean_16: i64,
}

/// A sum in the making.
#[derive(Clone, Copy)]
struct Gathering {
    min: i32,
    max: i32,
    weighted: i128,
    covered_ms: i64,
}

/// Rolls up the hours from `start_ms` on; `kept` is in measured order and begins early enough to hold into the first.
pub(super) fn roll(kept: &[Kept], start_ms: i64, hours: usize, usual_ms: i64) -> Vec<HourTicks> {
    let empty = Gathering { min: i32::MAX, max: i32::MIN, weighted: 0, covered_ms: 0 };
    let mut gathered = vec![empty; hours];
    let end_ms = start_ms + hours as i64 * HOUR_MS;
    let mut sound = kept.iter().filter(|kept| kept.reason.grade() == Grade::Sound).peekable();
    while let Some(reading) = sound.next() {
        let next_ms = sound.peek().map_or(i64::MAX, |next| next.at_ms);
        let until = next_ms.min(reading.at_ms.saturating_add(usual_ms.saturating_mul(2))).min(end_ms);
        let mut from = reading.at_ms.max(start_ms);
        while from < until {
            let index = (from - start_ms) / HOUR_MS;
            let to = until.min(start_ms + (index + 1) * HOUR_MS);
            let hour = &mut gathered[index as usize];
            hour.min = hour.min.min(reading.ticks);
            hour.max = hour.max.max(reading.ticks);
            hour.weighted += i128::from(reading.ticks) * i128::from(to - from);
            hour.covered_ms += to - from;
            from = to;
        }
    }
    gathered.iter().map(finish).collect()
}

fn finish(gathered: &Gathering) -> HourTicks {
    let covered_s = ((gathered.covered_ms + 500) / 1000) as u32;
    if covered_s == 0 {
        return HourTicks::default();
    }
    let covered = i128::from(gathered.covered_ms);
    let mean_16 = (gathered.weighted * 32 + covered).div_euclid(2 * covered) as i64;
    HourTicks { covered_s, min: gathered.min, max: gathered.max, mean_16 }
}

/// The roll-ups of the row with the numbers `row`.
pub(super) fn encode(row: &[i64], hours: &[HourTicks]) -> Vec<u8> {
    let mut out = vec![FORM];
    put_column(&mut out, &hours.iter().map(|hour| hour.covered_s).collect::<Vec<u32>>());
    let covered: Vec<&HourTicks> = hours.iter().filter(|hour| hour.covered_s > 0).collect();
    put_column(&mut out, &covered.iter().map(|hour| hour.min).collect::<Vec<i32>>());
    put_column(&mut out, &covered.iter().map(|hour| hour.max).collect::<Vec<i32>>());
    put_column(&mut out, &covered.iter().map(|hour| hour.mean_16).collect::<Vec<i64>>());
    seal(&mut out, row);
    out
}

/// The hours in the row with the numbers `row`.
pub(super) fn decode(row: &[i64], body: &[u8]) -> Result<Vec<HourTicks>, Spoilt> {
    let mut bytes = unseal(body, row)?;
    if bytes.byte()? != FORM {
        return Err(Spoilt::Unknown);
    }
    let seconds = bytes.column::<u32>(HOURS)?;
    let covered = seconds.iter().filter(|seconds| **seconds > 0).count();
    let (min, max) = (bytes.column::<i32>(covered)?, bytes.column::<i32>(covered)?);
    let mean = bytes.column::<i64>(covered)?;
    let mut columns = min.into_iter().zip(max).zip(mean);
    let hour = |covered_s| {
        let ((min, max), mean_16) = if covered_s > 0 { columns.next() } else { None }.unwrap_or_default();
        HourTicks { covered_s, min, max, mean_16 }
    };
    Ok(seconds.into_iter().map(hour).collect())
}
