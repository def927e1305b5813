//! Making the pages of a place's day from wherever its readings lie, and keeping those that are made.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use agronomy::quantity::Quantity;
use agronomy::series::{self, Held, MS_PER_DAY};
use serde::{Deserialize, Serialize};

use super::day_page::{DayInput, DayPage};
use super::planting_page::{PlantingPage, planting_page, rules_of};
use super::stages::Course;
use crate::calendar::{Day, date};
use crate::entry::Note;
use crate::ground::Ground;
use crate::site::Site;

/// Where sound readings come from: the keeper's memory of the last days, or the ledger.
pub trait Readings {
    /// Sound readings (UTC ms, value) of a probe in a stretch, in measured order, one a moment.
    fn sound(&self, probe: &str, quantity: Quantity, range: Range<i64>) -> Vec<(i64, f64)>;
    /// Whether anything at all was heard of a probe in a stretch, sound or not.
    fn heard(&self, probe: &str, range: Range<i64>) -> bool;
}

/// The pages made so far.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Pages {
    /// By place and day.
    pub places: BTreeMap<(String, Day), DayPage>,
    /// By planting and day.
    pub plantings: BTreeMap<(String, Day), PlantingPage>,
}

impl Pages {
    /// Puts in (or takes out) what was made of a place's day.
    pub fn put(&mut self, ground: &Ground, place: &str, day: Day, made: Option<Made>) {
        let key = |id: &str| (id.to_owned(), day);
        for planting in ground.plantings.iter().filter(|planting| planting.place == place) {
            self.plantings.remove(&key(&planting.id));
        }
        let Some(made) = made else {
            self.places.remove(&key(place));
            return;
        };
        for page in made.plantings {
            self.plantings.insert(key(&page.planting), page);
        }
        self.places.insert(key(place), made.place);
    }

    /// What is kept of a place's day.
    pub fn made(&self, ground: &Ground, place: &str, day: Day) -> Option<Made> {
        let page = self.places.get(&(place.to_owned(), day))?;
        let of_place = ground.plantings.iter().filter(|planting| planting.place == place);
        let plantings =
            of_place.filter_map(|it| self.plantings.get(&(it.id.clone(), day))).cloned().collect();
        Some(Made { place: page.clone(), plantings })
    }

    /// The newest day of a planting that has a page.
    pub fn last_day(&self, planting: &str) -> Option<Day> {
        let of_planting = (planting.to_owned(), Day::MIN)..=(planting.to_owned(), Day::MAX);
        self.plantings.range(of_planting).next_back().map(|((_, day), _)| *day)
    }

    /// Mean air temperature of each day of a stretch, °C; none for one without a page.
    pub fn daily_means(&self, place: &str, days: Range<Day>) -> Vec<Option<f64>> {
        let mut means = vec![None; (days.end - days.start).max(0) as usize];
        let known = self.places.range((place.to_owned(), days.start)..(place.to_owned(), days.end));
        for ((_, day), page) in known {
            means[(day - days.start) as usize] = page.t_mean_c;
        }
        means
    }

    /// Highest air temperatures of the days before `day`, of those of the last 14 that count in full, °C.
    pub fn full_day_maxima(&self, place: &str, day: Day) -> Vec<f64> {
        self.places
            .range((place.to_owned(), day - 14)..(place.to_owned(), day))
            .filter(|(_, page)| page.measured_share >= 0.75)
            .filter_map(|(_, page)| page.t_max_c)
            .collect()
    }
}

/// What one day of one place came to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Made {
    /// The place's page.
    pub place: DayPage,
    /// The pages of its plantings.
    pub plantings: Vec<PlantingPage>,
}

/// Makes the pages of a place's day; `None` where nothing was heard and nothing read by hand.
pub fn make(site: &Site, ground: &Ground, readings: &dyn Readings, place: &str, day: Day) -> Option<Made> {
    let input = input(site, ground, readings, place, day)?;
    let (page, heat_day) = (input.page(), input.heat_day());
    let plantings = ground
        .plantings
        .iter()
        .filter(|planting| planting.place == place && stands_in(planting, &input.day))
        .filter_map(|planting| {
            let crop = site.crop_of(planting)?;
            // By notes and dates: a page rests on its own day alone, and warmth is other days'.
            let stages = Course::of(planting, &crop, &site.calendar, None).on(day);
            Some(planting_page(&input, &page, &heat_day, planting, &crop, &stages, site.place_line_c()))
        })
        .collect();
    Some(Made { place: page, plantings })
}

fn stands_in(planting: &crate::ground::Planting, day: &Range<i64>) -> bool {
    planting.from_ms < day.end && planting.ended_ms.is_none_or(|ended| ended > day.start)
}

/// Gathers what a page is made from.
pub fn input(
    site: &Site,
    ground: &Ground,
    readings: &dyn Readings,
    place: &str,
    day: Day,
) -> Option<DayInput> {
    ground.place(place)?;
    let start = site.calendar.start_of(day);
    let window = start..start + MS_PER_DAY;
    let mut hangs = ground.hangs_in(place, window.start, window.end);
    let heard = hangs.any(|hang| readings.heard(&hang.probe, clip(hang, &window)));
    let by_hand = by_hand(site, ground, place, day);
    if !heard && by_hand.is_none() {
        return None;
    }
    // From a day before: the value carried in, and the evening of the night that ends this morning.
    let wide = start - MS_PER_DAY..window.end;
    let held = |quantity| held(ground, readings, place, quantity, &wide);
    let (air, humidity) = (held(Quantity::AirTemperature), held(Quantity::RelativeHumidity));
    let rules: BTreeSet<_> = ground
        .plantings
        .iter()
        .filter(|planting| planting.place == place && stands_in(planting, &window))
        .filter_map(|planting| site.crop_of(planting))
        .flat_map(|crop| rules_of(&crop).collect::<Vec<_>>())
        .collect();
    Some(DayInput {
        place: place.to_owned(),
        date: date(day),
        day: window,
        night: site.night_before(day),
        air,
        humidity,
        by_hand,
        rules,
    })
}

/// What is known of a quantity at a place over a stretch: what the probe that was hung first holds, and in its
/// gaps what the next one does. Each value begins where it was measured (or where it takes over).
pub fn held(
    ground: &Ground,
    readings: &dyn Readings,
    place: &str,
    quantity: Quantity,
    window: &Range<i64>,
) -> Vec<Held> {
    ground.hangs_in(place, window.start, window.end).fold(Vec::new(), |known, hang| {
        let hung = clip(hang, window);
        let sound = readings.sound(&hang.probe, quantity, hung.clone());
        series::fill(&known, series::hold(sound.into_iter(), hang.usual_interval_ms, hung))
    })
}

/// The part of a stretch during which a probe hung there.
fn clip(hang: &crate::ground::Hang, window: &Range<i64>) -> Range<i64> {
    window.start.max(hang.from_ms)..hang.until_ms.map_or(window.end, |until| until.min(window.end))
}

/// Lowest and highest of a day as read by hand.
///
/// A thermometer read before noon shows the low of this morning and the high of the day before; read later,
/// both belong to its own day (common practice in keeping weather books).
fn by_hand(site: &Site, ground: &Ground, place: &str, day: Day) -> Option<(f64, f64)> {
    let (mut low, mut high) = (None, None);
    for entry in &ground.entries {
        let Note::Thermometer { place: at, low_c: Some(low_c), high_c: Some(high_c), .. } = &entry.note
        else {
            continue;
        };
        if at != place {
            continue;
        }
        let read_on = site.calendar.day_of(entry.from_ms);
        let high_of = read_on - i64::from(site.calendar.hour_of(entry.from_ms) < 12.0);
        if read_on == day {
            low = Some(*low_c);
        }
        if high_of == day {
            high = Some(*high_c);
        }
    }
    let (low, high) = (low?, high?);
    Some((f64::min(low, high), high))
}
