//! What was told beside what came.
//!
//! Of every day of the last month: the forecast that was last told before the day began, and what a place then had, by
//! the hour and at its highest and lowest. All of it is in the ledger: forecasts are entries, highs and lows stand in day
//! pages, and the hours' means are made from readings as days close, and again at a start.

use std::collections::BTreeMap;
use std::ops::Range;

use agronomy::series::{self, Held, MS_PER_DAY, MS_PER_HOUR};

use crate::calendar::{Calendar, Day};
use crate::entry::Forecast;

/// How long what was told and what came are remembered, days.
pub const REMEMBERED: Day = 30;
/// Hours of a day.
pub const HOURS: usize = 24;

/// Air temperature of each hour of a day, °C; none where the hour was not held.
pub type DayHours = [Option<f64>; HOURS];

/// Of each hour of a day what was told and what came, °C; none where either is not known.
pub type HourPairs = [Option<(f64, f64)>; HOURS];

/// A forecast that was told at a moment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// When it was noted, UTC ms.
    pub at_ms: i64,
    /// What it said.
    pub forecast: Forecast,
}

/// The forecasts of the last month, in the order they were told.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Outlooks(Vec<Told>);

impl Outlooks {
    /// Remembers one; those of more than a month before are forgotten, and of all but the newest the air alone is kept.
    pub fn take(&mut self, at_ms: i64, forecast: Forecast) {
        if let Some(Told { forecast: before, .. }) = self.0.last_mut() {
            (before.humidity, before.wind) = (Vec::new(), Vec::new());
            (before.light, before.rain) = (Vec::new(), Vec::new());
        }
        self.0.push(Told { at_ms, forecast });
        let keep_from = at_ms.saturating_sub((REMEMBERED + 8) * MS_PER_DAY);
        self.0.retain(|told| told.at_ms >= keep_from);
    }

    /// The newest that was told by a moment.
    pub fn newest(&self, now_ms: i64) -> Option<&Told> {
        self.0.iter().rev().find(|told| told.at_ms <= now_ms)
    }

    /// The newest that was told by a moment, and the one before it.
    pub fn newest_two(&self, now_ms: i64) -> (Option<&Told>, Option<&Told>) {
        let mut told = self.0.iter().rev().filter(|told| told.at_ms <= now_ms);
        (told.next(), told.next())
    }

    /// Those told by a moment and within so many ms before it, the newest first.
    pub fn back_from(&self, now_ms: i64, span_ms: i64) -> impl Iterator<Item = &Told> {
        let told = self.0.iter().rev().filter(move |told| told.at_ms <= now_ms);
        told.take_while(move |told| told.at_ms > now_ms - span_ms)
    }

    /// Air temperature at a moment as it was last told by another: what is past is not told again later, °C.
    pub fn air_at(&self, at_ms: i64, by_ms: i64) -> Option<f64> {
        let told = self.0.iter().rev().filter(|told| told.at_ms <= by_ms);
        told.take(16).find_map(|told| told.forecast.air_at(at_ms))
    }

    /// Whether none is remembered.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

/// Lowest and highest of a day, °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extremes {
    /// Lowest.
    pub low_c: f64,
    /// Highest.
    pub high_c: f64,
}

impl Extremes {
    /// Those of a forecast over a day; none where it does not tell all hours of it.
    pub fn told(forecast: &Forecast, day: &Range<i64>) -> Option<Self> {
        Self::of((0..HOURS as i64).map(|hour| forecast.air_at(day.start + hour * MS_PER_HOUR)))
    }

    /// Those of hours, if all are there.
    pub fn of(mut hours: impl Iterator<Item = Option<f64>>) -> Option<Self> {
        let none = Self { low_c: f64::INFINITY, high_c: f64::NEG_INFINITY };
        let all = hours.try_fold(none, |so_far, hour| {
            hour.map(|air| Self { low_c: so_far.low_c.min(air), high_c: so_far.high_c.max(air) })
        })?;
        (all.low_c <= all.high_c).then_some(all)
    }
}

/// A day as it was told and as it came.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DayPair {
    /// Which day.
    pub day: Day,
    /// How many days before it ended it was told: 1 the evening before.
    pub lead: u32,
    /// As told.
    pub told: Extremes,
    /// As it came.
    pub came: Extremes,
}

/// The days before `today` that a forecast was told for `lead` days ahead, oldest first.
pub fn pairs(
    outlooks: &Outlooks,
    came: &BTreeMap<Day, Extremes>,
    today: Day,
    lead: u32,
    calendar: &Calendar,
) -> Vec<DayPair> {
    let days = came.range(today - REMEMBERED..today);
    days.filter_map(|(day, came)| {
        let begun = calendar.start_of(*day);
        let told = outlooks.newest(begun - i64::from(lead.max(1) - 1) * MS_PER_DAY)?;
        let told = Extremes::told(&told.forecast, &(begun..begun + MS_PER_DAY))?;
        Some(DayPair { day: *day, lead, told, came: *came })
    })
    .collect()
}

/// What was told of the hours of a day before it began, beside what came.
pub fn hour_pairs(outlooks: &Outlooks, came: &DayHours, day_start_ms: i64) -> HourPairs {
    let told = outlooks.newest(day_start_ms);
    let mut pairs = [None; HOURS];
    for (hour, pair) in pairs.iter_mut().enumerate() {
        // The mean of an hour is that of its middle, as near as a forecast by the hour can say.
        let middle = day_start_ms + hour as i64 * MS_PER_HOUR + MS_PER_HOUR / 2;
        *pair = told.and_then(|told| told.forecast.air_at(middle)).zip(came[hour]);
    }
    pairs
}

/// The means of a day's hours, weighted by time; an hour that was held for less than half has none.
pub fn day_hours(air: &[Held], day_start_ms: i64) -> DayHours {
    let mut hours = [None; HOURS];
    for (hour, mean) in hours.iter_mut().enumerate() {
        let start = day_start_ms + hour as i64 * MS_PER_HOUR;
        let window = start..start + MS_PER_HOUR;
        let held: Vec<Held> = air.iter().filter_map(|held| held.within(&window)).collect();
        let length: i64 = held.iter().map(|held| held.end_ms - held.start_ms).sum();
        if length * 2 >= MS_PER_HOUR {
            *mean = series::time_weighted_mean(held.into_iter());
        }
    }
    hours
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// A forecast of whole days from the first midnight, each with a low at 04:00 and a high at 16:00, °C.
    pub(in super::super) fn days(first: Day, extremes: &[(f64, f64)]) -> Forecast {
        let air = extremes.iter().flat_map(|(low, high)| {
            (0..24).map(move |hour| {
                let share = 1.0 - f64::from((hour - 16_i32).abs().min(12)) / 12.0;
                libm::round((low + (high - low) * share) * 10.0) as i16
            })
        });
        Forecast {
            issued_ms: first * MS_PER_DAY,
            start_ms: first * MS_PER_DAY,
            step_min: 60,
            air: air.collect(),
            ..Forecast::default()
        }
    }

    #[test]
    fn a_day_is_compared_with_what_was_last_told_before_it_began() {
        let calendar = Calendar::fixed(0);
        let mut outlooks = Outlooks::default();
        outlooks.take(9 * MS_PER_DAY - 1, days(8, &[(10.0, 20.0), (10.0, 30.0), (10.0, 31.0)]));
        outlooks.take(10 * MS_PER_DAY - 1, days(9, &[(11.0, 28.0), (11.0, 33.0)]));
        outlooks.take(10 * MS_PER_DAY + 1, days(9, &[(11.0, 28.0), (11.0, 36.0)]));
        let came = BTreeMap::from([
            (9, Extremes { low_c: 12.0, high_c: 29.0 }),
            (10, Extremes { low_c: 12.0, high_c: 35.0 }),
        ]);
        let told = |lead: u32| -> Vec<(Day, f64)> {
            pairs(&outlooks, &came, 11, lead, &calendar)
                .iter()
                .map(|pair| (pair.day, pair.told.high_c))
                .collect()
        };
        assert_eq!(told(1), [(9, 30.0), (10, 33.0)], "what was told when the day had begun does not count");
        assert_eq!(told(2), [(10, 31.0)]);
        assert_eq!(told(5), []);
    }

    #[test]
    fn an_hour_that_was_told_is_paired_with_what_came_and_one_half_held_has_none() {
        let mut outlooks = Outlooks::default();
        outlooks.take(-1, days(0, &[(10.0, 34.0), (10.0, 34.0)]));
        let held = |from_min: i64, to_min: i64, value: f64| Held {
            start_ms: from_min * 60_000,
            end_ms: to_min * 60_000,
            value,
        };
        let came = day_hours(&[held(0, 60, 15.0), held(60, 80, 16.0), held(16 * 60, 17 * 60, 36.0)], 0);
        assert_eq!((came[0], came[1], came[16]), (Some(15.0), None, Some(36.0)));
        let pairs = hour_pairs(&outlooks, &came, 0);
        // Told at 16:30: a twenty-fourth of the way down from 34 towards 10.
        let (told, came) = pairs[16].unwrap();
        assert!((told - 33.0).abs() < 0.06 && came == 36.0, "{:?}", pairs[16]);
        assert_eq!((pairs[1], pairs[2]), (None, None));
    }

    #[test]
    fn a_month_is_remembered_and_of_all_but_the_newest_only_the_air() {
        let mut outlooks = Outlooks::default();
        let rich = |day: Day| Forecast { wind: vec![Some(12); 24], ..days(day, &[(10.0, 20.0)]) };
        for day in 0..60 {
            outlooks.take(day * MS_PER_DAY, rich(day));
        }
        assert_eq!(outlooks.0.len(), 39);
        assert_eq!(outlooks.0.iter().filter(|told| !told.forecast.wind.is_empty()).count(), 1);
        assert_eq!(outlooks.newest(30 * MS_PER_DAY).unwrap().at_ms, 30 * MS_PER_DAY);
        assert_eq!(outlooks.newest(0), None);
    }
}
