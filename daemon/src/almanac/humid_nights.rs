//! How humid the last nights were by each probe, and whether another probe vouches that they were damp. Kept in memory for
//! the last weeks, and read again from the ledger at a start.
//!
//! That air was near saturation one probe can say of another's place only through the vapour in it: the same vapour is
//! fewer percent where it is warmer. So a damp hour is one in which the other is at saturation, and its vapour would
//! saturate the air of this one too.

use std::collections::{BTreeMap, VecDeque};
use std::ops::Range;

use agronomy::quantity::Quantity;
use agronomy::series::{MS_PER_DAY, MS_PER_HOUR};
use agronomy::units::{Celsius, RelativeHumidity};
use agronomy::vapour::{saturation_pressure, vapour_pressure};

use super::days_seen::keep;
use super::pages::Readings;
use crate::calendar::{Calendar, Day};
use crate::entry::PlaceKind;
use crate::ground::{Ground, Hang};
use crate::reading::SATURATED_PCT;

/// A night begins so long before midnight of standard time, and ends so long after it, ms.
const EVENING_MS: i64 = 3 * MS_PER_HOUR;
const MORNING_MS: i64 = 6 * MS_PER_HOUR;
/// So many hours of a night make it damp (own choice).
const DAMP_HOURS: usize = 3;
/// A witness that was never below this in the day before may have a film of water on it, % (practice).
const DRY_PCT: f64 = 90.0;
/// Share of a night's hours that must be known.
const KNOWN: f64 = 0.75;

/// A night by one probe.
#[derive(Clone, Debug, PartialEq)]
pub struct HumidNight {
    /// The day in whose morning it ended.
    pub day: Day,
    /// When it began, UTC ms.
    pub from_ms: i64,
    /// The most that the probe said, %.
    pub top_pct: f64,
    /// The probe that says it was damp; none: nobody does.
    pub damp_by: Option<String>,
}

/// The last nights of every probe of humidity.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct HumidNights(BTreeMap<String, VecDeque<HumidNight>>);

impl HumidNights {
    /// Keeps a night, oldest first.
    pub fn keep(&mut self, probe: &str, night: HumidNight) {
        keep(&mut self.0, probe, night, |it| it.day);
    }

    /// The nights of a probe, the last first.
    pub fn of(&self, probe: &str) -> impl Iterator<Item = &HumidNight> {
        self.0.get(probe).into_iter().flatten().rev()
    }
}

/// Looks at the night that ended in the morning of a day, by every probe that has a witness: another in its place, or
/// outside where it hangs under cover.
pub fn humid_nights(
    calendar: &Calendar,
    ground: &Ground,
    readings: &dyn Readings,
    day: Day,
) -> Vec<(String, HumidNight)> {
    let start = calendar.start_of(day);
    let night = start - EVENING_MS..start + MORNING_MS;
    let through =
        |hang: &&Hang| hang.from_ms <= night.start && hang.until_ms.is_none_or(|until| until >= night.end);
    let hung: Vec<&Hang> = ground.hangs.iter().filter(through).collect();
    let kind = |hang: &Hang| ground.place(&hang.place).map(|it| it.kind);
    let seen = hung.iter().filter_map(|hang| {
        let covered = kind(hang).is_some_and(PlaceKind::under_cover);
        let beside = |it: &&&Hang| it.place == hang.place || covered && kind(it) == Some(PlaceKind::Outdoors);
        let others = hung.iter().filter(|it| it.probe != hang.probe).filter(beside);
        let mut others = others.map(|it| it.probe.as_str()).peekable();
        others.peek()?;
        Some((hang.probe.clone(), humid_night(readings, &hang.probe, others, day, &night)?))
    });
    seen.collect()
}

/// The same by one probe; none where too little of it is known.
pub fn humid_night<'a>(
    readings: &dyn Readings,
    probe: &str,
    mut witnesses: impl Iterator<Item = &'a str>,
    day: Day,
    night: &Range<i64>,
) -> Option<HumidNight> {
    let humidity = readings.sound(probe, Quantity::RelativeHumidity, night.clone());
    let known = hours(&humidity, night).len() as f64 * MS_PER_HOUR as f64;
    if known < KNOWN * (night.end - night.start) as f64 {
        return None;
    }
    let top_pct = humidity.iter().map(|(_, pct)| *pct).reduce(f64::max)?;
    let air = hours(&readings.sound(probe, Quantity::AirTemperature, night.clone()), night);
    let damp_by = witnesses.find(|it| is_damp(readings, it, &air, night)).map(str::to_owned);
    Some(HumidNight { day, from_ms: night.start, top_pct, damp_by })
}

/// Whether a witness says that air of these hourly means was saturated for long enough.
fn is_damp(readings: &dyn Readings, witness: &str, air: &BTreeMap<i64, f64>, night: &Range<i64>) -> bool {
    let of = |quantity, range: &Range<i64>| readings.sound(witness, quantity, range.clone());
    let before = night.end - MS_PER_DAY..night.start;
    if of(Quantity::RelativeHumidity, &before).iter().all(|(_, pct)| *pct >= DRY_PCT) {
        return false;
    }
    let humidity = hours(&of(Quantity::RelativeHumidity, night), night);
    let its_air = hours(&of(Quantity::AirTemperature, night), night);
    let damp = air.iter().filter(|(hour, here_c)| {
        let there = its_air.get(hour).zip(humidity.get(hour));
        there
            .and_then(|(there_c, pct)| here_pct(*there_c, *pct, **here_c))
            .is_some_and(|pct| pct >= SATURATED_PCT)
    });
    damp.count() >= DAMP_HOURS
}

/// How humid air of `here_c` is at most by what a witness says, %: the less of what that says and of what its vapour comes
/// to here.
fn here_pct(there_c: f64, pct: f64, here_c: f64) -> Option<f64> {
    let (there, here) = (Celsius::try_new(there_c).ok()?, Celsius::try_new(here_c).ok()?);
    let vapour = vapour_pressure(there, RelativeHumidity::try_new(pct).ok()?);
    Some(pct.min(100.0 * vapour.get() / saturation_pressure(here).get()))
}

/// Means of the hours of a night, by their numbers.
fn hours(readings: &[(i64, f64)], night: &Range<i64>) -> BTreeMap<i64, f64> {
    let mut sums = BTreeMap::<i64, (f64, f64)>::new();
    for (at_ms, value) in readings {
        let (sum, count) = sums.entry((at_ms - night.start) / MS_PER_HOUR).or_default();
        (*sum, *count) = (*sum + value, *count + 1.0);
    }
    sums.into_iter().map(|(hour, (sum, count))| (hour, sum / count)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_vapour_is_fewer_percent_where_it_is_warmer() {
        // FAO-56, table 2.3: 1.228 kPa at 10 °C, 1.313 at 11 °C (saturation vapour pressure).
        let warmer = here_pct(10.0, 100.0, 11.0).unwrap();
        assert!((warmer - 100.0 * 1.228 / 1.313).abs() < 0.1, "{warmer}");
        assert_eq!(here_pct(10.0, 98.0, 9.0), Some(98.0), "never more than the witness says");
    }

    #[test]
    fn nights_are_kept_for_thirty_days_the_last_first() {
        let night = |day| HumidNight { day, from_ms: 0, top_pct: 90.0, damp_by: None };
        let mut nights = HumidNights::default();
        (0..40).chain([39]).for_each(|day| nights.keep("post", night(day)));
        assert_eq!(
            nights.of("post").map(|it| it.day).collect::<Vec<_>>(),
            (10..40).rev().collect::<Vec<_>>()
        );
        assert_eq!(nights.of("ridge").count(), 0);
    }
}
