//! Where the sun stands, when it rises and sets.
//!
//! Night and day of a place are the sun's, not the clock's: a warm night lasts from sunset to the next
//! sunrise, and dryness is averaged while the sun is up. The low-accuracy theory of Meeus serves: a hundredth
//! of a degree, some seconds at sunrise, while hills and weather move the real one by minutes.
//!
//! Times are milliseconds since 1970 in UTC.

use crate::series::MS_PER_DAY;
use crate::units::{Latitude, Longitude};

/// Altitude of the sun's centre when its upper rim touches a level horizon, degrees: 34′ of refraction and 16′
/// of radius, the convention of almanacs.
const HORIZON: f64 = -0.8333;
const HALF_DAY_MS: i64 = MS_PER_DAY / 2;

/// Where the sun stands in the sky, without refraction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Position {
    /// Height of its centre over the level horizon, degrees; negative below.
    pub altitude_deg: f64,
    /// Direction, degrees clockwise from north, 0 up to 360.
    pub azimuth_deg: f64,
}

/// What the sun does around one noon.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RiseSet {
    /// It rises before that noon and sets after it.
    RisesAndSets {
        /// Its upper rim appears.
        rise_ms_utc: i64,
        /// Its upper rim is gone.
        set_ms_utc: i64,
    },
    /// It does not set.
    PolarDay,
    /// It does not rise.
    PolarNight,
}

impl RiseSet {
    /// From sunrise to sunset: a whole day in polar day, nothing in polar night.
    pub const fn day_length_ms(&self) -> i64 {
        match *self {
            Self::RisesAndSets { rise_ms_utc, set_ms_utc } => set_ms_utc.saturating_sub(rise_ms_utc),
            Self::PolarDay => MS_PER_DAY,
            Self::PolarNight => 0,
        }
    }
}

/// Sunrise and sunset of a calendar day, numbered from 1970-01-01 as 0, by the sun's own time at the place.
///
/// Where the site's clock runs more than half a day from the sun (a date line bent around an island), its dates
/// are a day off these: ask [`rise_set_around`] for the site's own noon.
///
/// # Domain
///
/// Within 60 s of almanac times up to 60° of latitude, 10 minutes in polar regions (`tests/sun.rs`). A level
/// horizon at sea level and average air.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// See [`position`]; the moments are found by bisection.
pub fn rise_set(day_since_1970: i64, latitude: Latitude, longitude: Longitude) -> RiseSet {
    let mean_noon = (0.5 - longitude.get() / 360.0) * MS_PER_DAY as f64;
    let midnight = day_since_1970.saturating_mul(MS_PER_DAY);
    rise_set_around(midnight.saturating_add(mean_noon as i64), latitude, longitude)
}

/// Sunrise before and sunset after the true noon nearest to `noon_ms_utc`.
///
/// On the few nights between midnight sun and ordinary nights the sun may rise but not set, or set though it
/// never rose; the missing moment is then given as the midnight on that side.
pub fn rise_set_around(noon_ms_utc: i64, latitude: Latitude, longitude: Longitude) -> RiseSet {
    let noon = true_noon(noon_ms_utc, longitude);
    let (midnight_before, midnight_after) =
        (noon.saturating_sub(HALF_DAY_MS), noon.saturating_add(HALF_DAY_MS));
    let up = |ms| is_up(ms, latitude, longitude);
    if !up(noon) {
        return RiseSet::PolarNight;
    }
    match (up(midnight_before), up(midnight_after)) {
        (true, true) => RiseSet::PolarDay,
        (up_before, up_after) => RiseSet::RisesAndSets {
            rise_ms_utc: if up_before { midnight_before } else { turn(midnight_before, noon, up) },
            set_ms_utc: if up_after { midnight_after } else { turn(noon, midnight_after, |ms| !up(ms)) },
        },
    }
}

/// Whether any of the sun is over a level horizon.
pub fn is_up(ms_utc: i64, latitude: Latitude, longitude: Longitude) -> bool {
    position(ms_utc, latitude, longitude).altitude_deg > HORIZON
}

/// The first millisecond in `from..to` at which `begun` holds, which it does at `to` and not at `from`.
fn turn(mut from: i64, mut to: i64, begun: impl Fn(i64) -> bool) -> i64 {
    while to.saturating_sub(from) > 1 {
        let middle = i64::midpoint(from, to);
        if begun(middle) {
            to = middle;
        } else {
            from = middle;
        }
    }
    to
}

/// The moment the sun crosses the meridian, nearest to `ms`.
fn true_noon(ms: i64, longitude: Longitude) -> i64 {
    let mut noon = ms;
    // The hour angle grows by 360° in very nearly a day: the second step corrects by under a second.
    for _ in 0..3 {
        let past_noon = Equatorial::at(noon).hour_angle_deg(longitude) / 360.0;
        noon = noon.saturating_sub((past_noon * MS_PER_DAY as f64) as i64);
    }
    noon
}

/// Where the sun stands, seen from a place.
///
/// # Equation
///
/// ```text
/// sin h = sin φ sin δ + cos φ cos δ cos H
/// tan A = sin H / (cos H sin φ − tan δ cos φ)        (from south)
/// ```
///
/// | symbol | meaning                                   |
/// |--------|-------------------------------------------|
/// | h, A   | altitude and azimuth                      |
/// | φ      | latitude                                  |
/// | δ, H   | declination and local hour angle of the sun |
///
/// # Domain
///
/// Within 0.01° for years 1950 to 2100. At the poles and in the zenith the azimuth has no meaning.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Meeus, Astronomical Algorithms (2nd ed. 1998), ch. 12, 13, 22 and 25 (low accuracy); coefficients from
/// memory, results checked in `tests/sun.rs`.
pub fn position(ms_utc: i64, latitude: Latitude, longitude: Longitude) -> Position {
    let sun = Equatorial::at(ms_utc);
    let (sin_hour, cos_hour) = libm::sincos(sun.hour_angle_deg(longitude).to_radians());
    let (sin_lat, cos_lat) = libm::sincos(latitude.get().to_radians());
    let (sin_dec, cos_dec) = libm::sincos(sun.declination);
    let sine = (sin_lat * sin_dec + cos_lat * cos_dec * cos_hour).clamp(-1.0, 1.0);
    let from_south = libm::atan2(sin_hour * cos_dec, cos_hour * sin_lat * cos_dec - sin_dec * cos_lat);
    let azimuth_deg = (from_south.to_degrees() + 180.0) % 360.0;
    Position { altitude_deg: libm::asin(sine).to_degrees(), azimuth_deg }
}

/// The sun against the stars, and the turn of the earth, at one moment.
struct Equatorial {
    right_ascension_deg: f64,
    /// Radians.
    declination: f64,
    sidereal_deg: f64,
}

impl Equatorial {
    fn at(ms_utc: i64) -> Self {
        /// 2000-01-01 12:00 UTC.
        const EPOCH_MS: i64 = 946_728_000_000;
        /// Earth's turn lags atomic time by this much in the 2020s (from memory).
        const LAG_DAYS: f64 = 69.0 / 86_400.0;
        let days = ms_utc.saturating_sub(EPOCH_MS) as f64 / MS_PER_DAY as f64;
        let t = (days + LAG_DAYS) / 36_525.0;
        let mean_longitude = 280.46646 + t * (36000.76983 + t * 0.0003032);
        let anomaly = (357.52911 + t * (35999.05029 - t * 0.0001537)).to_radians();
        let centre = (1.914602 - t * (0.004817 + t * 0.000014)) * libm::sin(anomaly)
            + (0.019993 - t * 0.000101) * libm::sin(2.0 * anomaly)
            + 0.000289 * libm::sin(3.0 * anomaly);
        let node = (125.04 - 1934.136 * t).to_radians();
        let nutation = -0.00478 * libm::sin(node);
        let longitude = (mean_longitude + centre - 0.00569 + nutation).to_radians();
        let obliquity = (23.4392911 - 0.0130042 * t + 0.00256 * libm::cos(node)).to_radians();
        let (sin_lon, cos_lon) = libm::sincos(longitude);
        let (sin_obl, cos_obl) = libm::sincos(obliquity);
        Self {
            right_ascension_deg: libm::atan2(cos_obl * sin_lon, cos_lon).to_degrees(),
            declination: libm::asin((sin_obl * sin_lon).clamp(-1.0, 1.0)),
            sidereal_deg: 280.46061837 + 360.98564736629 * days + nutation * cos_obl,
        }
    }

    /// How far the sun is past the meridian, −180 up to 180 degrees.
    fn hour_angle_deg(&self, longitude: Longitude) -> f64 {
        let angle = self.sidereal_deg + longitude.get() - self.right_ascension_deg;
        (angle + 180.0).rem_euclid(360.0) - 180.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sun_of_the_textbook_example_stands_where_it_says() {
        // Meeus, example 25.a: 1992-10-13 0h dynamical time; right ascension 198.38083°, declination
        // -7.78507° (from memory). The lag of earth's turn was 59 s then, within the tolerance.
        let sun = Equatorial::at(718_934_400_000 - 69_000);
        assert!((sun.right_ascension_deg.rem_euclid(360.0) - 198.38083).abs() < 1e-3);
        assert!((sun.declination.to_degrees() - -7.78507).abs() < 1e-3);
    }

    #[test]
    fn no_time_and_no_place_breaks_it() {
        for ms in [i64::MIN, 0, i64::MAX] {
            for (lat, lon) in [(-90.0, -180.0), (0.0, 0.0), (90.0, 180.0)] {
                let (lat, lon) = (Latitude::try_new(lat).unwrap(), Longitude::try_new(lon).unwrap());
                let at = position(ms, lat, lon);
                assert!(at.altitude_deg.abs() <= 90.0 && (0.0..360.0).contains(&at.azimuth_deg), "{at:?}");
                let _ = rise_set(ms, lat, lon).day_length_ms();
            }
        }
    }
}
