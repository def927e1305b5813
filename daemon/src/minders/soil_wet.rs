//! A soil moisture probe that jumps up although nobody is known to have watered: a burst pipe, a hose left on, a butt that
//! runs over.
//!
//! Soil dries slowly and gets wet at once, so a rise within the hour is water. Where none was noted and no rain was
//! measured, somebody forgot to note it, or it is a leak: it is asked once, to page and letter. By day a can that was not
//! noted is the likelier; at night nobody waters. What comes at the same hour as on one of the two days before is a
//! timer or a daily round, and no news. In the open nothing is said without a rain gauge.

use std::collections::VecDeque;

use agronomy::crop::Severity;
use agronomy::series::{MS_PER_DAY, MS_PER_HOUR};

use super::place_now::PlaceNow;
use super::soil_now::Rise;
use super::word::{Verdict, Word};
use crate::calendar::Calendar;

/// The name of the minder.
pub const SOIL_WET: &str = "soil-wet";

/// Least rise within an hour, % by volume (own choice: cheap probes wander by one or two).
const LEAST_PCT: f64 = 5.0;
/// Within this, ms.
const WITHIN_MS: i64 = MS_PER_HOUR;
/// It stands this long before it is said, ms: a probe that was touched falls back, and whoever watered has time to note it.
const DWELL_MS: i64 = MS_PER_HOUR / 2;
/// Water poured so long before a rise explains it, ms: it takes its time down to the probe (own choice).
pub const BEFORE_MS: i64 = 3 * MS_PER_HOUR;
/// A rise that was not said by then is not said any more, ms: it is no news, and memory does not reach to the same hour two
/// days before it.
const NEWS_MS: i64 = 4 * MS_PER_HOUR;
/// One that was said is asked about for a day, ms.
pub const ASKED_MS: i64 = MS_PER_DAY;
/// How far back readings are looked at, ms: two days before what is news, and an hour to both sides.
pub const LOOKED_MS: i64 = 2 * MS_PER_DAY + NEWS_MS + HABIT_MS;
/// Rises so near the same hour of two days are a habit, ms (own choice).
const HABIT_MS: i64 = MS_PER_HOUR;
/// Civil hours between which nobody waters (common practice: the quiet hours of the notices).
const NIGHT_H: (f64, f64) = (22.0, 5.0);

const CAUTION: &str = "Water and mains do not mix: keep off wet ground near sockets, pumps and cables until the power is \
                       off at the board.";

/// Every sudden rise in readings (UTC ms, %) in order of time: when it began, and from what. One that goes on is one.
pub fn sudden(readings: &[(i64, f64)]) -> Vec<(i64, f64)> {
    let mut rises: Vec<(i64, f64)> = Vec::new();
    let mut rising_until = i64::MIN;
    // The lowest of the last hour, by a queue in which each value is below those after it.
    let mut low: VecDeque<(i64, f64)> = VecDeque::new();
    for &(at, pct) in readings {
        while low.front().is_some_and(|(then, _)| *then < at - WITHIN_MS) {
            low.pop_front();
        }
        if let Some(&(_, from)) = low.front()
            && pct - from >= LEAST_PCT
        {
            if at > rising_until {
                rises.push((at, from));
            }
            rising_until = at + WITHIN_MS;
        }
        while low.back().is_some_and(|(_, then)| *then >= pct) {
            low.pop_back();
        }
        low.push_back((at, pct));
    }
    rises
}

/// The newest rise of a probe, where it stands still and is no habit. `readings`: as far back as is looked at, the newest
/// held at the moment.
pub fn standing(probe: &str, readings: &[(i64, f64)], at_ms: i64) -> Option<Rise> {
    let lately = readings.partition_point(|(at, _)| *at < at_ms - ASKED_MS - WITHIN_MS);
    // Most of the time there is none, and the days before need not be looked at.
    sudden(&readings[lately..]).last()?;
    let all = sudden(readings);
    let (from_ms, from_pct) = all.iter().copied().rfind(|(at, _)| *at > at_ms - ASKED_MS)?;
    let habit = |days: i64| {
        let then = from_ms - days * MS_PER_DAY;
        all.iter().any(|(at, _)| (at - then).abs() <= HABIT_MS)
    };
    let since = readings.partition_point(|(at, _)| *at < from_ms);
    let to_pct = readings[since..].iter().map(|(_, pct)| *pct).fold(from_pct, f64::max);
    let now_pct = readings.last()?.1;
    let stands = now_pct >= f64::midpoint(from_pct, to_pct);
    (stands && !habit(1) && !habit(2)).then(|| Rise { probe: probe.to_owned(), from_ms, from_pct, to_pct })
}

/// Judges a place by the rises that nothing explains; none where no probe measures moisture and nothing was told.
pub fn judge(
    now: &PlaceNow<'_>,
    rises: Option<&[Rise]>,
    at_ms: i64,
    calendar: &Calendar,
    told: bool,
) -> Option<Verdict> {
    let Some(rises) = rises else { return told.then(|| Verdict::unknown(SOIL_WET, now.place)) };
    let until_ms = if told { ASKED_MS } else { NEWS_MS };
    let is_due = |rise: &&Rise| (DWELL_MS..=until_ms).contains(&(at_ms - rise.from_ms));
    let Some(rise) = rises.iter().find(is_due) else {
        let text = format!("{}: what had risen is explained, has drained, or was a day ago.", now.name);
        return told.then(|| Verdict::clear(SOIL_WET, now.place, "No water unaccounted for.", text));
    };
    let hour = calendar.civil_hour_of(rise.from_ms);
    let by_night = hour >= NIGHT_H.0 || hour < NIGHT_H.1;
    let (severity, guess) = if by_night {
        (Severity::Moderate, "Nobody waters at that hour.")
    } else {
        (Severity::Minor, "If you watered, note it, and this is settled.")
    };
    let word = Word {
        planting: None,
        severity,
        push: false,
        joins_heat: false,
        title: format!("{}: look at tap, hose and drip line.", now.name),
        text: format!(
            "{}: probe {} rose from {:.0} to {:.0} % within an hour, since {}; no watering is noted{}. {guess} A leak \
             left running empties the butt and drowns roots within days.",
            now.name,
            rise.probe,
            rise.from_pct,
            rise.to_pct,
            calendar.civil_format(rise.from_ms, "%a %H:%M"),
            if now.kind.under_cover() { "" } else { " and no rain was measured" },
        ),
        caution: CAUTION,
    };
    Some(Verdict::word(SOIL_WET, now.place, word))
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTE: i64 = 60_000;

    /// A reading every ten minutes.
    fn tens(values: impl IntoIterator<Item = f64>) -> Vec<(i64, f64)> {
        values.into_iter().enumerate().map(|(at, pct)| (at as i64 * 10 * MINUTE, pct)).collect()
    }

    #[test]
    fn five_points_within_an_hour_are_sudden_and_the_same_over_two_hours_is_not() {
        let jump = [20.0, 20.0, 22.0, 25.0, 28.0, 31.0, 31.0];
        assert_eq!(sudden(&tens(jump)), [(30 * MINUTE, 20.0)], "one rise that goes on");
        let slowly = (0..13).map(|at| 20.0 + f64::from(at) * 5.0 / 12.0);
        assert!(sudden(&tens(slowly)).is_empty());
        // Two readings with two hours between them: it may have come slowly.
        assert!(sudden(&[(0, 20.0), (120 * MINUTE, 30.0)]).is_empty());
    }

    #[test]
    fn a_rise_stands_while_half_of_it_is_left_for_a_day_and_never_when_it_is_a_habit() {
        let day = |rise: bool, until: f64| {
            (0..144).map(
                move |at| if rise && at >= 36 { until.max(30.0 - f64::from(at - 36) * 0.05) } else { 20.0 },
            )
        };
        let readings = tens(day(false, 0.0).chain(day(false, 0.0)).chain(day(true, 26.0)));
        let onset = 2 * MS_PER_DAY + 6 * MS_PER_HOUR;
        let last = readings.last().unwrap().0;
        let rise = standing("spike", &readings, last).unwrap();
        assert_eq!((rise.from_ms, rise.from_pct, rise.to_pct), (onset, 20.0, 30.0));
        assert_eq!(standing("spike", &readings, onset + ASKED_MS), None, "a day is over");
        let drained = tens(day(false, 0.0).chain(day(true, 20.0)));
        assert_eq!(standing("spike", &drained, drained.last().unwrap().0), None);
        let daily = tens(day(true, 20.0).chain(day(false, 0.0)).chain(day(true, 26.0)));
        assert_eq!(standing("spike", &daily, last), None, "two days before at the same hour");
    }
}
