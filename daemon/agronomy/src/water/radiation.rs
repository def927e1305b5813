//! Sunlight before it meets the air, by the equations of FAO-56.
//!
//! What falls on level ground outside the atmosphere depends on the day of the year (how far away and how
//! high the sun is), on latitude, and within a day on the turn of the earth. From it follow the daylight hours
//! and the radiation under a clear sky, against which measured sunshine is laid. These equations are simpler
//! than those of [`sun`](crate::sun) and a little less exact; reference evapotranspiration is defined with
//! them, and its published figures come out only with them.

use std::f64::consts::PI;

use crate::units::{
    DailyRadiation, DayHours, HourlyRadiation, Latitude, Longitude, OutOfRange, Radians, SolarTime, UtcHour,
};

/// Solar constant \[MJ/m² min\] (FAO-56, eq. 21).
const SOLAR_CONSTANT: f64 = 0.0820;

/// Day of the year: 1 is the first of January, 366 the last of a leap year.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct DayOfYear(u16);

impl DayOfYear {
    /// Takes a day number.
    ///
    /// # Errors
    ///
    /// [`OutOfRange`] below 1 and above 366.
    pub const fn try_new(day: u16) -> Result<Self, OutOfRange> {
        if day >= 1 && day <= 366 {
            Ok(Self(day))
        } else {
            Err(OutOfRange { what: "day of the year", value: day as f64, unit: "", low: 1.0, high: 366.0 })
        }
    }

    /// The day number.
    pub const fn get(self) -> u16 {
        self.0
    }

    /// The part of the year's turn, as all equations here count it, leap year or not.
    fn turn(self) -> f64 {
        2.0 * PI * f64::from(self.0) / 365.0
    }
}

/// Inverse relative distance of the earth from the sun, dr: above one in January, below in July.
///
/// # Source
///
/// FAO-56 (1998), eq. 23.
pub fn inverse_distance(day: DayOfYear) -> f64 {
    1.0 + 0.033 * libm::cos(day.turn())
}

/// Solar declination, δ.
///
/// # Source
///
/// FAO-56 (1998), eq. 24.
pub fn declination(day: DayOfYear) -> Radians {
    Radians::reckoned(0.409 * libm::sin(day.turn() - 1.39))
}

/// Hour angle at sunset, ωs: half a turn (π) where the sun stays up, nought where it does not rise.
///
/// # Source
///
/// FAO-56 (1998), eq. 25, held to its ends in polar day and night.
pub fn sunset_angle(latitude: Latitude, day: DayOfYear) -> Radians {
    let steepness = libm::tan(latitude.get().to_radians()) * libm::tan(declination(day).get());
    Radians::reckoned(libm::acos((-steepness).clamp(-1.0, 1.0)))
}

/// Daylight hours, N, of a sun without size behind air that does not bend its light.
///
/// # Source
///
/// FAO-56 (1998), eq. 34.
pub fn daylight(latitude: Latitude, day: DayOfYear) -> DayHours {
    DayHours::reckoned(24.0 / PI * sunset_angle(latitude, day).get())
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
/// All latitudes; FAO-56 itself calls its equations weak above 55° in winter.
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
/// # Source
///
/// FAO-56 (1998), eq. 32 and 33.
pub fn seasonal_correction(day: DayOfYear) -> f64 {
    let b = 2.0 * PI * (f64::from(day.0) - 81.0) / 364.0;
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
