//! Whether a probe still is where it was said to hang, and still the same one.
//!
//! A probe that is carried, hosed or taken indoors goes on telling the truth, of another place. What gives it away is the
//! step: within an hour it says something else, and those that hang beside it do not. One chip put in another's place is
//! known by its number, where chips have one. Neither can be set right without the grower, so it is asked, and the answer
//! is the note of where the probe hangs now.
//!
//! The lines were set by the ten sensors of the tunnel record (see `beside`): by night none of the sound ones ever changed
//! by 3.3 °C more than one beside it within an hour, though the air itself fell by 4; by day, with the sun wandering over
//! them, none by 14.5, though the air itself rose by 21.

use agronomy::series::MS_PER_HOUR;

use super::beside::Neighbour;
use crate::almanac::shape::median;
use crate::keeper::tracks::Taken;
use crate::reading::Grade;

/// So much more than those beside it no probe changes within an hour of the night, °C (own choice, from the record).
const NIGHT_C: f64 = 4.0;
/// And of the day, °C (own choice, from the record).
const DAY_C: f64 = 15.0;
/// In the open, with none beside it, it changes by no more within an hour of the night, °C (own choice: the hardest true
/// fall of a year at the climate station of the test records is 7.9).
const LONE_C: f64 = 12.0;
/// Rising by as much within an hour, one under cover is warmed, °C (own choice).
const HEATED_C: f64 = 1.0;
/// What is compared are two half hours, an hour apart.
const SPAN_MS: i64 = MS_PER_HOUR / 2;
/// Both lie in the night (which begins at nine) from this hour of standard time on.
pub(super) const NIGHT_FROM_H: f64 = 22.5;

/// Another chip than the one that was known answers as a probe.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NewChip<'a> {
    /// Its number.
    pub serial: u32,
    /// The probe as which it answered before.
    pub was: Option<&'a str>,
}

/// How a probe's course broke off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Jump<'a> {
    /// By how much it changed within an hour, °C.
    pub(super) by_c: f64,
    /// A probe beside it that did not.
    pub(super) beside: Option<&'a str>,
}

/// Whether a probe's air temperature changed within the last hour as no air does. `night`: no sun was
/// on it meanwhile.
pub(super) fn jump<'a>(
    taken: &[Taken],
    neighbours: &[Neighbour<'a>],
    covered: bool,
    now_ms: i64,
    night: bool,
) -> Option<Jump<'a>> {
    let by_c = shift(taken, now_ms)?;
    let beside = neighbours.iter().filter(|it| !it.outside);
    let others: Vec<_> = beside.filter_map(|it| Some((it.probe, shift(it.taken, now_ms)?))).collect();
    if others.is_empty() {
        // Under cover a heater warms as fast.
        return (night && !covered && by_c.abs() > LONE_C).then_some(Jump { by_c, beside: None });
    }
    let line_c = if night { NIGHT_C } else { DAY_C };
    // What both rise under cover a heater does, and it is nearer to one.
    let heated = |its_c: f64| covered && by_c > 0.0 && its_c >= HEATED_C;
    let strays = |its_c: f64| (by_c - its_c).abs() > line_c && by_c.abs() > its_c.abs() && !heated(its_c);
    let against: Vec<_> = others.iter().filter(|(_, its_c)| strays(*its_c)).collect();
    let (probe, _) = against.first()?;
    (2 * against.len() > others.len()).then_some(Jump { by_c, beside: Some(probe) })
}

/// The last half hour less the one an hour before it, °C: the middle of at least two sound readings each, so that a spike
/// is no step.
fn shift(taken: &[Taken], now_ms: i64) -> Option<f64> {
    let middle = |until_ms: i64| {
        let span = until_ms - SPAN_MS..until_ms;
        let sound = taken
            .iter()
            .filter(|(at, _, reason)| *at > span.start && *at <= span.end && reason.grade() == Grade::Sound);
        let mut values: Vec<f64> = sound.map(|(_, value, _)| *value).collect();
        if values.len() < 2 { None } else { median(&mut values) }
    };
    Some(middle(now_ms)? - middle(now_ms - MS_PER_HOUR)?)
}
