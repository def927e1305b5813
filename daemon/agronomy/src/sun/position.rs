//! Where the sun stands.

use crate::series::MS_PER_DAY;
use crate::units::{AirPressure, Latitude, Longitude};

/// Altitude of the sun's centre when its upper rim touches a level horizon, degrees: 34′ of refraction and 16′
/// of radius, the convention of almanacs.
pub(super) const HORIZON: f64 = -0.8333;

/// Where the sun stands in the sky, without refraction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Position {
    /// Height of its centre over the level horizon, degrees; negative below.
    pub altitude_deg: f64,
    /// Direction, degrees clockwise from north, 0 up to 360.
    pub azimuth_deg: f64,
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

/// Altitude at which the sun is seen, degrees: air bends its light, so that it appears higher than it stands.
///
/// # Equation
///
/// ```text
/// R = 1.02′ / tan(h + 10.3 / (h + 5.11)) × P / 101.0 × 283 / (273 + 12)
/// ```
///
/// | symbol | meaning                                                        |
/// |--------|----------------------------------------------------------------|
/// | h      | altitude without air, degrees                                  |
/// | P      | pressure of the air, kPa; its temperature is taken to be 12 °C |
///
/// # Domain
///
/// A sun with any of its disc over the horizon; below that, and for an altitude that is no number, it comes
/// back unchanged. At the horizon weather moves the truth by a tenth of a degree.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Sæmundsson (1986), Sky and Telescope 72, 70, as in Meeus, Astronomical Algorithms (2nd ed. 1998), eq. 16.4,
/// and in Reda & Andreas (2004), Solar Energy 76, 577-589, eq. 42; from memory, results checked in
/// `tests/sun.rs`.
pub fn apparent_altitude_deg(altitude_deg: f64, pressure: AirPressure) -> f64 {
    if altitude_deg >= HORIZON {
        let bent = libm::tan((altitude_deg + 10.3 / (altitude_deg + 5.11)).to_radians());
        altitude_deg + pressure.get() / 101.0 * 283.0 / 285.0 * 1.02 / (60.0 * bent)
    } else {
        altitude_deg
    }
}

/// How far the sun is past the meridian, −180 up to 180 degrees.
pub(super) fn hour_angle_deg(ms_utc: i64, longitude: Longitude) -> f64 {
    Equatorial::at(ms_utc).hour_angle_deg(longitude)
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
            }
        }
    }

    #[test]
    fn what_is_no_altitude_comes_back_as_it_was() {
        assert!(apparent_altitude_deg(f64::NAN, AirPressure::SEA_LEVEL).is_nan());
        assert_eq!(apparent_altitude_deg(-12.0, AirPressure::SEA_LEVEL), -12.0);
    }
}
