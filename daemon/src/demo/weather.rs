//! The air outside: a spring and early summer of ordinary days, then two warm ones, a heat dome of five, and a break.
//!
//! Every day has a low, a high, a share of cloud, a dew point and a wind; warm and cool, bright and dull, moist and
//! dry spells last some days (each day keeps a part of the day before). Between low and high the air follows the
//! usual shape of a day: a sine from sunrise to a high some two hours after the sun's, and an exponential fall
//! through the night (AGRONOMY 4.3; Parton and Logan, 1981).

use core::f64::consts::{PI, TAU};

use agronomy::sun::{self, ClearSky, MEAN_BEAM, RiseSet};
use agronomy::units::{Celsius, Latitude, Longitude, Metres};
use agronomy::vapour::saturation_pressure;

use super::calendar::{Calendar, HOUR_MS};
use super::chance::{Stream, normal, unit, wander};

/// Latitude, degrees north.
pub const LATITUDE: f64 = 45.0;
/// Longitude, degrees east: open water, so that it is nobody's garden.
pub const LONGITUDE: f64 = 12.9;
/// Height above the sea, m.
pub const ALTITUDE_M: f64 = 40.0;
/// Days of history before the story: from the middle of April when the story begins in the middle of July.
pub const SEASON_DAYS: i64 = 90;
/// The first of the two warm days that lead in.
pub const LEAD_IN: i64 = 0;
/// The first day of the heat dome.
pub const DOME: i64 = 2;
/// How many days the dome lasts.
pub const DOME_DAYS: i64 = 5;

/// Weather is drawn for this many days before and after day 0; beyond them the last day repeats.
const REACH: i64 = 200;
/// How many hours after the sun's highest the air is warmest outdoors (AGRONOMY 4.3: 2 to 3).
const LAG_H: f64 = 2.4;
/// How fast the night cools (AGRONOMY 4.3, coefficient b).
const NIGHT_DECAY: f64 = 2.2;

/// The days whose weather the story fixes, from [`LEAD_IN`]: low and high °C, cloud 0..1, dew point °C, wind m/s.
/// Common practice for a heat dome: peaks between 40 and 45 °C, still, hardly a cloud, nights above 20.
const SCRIPT: [(f64, f64, f64, f64, f64); 9] = [
    (17.0, 32.5, 0.15, 13.5, 1.6),
    (18.5, 35.5, 0.10, 14.0, 1.4),
    (21.0, 40.8, 0.05, 14.5, 1.1),
    (22.5, 42.6, 0.03, 15.0, 1.0),
    (23.5, 43.8, 0.02, 15.0, 1.0),
    (24.0, 44.2, 0.03, 15.5, 1.1),
    (24.0, 41.6, 0.12, 16.5, 1.6),
    (19.5, 29.5, 0.75, 16.0, 3.6),
    (15.5, 25.0, 0.45, 12.0, 2.6),
];

/// The air outside at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outside {
    /// Air temperature, °C.
    pub t_c: f64,
    /// Relative humidity, %.
    pub rh_pct: f64,
    /// Global radiation on level ground, W/m².
    pub sun_w_m2: f64,
    /// Wind at the eaves, m/s.
    pub wind_m_s: f64,
    /// Air pressure at the site, kPa.
    pub p_kpa: f64,
}

/// What a day is like before its hours are filled in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Day {
    /// Lowest, about sunrise, °C.
    pub low_c: f64,
    /// Highest, in the afternoon, °C.
    pub high_c: f64,
    /// Share of cloud, 0..1.
    pub cloud: f64,
    dew_c: f64,
    wind_m_s: f64,
    rise_ms: i64,
    set_ms: i64,
}

/// The weather of the site.
#[derive(Clone, Debug)]
pub struct Weather {
    seed: u64,
    calendar: Calendar,
    days: Vec<Day>,
}

impl Weather {
    /// The weather that goes with a seed and a calendar.
    pub fn new(seed: u64, calendar: Calendar) -> Self {
        // Each spell keeps a part of the day before and adds news, so that its spread stays one.
        let mut spells = [0.0_f64; 3];
        let days = (-REACH..=REACH)
            .map(|day| {
                for (spell, (stream, keeps)) in spells.iter_mut().zip([
                    (Stream::Warmth, 0.7_f64),
                    (Stream::Cloud, 0.5),
                    (Stream::Dew, 0.6),
                ]) {
                    let news = normal(seed, stream, day) * libm::sqrt(1.0 - keeps * keeps);
                    *spell = keeps * *spell + news;
                }
                let wind_m_s =
                    1.2 + 2.4 * unit(seed, Stream::Wind, day) * unit(seed, Stream::Wind, day + 5000);
                ordinary_or_scripted(calendar, day, spells, wind_m_s)
            })
            .collect();
        Self { seed, calendar, days }
    }

    /// What a day is like; beyond the days that were drawn, the nearest that was.
    pub fn day(&self, day: i64) -> &Day {
        &self.days[(day + REACH).clamp(0, 2 * REACH) as usize]
    }

    /// The air outside at a moment, UTC ms.
    pub fn at(&self, at_ms: i64) -> Outside {
        let noise = |stream, every_ms| wander(self.seed, stream, at_ms, every_ms);
        let day = self.day(self.calendar.day_of(at_ms));
        let (latitude, longitude) = position();
        let stands = sun::position(at_ms, latitude, longitude);
        let height = libm::sin(stands.altitude_deg.to_radians());
        let clear_w_m2 = ClearSky::Haurwitz.global(stands, MEAN_BEAM, altitude()).get();
        // Clouds come and go most on half-clouded days.
        let passing = 1.6 * day.cloud * (1.0 - day.cloud) * noise(Stream::Passing, 12 * 60_000);
        let cloud = (self.between_noons(at_ms, |day| day.cloud) + passing).clamp(0.0, 1.0);
        let t_c = self.shape(at_ms) + 0.25 * noise(Stream::Puff, 25 * 60_000);
        let dew_c = self.between_noons(at_ms, |day| day.dew_c).min(t_c - 0.2);
        let wind = self.between_noons(at_ms, |day| day.wind_m_s) * (0.55 + 0.6 * height.max(0.0));
        Outside {
            t_c,
            rh_pct: 100.0 * saturation_kpa(dew_c) / saturation_kpa(t_c),
            sun_w_m2: clear_w_m2 * (1.0 - 0.75 * cloud),
            wind_m_s: (wind * (1.0 + 0.35 * noise(Stream::Gust, 10 * 60_000))).max(0.1),
            p_kpa: 101.2 + 0.7 * noise(Stream::Pressure, 60 * HOUR_MS),
        }
    }

    /// A day's figure, moving evenly from one noon to the next.
    fn between_noons(&self, at_ms: i64, figure: impl Fn(&Day) -> f64) -> f64 {
        let day = self.calendar.day_of(at_ms - 12 * HOUR_MS);
        let share = (at_ms - self.calendar.at(day, 12, 0)) as f64 / (24 * HOUR_MS) as f64;
        let (from, to) = (figure(self.day(day)), figure(self.day(day + 1)));
        from + (to - from) * share
    }

    /// The temperature of the day's shape, °C, without puffs.
    fn shape(&self, at_ms: i64) -> f64 {
        let number = self.calendar.day_of(at_ms);
        let day = self.moved(number);
        if at_ms < day.rise_ms {
            night(&self.moved(number - 1), &day, at_ms)
        } else if at_ms <= day.set_ms {
            daytime(&day, at_ms)
        } else {
            night(&day, &self.moved(number + 1), at_ms)
        }
    }

    /// A day with its sunrise and sunset on its own date, also beyond the days that were drawn.
    fn moved(&self, number: i64) -> Day {
        let reached = number.clamp(-REACH, REACH);
        let late_ms = (number - reached) * 24 * HOUR_MS;
        let day = *self.day(reached);
        Day { rise_ms: day.rise_ms + late_ms, set_ms: day.set_ms + late_ms, ..day }
    }
}

/// A day of the script, or one drawn around what the time of the year brings at 45° N away from the sea.
fn ordinary_or_scripted(calendar: Calendar, number: i64, spells: [f64; 3], wind_m_s: f64) -> Day {
    let (latitude, longitude) = position();
    let noon_ms = calendar.at(number, 12, 0);
    let (rise_ms, set_ms) = match sun::rise_set_around(noon_ms, latitude, longitude) {
        RiseSet::RisesAndSets { rise_ms_utc, set_ms_utc } => (rise_ms_utc, set_ms_utc),
        // Not at 45° N; the shape of the day needs two moments all the same.
        RiseSet::PolarDay | RiseSet::PolarNight => (noon_ms - 6 * HOUR_MS, noon_ms + 6 * HOUR_MS),
    };
    let scripted = usize::try_from(number - LEAD_IN).ok().and_then(|index| SCRIPT.get(index));
    if let Some(&(low_c, high_c, cloud, dew_c, wind_m_s)) = scripted {
        return Day { low_c, high_c, cloud, dew_c, wind_m_s, rise_ms, set_ms };
    }
    let [warmth, dullness, moisture] = spells;
    // Mean of day and night: coldest in late January, warmest in late July.
    let year = TAU * (f64::from(chrono::Datelike::ordinal(&calendar.date(number))) - 112.0) / 365.25;
    let mean_c = 12.0 + 10.5 * libm::sin(year) + 3.0 * warmth.clamp(-2.2, 2.2);
    let cloud = (0.45 + 0.32 * dullness).clamp(0.05, 0.95);
    let swing_c = 14.5 - 8.0 * cloud;
    let low_c = mean_c - swing_c / 2.0;
    let dew_c = low_c - 0.8 + 1.4 * moisture.clamp(-2.0, 1.5);
    Day { low_c, high_c: mean_c + swing_c / 2.0, cloud, dew_c, wind_m_s, rise_ms, set_ms }
}

/// Saturation vapour pressure over water, kPa, for a plain number of °C; nothing where no air can be.
pub(super) fn saturation_kpa(t_c: f64) -> f64 {
    Celsius::try_new(t_c).map_or(f64::NAN, |air| saturation_pressure(air).get())
}

fn position() -> (Latitude, Longitude) {
    let on_earth = "the site is on the earth";
    (Latitude::try_new(LATITUDE).expect(on_earth), Longitude::try_new(LONGITUDE).expect(on_earth))
}

fn altitude() -> Metres {
    Metres::try_new(ALTITUDE_M).expect("the site is on the earth")
}

/// From sunrise to sunset: a sine that is highest [`LAG_H`] after the sun.
fn daytime(day: &Day, at_ms: i64) -> f64 {
    let hours = (at_ms - day.rise_ms) as f64 / HOUR_MS as f64;
    let length = (day.set_ms - day.rise_ms) as f64 / HOUR_MS as f64;
    day.low_c + (day.high_c - day.low_c) * libm::sin(PI * hours / (length + 2.0 * LAG_H))
}

/// From a sunset to the next sunrise: an exponential fall that ends at the morning's low.
fn night(evening: &Day, morning: &Day, at_ms: i64) -> f64 {
    let at_set_c = daytime(evening, evening.set_ms);
    let share = (at_ms - evening.set_ms) as f64 / (morning.rise_ms - evening.set_ms) as f64;
    let end = libm::exp(-NIGHT_DECAY);
    let left = (libm::exp(-NIGHT_DECAY * share) - end) / (1.0 - end);
    morning.low_c + (at_set_c - morning.low_c) * left
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::calendar::{DAY_MS, MINUTE_MS};
    use crate::demo::site::DEFAULT_START_MS;

    fn calendar() -> Calendar {
        Calendar::new(DEFAULT_START_MS)
    }

    #[test]
    fn the_longest_day_is_as_long_as_at_45_degrees_and_the_sun_as_strong() {
        // fao56_radiation.csv, middle of June: 14.83 h at 40° N and 16.12 h at 50° N, geometric; its head allows 0.3 h
        // for refraction.
        let weather = Weather::new(1, calendar());
        let solstice = weather.day(-22);
        let hours = (solstice.set_ms - solstice.rise_ms) as f64 / HOUR_MS as f64;
        assert!((14.83 + 0.3..16.12).contains(&hours), "{hours}");
        // The same table, middle of July: Ra 40.2 to 40.8 MJ/m²; a clear sky passes 0.75 of it (FAO-56 eq. 36), and models
        // differ by 5 to 15 % (head of sun_positions.csv).
        let joules: f64 = day_of_minutes(&weather, DOME + 2).iter().map(|o| o.sun_w_m2 * 60.0).sum();
        assert!((0.85 * 0.75 * 40.2e6..0.75 * 40.8e6).contains(&joules), "{joules}");
    }

    fn day_of_minutes(weather: &Weather, day: i64) -> Vec<Outside> {
        (0..1440).map(|minute| weather.at(calendar().at(day, 0, minute))).collect()
    }

    fn highest(outside: &[Outside]) -> f64 {
        outside.iter().map(|o| o.t_c).fold(f64::MIN, f64::max)
    }

    fn lowest(outside: &[Outside]) -> f64 {
        outside.iter().map(|o| o.t_c).fold(f64::MAX, f64::min)
    }

    #[test]
    fn each_day_of_the_dome_peaks_between_40_and_45_in_the_afternoon_whatever_the_seed() {
        // Common practice for a heat dome; AGRONOMY 4.3: outdoors warmest two to three hours after solar noon.
        for seed in [1, 2, 3, 40, 500] {
            let weather = Weather::new(seed, calendar());
            for day in DOME..DOME + DOME_DAYS {
                let minutes = day_of_minutes(&weather, day);
                let peak = highest(&minutes);
                assert!((40.0..=45.0).contains(&peak), "seed {seed} day {day}: {peak}");
                let minute = minutes.iter().position(|o| o.t_c == peak).unwrap();
                // Solar noon at 12.9° E by this clock is about 12:14 in July (equation of time −6 min).
                assert!((13 * 60 + 30..=15 * 60 + 45).contains(&minute), "{minute}");
            }
        }
    }

    #[test]
    fn two_warm_days_lead_in_and_a_cooler_one_breaks_it() {
        let weather = Weather::new(1, calendar());
        let peak = |day| highest(&day_of_minutes(&weather, day));
        assert!(peak(LEAD_IN) > 30.0 && peak(LEAD_IN + 1) > peak(LEAD_IN) && peak(LEAD_IN + 1) < 37.0);
        assert!(peak(DOME + DOME_DAYS) < 32.0 && peak(DOME + DOME_DAYS + 1) < 28.0);
    }

    #[test]
    fn the_season_before_is_an_ordinary_one() {
        // Plausible bounds for 45° N inland from mid April to mid July (common practice), for several seeds.
        for seed in 1..6 {
            let weather = Weather::new(seed, calendar());
            let days: Vec<_> = (-SEASON_DAYS..0).map(|day| day_of_minutes(&weather, day)).collect();
            let high = days.iter().map(|d| highest(d)).fold(f64::MIN, f64::max);
            let low = days.iter().map(|d| lowest(d)).fold(f64::MAX, f64::min);
            assert!((26.0..38.0).contains(&high), "seed {seed}: high {high}");
            assert!((-3.0..8.0).contains(&low), "seed {seed}: low {low}");
            let mean = |from: usize| {
                days[from..from + 20].iter().flatten().map(|o| o.t_c).sum::<f64>() / (20.0 * 1440.0)
            };
            assert!(mean(70) > mean(0) + 4.0, "July is warmer than April");
        }
    }

    #[test]
    fn warm_and_cool_spells_last_some_days() {
        // A first-order autoregression that keeps 0.7 has that correlation from one day to the next; the bounds
        // allow for four standard errors of a sample of 90, about 0.08 each.
        let weather = Weather::new(3, calendar());
        let drawn: Vec<f64> = (-190..-10)
            .map(|day| {
                let year =
                    TAU * (f64::from(chrono::Datelike::ordinal(&calendar().date(day))) - 112.0) / 365.25;
                f64::midpoint(weather.day(day).low_c, weather.day(day).high_c) - 12.0 - 10.5 * libm::sin(year)
            })
            .collect();
        let mean = drawn.iter().sum::<f64>() / drawn.len() as f64;
        let spread: f64 = drawn.iter().map(|x| (x - mean) * (x - mean)).sum();
        let together: f64 = drawn.windows(2).map(|w| (w[0] - mean) * (w[1] - mean)).sum();
        assert!((0.4..0.95).contains(&(together / spread)), "{}", together / spread);
    }

    #[test]
    fn nothing_jumps_from_minute_to_minute_and_everything_can_be() {
        let weather = Weather::new(1, calendar());
        let mut before = weather.at(calendar().at(-SEASON_DAYS, 0, 0));
        for minute in 1..(SEASON_DAYS + 12) * 1440 {
            let now = weather.at(calendar().at(-SEASON_DAYS, 0, minute));
            assert!((now.t_c - before.t_c).abs() < 0.4, "minute {minute}: {before:?} {now:?}");
            assert!(now.rh_pct > 5.0 && now.rh_pct < 100.0, "{now:?}");
            assert!((0.0..1200.0).contains(&now.sun_w_m2) && now.wind_m_s > 0.0 && now.wind_m_s < 12.0);
            before = now;
        }
    }

    #[test]
    fn after_the_last_drawn_day_the_weather_still_answers() {
        let weather = Weather::new(1, calendar());
        let later = weather.at(DEFAULT_START_MS + 900 * DAY_MS + 7 * MINUTE_MS);
        assert!(later.t_c.is_finite() && later.rh_pct <= 100.0);
    }
}
