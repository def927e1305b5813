//! A probe beside others: what it says may be believable by itself and still not be the air of its place.
//!
//! Both lines were set by a record of eight sound and four failing sensors in one plastic tunnel, a reading each quarter
//! of an hour for a year: none of the sound ones ever jumped or strayed so far, and the failing ones did so within a
//! day of leaving the others.

use agronomy::series::MS_PER_HOUR;

use crate::keeper::tracks::Taken;
use crate::reading::Grade;

/// Further from one reading to the next than any door or cloud brings the air, °C (own choice, from the record).
const LEAP_C: f64 = 15.0;
/// Two readings further apart in time say nothing of a leap, ms.
const LEAP_MS: i64 = 30 * 60_000;
/// Two probes of one place this far apart for three hours of the night, when no sun is on either, °C (AGRONOMY practice:
/// two sensors in still night air).
const NIGHT_C: f64 = 3.0;
/// And by day, °C (own choice, from the record: sun, height and draught make half of it).
const DAY_C: f64 = 8.0;
/// The night in which probes are compared is over at this hour of standard time, and began three hours before midnight.
const MORNING_H: f64 = 6.0;

/// Another probe of air: of the same place, or in the open.
#[derive(Clone, Copy, Debug)]
pub struct Neighbour<'a> {
    /// Its name.
    pub probe: &'a str,
    /// Whether it hangs in the open, and the one looked at under cover.
    pub outside: bool,
    /// Its readings of the last twelve hours, of any grade, in order.
    pub taken: &'a [Taken],
}

/// How a probe differs from a neighbour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Apart<'a> {
    /// From which.
    pub(super) from: Neighbour<'a>,
    /// By how much at least in each of the last three hours, °C; negative: it is colder.
    pub(super) by_c: f64,
}

impl PartialEq for Neighbour<'_> {
    fn eq(&self, other: &Self) -> bool {
        (self.probe, self.outside) == (other.probe, other.outside)
    }
}

/// The largest leap from one sound reading to the next in the last three hours, °C, where one is too large.
pub(super) fn leap(taken: &[Taken], now_ms: i64) -> Option<f64> {
    let lately = taken.iter().filter(|(at, _, reason)| {
        *at > now_ms - super::LOOKED_AT_MS && *at <= now_ms && reason.grade() == Grade::Sound
    });
    let lately: Vec<_> = lately.collect();
    let leaps = lately.windows(2).filter(|two| two[1].0 - two[0].0 <= LEAP_MS);
    let widest = leaps.map(|two| two[1].1 - two[0].1).max_by(|a, b| a.abs().total_cmp(&b.abs()));
    widest.filter(|leap| leap.abs() > LEAP_C)
}

/// Means of the last three hours, the newest first, of at least two sound readings each.
fn hours(taken: &[Taken], now_ms: i64) -> Option<[f64; 3]> {
    let mean = |back: i64| {
        let hour = now_ms - (back + 1) * MS_PER_HOUR..now_ms - back * MS_PER_HOUR;
        let sound = taken
            .iter()
            .filter(|(at, _, reason)| *at > hour.start && *at <= hour.end && reason.grade() == Grade::Sound);
        let values: Vec<f64> = sound.map(|(_, value, _)| *value).collect();
        (values.len() >= 2).then(|| values.iter().sum::<f64>() / values.len() as f64)
    };
    Some([mean(0)?, mean(1)?, mean(2)?])
}

/// By how much one differs from the other at least in each of the last three hours, °C; none where it is now this side,
/// now that.
fn apart_c(taken: &[Taken], other: &[Taken], now_ms: i64) -> Option<f64> {
    let (own, other) = (hours(taken, now_ms)?, hours(other, now_ms)?);
    let differences = [own[0] - other[0], own[1] - other[1], own[2] - other[2]];
    let one_side = differences.iter().all(|it| it.signum() == differences[0].signum());
    one_side.then(|| differences.into_iter().min_by(|a, b| a.abs().total_cmp(&b.abs()))).flatten()
}

/// From which neighbour a probe is further apart than the air of one place can be, `hour` by standard time.
///
/// Of two nobody knows which is wrong, and it is said of the one later in the alphabet; of more, of the one that stands
/// against most. Under cover it is colder than outside by night only where probes were exchanged, or one is wrong.
pub(super) fn apart<'a>(
    probe: &str,
    taken: &[Taken],
    neighbours: &[Neighbour<'a>],
    now_ms: i64,
    hour: f64,
) -> Option<Apart<'a>> {
    let night = !(MORNING_H..24.0).contains(&hour);
    let strays = |it: Neighbour<'a>| {
        let by_c = apart_c(taken, it.taken, now_ms)?;
        let line_c = if night { NIGHT_C } else { DAY_C };
        let stray = if it.outside { night && by_c < -line_c } else { by_c.abs() > line_c };
        stray.then_some(Apart { from: it, by_c })
    };
    let (outside, beside): (Vec<_>, Vec<_>) =
        neighbours.iter().copied().partition(|it: &Neighbour<'_>| it.outside);
    let against: Vec<_> = beside.iter().copied().filter_map(strays).collect();
    let alone = match beside.len() {
        1 => against.first().is_some_and(|it| it.from.probe < probe),
        all => 2 * against.len() > all,
    };
    if alone { against.first().copied() } else { outside.into_iter().find_map(strays) }
}
