//! Sunlight before it meets the air, by the equations of FAO-56.
//!
//! What falls on level ground outside the atmosphere depends on the day of the year (how far away and how
//! high the sun is), on latitude, and within a day on the turn of the earth. From it follow the hours of daylight
//! and the radiation under a clear sky, against which measured sunshine is laid. These equations are simpler
//! than those of [`position`](super::position()) and a little less exact; reference evapotranspiration
//! ([`water`](crate::water)) is defined with them, and its published figures come out only with them.
//!
//! Errors: none; an angle has no place where it fails, and polar day and night hold the arc cosine at its ends.

use std::f64::consts::PI;

use super::day_of_year::DayOfYear;
use crate::units::{
    DailyRadiation, HourlyRadiation, HoursOfDay, Latitude, Longitude, Metres, Radians, SolarTime, UtcHour,
};

/// Solar constant \[MJ/m² min\] (FAO-56, eq. 21).
const SOLAR_CONSTANT: f64 = 0.0820;

/// The part of the year's turn, as all equations here count it, leap year or not, rad.
fn turn(day: DayOfYear) -> f64 {
    2.0 * PI * f64::from(day.get()) / 365.0
}

/// Inverse relative distance of the earth from the sun, dr, a bare number: above one in January, below in July.
///
/// # Equation
///
/// ```text
/// dr = 1 + 0.033 cos(2π J / 365)
/// ```
///
/// # Source
///
/// FAO-56 (1998), eq. 23.
pub fn inverse_distance(day: DayOfYear) -> f64 {
    1.0 + 0.033 * libm::cos(turn(day))
}

/// Solar declination, δ.
///
/// # Equation
///
/// ```text
/// δ = 0.409 sin(2π J / 365 − 1.39)
/// ```
///
/// # Source
///
/// FAO-56 (1998), eq. 24.
pub fn declination(day: DayOfYear) -> Radians {
    Radians::reckoned(0.409 * libm::sin(turn(day) - 1.39))
}

/// Hour angle at sunset, ωs: half a turn (π) where the sun stays up, nought where it does not rise.
///
/// # Equation
///
/// ```text
/// ωs = arccos(−tan φ tan δ)
/// ```
///
/// # Source
///
/// FAO-56 (1998), eq. 25, held to its ends in polar day and night.
pub fn sunset_angle(latitude: Latitude, day: DayOfYear) -> Radians {
    let steepness = libm::tan(latitude.get().to_radians()) * libm::tan(declination(day).get());
    Radians::reckoned(libm::acos((-steepness).clamp(-1.0, 1.0)))
}

/// Daylight hours, N, of a sun without size behind air that does not bend its light: 24 ωs / π.
///
/// Up to 0.3 h below the almanac's day, more near the polar circles; [`rise_set`](super::rise_set()) gives
/// that one. This is for formulas that ask for N.
///
/// # Source
///
/// FAO-56 (1998), eq. 34.
pub fn daylight(latitude: Latitude, day: DayOfYear) -> HoursOfDay {
    HoursOfDay::reckoned(24.0 / PI * sunset_angle(latitude, day).get())
}

/// Products of the sines and of the cosines of latitude and declination.
fn products(latitude: Latitude, day: DayOfYear) -> (f64, f64) {
    let (sin_lat, cos_lat) = libm::sincos(latitude.get().to_radians());
    let (sin_dec, cos_dec) = libm::sincos(declination(day).get());
    (sin_lat * sin_dec, cos_lat * cos_dec)
}

/// Extraterrestrial radiation of a day, Ra.
///
/// # Equation
///
/// ```text
/// Ra = 24·60/π · 0.0820 · dr (ωs sin φ sin δ + cos φ cos δ sin ωs)
/// ```
///
/// # Domain
///
/// All latitudes; within 1.1 MJ/m² of an integral over a precise sun (`tests/sun_radiation.rs`). FAO-56 itself
/// calls its equations weak above 55° in winter.
///
/// # Source
///
/// FAO-56 (1998), eq. 21.
pub fn extraterrestrial_day(latitude: Latitude, day: DayOfYear) -> DailyRadiation {
    let sunset = sunset_angle(latitude, day).get();
    let (sines, cosines) = products(latitude, day);
    let height = sunset * sines + cosines * libm::sin(sunset);
    let ra = 24.0 * 60.0 / PI * SOLAR_CONSTANT * inverse_distance(day) * height;
    DailyRadiation::reckoned(ra.max(0.0))
}

/// Seasonal correction of solar time, Sc \[h\]: how far the true sun runs ahead of the mean one.
///
/// # Equation
///
/// ```text
/// Sc = 0.1645 sin 2b − 0.1255 cos b − 0.025 sin b,  b = 2π (J − 81) / 364
/// ```
///
/// # Source
///
/// FAO-56 (1998), eq. 32 and 33.
pub fn seasonal_correction(day: DayOfYear) -> f64 {
    let b = 2.0 * PI * (f64::from(day.get()) - 81.0) / 364.0;
    0.1645 * libm::sin(2.0 * b) - 0.1255 * libm::cos(b) - 0.025 * libm::sin(b)
}

/// Mean solar time of a place, from the hour in UTC: 15° of longitude make an hour.
pub fn solar_time(utc: UtcHour, longitude: Longitude) -> SolarTime {
    SolarTime::reckoned((utc.get() + longitude.get() / 15.0).rem_euclid(24.0))
}

/// Hour angle of the sun, ω, from −π to π; nought at true noon.
///
/// # Source
///
/// FAO-56 (1998), eq. 31, with the part for the longitude in [`solar_time`].
pub fn hour_angle(day: DayOfYear, time: SolarTime) -> Radians {
    let angle = PI / 12.0 * (time.get() + seasonal_correction(day) - 12.0);
    Radians::reckoned((angle + PI).rem_euclid(2.0 * PI) - PI)
}

/// Height of the sun above the horizon, β; negative by night.
///
/// # Source
///
/// ASCE-EWRI (2005), the standardized reference evapotranspiration equation, app. D (equation number not at
/// hand; checked in `tests/water`).
pub fn sun_height(latitude: Latitude, day: DayOfYear, time: SolarTime) -> Radians {
    let (sines, cosines) = products(latitude, day);
    let sine = sines + cosines * libm::cos(hour_angle(day, time).get());
    Radians::reckoned(libm::asin(sine.clamp(-1.0, 1.0)))
}

/// Extraterrestrial radiation of the hour that has `middle` in its middle, Ra.
///
/// # Equation
///
/// ```text
/// Ra = 12·60/π · 0.0820 · dr ((ω2 − ω1) sin φ sin δ + cos φ cos δ (sin ω2 − sin ω1))
/// ```
///
/// ω1 and ω2 are the hour angles half an hour before and after, held between sunrise and sunset, so that the
/// hours of dawn and dusk count for the part the sun is up.
///
/// # Source
///
/// FAO-56 (1998), eq. 28 to 30; the hold at sunrise and sunset after ASCE-EWRI (2005), where FAO-56 takes an
/// hour with the sun down at its middle for a dark one.
pub fn extraterrestrial_hour(latitude: Latitude, day: DayOfYear, middle: SolarTime) -> HourlyRadiation {
    let sunset = sunset_angle(latitude, day).get();
    let angle = hour_angle(day, middle).get();
    let (begin, end) = (angle - PI / 24.0, angle + PI / 24.0);
    // Where the sun stays up, the hour around midnight runs over the seam of the hour angle.
    let (begin, end) =
        if sunset >= PI { (begin, end) } else { (begin.clamp(-sunset, sunset), end.clamp(-sunset, sunset)) };
    let (sines, cosines) = products(latitude, day);
    let height = (end - begin) * sines + cosines * (libm::sin(end) - libm::sin(begin));
    let ra = 12.0 * 60.0 / PI * SOLAR_CONSTANT * inverse_distance(day) * height;
    HourlyRadiation::reckoned(ra.max(0.0))
}

/// Solar radiation of a cloudless day, Rso.
///
/// # Equation
///
/// ```text
/// Rso = (0.75 + 2·10⁻⁵ z) Ra
/// ```
///
/// # Domain
///
/// 10 to 15 % beside other models of a clear sky where Ra exceeds 20; 40 to 60 % too high in winter at high latitude.
///
/// # Source
///
/// FAO-56 (1998), eq. 37; at sea level it is eq. 36.
pub fn clear_sky_day(extraterrestrial: DailyRadiation, altitude: Metres) -> DailyRadiation {
    DailyRadiation::reckoned(clear_share(altitude) * extraterrestrial.get())
}

/// Solar radiation of a cloudless hour, Rso; see [`clear_sky_day`].
pub fn clear_sky_hour(extraterrestrial: HourlyRadiation, altitude: Metres) -> HourlyRadiation {
    HourlyRadiation::reckoned(clear_share(altitude) * extraterrestrial.get())
}

/// The share of the radiation above the air that eq. 37 lets through a cloudless sky.
pub(super) fn clear_share(altitude: Metres) -> f64 {
    0.75 + 2e-5 * altitude.get()
}
