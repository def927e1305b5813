//! A place at a moment: gathered from memory for the minders and the glance.

mod rises;
mod soil;
mod stages;
mod told_weather;

use std::borrow::Cow;
use std::cmp::Reverse;
use std::ops::Range;

use agronomy::quantity::Quantity;
use agronomy::series::{Held, MS_PER_DAY, MS_PER_HOUR};
use agronomy::units::{Celsius, RelativeHumidity};
use agronomy::vapour;

use super::engine::Engine;
use crate::almanac::day_page::DayPage;
use crate::almanac::pages::{self, Pages, Readings};
use crate::almanac::shape::{Expected, median};
use crate::calendar::Day;
use crate::ground::{Hang, Place, shade, vents};
use crate::minders::place_now::PlaceNow;
use crate::site::Light;

pub(super) use soil::Suns;
pub(super) use stages::Courses;

/// Over how long a slope is taken, ms.
const SLOPE_MS: i64 = MS_PER_HOUR / 2;
/// Over how long a slope must hold to be said, ms.
const LATELY_MS: i64 = MS_PER_HOUR / 6;
/// A slope below this is within the ticks of a probe, °C/h: a tenth of a degree in ten minutes is 0.6.
const TICKS_C_PER_H: f64 = 1.0;
/// Fewest full days among the last 14 for a median that counts.
const FEWEST_DAYS: usize = 5;

impl Engine {
    /// Probes hung at a place now, in order.
    fn hung<'a>(&'a self, place: &'a str, now_ms: i64) -> impl Iterator<Item = &'a Hang> {
        self.ground.hangs_in(place, now_ms, now_ms + 1)
    }

    /// The newest sound value that is still held at a moment, of the first probe that has one.
    fn held<'a>(&'a self, place: &'a str, quantity: Quantity, now_ms: i64) -> Option<(&'a Hang, i64, f64)> {
        self.hung(place, now_ms).find_map(|hang| {
            let (at, value) = self.tracks.newest(&hang.probe, quantity, now_ms)?;
            let held = now_ms < at + 2 * hang.usual_interval_ms && at >= hang.from_ms;
            held.then_some((hang, at, value))
        })
    }

    /// The newest sound air of a place, held or not, and whose: of a probe in doubt only where no other was ever heard.
    fn last_air<'a>(&'a self, place: &'a str) -> Option<(&'a Hang, i64, f64)> {
        let now_ms = self.now_ms();
        let heard = self.hung(place, now_ms).filter_map(|hang| {
            let (at, t_c) = self.tracks.newest(&hang.probe, Quantity::AirTemperature, now_ms)?;
            Some((hang, at, t_c))
        });
        heard.min_by_key(|(hang, at, _)| (self.in_doubt.contains(&hang.probe), Reverse(*at)))
    }

    /// The probe by which a place's air is known now, or was last.
    pub(super) fn air_probe<'a>(&'a self, place: &'a str) -> Option<&'a str> {
        let held = self.held(place, Quantity::AirTemperature, self.now_ms());
        held.or_else(|| self.last_air(place)).map(|(hang, ..)| hang.probe.as_str())
    }

    /// Humidity that is held now (UTC ms, %).
    pub(super) fn humidity(&self, place: &str, now_ms: i64) -> Option<(i64, f64)> {
        self.held(place, Quantity::RelativeHumidity, now_ms).map(|(_, at, value)| (at, value))
    }

    /// The value a place had at a moment, where one was held (for words tied to that moment).
    pub(super) fn tracks_at(&self, place: &str, quantity: Quantity, at_ms: i64) -> Option<f64> {
        self.held(place, quantity, at_ms).map(|(_, _, value)| value)
    }

    /// The pages of one planting, by themselves.
    pub(super) fn pages_of(&self, planting: &str) -> Pages {
        let range = (planting.to_owned(), i64::MIN)..=(planting.to_owned(), i64::MAX);
        let plantings = self.pages.plantings.range(range).map(|(key, page)| (key.clone(), page.clone()));
        Pages { plantings: plantings.collect(), ..Pages::default() }
    }

    /// The pages of one place, by day.
    pub(super) fn pages_of_place(&self, place: &str) -> std::collections::BTreeMap<i64, &DayPage> {
        let range = (place.to_owned(), i64::MIN)..=(place.to_owned(), i64::MAX);
        self.pages.places.range(range).map(|((_, day), page)| (*day, page)).collect()
    }

    /// Sound air of a place in a stretch, from the first probe that has any.
    pub(super) fn air_of(&self, place: &str, from_ms: i64, until_ms: i64) -> (Vec<(i64, f64)>, i64) {
        self.ground
            .hangs_in(place, from_ms, until_ms)
            .map(|hang| {
                let from = from_ms.max(hang.from_ms);
                let until = hang.until_ms.map_or(until_ms, |until| until.min(until_ms));
                let sound = self.tracks.sound(&hang.probe, Quantity::AirTemperature, from..until);
                (sound, hang.usual_interval_ms)
            })
            .find(|(air, _)| !air.is_empty())
            .unwrap_or_default()
    }

    /// A place at the present moment.
    pub(super) fn place_now<'a>(&'a self, place: &'a Place) -> PlaceNow<'a> {
        let now_ms = self.now_ms();
        let calendar = &self.site.calendar;
        let day = calendar.day_of(now_ms);
        let start = calendar.start_of(day);
        let light = self.light_of(day);
        let night = &light.night_before;
        let held = self.held(&place.id, Quantity::AirTemperature, now_ms);
        let air = held.map(|(_, at, value)| (at, value));
        let since = night.start.min(start)..now_ms + 1;
        let today = pages::held(&self.ground, &self.tracks, &place.id, Quantity::AirTemperature, &since);
        let before = held.and_then(|(hang, at, _)| {
            self.tracks.newest(&hang.probe, Quantity::AirTemperature, at - 1).map(|(_, before)| before)
        });
        let slope_c_per_h = held.and_then(|held| self.slope(held, SLOPE_MS));
        let lately = held.and_then(|held| self.slope(held, LATELY_MS));
        let low_today = extreme(&today, start..i64::MAX, |new, kept| new < kept);
        let place_line_c = place.kind.under_cover().then(|| self.site.place_line_c());
        let last_air = self.last_air(&place.id).map(|(_, at, t_c)| (at, t_c));
        let (foretold, usual_at) = self.foretold_there(place, last_air.is_some());
        PlaceNow {
            now_ms,
            place: &place.id,
            name: &place.name,
            kind: place.kind,
            air,
            air_until_ms: held.map(|(hang, at, _)| at + 2 * hang.usual_interval_ms),
            last_air,
            vpd_kpa: air.zip(self.humidity(&place.id, now_ms)).and_then(|((_, t), (_, rh))| deficit(t, rh)),
            slope_c_per_h,
            pace_c_per_h: slope_c_per_h.map(|slope| pace(slope, lately)),
            still_rising: air.zip(before).is_some_and(|((_, last), before)| last > before),
            high: extreme(&today, start..i64::MAX, |new, kept| new > kept),
            low: extreme(&today, night.clone(), |new, kept| new < kept),
            yesterday_c: held.and_then(|held| self.a_day_before(held)),
            median_high_c: self.median_high(usual_at, day),
            expected: self.expected(&place.id, start, air, low_today, slope_c_per_h),
            foretold,
            standing: self
                .ground
                .standing(&place.id, now_ms)
                .filter_map(|planting| self.standing(planting))
                .collect(),
            place_line_c,
            place_line_ms: self.site.place_line_ms(),
            daylight: light.is_daylight(now_ms, calendar),
            civil_hour: calendar.civil_hour_of(now_ms),
            day: start..start + MS_PER_DAY,
            date: crate::calendar::date(day),
            vents_open: self.ground.last_set(&place.id, now_ms, vents),
            shade_on: self.ground.last_set(&place.id, now_ms, shade),
        }
    }

    /// How fast the air of a probe moves at a reading, °C/h; none where nothing was measured about so long before.
    fn slope(&self, (hang, at, value): (&Hang, i64, f64), over_ms: i64) -> Option<f64> {
        let (then, before) = self.tracks.newest(&hang.probe, Quantity::AirTemperature, at - over_ms)?;
        let span = at - then;
        (span <= over_ms + 2 * hang.usual_interval_ms)
            .then(|| (value - before) / (span as f64 / MS_PER_HOUR as f64))
    }

    /// The air of a probe a day before a reading, °C.
    fn a_day_before(&self, (hang, at, _): (&Hang, i64, f64)) -> Option<f64> {
        let then = at - MS_PER_DAY;
        let (when, value) = self.tracks.newest(&hang.probe, Quantity::AirTemperature, then)?;
        (then - when <= 2 * hang.usual_interval_ms).then_some(value)
    }

    /// The light of a day: that of the day the minders looked at last is remembered.
    pub(super) fn light_of(&self, day: Day) -> Cow<'_, Light> {
        match &self.light {
            Some(light) if light.day == day => Cow::Borrowed(light),
            _ => Cow::Owned(self.site.light(day)),
        }
    }

    fn median_high(&self, place: &str, day: i64) -> Option<f64> {
        let mut maxima = self.pages.full_day_maxima(place, day);
        if maxima.len() < FEWEST_DAYS { None } else { median(&mut maxima) }
    }

    fn expected(
        &self,
        place: &str,
        day_start_ms: i64,
        air: Option<(i64, f64)>,
        low: Option<(f64, i64)>,
        slope: Option<f64>,
    ) -> Vec<Expected> {
        let Some(air) = air else { return Vec::new() };
        let rising = slope.is_some_and(|slope| slope > 0.0);
        let shapes = self.shapes.get(place).filter(|_| rising);
        let shape = low
            .zip(shapes)
            .map(|((low_c, _), shapes)| shapes.expect(day_start_ms, self.now_ms(), low_c, air.1));
        self.blended(place, shape.unwrap_or_default(), air)
    }
}

/// A slope as it is said, °C/h: air that jumped twenty minutes ago and stands since is not rising.
fn pace(slope: f64, lately: Option<f64>) -> f64 {
    let less = |lately: &f64| lately.abs() < slope.abs() || lately * slope < 0.0;
    lately.filter(less).filter(|_| slope.abs() >= TICKS_C_PER_H).unwrap_or(slope)
}

/// The best of the values that began to hold within a span, and when it did, UTC ms; of equal ones the first.
fn extreme(held: &[Held], within: Range<i64>, better: impl Fn(f64, f64) -> bool) -> Option<(f64, i64)> {
    held.iter().filter(|it| within.contains(&it.start_ms)).fold(None, |best: Option<(f64, i64)>, it| {
        match best {
            Some((kept, _)) if !better(it.value, kept) => best,
            _ => Some((it.value, it.start_ms)),
        }
    })
}

/// The air's deficit at a temperature (°C) and a humidity (%), kPa; none where one of them is none.
fn deficit(t_c: f64, rh_pct: f64) -> Option<f64> {
    let (air, humidity) = (Celsius::try_new(t_c).ok()?, RelativeHumidity::from_probe(rh_pct).ok()?);
    Some(vapour::deficit(air, humidity).get())
}
