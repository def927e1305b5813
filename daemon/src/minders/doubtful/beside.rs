//! A probe beside others: what it says may be believable by itself and still not be the air of its place.
//!
//! The lines were set by a record of ten sensors in one plastic tunnel, a reading each quarter of an hour for a year.
//! Four of them failed, and each was told within a day; of the other six none ever jumped or strayed so far, but for
//! two winter noons of one of them with the low sun on it.
//!
//! By day sun, height and draught part what agrees by night, so a probe that was told to stand apart agrees again only
//! when it does so by night.

use agronomy::series::MS_PER_HOUR;

use crate::keeper::tracks::Taken;
use crate::reading::Grade;

/// Further from one reading to the next than any door or cloud brings the air, °C (own choice, from the record).
const LEAP_C: f64 = 15.0;
/// Two readings further apart in time say nothing of a leap, ms (the record has one each quarter of an hour).
const LEAP_MS: i64 = 20 * 60_000;
/// Two probes of one place this far apart for three hours of the night, when no sun is on either, °C (AGRONOMY practice:
/// two sensors in still night air).
const NIGHT_C: f64 = 3.0;
/// And by day, °C (own choice, from the record: sun, height and draught make half of it).
const DAY_C: f64 = 8.0;
/// By so much less than at night's line they must differ to agree again, °C (own choice).
const MARGIN_C: f64 = 1.0;
/// On nights as warm as this outside a house may be colder without being in doubt: its pads cool it, °C (own choice).
const PADS_C: f64 = 20.0;
/// The night in which probes are compared is over at this hour of standard time, or at sunrise where that is earlier, and
/// began three hours before midnight.
pub(super) const MORNING_H: f64 = 6.0;

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

/// By how much a probe's hours differ from a neighbour's, °C; none where the two cannot be compared.
fn differences(taken: &[Taken], other: &Neighbour<'_>, now_ms: i64) -> Option<[f64; 3]> {
    let (own, beside) = (hours(taken, now_ms)?, hours(other.taken, now_ms)?);
    if other.outside && beside.iter().any(|t_c| *t_c > PADS_C) {
        return None;
    }
    Some([own[0] - beside[0], own[1] - beside[1], own[2] - beside[2]])
}

/// By how much one differs from the other at least in each of the last three hours, °C; 0 where it is now this side, now
/// that.
fn apart_c(differences: [f64; 3]) -> f64 {
    let one_side = differences.iter().all(|it| it.signum() == differences[0].signum());
    let least = differences.into_iter().fold(f64::INFINITY, |least, it| least.min(it.abs()));
    if one_side { least.copysign(differences[0]) } else { 0.0 }
}

/// From which neighbour a probe is further apart than the air of one place can be. `night`: no sun was on them for three
/// hours.
///
/// Of two nobody knows which is wrong, and it is said of the one later in the alphabet; of more, of the one that stands
/// against most. Under cover it is colder than outside by night only where probes were exchanged, one is wrong, or on a
/// hot night its pads cool it; so hot nights are let be.
pub(super) fn apart<'a>(
    probe: &str,
    taken: &[Taken],
    neighbours: &[Neighbour<'a>],
    now_ms: i64,
    night: bool,
) -> Option<Apart<'a>> {
    let strays = |it: Neighbour<'a>| {
        let by_c = apart_c(differences(taken, &it, now_ms)?);
        let line_c = if night { NIGHT_C } else { DAY_C };
        let stray = if it.outside { night && by_c < -line_c } else { by_c.abs() > line_c };
        stray.then_some(Apart { from: it, by_c })
    };
    let heard = neighbours.iter().copied().filter(|it| !it.taken.is_empty());
    let (outside, beside): (Vec<_>, Vec<_>) = heard.partition(|it: &Neighbour<'_>| it.outside);
    let against: Vec<_> = beside.iter().copied().filter_map(strays).collect();
    let alone = match beside.len() {
        1 => against.first().is_some_and(|it| it.from.probe < probe),
        all => 2 * against.len() > all,
    };
    if alone { against.first().copied() } else { outside.into_iter().find_map(strays) }
}

/// Whether a probe that was told to stand apart agrees again: through three hours of night, by a margin, with half of
/// those beside it at least and with each outside. One that is not heard does not agree; where none hangs to compare
/// it with any more there is nothing left to say.
pub(super) fn agrees(taken: &[Taken], neighbours: &[Neighbour<'_>], now_ms: i64, night: bool) -> bool {
    let line_c = NIGHT_C - MARGIN_C;
    let near = |it: &&Neighbour<'_>| {
        let differences = differences(taken, it, now_ms);
        let fits = |by_c: f64| if it.outside { by_c > -line_c } else { by_c.abs() < line_c };
        differences.is_some_and(|three| three.into_iter().all(fits))
    };
    let (outside, beside): (Vec<_>, Vec<_>) = neighbours.iter().partition(|it| it.outside);
    let agreeing = beside.iter().copied().filter(near).count();
    neighbours.is_empty() || night && 2 * agreeing >= beside.len() && outside.iter().all(near)
}
