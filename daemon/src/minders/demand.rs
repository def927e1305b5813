//! How much water the weather asks of a place, and at which hours.
//!
//! The reference is a depth of water a day: in the open what short grass would give off, under cover what a full
//! canopy there does. A plant takes its own multiple of it from the ground that its leaves shade. What is known
//! decides the way, from the best to the least: the sun measured, the span of the day's temperatures in the open (a
//! clear day is warm by day and cool by night), and, under cover where neither is known, a cloudless sky, which asks
//! for too much rather than too little. A day that has only begun to be measured has no span yet, and a span of
//! nought would ask for no water at all: until then its span is the one expected, yesterday's, or the usual one. A fresh
//! forecast of a day goes before what the last one was like, and is all that is known of tomorrow.
//!
//! Within a day the demand follows the sun: as half a sine from sunrise to sunset (common practice), none by night.

use std::f64::consts::PI;
use std::ops::Range;

use agronomy::series::MS_PER_DAY;
use agronomy::sun::DayOfYear;
use agronomy::sun::fao56::{clear_sky_day, extraterrestrial_day};
use agronomy::units::{
    Celsius, DailyRadiation, Fraction, Latitude, Litres, Metres, MetresPerSecond, MillimetresPerDay,
    RelativeHumidity, SquareMetres,
};
use agronomy::water::by_hand::{self, Means};
use agronomy::water::moisture::{vapour_from_lowest, vapour_from_mean};
use agronomy::water::net_radiation::{Setting, solar_from_temperatures};
use agronomy::water::{greenhouse, hargreaves};

use super::place_now::Standing;
use crate::calendar::Day;
use crate::entry::Began;

/// Wind of a sheltered garden at 2 m where nobody measures it, m/s (common practice).
const SHELTERED_WIND: f64 = 1.5;
/// What a cover of glass or film lets through: the middle of 0.62 to 0.80 (common practice).
const COVER: f64 = 0.70;
/// What shade lets through where it is noted as on and nobody said how dense: a net of 50 % (common practice).
pub const SHADE: f64 = 0.50;
/// Reference at which the book's band for a heat wave holds, mm/d: the middle of 7 to 9 (head of the crop book).
const HEAT_WAVE_MM: f64 = 8.0;
/// How long a young plant takes little: from planting out, or from sowing, ms (common practice).
const YOUNG_MS: [i64; 2] = [21 * 86_400_000, 42 * 86_400_000];
/// From there to full leaf, ms (common practice).
const CLOSING_MS: f64 = 28.0 * 86_400_000.0;

/// What the demand of a day is reckoned from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// A light probe.
    Light,
    /// Lowest and highest temperature in the open, measured.
    Temperatures,
    /// A fresh forecast of the day.
    Forecast,
    /// Lowest and highest temperature in the open, as they are expected today.
    Expected,
    /// Lowest and highest temperature in the open, as they were yesterday.
    Yesterday,
    /// Lowest and highest temperature in the open, as they are usual at this time of the year.
    Usual,
    /// Nothing: the sky is taken to be clear.
    ClearSky,
}

impl Basis {
    /// The assumption, in words that end a sentence.
    pub fn words(self) -> &'static str {
        match self {
            Self::Light => "reckoned from the light probe",
            Self::Temperatures => "reckoned from the span of temperatures in the open, give or take a third",
            Self::Forecast => "reckoned from the forecast, give or take a third",
            Self::Expected => {
                "reckoned from the span of temperatures expected in the open, give or take a third"
            }
            Self::Yesterday => {
                "reckoned from yesterday's span of temperatures in the open, give or take a third"
            }
            Self::Usual => {
                "reckoned from the span of temperatures usual here at this time of the year, give or take a half"
            }
            Self::ClearSky => "reckoned as if the sky were clear, so rather too much",
        }
    }
}

/// Lowest and highest air temperature in the open, °C, and where they come from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// Lowest.
    pub low_c: f64,
    /// Highest.
    pub high_c: f64,
    /// Where they come from: of a span, never the light or a clear sky.
    pub basis: Basis,
}

/// The sun of a day as a probe or a forecast has it, MJ/m².
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sun {
    /// Measured under the cover, where the plants stand.
    Inside(f64),
    /// Measured in the open.
    Outside(f64),
    /// In the open, as a forecast has it.
    Told(f64),
}

impl Sun {
    /// What a demand that is reckoned from it rests on.
    fn basis(self) -> Basis {
        match self {
            Self::Inside(_) | Self::Outside(_) => Basis::Light,
            Self::Told(_) => Basis::Forecast,
        }
    }
}

/// What is known of a day's weather.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DayWeather {
    /// Lowest and highest air temperature in the open. Air under cover is never put here.
    pub span: Option<Span>,
    /// Mean humidity in the open, %.
    pub humidity_pct: Option<f64>,
    /// The sun.
    pub sun: Option<Sun>,
}

/// The reference of a day in the open, mm.
///
/// # Source
///
/// FAO-56 (1998), eq. 6 with the sun measured, eq. 52 (Hargreaves) with temperatures alone.
pub fn open_mm(latitude: Latitude, day: Day, weather: &DayWeather) -> Option<(f64, Basis)> {
    let span = weather.span?;
    let (lowest, highest) = (Celsius::try_new(span.low_c).ok()?, Celsius::try_new(span.high_c).ok()?);
    let of_year = DayOfYear::of_day(day);
    if let Some(sun @ (Sun::Outside(mj) | Sun::Told(mj))) = weather.sun {
        let humidity = weather.humidity_pct.and_then(|rh| RelativeHumidity::from_probe(rh).ok());
        let vapour = humidity.map_or_else(
            || vapour_from_lowest(lowest, false),
            |humidity| vapour_from_mean(lowest, highest, humidity),
        );
        let day = agronomy::water::Day {
            latitude,
            altitude: Metres::try_new(0.0).ok()?,
            day: of_year,
            lowest,
            highest,
            vapour,
            solar: DailyRadiation::try_new(mj).ok()?,
            wind: MetresPerSecond::try_new(SHELTERED_WIND).ok()?,
            soil_heat: DailyRadiation::try_new(0.0).ok()?,
        };
        let total = day.reference().ok()?.total().get();
        return Some((total.max(0.0), sun.basis()));
    }
    let reference = hargreaves(latitude, of_year, lowest, highest).ok()?;
    Some((reference.get().max(0.0), span.basis))
}

/// The use of a full canopy under cover in a day, mm; `shade`: what it lets through, 1 where there is none. A probe
/// under the cover is taken to hang under the shade too.
///
/// # Source
///
/// The energy balance of a canopy without wind ([`greenhouse::from_sun`], [`greenhouse::under_shade`]); the sun by
/// FAO-56 (1998), eq. 37 and 50, where nobody measures it.
pub fn covered_mm(latitude: Latitude, day: Day, weather: &DayWeather, shade: f64) -> Option<(f64, Basis)> {
    let above = extraterrestrial_day(latitude, DayOfYear::of_day(day));
    let (solar, transmission, basis) = match (weather.sun, weather.span) {
        (Some(Sun::Inside(mj)), _) => (DailyRadiation::try_new(mj / shade).ok()?, 1.0, Basis::Light),
        (Some(sun @ (Sun::Outside(mj) | Sun::Told(mj))), _) => {
            (DailyRadiation::try_new(mj).ok()?, COVER, sun.basis())
        }
        (None, Some(span)) => {
            let (low, high) = (Celsius::try_new(span.low_c).ok()?, Celsius::try_new(span.high_c).ok()?);
            let solar = solar_from_temperatures(above, low, high, Setting::Interior);
            (solar, COVER, span.basis)
        }
        (None, None) => (clear_sky_day(above, Metres::try_new(0.0).ok()?), COVER, Basis::ClearSky),
    };
    let transmission = Fraction::try_new(transmission).ok()?;
    let canopy = greenhouse::from_sun(solar, transmission, Fraction::WHOLE, greenhouse::USUAL_SHARE);
    let left = greenhouse::under_shade(Fraction::try_new(shade).ok()?);
    Some((canopy.get().max(0.0) * left.get(), basis))
}

/// Share of a day's sun that has shone by a moment, 0 to 1.
pub fn shone(sun: &Range<i64>, at_ms: i64) -> f64 {
    let far = (at_ms - sun.start) as f64 / (sun.end - sun.start).max(1) as f64;
    (1.0 - libm::cos(PI * far.clamp(0.0, 1.0))) / 2.0
}

/// The demand of one day.
#[derive(Clone, Debug, PartialEq)]
pub struct DayDemand {
    /// While the sun is up, UTC ms.
    pub sun: Range<i64>,
    /// The reference of the whole day, mm.
    pub reference_mm: f64,
}

/// The demand of some days in a row.
#[derive(Clone, Debug, PartialEq)]
pub struct Demand {
    /// The days, earliest first.
    pub days: Vec<DayDemand>,
    /// Which of them is today.
    pub today: usize,
    /// What today's is reckoned from.
    pub basis: Basis,
}

impl Demand {
    /// Where nothing is known of the weather: days like today's sun that ask for nothing.
    pub fn unknown(sun: &Range<i64>) -> Self {
        let day = |back: i64| DayDemand {
            sun: sun.start - back * MS_PER_DAY..sun.end - back * MS_PER_DAY,
            reference_mm: 0.0,
        };
        Self { days: [2, 1, 0].map(day).into(), today: 2, basis: Basis::ClearSky }
    }

    /// Today.
    pub fn today(&self) -> Option<&DayDemand> {
        self.days.get(self.today)
    }

    /// From when on it is known, UTC ms: the first day's sunrise.
    pub fn known_from_ms(&self) -> i64 {
        self.days.first().map_or(i64::MAX, |day| day.sun.start)
    }

    /// The reference between two moments, mm; what lies before the first day or after the last adds nothing.
    pub fn between(&self, from_ms: i64, until_ms: i64) -> f64 {
        let of_day =
            |day: &DayDemand| day.reference_mm * (shone(&day.sun, until_ms) - shone(&day.sun, from_ms));
        self.days.iter().map(of_day).sum::<f64>().max(0.0)
    }

    /// When so much more will have been asked for, UTC ms; none where the days at hand do not ask for it.
    pub fn when(&self, from_ms: i64, depth_mm: f64) -> Option<i64> {
        let mut left = depth_mm.max(0.0);
        for day in self.days.iter().filter(|day| day.sun.end > from_ms && day.reference_mm > 0.0) {
            let begun = shone(&day.sun, from_ms);
            let share = left / day.reference_mm;
            if begun + share <= 1.0 {
                let far = libm::acos(1.0 - 2.0 * (begun + share)) / PI;
                let at_ms = day.sun.start + libm::round(far * (day.sun.end - day.sun.start) as f64) as i64;
                return Some(at_ms.max(from_ms));
            }
            left -= day.reference_mm * (1.0 - begun);
        }
        None
    }
}

/// How a plant draws on the reference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plant {
    /// Ground that its leaves shade, m².
    pub area_m2: f64,
    /// Its multiple of the reference.
    pub factor: f64,
    /// Share of the available water that may go before it feels it.
    pub share: f64,
}

impl Plant {
    /// One plant of a planting. Where the book does not say how much ground it shades, the ground is that which its
    /// band for a heat wave stands for.
    pub fn of(standing: &Standing<'_>, at_ms: i64, under_cover: bool) -> Self {
        let water = &standing.crop.water;
        let full = water.kc_mid.middle();
        let by_band = water.heatwave_l_per_plant_day.middle() / (HEAT_WAVE_MM * full.max(0.1));
        let area_m2 = water.canopy_m2_per_plant.as_ref().map_or(by_band, agronomy::crop::Figure::middle);
        let now = coefficient(standing, at_ms);
        let factor = if under_cover { now / full.max(0.1) } else { now };
        Self { area_m2, factor, share: water.depletion_p.middle() }
    }

    /// What it takes of so much reference, L.
    pub fn takes_l(&self, reference_mm: f64) -> f64 {
        reference_mm * self.factor * self.area_m2
    }

    /// The reference that takes so much from it, mm; without end where it takes nothing.
    pub fn reference_mm(&self, litres: f64) -> f64 {
        let each = self.factor * self.area_m2;
        if each > 0.0 { litres / each } else { f64::INFINITY }
    }

    /// Litres to give by can for a day of this reference: some of it misses the roots.
    pub fn gives_l(&self, reference_mm: f64) -> Option<Litres> {
        let used = MillimetresPerDay::try_new(reference_mm * self.factor).ok()?;
        Some(by_hand::litres(used, SquareMetres::try_new(self.area_m2).ok()?, Means::Can))
    }
}

/// The crop coefficient by what was noted: in full leaf from the first flower on, before that by age.
///
/// # Source
///
/// The figures: FAO-56 (1998), Table 12, by the book; the ages from common practice, since degree days for its stages
/// are known of few crops.
fn coefficient(standing: &Standing<'_>, at_ms: i64) -> f64 {
    let (planting, water) = (standing.planting, &standing.crop.water);
    let (young, full) = (water.kc_ini.middle(), water.kc_mid.middle());
    let noted = [planting.first_flower_ms, planting.first_ripe_ms];
    if noted.into_iter().flatten().any(|noted| noted <= at_ms) {
        return full;
    }
    let young_ms = YOUNG_MS[usize::from(planting.began == Began::Sown)];
    let far = ((at_ms - planting.from_ms - young_ms) as f64 / CLOSING_MS).clamp(0.0, 1.0);
    young + far * (full - young)
}

#[cfg(test)]
#[path = "demand_tests.rs"]
mod tests;
