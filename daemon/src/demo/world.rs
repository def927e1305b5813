//! What is true at a given time: outside, in the house, in the beds.
//!
//! The house has a memory (its mass), so its state is advanced from the beginning of the season minute by minute,
//! once, and kept. Whoever asks again, or for an earlier time, gets what was true then.

use std::sync::{Mutex, PoisonError};

use super::calendar::{Calendar, DAY_MS, MINUTE_MS};
use super::house::{House, Setting};
use super::weather::{Outside, SEASON_DAYS, Weather, saturation_kpa};
use super::{site, story};
use crate::entry::Note;

/// Open vents and door of the house, share of the floor area (AGRONOMY 3.3: 15 to 20 percent, the door alone 25).
const OPEN: f64 = 0.16;

/// The air at one point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Temperature, °C.
    pub t_c: f64,
    /// Relative humidity, %.
    pub rh_pct: f64,
}

impl Air {
    /// The same air, warmed (or cooled) by some degrees: its water stays, its relative humidity does not.
    fn warmed(self, by_k: f64) -> Self {
        let t_c = self.t_c + by_k;
        let rh_pct = self.rh_pct * saturation_kpa(self.t_c) / saturation_kpa(t_c);
        Self { t_c, rh_pct: rh_pct.clamp(1.0, 100.0) }
    }
}

/// What is true everywhere at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Truth {
    /// Outside.
    pub outside: Outside,
    /// In the house at crop height, where `post` hangs.
    pub house: Air,
    /// Under the ridge of the house, where `ridge` hangs.
    pub ridge: Air,
    /// Air pressure, kPa.
    pub p_kpa: f64,
    /// What the probes in the beds feel, in the order of [`site::BED_PROBES`]: outside air and what little the sun
    /// does to their shelters.
    pub beds: [Air; 2],
}

/// The invented world: a pure function of seed, start and time.
#[derive(Debug)]
pub struct World {
    seed: u64,
    start_ms: i64,
    calendar: Calendar,
    weather: Weather,
    diary: Vec<(i64, Note)>,
    house: Mutex<Minutes>,
}

/// The house, minute by minute since the beginning of the season.
#[derive(Debug)]
struct Minutes {
    now: House,
    known: Vec<Air>,
    /// How many notes of the diary have been heeded.
    heeded: usize,
    setting: Setting,
}

impl World {
    /// The world of a seed in which the story begins at `start_ms` (UTC ms); the season before it begins
    /// [`SEASON_DAYS`] earlier, at midnight.
    pub fn new(seed: u64, start_ms: i64) -> Self {
        let calendar = Calendar::new(start_ms);
        let weather = Weather::new(seed, calendar);
        let mut diary = site::season_notes(calendar, &weather);
        diary.extend(story::notes(calendar));
        let setting = Setting { vents: 0.0, shade: false, leaf_area: 0.0, supply: 1.0 };
        let now = House::at_rest(&weather.at(calendar.at(-SEASON_DAYS, 0, 0)));
        let house = Mutex::new(Minutes { now, known: Vec::new(), heeded: 0, setting });
        Self { seed, start_ms, calendar, weather, diary, house }
    }

    /// The seed it was made from.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// When the story begins, UTC ms.
    pub fn start_ms(&self) -> i64 {
        self.start_ms
    }

    /// When the season before it begins, UTC ms.
    pub fn season_start_ms(&self) -> i64 {
        self.calendar.at(-SEASON_DAYS, 0, 0)
    }

    /// Its calendar.
    pub fn calendar(&self) -> Calendar {
        self.calendar
    }

    /// What was noted before the story begins, oldest first: `(UTC ms, note)`.
    pub fn season_notes(&self) -> impl Iterator<Item = &(i64, Note)> {
        self.diary.iter().take_while(|(at_ms, _)| *at_ms < self.start_ms)
    }

    /// What is true at a moment, UTC ms. Before the season begins the house is as it was then.
    pub fn at(&self, at_ms: i64) -> Truth {
        let outside = self.weather.at(at_ms);
        let house = self.house_at(at_ms);
        let open_air = Air { t_c: outside.t_c, rh_pct: outside.rh_pct };
        // What still air and sun do to a louvred shelter: some tenths of a degree (AGRONOMY 5.1).
        let sunned_k = 0.5 * outside.sun_w_m2 / 800.0 / (1.0 + outside.wind_m_s);
        Truth {
            outside,
            house,
            // Warm air gathers under the ridge, the more the sun shines.
            ridge: house.warmed(0.2 + 1.1 * outside.sun_w_m2 / 800.0),
            p_kpa: outside.p_kpa,
            // The ditch keeps its bed a little cooler; the wall by the gate keeps the other a little warmer.
            beds: [open_air.warmed(sunned_k + 0.2), open_air.warmed(sunned_k - 0.3)],
        }
    }

    fn house_at(&self, at_ms: i64) -> Air {
        let since_ms = (at_ms - self.season_start_ms()).max(0);
        let minute = (since_ms / MINUTE_MS) as usize;
        // A poisoned lock means a panic elsewhere; the minutes that are known are still true.
        let mut minutes = self.house.lock().unwrap_or_else(PoisonError::into_inner);
        while minutes.known.len() < minute + 2 {
            self.advance(&mut minutes);
        }
        let share = (since_ms % MINUTE_MS) as f64 / MINUTE_MS as f64;
        let (from, to) = (minutes.known[minute], minutes.known[minute + 1]);
        Air {
            t_c: from.t_c + (to.t_c - from.t_c) * share,
            rh_pct: from.rh_pct + (to.rh_pct - from.rh_pct) * share,
        }
    }

    /// Writes down the minute that has been reached and takes the house to the next.
    fn advance(&self, minutes: &mut Minutes) {
        let now_ms = self.season_start_ms() + minutes.known.len() as i64 * MINUTE_MS;
        minutes.known.push(Air { t_c: minutes.now.air_c(), rh_pct: minutes.now.rh_pct() });
        while let Some((_, note)) = self.diary.get(minutes.heeded).filter(|(at_ms, _)| *at_ms <= now_ms) {
            match note {
                Note::Vents { place, open } if place == site::HOUSE => {
                    minutes.setting.vents = if *open { OPEN } else { 0.0 };
                }
                Note::Shade { place, on } if place == site::HOUSE => minutes.setting.shade = *on,
                _ => {}
            }
            minutes.heeded += 1;
        }
        let day = (now_ms - self.calendar.at(0, 0, 0)) as f64 / DAY_MS as f64;
        minutes.setting.leaf_area = site::leaf_area(day);
        let outside = self.weather.at(now_ms);
        let setting = minutes.setting;
        minutes.now.step(&outside, &setting, MINUTE_MS as f64 / 1000.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::site::DEFAULT_START_MS;
    use crate::demo::weather::{DOME, DOME_DAYS};

    #[test]
    fn the_order_of_asking_changes_nothing() {
        let (forth, back) = (World::new(5, DEFAULT_START_MS), World::new(5, DEFAULT_START_MS));
        let times: Vec<_> =
            (0..48).map(|step| forth.season_start_ms() + step * 37 * MINUTE_MS + 11_000).collect();
        let forwards: Vec<_> = times.iter().map(|t| forth.at(*t)).collect();
        let mut backwards: Vec<_> = times.iter().rev().map(|t| back.at(*t)).collect();
        backwards.reverse();
        assert_eq!(forwards, backwards);
    }

    #[test]
    fn another_seed_is_another_season() {
        let (one, two) = (World::new(1, DEFAULT_START_MS), World::new(2, DEFAULT_START_MS));
        assert_ne!(
            one.at(one.season_start_ms() + DAY_MS).outside,
            two.at(two.season_start_ms() + DAY_MS).outside
        );
    }

    #[test]
    fn the_season_and_the_dome_are_such_as_a_house_can_have() {
        let world = World::new(1, DEFAULT_START_MS);
        let mut warmest = f64::MIN;
        for minute in (0..SEASON_DAYS * 1440).step_by(10) {
            let truth = world.at(world.season_start_ms() + minute * MINUTE_MS);
            let house = truth.house;
            assert!(house.t_c > truth.outside.t_c - 3.0, "never much colder than outside: {truth:?}");
            assert!(house.rh_pct > 5.0 && house.rh_pct < 99.5, "{truth:?}");
            warmest = warmest.max(house.t_c);
        }
        // An aired house on an ordinary early summer day: warm, now and then past 35 (common practice).
        assert!((30.0..43.0).contains(&warmest), "{warmest}");
        for day in DOME..DOME + DOME_DAYS {
            let noon = world.at(world.calendar().at(day, 14, 0));
            let above = noon.house.t_c - noon.outside.t_c;
            assert!((-2.0..6.0).contains(&above), "day {day}: {above} K above {}", noon.outside.t_c);
            assert!(noon.ridge.t_c > noon.house.t_c && noon.ridge.rh_pct < noon.house.rh_pct);
        }
    }

    #[test]
    fn shut_in_the_morning_sun_the_house_is_warmer_than_outside_and_airing_brings_it_down() {
        let world = World::new(1, DEFAULT_START_MS);
        let warmer = |at_ms| {
            let truth = world.at(at_ms);
            truth.house.t_c - truth.outside.t_c
        };
        let (opened_ms, _) = *world
            .season_notes()
            .filter(|(at_ms, note)| {
                matches!(note, Note::Vents { open: true, .. }) && world.at(*at_ms).outside.sun_w_m2 > 300.0
            })
            .max_by(|a, b| warmer(a.0).total_cmp(&warmer(b.0)))
            .unwrap();
        assert!(warmer(opened_ms) > 4.0, "{}", warmer(opened_ms));
        assert!(warmer(opened_ms + 20 * MINUTE_MS) < 0.6 * warmer(opened_ms));
    }
}
