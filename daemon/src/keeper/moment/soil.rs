//! The ground of a place at a moment: what was poured, what its probes hold, what the weather asks for.

use std::collections::BTreeMap;
use std::ops::Range;

use agronomy::quantity::Quantity;
use agronomy::series::{Held, MS_PER_DAY, MS_PER_HOUR, held_ms};

use crate::almanac::pages::{self, Readings};
use crate::calendar::Day;
use crate::entry::{Note, PlaceKind};
use crate::ground::{Place, Planting, shade};
use crate::keeper::engine::Engine;
use crate::minders::demand::{
    Basis, DayDemand, DayWeather, Demand, Plant, SHADE, Span, Sun, covered_mm, open_mm, shone,
};
use crate::minders::place_now::{PlaceNow, Standing};
use crate::minders::soil_dry::left;
use crate::minders::soil_now::{Moist, SoilNow, Warm, Watering};
use crate::outlook::ahead::DayAhead;

/// Share of a day's sun that must have been measured before the whole of it is reckoned from that.
const MEASURED_SUN: f64 = 0.15;
/// Least share of a day that must have been measured before its lowest and highest count.
const MEASURED_DAY: f64 = 0.75;
/// The hours after noon, standard time, in which the highest falls: half of them must have been measured.
const AFTERNOON_MS: Range<i64> = 12 * MS_PER_HOUR..18 * MS_PER_HOUR;
/// Share of a potting mix that plants can draw where the book does not say: the middle of 0.20 to 0.35 (from memory).
const MIX_SHARE: f64 = 0.275;
/// How far apart a moisture probe's falls are looked at, ms.
const LOOK_MS: i64 = 3 * MS_PER_HOUR;
/// Shaded days are counted no further back.
const SHADED_DAYS: Day = 60;

/// While the sun is up, by day: each costs a search along the sun's path, so they are remembered.
pub(in crate::keeper) type Suns = BTreeMap<Day, Range<i64>>;

impl Engine {
    /// While the sun is up on a day, UTC ms; 06:00 to 21:00 of standard time where it does not set or rise.
    fn up(&self, day: Day, suns: &mut Suns) -> Range<i64> {
        let reckoned = || {
            let start = self.site.calendar.start_of(day);
            let up = self.site.sun(day).filter(|(rise, set)| rise < set);
            up.map_or(start + 6 * MS_PER_HOUR..start + 21 * MS_PER_HOUR, |(rise, set)| rise..set)
        };
        let up = suns.entry(day).or_insert_with(reckoned).clone();
        while suns.len() > 8 {
            suns.pop_first();
        }
        up
    }

    /// Places in the open air, this one first where it is one.
    pub(super) fn in_the_open<'a>(&'a self, place: &'a Place) -> impl Iterator<Item = &'a Place> {
        let open = |it: &&Place| {
            matches!(it.kind, PlaceKind::Outdoors | PlaceKind::Bed | PlaceKind::Pots | PlaceKind::Seedbed)
        };
        let others = self.ground.places.iter().filter(|it| it.id != place.id);
        Some(place).into_iter().chain(others).filter(open)
    }

    fn held_in(&self, place: &str, quantity: Quantity, window: &Range<i64>) -> Vec<Held> {
        pages::held(&self.ground, &self.tracks, place, quantity, window)
    }

    /// Lowest and highest air in the open on a day. Of a closed day: by its page, where it counts. Of today until its
    /// afternoon is over: by a fresh forecast. Else over the last 24 hours, with the peak that is expected, where enough
    /// of them was measured; until then as today is expected, else as yesterday was, else as is usual.
    fn span(&self, place: &Place, day: Day, at_ms: i64, peak_c: Option<f64>) -> Option<Span> {
        let span = |(low_c, high_c): (f64, f64), basis| Span { low_c, high_c, basis };
        let by_page = |day: Day| {
            self.in_the_open(place).find_map(|it| {
                let page = self.pages.places.get(&(it.id.clone(), day))?;
                let counts = page.measured_share >= MEASURED_DAY || page.read_by_hand;
                page.t_min_c.zip(page.t_max_c).filter(|_| counts)
            })
        };
        if day < self.site.calendar.day_of(at_ms) {
            return by_page(day).map(|both| span(both, Basis::Temperatures));
        }
        let is_ahead = at_ms < self.site.calendar.start_of(day) + AFTERNOON_MS.end;
        if let Some(told) = self.span_told(place, day).filter(|_| is_ahead) {
            return Some(told);
        }
        let measured = self.in_the_open(place).find_map(|it| {
            let (low, high) = self.last_day(&it.id, at_ms)?;
            let peak_c = peak_c.filter(|_| it.id == place.id);
            Some((low, peak_c.map_or(high, |peak| high.max(peak))))
        });
        let expected = || {
            let of = |ahead: Vec<DayAhead>| {
                let today = ahead.into_iter().find(|it| it.day == day)?;
                Some((today.low.middle_c, today.high.middle_c))
            };
            let there = self.in_the_open(place).find_map(|it| of(self.days_ahead(&it.id)));
            there.or_else(|| of(self.days_ahead_outside()))
        };
        let usual = || self.site.usual.as_ref().map(|usual| (usual.low.on(day), usual.high.on(day)));
        measured
            .map(|both| span(both, Basis::Temperatures))
            .or_else(|| expected().map(|both| span(both, Basis::Expected)))
            .or_else(|| by_page(day - 1).map(|both| span(both, Basis::Yesterday)))
            .or_else(|| usual().map(|both| span(both, Basis::Usual)))
    }

    /// Lowest and highest air of the last 24 hours at a place; none where too little of them was measured, or not the
    /// afternoon.
    fn last_day(&self, place: &str, at_ms: i64) -> Option<(f64, f64)> {
        let calendar = &self.site.calendar;
        let window = at_ms - MS_PER_DAY..at_ms + 1;
        let held = self.held_in(place, Quantity::AirTemperature, &window);
        let share = held_ms(held.iter().copied()) as f64 / MS_PER_DAY as f64;
        let today = calendar.start_of(calendar.day_of(at_ms));
        let afternoon: i64 = [today - MS_PER_DAY, today]
            .map(|start| start + AFTERNOON_MS.start..start + AFTERNOON_MS.end)
            .iter()
            .map(|afternoon| held_ms(held.iter().filter_map(|it| it.within(afternoon))))
            .sum();
        if share < MEASURED_DAY || afternoon < (AFTERNOON_MS.end - AFTERNOON_MS.start) / 2 {
            return None;
        }
        let low = held.iter().map(|it| it.value).reduce(f64::min)?;
        let high = held.iter().map(|it| it.value).reduce(f64::max)?;
        Some((low, high))
    }

    /// The sun of a day, MJ/m²: of a day that is not over, from the part that has shone.
    fn sun_of(&self, place: &str, up: &Range<i64>, at_ms: i64) -> Option<f64> {
        let window = up.start..up.end.min(at_ms);
        let held = self.held_in(place, Quantity::Light, &window);
        let share: f64 = held.iter().map(|it| shone(up, it.end_ms) - shone(up, it.start_ms)).sum();
        let joules: f64 = held.iter().map(|it| it.value.max(0.0) * it.ms() as f64 / 1000.0).sum();
        (share >= MEASURED_SUN).then(|| joules / 1e6 / share)
    }

    fn sun(&self, place: &Place, up: &Range<i64>, at_ms: i64) -> Option<Sun> {
        if place.kind.under_cover()
            && let Some(inside) = self.sun_of(&place.id, up, at_ms)
        {
            return Some(Sun::Inside(inside));
        }
        self.in_the_open(place).find_map(|it| self.sun_of(&it.id, up, at_ms)).map(Sun::Outside)
    }

    /// The reference of a day at a place, mm, with what it is reckoned from.
    fn reference(
        &self,
        place: &Place,
        day: Day,
        at_ms: i64,
        peak_c: Option<f64>,
        suns: &mut Suns,
    ) -> Option<(f64, Basis)> {
        let today = self.site.calendar.day_of(at_ms);
        let up = self.up(day, suns);
        let mut sun = self.sun(place, &up, at_ms);
        if sun.is_none() && day == today {
            // Before a day has shown its sun it is as it is foretold, else like the one before.
            let before = self.up(day - 1, suns);
            sun = self.sun_told(&up).or_else(|| self.sun(place, &before, at_ms));
        }
        let start = self.site.calendar.start_of(day);
        // Of today over the last 24 hours: the night alone would be too damp.
        let window = if day < today { start..start + MS_PER_DAY } else { at_ms - MS_PER_DAY..at_ms };
        let humidity = self.in_the_open(place).find_map(|it| {
            let held = self.held_in(&it.id, Quantity::RelativeHumidity, &window);
            agronomy::series::time_weighted_mean(held.into_iter())
        });
        let span = self.span(place, day, at_ms, peak_c);
        self.asked_by(place, day, at_ms, &DayWeather { span, humidity_pct: humidity, sun })
    }

    /// What a day's weather asks for at a place, mm, with what it is reckoned from.
    fn asked_by(&self, place: &Place, day: Day, at_ms: i64, weather: &DayWeather) -> Option<(f64, Basis)> {
        let latitude = self.site.latitude;
        if !place.kind.under_cover() {
            return open_mm(latitude, day, weather);
        }
        let noon_ms = self.site.calendar.start_of(day) + MS_PER_DAY / 2;
        let shaded = self.shaded(place, noon_ms.min(at_ms));
        covered_mm(latitude, day, weather, if shaded { SHADE } else { 1.0 })
    }

    /// Whether shade is noted as on over a place under cover.
    fn shaded(&self, place: &Place, at_ms: i64) -> bool {
        place.kind.under_cover() && self.ground.last_set(&place.id, at_ms, shade) == Some(true)
    }

    /// What the weather asks for, from the day before yesterday to tomorrow.
    fn demand(&self, place: &Place, at_ms: i64, peak_c: Option<f64>, suns: &mut Suns) -> Option<Demand> {
        let today = self.site.calendar.day_of(at_ms);
        let (now_mm, basis) = self.reference(place, today, at_ms, peak_c, suns)?;
        let mut days = Vec::new();
        for day in today - 2..=today + 1 {
            let sun = self.up(day, suns);
            let other = match day {
                _ if day < today => self.reference(place, day, at_ms, None, suns),
                _ if day > today => {
                    let told = self.weather_told(place, day, &sun);
                    told.and_then(|told| self.asked_by(place, day, at_ms, &told))
                }
                _ => None,
            };
            // A day of which nothing is known is taken to be much like today.
            let other = other.filter(|(_, basis)| *basis != Basis::ClearSky);
            days.push(DayDemand { sun, reference_mm: other.map_or(now_mm, |(mm, _)| mm) });
        }
        Some(Demand { days, today: 2, basis })
    }

    /// Litres that one plant of a planting needs today, given by can, and what that rests on; none for seed that is
    /// not up, for what is stored, and where the weather is not known.
    pub(in crate::keeper) fn litres_today(&self, standing: &Standing<'_>) -> Option<(f64, String)> {
        let (plant, mm, basis) = self.asks_today(standing)?;
        let now_ms = self.now_ms();
        let noon_ms = self.site.calendar.start_of(self.site.calendar.day_of(now_ms)) + MS_PER_DAY / 2;
        let place = self.ground.place(&standing.planting.place)?;
        // On a hotter day under its net a plant may ask for less than on the one before, and why is said.
        let net = if self.shaded(place, noon_ms.min(now_ms)) {
            ", somewhat less for the shade that is on"
        } else {
            ""
        };
        Some((plant.gives_l(mm)?.get(), format!("{}{net}", basis.words())))
    }

    /// For how many days of today's weather a full pot of a planting holds water; none where the pot's size or the
    /// weather is not known.
    pub(in crate::keeper) fn pot_days(&self, standing: &Standing<'_>) -> Option<f64> {
        let volume_l = standing.planting.container_l?;
        let (plant, mm, _) = self.asks_today(standing)?;
        let takes_l = plant.takes_l(mm);
        (takes_l > 0.0).then(|| plant.share * self.mix_share() * volume_l / takes_l)
    }

    /// A plant of a planting with today's reference, mm, and what that rests on.
    fn asks_today(&self, standing: &Standing<'_>) -> Option<(Plant, f64, Basis)> {
        let place = self.ground.place(&standing.planting.place)?;
        let now_ms = self.now_ms();
        let seed = standing.planting.began == crate::entry::Began::Sown
            && now_ms - standing.planting.from_ms < 21 * MS_PER_DAY;
        if seed || matches!(place.kind, PlaceKind::Shed | PlaceKind::Heap) {
            return None;
        }
        let today = self.site.calendar.day_of(now_ms);
        let (mm, basis) = self.reference(place, today, now_ms, None, &mut Suns::new())?;
        Some((Plant::of(standing, now_ms, place.kind.under_cover()), mm, basis))
    }

    /// Share of a pot's volume that plants can draw.
    fn mix_share(&self) -> f64 {
        let mix = self.site.book.soils.get("potting_mix").and_then(|mix| mix.available_fraction);
        mix.map_or(MIX_SHARE, |[low, high]| f64::midpoint(low, high))
    }

    /// What the driest moisture probe of a place has left for roots, 0 to 1; none where no probe tells.
    pub(in crate::keeper) fn roots_left(&self, place: &str, kind: PlaceKind) -> Option<f64> {
        self.moist(place, self.now_ms()).iter().filter_map(|probe| left(kind, probe)).reduce(f64::min)
    }

    /// The moisture probes of a place that hold a value at a moment.
    fn moist(&self, place: &str, at_ms: i64) -> Vec<Moist> {
        let held = self.each_held(place, Quantity::SoilMoisture, at_ms).into_iter();
        held.map(|(probe, pct)| Moist {
            marks: self.ground.marks(&probe, at_ms),
            fell_pct: self.fell(place, &probe, at_ms),
            probe,
            pct,
        })
        .collect()
    }

    /// All falls of a moisture probe over a day together, % by volume; hours apart, for a tremble is no use of water.
    fn fell(&self, place: &str, probe: &str, at_ms: i64) -> Option<f64> {
        let first_ms = at_ms - MS_PER_DAY;
        self.ground.hangs_in(place, first_ms, first_ms + 1).find(|hang| hang.probe == probe)?;
        let looks = (0..=MS_PER_DAY / LOOK_MS).map(|look| first_ms + look * LOOK_MS);
        let values = looks.map(|look_ms| {
            let (measured_ms, value) = self.tracks.newest(probe, Quantity::SoilMoisture, look_ms)?;
            (measured_ms > look_ms - LOOK_MS).then_some(value)
        });
        let values: Vec<f64> = values.collect::<Option<_>>()?;
        // Soil that stands still to the last digit for a day is a chip that does: it says nothing of how fast it dries.
        values.iter().find(|value| **value != values[0])?;
        Some(values.windows(2).map(|two| (two[0] - two[1]).max(0.0)).sum())
    }

    fn waterings(&self, planting: &Planting, at_ms: i64) -> Vec<Watering> {
        let shared = |subject: &str, litres: f64, then_ms: i64| -> Option<Option<f64>> {
            if subject == planting.id {
                return Some(planting.count.map(|count| litres / f64::from(count.max(1))));
            }
            if subject != planting.place || !planting.stands_at(then_ms) {
                return None;
            }
            let plants = self.ground.standing(&planting.place, then_ms).map(|it| it.count);
            let all: Option<u32> = plants.sum();
            Some(all.map(|all| litres / f64::from(all.max(1))))
        };
        let mut noted: Vec<Watering> = self
            .ground
            .entries
            .iter()
            .filter(|entry| entry.from_ms <= at_ms)
            .filter_map(|entry| match &entry.note {
                Note::Watered { subject, litres } => {
                    let litres_each = shared(subject, *litres, entry.from_ms)?;
                    Some(Watering { at_ms: entry.from_ms, noted_ms: entry.at_ms, litres_each })
                }
                _ => None,
            })
            .collect();
        noted.sort_by_key(|it| it.at_ms);
        noted
    }

    /// What each probe of a place holds of a quantity at a moment.
    pub(in crate::keeper) fn each_held(
        &self,
        place: &str,
        quantity: Quantity,
        at_ms: i64,
    ) -> Vec<(String, f64)> {
        let hung = self.ground.hangs_in(place, at_ms, at_ms + 1);
        hung.filter_map(|hang| {
            let (measured_ms, value) = self.tracks.newest(&hang.probe, quantity, at_ms)?;
            let held = at_ms < measured_ms + 2 * hang.usual_interval_ms && measured_ms >= hang.from_ms;
            held.then(|| (hang.probe.clone(), value))
        })
        .collect()
    }

    fn shaded_days(&self, place: &str, at_ms: i64) -> u32 {
        if self.ground.last_set(place, at_ms, shade) != Some(true) {
            return 0;
        }
        let calendar = &self.site.calendar;
        let today = calendar.day_of(at_ms);
        let noon = |day| calendar.start_of(day) + MS_PER_DAY / 2;
        let shaded = |day: &Day| self.ground.last_set(place, noon(*day), shade) == Some(true);
        (1..=SHADED_DAYS).take_while(|back| shaded(&(today - back))).count() as u32
    }

    /// Rain of the last two days in the open, UTC ms and mm.
    fn rain(&self, at_ms: i64) -> Vec<(i64, f64)> {
        let window = at_ms - 2 * MS_PER_DAY..at_ms + 1;
        let hangs = self.ground.hangs.iter().filter(|hang| hang.overlaps(window.start, window.end));
        let gauges = hangs.map(|hang| self.tracks.sound(&hang.probe, Quantity::Rain, window.clone()));
        gauges.into_iter().find(|rain| !rain.is_empty()).unwrap_or_default()
    }

    /// The ground of a place at a moment.
    pub(in crate::keeper) fn soil_now(
        &self,
        place: &Place,
        now: &PlaceNow<'_>,
        at_ms: i64,
        suns: &mut Suns,
    ) -> SoilNow<'_> {
        let today = self.site.calendar.day_of(at_ms);
        let thirsty = matches!(place.kind, PlaceKind::Pots | PlaceKind::Seedbed)
            || now.standing.iter().any(|it| {
                it.planting.container_l.is_some() || it.planting.began == crate::entry::Began::Sown
            });
        let peak_c = now.expected.iter().map(|it| it.middle_c).reduce(f64::max);
        let up = self.up(today, suns);
        let warmth = self.each_held(&place.id, Quantity::SoilTemperature, at_ms);
        let turned = self.ground.entries.iter().filter_map(|entry| match &entry.note {
            Note::Turned { place: whose } if *whose == place.id && entry.from_ms <= at_ms => {
                Some(self.site.calendar.day_of(entry.from_ms))
            }
            _ => None,
        });
        let waterings = |it: &Standing<'_>| {
            let noted = self.waterings(it.planting, at_ms);
            (!noted.is_empty()).then(|| (it.planting.id.clone(), noted))
        };
        SoilNow {
            at_ms,
            demand: if thirsty { self.demand(place, at_ms, peak_c, suns) } else { None },
            waterings: now.standing.iter().filter(|_| thirsty).filter_map(waterings).collect(),
            mix_share: self.mix_share(),
            rain: if thirsty { self.rain(at_ms) } else { Vec::new() },
            moisture: self.moist(&place.id, at_ms),
            rises: self.rises(place, at_ms),
            warmth: warmth.into_iter().map(|(probe, t_c)| Warm { probe, t_c }).collect(),
            shaded_days: self.shaded_days(&place.id, at_ms),
            days: self.seen.before(&place.id, today),
            yesterday: today - 1,
            turned: turned.collect(),
            day_length_h: (up.end - up.start) as f64 / MS_PER_HOUR as f64,
            sun: up,
        }
    }

    /// Height of the probe that measures a place's humidity, m.
    pub(in crate::keeper) fn humidity_height_m(&self, place: &str, at_ms: i64) -> Option<f64> {
        let measures = |probe: &str| self.tracks.newest(probe, Quantity::RelativeHumidity, at_ms).is_some();
        self.ground.hangs_in(place, at_ms, at_ms + 1).find(|hang| measures(&hang.probe))?.height_m
    }
}
