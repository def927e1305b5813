//! What the engine expects: forecasts that were told, what they are worth at each place, and the days ahead.

mod foretold;
mod nights;

use std::collections::BTreeMap;

use agronomy::heat_waves::Reference;
use agronomy::own_estimate::{OwnEstimate, Usual};
use agronomy::series::{Held, MS_PER_DAY, MS_PER_HOUR};

use super::engine::Engine;
use crate::almanac::day_page::rounded;
use crate::almanac::shape::Expected;
use crate::calendar::{Day, date};
use crate::entry::{Forecast, PlaceKind};
use crate::glance::{OutlookGlance, PlaceOutlook};
use crate::ground::Place;
use crate::minders::dome::foretold::{Swing, daily_means};
use crate::outlook::ahead::{DAYS, DayAhead, Own, days_ahead};
use crate::outlook::blend::blend;
use crate::outlook::correct::{ByDay, ByHour, FEWEST_DAYS, Ranged};
use crate::outlook::past::{
    DayHours, Extremes, HourPairs, Outlooks, REMEMBERED, day_hours, hour_pairs, pairs,
};
use crate::outlook::skill::{PastDay, past, skill};

/// A forecast issued longer ago than this is not gone by, ms.
const FRESH_MS: i64 = 24 * MS_PER_HOUR;
/// Least share of a day that must have been measured for its extremes to count.
const MEASURED: f64 = 0.75;
/// The line of a place that has none of its own: from here on meteorologists speak of a hot day, °C.
const HOT_DAY_C: f64 = 30.0;
/// Days shown of what was told, and of what came.
const SHOWN_TOLD: usize = 7;
const SHOWN_CAME: Day = 14;
/// Half hours of a day, as shapes of days have them.
const HALF_HOUR_MS: i64 = MS_PER_HOUR / 2;

/// What is known of the days ahead.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Expecting {
    pub(super) outlooks: Outlooks,
    hours: BTreeMap<String, BTreeMap<Day, DayHours>>,
    learnt: BTreeMap<String, Learnt>,
    /// Something it was learnt from has changed.
    stale: bool,
}

/// What a place's past taught.
#[derive(Clone, Debug, Default, PartialEq)]
struct Learnt {
    /// Forecasts were held against it on days enough to know what they are worth here.
    own_way: bool,
    by_hour: Option<ByHour>,
    by_lead: Option<Vec<ByDay>>,
    /// Past days as they were told the evening before.
    past: Vec<PastDay>,
    own: Option<Own>,
    /// What is hot outdoors by its own days, with those days.
    heat: Option<(Reference, Vec<Swing>)>,
}

impl Expecting {
    /// Remembers a forecast.
    pub(super) fn take(&mut self, at_ms: i64, forecast: Forecast) {
        self.outlooks.take(at_ms, forecast);
        self.stale = true;
    }

    /// Keeps the hours of a day that closed, as they were held.
    pub(super) fn keep_hours(&mut self, place: &str, air: &[Held], day: Day, start_ms: i64) {
        let days = self.hours.entry(place.to_owned()).or_default();
        days.insert(day, day_hours(air, start_ms));
        while days.first_key_value().is_some_and(|(first, _)| *first < day - REMEMBERED) {
            days.pop_first();
        }
        self.stale = true;
    }

    /// A page changed: what is made of pages is to be made anew before it is next asked.
    pub(super) fn doubt(&mut self) {
        self.stale = true;
    }
}

impl Engine {
    /// Learns from the past what forecasts are worth here, where anything of it changed.
    pub(super) fn learn_outlook(&mut self) {
        if !self.expecting.stale {
            return;
        }
        let learnt = self.ground.places.iter().map(|place| (place.id.clone(), self.learnt(place)));
        self.expecting.learnt = learnt.collect();
        self.expecting.stale = false;
    }

    fn learnt(&self, place: &Place) -> Learnt {
        let calendar = &self.site.calendar;
        let today = calendar.day_of(self.now_ms());
        let came = self.came(&place.id);
        let outlooks = &self.expecting.outlooks;
        let told = pairs(outlooks, &came, today, 1, calendar);
        let own_way = told.len() >= FEWEST_DAYS;
        let under_cover = place.kind.under_cover();
        let lead = |lead: u32| match lead {
            1 => ByDay::of(&told, &told, 1, under_cover),
            // Where too little was told so far ahead, the nearer days say more than nothing.
            _ => {
                let further = pairs(outlooks, &came, today, lead, calendar);
                let further = if further.len() < FEWEST_DAYS { &told } else { &further };
                ByDay::of(further, &told, lead, under_cover)
            }
        };
        let by_lead = (own_way || !under_cover).then(|| (1..DAYS).map(lead).collect());
        let empty = BTreeMap::new();
        let hours = self.expecting.hours.get(&place.id).unwrap_or(&empty).range(today - REMEMBERED..today);
        let of_days: Vec<HourPairs> =
            hours.map(|(day, hours)| hour_pairs(outlooks, hours, calendar.start_of(*day))).collect();
        let by_hour = ByHour::of(&of_days, under_cover).or_else(|| (!under_cover).then(ByHour::as_told));
        let heat = (place.kind == PlaceKind::Outdoors).then(|| known_heat(&came)).flatten();
        Learnt {
            by_hour,
            by_lead,
            past: past(&told, under_cover),
            own_way,
            own: self.own_estimate(place, &came, today),
            heat,
        }
    }

    /// Lowest and highest of each day that counts.
    fn came(&self, place: &str) -> BTreeMap<Day, Extremes> {
        let counts = self.pages_of_place(place).into_iter();
        let counts = counts.filter(|(_, page)| page.measured_share >= MEASURED || page.read_by_hand);
        counts
            .filter_map(|(day, page)| Some((day, Extremes { low_c: page.t_min_c?, high_c: page.t_max_c? })))
            .collect()
    }

    /// The own estimate: about what two years of the place's own say is usual, or, outdoors, a climate table.
    fn own_estimate(&self, place: &Place, came: &BTreeMap<Day, Extremes>, today: Day) -> Option<Own> {
        let last = came.range(today - 2..today).next_back().map(|(day, came)| (*day, *came))?;
        let estimate = |of: fn(&Extremes) -> f64, table: Option<&Usual>| {
            let days: Vec<(Day, f64)> = came.iter().map(|(day, came)| (*day, of(came))).collect();
            let usual = Usual::of_days(&days).or(table.copied())?;
            Some(OwnEstimate::new(usual, &days))
        };
        let table = self.site.usual.as_ref().filter(|_| place.kind == PlaceKind::Outdoors);
        Some(Own {
            high: estimate(|came| came.high_c, table.map(|table| &table.high))?,
            low: estimate(|came| came.low_c, table.map(|table| &table.low))?,
            last,
        })
    }

    /// The newest forecast, if it is not too old to be gone by.
    pub fn forecast(&self) -> Option<&Forecast> {
        let told = self.expecting.outlooks.newest(self.now_ms())?;
        (self.now_ms() - told.forecast.issued_ms <= FRESH_MS).then_some(&told.forecast)
    }

    /// When the newest forecast was taken in (UTC ms), and what it said, however old.
    pub fn last_outlook(&self) -> Option<(i64, &Forecast)> {
        self.expecting.outlooks.newest(self.now_ms()).map(|told| (told.at_ms, &told.forecast))
    }

    /// What a fresh forecast says of a whole day outside; of today also what was told earlier of its first hours.
    fn told_of(&self, day: Day) -> Option<Extremes> {
        self.told_by(self.forecast()?, day)
    }

    /// What a forecast says of a whole day outside; of today also what was told by others of its first hours.
    fn told_by(&self, newest: &Forecast, day: Day) -> Option<Extremes> {
        let start = self.site.calendar.start_of(day);
        let now_ms = self.now_ms();
        let hour = |hour: i64| {
            let at_ms = start + hour * MS_PER_HOUR;
            let earlier = || self.expecting.outlooks.air_at(at_ms, now_ms).filter(|_| at_ms <= now_ms);
            newest.air_at(at_ms).or_else(earlier)
        };
        Extremes::of((0..24).map(hour))
    }

    /// Today and the next days at a place: from a fresh forecast, corrected to it; where there is none, by the own
    /// estimate; empty where neither is known. Days are those of the standard offset.
    pub fn days_ahead(&self, place: &str) -> Vec<DayAhead> {
        let today = self.site.calendar.day_of(self.now_ms());
        let Some(learnt) = self.expecting.learnt.get(place) else { return Vec::new() };
        let told = |day| self.told_of(day);
        days_ahead(today, &told, learnt.by_lead.as_deref(), learnt.own.as_ref(), self.so_far(place))
    }

    /// Today and the next days outside: at the place outdoors, or as told where there is none.
    pub fn days_ahead_outside(&self) -> Vec<DayAhead> {
        if let Some(place) = self.ground.places.iter().find(|place| place.kind == PlaceKind::Outdoors) {
            return self.days_ahead(&place.id);
        }
        let today = self.site.calendar.day_of(self.now_ms());
        let as_told: Vec<ByDay> = (1..DAYS).map(ByDay::as_told).collect();
        days_ahead(today, &|day| self.told_of(day), Some(&as_told), None, None)
    }

    /// What this site's own days outdoors say is hot there, with those days; none within its first year.
    pub(super) fn known_heat(&self) -> Option<(&Reference, &[Swing])> {
        let place = self.ground.places.iter().find(|place| place.kind == PlaceKind::Outdoors)?;
        let (reference, days) = self.expecting.learnt.get(&place.id)?.heat.as_ref()?;
        Some((reference, days))
    }

    /// Lowest and highest of today as measured so far.
    fn so_far(&self, place: &str) -> Option<Extremes> {
        let calendar = &self.site.calendar;
        let start = calendar.start_of(calendar.day_of(self.now_ms()));
        let (air, _) = self.air_of(place, start, self.now_ms() + 1);
        Extremes::of(air.into_iter().map(|(_, value)| Some(value)))
    }

    /// The rest of today at a place: its own shape of day blended with a fresh forecast.
    pub(super) fn blended(&self, place: &str, shape: Vec<Expected>, air: (i64, f64)) -> Vec<Expected> {
        let calendar = &self.site.calendar;
        let (start, now_ms) = (calendar.start_of(calendar.day_of(self.now_ms())), self.now_ms());
        let first = (now_ms - start) / HALF_HOUR_MS + 1;
        let middle = |slot: i64| start + slot * HALF_HOUR_MS + HALF_HOUR_MS / 2;
        self.hung_on_now(place, shape, (first..MS_PER_DAY / HALF_HOUR_MS).map(middle), air)
    }

    /// A shape, or where there is none these moments, with what a fresh forecast says of them at a place, hung on its
    /// reading of now (UTC ms, °C).
    fn hung_on_now(
        &self,
        place: &str,
        shape: Vec<Expected>,
        moments: impl Iterator<Item = i64>,
        air: (i64, f64),
    ) -> Vec<Expected> {
        let by_hour = self.expecting.learnt.get(place).and_then(|learnt| learnt.by_hour.as_ref());
        let (Some(by_hour), Some(forecast)) = (by_hour, self.forecast()) else { return shape };
        let told = |at_ms: i64| {
            let told = forecast.air_at(at_ms)?;
            let (add, spread) = by_hour.at(self.site.calendar.hour_of(at_ms), told);
            Some((told + add, spread))
        };
        blend(shape, moments, &told, (self.now_ms(), air.1))
    }

    /// What is expected, for all places, as it is shown.
    pub fn outlook(&self) -> OutlookGlance {
        OutlookGlance {
            forecast: self.last_outlook().map(|(told_ms, forecast)| (forecast.issued_ms, told_ms)),
            fresh: self.forecast().is_some(),
            outside: self.days_ahead_outside().iter().map(shown).collect(),
            places: self.ground.places.iter().filter_map(|place| self.place_outlook(place)).collect(),
        }
    }

    fn place_outlook(&self, place: &Place) -> Option<PlaceOutlook> {
        let learnt = self.expecting.learnt.get(&place.id)?;
        let today = self.site.calendar.day_of(self.now_ms());
        let days = self.days_ahead(&place.id);
        let told = &learnt.past;
        let standing = self.ground.standing(&place.id, self.now_ms());
        let lines = standing.filter_map(|planting| Some(self.standing(planting)?.lines.severe_c));
        let place_line = place.kind.under_cover().then(|| self.site.place_line_c());
        let line_c = lines.chain(place_line).reduce(f64::min).unwrap_or(HOT_DAY_C);
        let came = self.came(&place.id);
        let lately = came.range(today - SHOWN_CAME..today);
        let lately: Vec<_> =
            lately.map(|(day, it)| (date(*day), rounded(it.low_c, 1), rounded(it.high_c, 1))).collect();
        (!days.is_empty() || !lately.is_empty()).then(|| PlaceOutlook {
            place: place.id.clone(),
            name: place.name.clone(),
            kind: place.kind,
            hours: self.hours_ahead(learnt, &days),
            days: days.iter().map(shown).collect(),
            skill: skill(told, line_c),
            past: told[told.len().saturating_sub(SHOWN_TOLD)..].to_vec(),
            lately,
        })
    }

    /// The course of the days ahead: the shape that the forecast gives a day, or a plain one, drawn between the day's
    /// own lowest and highest.
    fn hours_ahead(&self, learnt: &Learnt, days: &[DayAhead]) -> Vec<(i64, f64, f64, f64)> {
        let now_ms = self.now_ms();
        let course = days.iter().flat_map(|day| {
            let start = self.site.calendar.start_of(day.day);
            let shares = self.day_shares(learnt, day.day);
            shares.into_iter().enumerate().map(move |(hour, share)| {
                let between = |low: f64, high: f64| rounded(low + (high - low) * share, 1);
                let middle = between(day.low.middle_c, day.high.middle_c);
                let (from, to) =
                    (between(day.low.from_c, day.high.from_c), between(day.low.to_c, day.high.to_c));
                (start + hour as i64 * MS_PER_HOUR, from.min(middle), middle, to.max(middle))
            })
        });
        course.filter(|(at_ms, ..)| *at_ms >= now_ms).collect()
    }

    /// How far each hour of a day is on the way from its lowest to its highest.
    fn day_shares(&self, learnt: &Learnt, day: Day) -> [f64; 24] {
        let start = self.site.calendar.start_of(day);
        let told = self.forecast().zip(learnt.by_hour.as_ref()).and_then(|(forecast, by_hour)| {
            let mut values = [0.0; 24];
            for (hour, value) in values.iter_mut().enumerate() {
                let at_ms = start + hour as i64 * MS_PER_HOUR;
                let earlier = || self.expecting.outlooks.air_at(at_ms, self.now_ms());
                let told = forecast.air_at(at_ms).or_else(earlier)?;
                *value = told + by_hour.at(hour as f64, told).0;
            }
            Some(values)
        });
        // Lowest at five, highest at three in the afternoon of standard time (common practice for a clear day).
        let plain = |hour: f64| {
            let half = if (5.0..15.0).contains(&hour) {
                (hour - 5.0) / 10.0
            } else {
                1.0 + (hour - 15.0).rem_euclid(24.0) / 14.0
            };
            0.5 - 0.5 * libm::cos(std::f64::consts::PI * half)
        };
        let values = told.unwrap_or_else(|| std::array::from_fn(|hour| plain(hour as f64)));
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        values.map(|value| if high > low { (value - low) / (high - low) } else { 0.5 })
    }
}

/// What a place's own days say is hot, with those days; none where they do not make a year.
fn known_heat(came: &BTreeMap<Day, Extremes>) -> Option<(Reference, Vec<Swing>)> {
    let swing = |(day, it): (&Day, &Extremes)| Swing { day: *day, low_c: it.low_c, high_c: it.high_c };
    let swings: Vec<Swing> = came.iter().map(swing).collect();
    let reference = Reference::learn(&daily_means(&swings).1).ok()?;
    Some((reference, swings))
}

/// Rounded as it is shown: the same bytes everywhere.
fn shown(day: &DayAhead) -> DayAhead {
    let tenth = |it: Ranged| Ranged {
        middle_c: rounded(it.middle_c, 1),
        from_c: rounded(it.from_c, 1),
        to_c: rounded(it.to_c, 1),
    };
    DayAhead { high: tenth(day.high), low: tenth(day.low), ..day.clone() }
}
