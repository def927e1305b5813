//! Stretches in which nothing sound was read at a place: what is not measured is not known, and is said as such.

use agronomy::series::MS_PER_HOUR;

use super::engine::Engine;
use crate::couriers::STEP_LIFE_MS;
use crate::entry::Step;
use crate::minders::heat::TOO_HOT;

/// Shorter stretches are no absence, ms: a probe that misses a few of its readings is told of elsewhere.
const SHORTEST_MS: i64 = MS_PER_HOUR;

/// Where nothing was held between readings (UTC ms, °C) of a usual interval, and until `now_ms` after the last.
pub(super) fn holes(air: &[(i64, f64)], interval_ms: i64, now_ms: i64) -> Vec<(i64, i64)> {
    let ends = air.iter().skip(1).map(|(at, _)| *at).chain([now_ms]);
    air.iter()
        .zip(ends)
        .map(|((at, _), next)| (at + 2 * interval_ms, next))
        .filter(|(from, until)| until > from)
        .collect()
}

impl Engine {
    /// The longest stretch of an hour or more, ended by a reading after `since_ms`, in which a place gave nothing sound
    /// (UTC ms); none while it is silent still, which is told by a notice of its own.
    pub(super) fn unread(&self, place: &str, since_ms: i64) -> Option<(i64, i64)> {
        let now_ms = self.now_ms();
        // A day before, so that the reading is there after which it fell silent.
        let (air, interval_ms) = self.air_of(place, since_ms - 24 * MS_PER_HOUR, now_ms + 1);
        let ended =
            |(_, until): &(i64, i64)| *until > since_ms && air.last().is_some_and(|it| it.0 >= *until);
        let long = |(from, until): &(i64, i64)| until - from >= SHORTEST_MS;
        let holes = holes(&air, interval_ms, now_ms).into_iter();
        holes.filter(ended).filter(long).max_by_key(|(from, until)| until - from)
    }

    /// Adds to what is told of a place's heat that it was not watched throughout: after a board that was off, a figure
    /// alone would sound as if nothing had been missed.
    pub(super) fn own_up(&self, steps: &mut [Step]) {
        for step in steps.iter_mut().filter(|step| step.minder == TOO_HOT) {
            let Some((from, until)) = self.unread(&step.place, step.at_ms - STEP_LIFE_MS) else { continue };
            let calendar = &self.site.calendar;
            let (from, until) = (calendar.clock(from), calendar.clock(until));
            step.text.push_str(&format!(" Nothing was read here from {from} to {until}."));
        }
    }
}
