//! Net radiation: what the ground keeps of the sun, and how much of that is there to lift water.
//!
//! Of the sun's radiation the grass throws 23 % back. Ground and air also glow at each other in the long waves;
//! the ground always a little brighter, less so under cloud and in damp air. What is left, less what warms the
//! soil, is the heat that can evaporate water: 2.45 MJ for each millimetre. Where the sun is not measured, it
//! is taken from sunshine hours or, worse, from how far the day's temperatures lie apart.

use crate::units::{
    Celsius, DailyRadiation, Fraction, HourlyRadiation, HoursOfDay, Kilopascal, MillimetresPerDay,
    MillimetresPerHour, Radians,
};

/// Stefan-Boltzmann constant for a day \[MJ/K⁴ m² d\] (FAO-56, eq. 39).
const GLOW_OF_A_DAY: f64 = 4.903e-9;
/// Stefan-Boltzmann constant for an hour \[MJ/K⁴ m² h\] (FAO-56, example 19).
const GLOW_OF_AN_HOUR: f64 = 2.043e-10;
/// Share of the sun that short grass does not throw back (FAO-56, eq. 38 with albedo 0.23).
const KEPT_BY_GRASS: f64 = 0.77;
/// Water evaporated by each MJ \[mm\] (FAO-56, eq. 20).
const MILLIMETRES_PER_MEGAJOULE: f64 = 0.408;

impl DailyRadiation {
    /// The water that so much heat would evaporate (FAO-56, eq. 20).
    pub fn evaporates(self) -> MillimetresPerDay {
        MillimetresPerDay::reckoned(MILLIMETRES_PER_MEGAJOULE * self.get())
    }
}

impl HourlyRadiation {
    /// The water that so much heat would evaporate (FAO-56, eq. 20).
    pub fn evaporates(self) -> MillimetresPerHour {
        MillimetresPerHour::reckoned(MILLIMETRES_PER_MEGAJOULE * self.get())
    }
}

/// Solar radiation, Rs, from hours of sunshine and of daylight.
///
/// # Equation
///
/// ```text
/// Rs = (0.25 + 0.50 n/N) Ra
/// ```
///
/// More sunshine than daylight counts as a day of sun; without daylight there is none.
///
/// # Source
///
/// FAO-56 (1998), eq. 35 with the coefficients it gives where none are known for the place.
pub fn solar_from_sunshine(
    extraterrestrial: DailyRadiation,
    sunshine: HoursOfDay,
    daylight: HoursOfDay,
) -> DailyRadiation {
    let share = if daylight.get() > 0.0 { (sunshine.get() / daylight.get()).min(1.0) } else { 0.0 };
    DailyRadiation::reckoned((0.25 + 0.50 * share) * extraterrestrial.get())
}

/// Where a place lies, as far as its nights are concerned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Setting {
    /// Far from large water.
    Interior,
    /// On or near a coast.
    Coast,
}

/// Solar radiation, Rs, from how far the day's temperatures lie apart.
///
/// # Equation
///
/// ```text
/// Rs = k √(Tx − Tn) Ra,  k = 0.16 in the interior, 0.19 on coasts
/// ```
///
/// # Domain
///
/// Outdoors only: under glass the temperatures say nothing of the sky. Never above the radiation of a clear
/// sky at sea level, 0.75 Ra. Temperatures the wrong way round count as the same.
///
/// # Source
///
/// FAO-56 (1998), eq. 50, and its limit by Rso.
pub fn solar_from_temperatures(
    extraterrestrial: DailyRadiation,
    lowest: Celsius,
    highest: Celsius,
    setting: Setting,
) -> DailyRadiation {
    let k = match setting {
        Setting::Interior => 0.16,
        Setting::Coast => 0.19,
    };
    let share = k * libm::sqrt((highest.get() - lowest.get()).max(0.0));
    DailyRadiation::reckoned(share.min(0.75) * extraterrestrial.get())
}

/// Net shortwave radiation of a day, Rns: what grass keeps of the sun (FAO-56, eq. 38).
pub fn shortwave_day(solar: DailyRadiation) -> DailyRadiation {
    DailyRadiation::reckoned(KEPT_BY_GRASS * solar.get())
}

/// Net shortwave radiation of an hour, Rns (FAO-56, eq. 38).
pub fn shortwave_hour(solar: HourlyRadiation) -> HourlyRadiation {
    HourlyRadiation::reckoned(KEPT_BY_GRASS * solar.get())
}

/// How clear a day was, Rs/Rso, at most one; one where there is no sun to tell by.
///
/// # Source
///
/// FAO-56 (1998), eq. 39. Its text names only the upper limit.
pub fn clearness_day(solar: DailyRadiation, clear_sky: DailyRadiation) -> Fraction {
    let known = clear_sky.get() > 0.0;
    Fraction::reckoned(if known { solar.get().max(0.0) / clear_sky.get() } else { 1.0 })
}

/// How clear an hour is, Rs/Rso from 0.3 to one; `None` where the sun stands too low, or not at all, to tell
/// by, and the last hour that could tell stands for it through the night.
///
/// # Source
///
/// ASCE-EWRI (2005), the standardized reference evapotranspiration equation: below 0.3 rad of sun height the
/// ratio of the hour before is kept.
pub fn clearness_hour(
    solar: HourlyRadiation,
    clear_sky: HourlyRadiation,
    sun_height: Radians,
) -> Option<Fraction> {
    const HIGH_ENOUGH: f64 = 0.3;
    const DENSE_CLOUD: f64 = 0.3;
    let tells = sun_height.get() >= HIGH_ENOUGH && clear_sky.get() > 0.0;
    tells.then(|| Fraction::reckoned((solar.get() / clear_sky.get()).max(DENSE_CLOUD)))
}

/// How clear to take a night before which no sun was measured: 0.7, between the 0.4 to 0.6 of humid climates
/// and the 0.7 to 0.8 of dry ones (FAO-56, chapter 4, for hourly steps; the ranges from memory, and its example
/// 19 takes 0.8).
pub const UNKNOWN_NIGHT: Fraction = Fraction::reckoned(0.7);

/// The part of the long waves that goes through cloud: 1.35 Rs/Rso − 0.35 (FAO-56, eq. 39).
pub fn cloud_term(clearness: Fraction) -> f64 {
    1.35 * clearness.get() - 0.35
}

/// The part of the long waves that goes through the vapour of the air: 0.34 − 0.14 √ea (FAO-56, eq. 39).
pub fn humidity_term(vapour: Kilopascal) -> f64 {
    0.34 - 0.14 * libm::sqrt(vapour.get().max(0.0))
}

/// Long waves that a black surface sends out in a day, σT⁴ (FAO-56, eq. 39; Table 2.8).
pub fn glow_day(surface: Celsius) -> DailyRadiation {
    DailyRadiation::reckoned(GLOW_OF_A_DAY * fourth_power(surface))
}

/// Long waves that a black surface sends out in an hour, σT⁴ (FAO-56, example 19).
pub fn glow_hour(surface: Celsius) -> HourlyRadiation {
    HourlyRadiation::reckoned(GLOW_OF_AN_HOUR * fourth_power(surface))
}

fn fourth_power(surface: Celsius) -> f64 {
    // FAO-56 takes 0 °C as 273.16 K here.
    let kelvin = surface.get() + 273.16;
    kelvin * kelvin * kelvin * kelvin
}

/// Net longwave radiation of a day, Rnl: what ground and air lose to the sky.
///
/// # Equation
///
/// ```text
/// Rnl = (σTx⁴ + σTn⁴)/2 · (0.34 − 0.14 √ea) · (1.35 Rs/Rso − 0.35)
/// ```
///
/// # Source
///
/// FAO-56 (1998), eq. 39.
pub fn longwave_day(
    lowest: Celsius,
    highest: Celsius,
    vapour: Kilopascal,
    clearness: Fraction,
) -> DailyRadiation {
    let glow = f64::midpoint(glow_day(lowest).get(), glow_day(highest).get());
    DailyRadiation::reckoned(glow * humidity_term(vapour) * cloud_term(clearness))
}

/// Net longwave radiation of an hour, Rnl.
///
/// # Source
///
/// FAO-56 (1998), eq. 39 with the constant for an hour and its one temperature.
pub fn longwave_hour(air: Celsius, vapour: Kilopascal, clearness: Fraction) -> HourlyRadiation {
    HourlyRadiation::reckoned(glow_hour(air).get() * humidity_term(vapour) * cloud_term(clearness))
}

/// Heat that goes into the soil, G, on a day of the middle of three months, from the mean temperatures of the
/// month before and of the month after.
///
/// # Source
///
/// FAO-56 (1998), eq. 43. Over a single day G is small beneath grass and taken as nought (eq. 42).
pub fn soil_heat_between_months(before: Celsius, after: Celsius) -> DailyRadiation {
    DailyRadiation::reckoned(0.07 * (after.get() - before.get()))
}

/// Heat that goes into the soil, G, on a day of this month, where the next month is not known yet.
///
/// # Source
///
/// FAO-56 (1998), eq. 44.
pub fn soil_heat_since_last_month(before: Celsius, now: Celsius) -> DailyRadiation {
    DailyRadiation::reckoned(0.14 * (now.get() - before.get()))
}

/// Heat that goes into the soil beneath grass within an hour, G: a tenth of the net radiation by day, half of
/// it by night, when it comes out.
///
/// # Source
///
/// FAO-56 (1998), eq. 45 and 46.
pub fn soil_heat_hour(net: HourlyRadiation, by_day: bool) -> HourlyRadiation {
    HourlyRadiation::reckoned(if by_day { 0.1 } else { 0.5 } * net.get())
}
