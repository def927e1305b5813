//! Where the sun stands and what it gives through clear air.

/// Degrees to radians.
const RADIANS: f64 = core::f64::consts::PI / 180.0;
/// The height of the sun's centre at its rise and set: 34' of refraction and 16' of its own radius, degrees.
const HORIZON: f64 = -0.8333;

/// The sun's declination and hour angle, radians, at a moment and an eastern longitude in degrees.
///
/// # Source
///
/// The low-precision formulas of the Astronomical Almanac (0.01° between 1950 and 2050), from memory; checked
/// below against two independent ephemerides.
fn declination_and_hour_angle(at_ms: i64, longitude: f64) -> (f64, f64) {
    let days = at_ms as f64 / 86_400_000.0 - 10_957.5; // since J2000.0
    let mean_longitude = 280.460 + 0.985_647_4 * days;
    let anomaly = (357.528 + 0.985_600_3 * days) * RADIANS;
    let ecliptic =
        (mean_longitude + 1.915 * libm::sin(anomaly) + 0.020 * libm::sin(2.0 * anomaly)) * RADIANS;
    let tilt = (23.439 - 0.000_000_4 * days) * RADIANS;
    let declination = libm::asin(libm::sin(tilt) * libm::sin(ecliptic));
    let ascension = libm::atan2(libm::cos(tilt) * libm::sin(ecliptic), libm::cos(ecliptic));
    let sidereal_hours = 18.697_374_558 + 24.065_709_824_419_08 * days;
    let hour_angle = (sidereal_hours * 15.0 + longitude) * RADIANS - ascension;
    // Into −π..π.
    (declination, libm::remainder(hour_angle, core::f64::consts::TAU))
}

/// The sine of the sun's true height above the horizon (the cosine of its zenith angle).
pub(super) fn height_sine(at_ms: i64, latitude: f64, longitude: f64) -> f64 {
    let (declination, hour_angle) = declination_and_hour_angle(at_ms, longitude);
    let (sin_lat, cos_lat) = libm::sincos(latitude * RADIANS);
    let (sin_dec, cos_dec) = libm::sincos(declination);
    sin_lat * sin_dec + cos_lat * cos_dec * libm::cos(hour_angle)
}

/// Sunrise and sunset, UTC ms, of the day whose middle (local noon by the clock) is `noon_ms`.
///
/// Good to a minute or two; for latitudes where the sun rises and sets on that day.
pub(super) fn rise_and_set(noon_ms: i64, latitude: f64, longitude: f64) -> (i64, i64) {
    let (declination, hour_angle) = declination_and_hour_angle(noon_ms, longitude);
    let (sin_lat, cos_lat) = libm::sincos(latitude * RADIANS);
    let (sin_dec, cos_dec) = libm::sincos(declination);
    let cosine = (libm::sin(HORIZON * RADIANS) - sin_lat * sin_dec) / (cos_lat * cos_dec);
    let half_day_ms = libm::acos(cosine.clamp(-1.0, 1.0)) / core::f64::consts::TAU * 86_400_000.0;
    let transit_ms = noon_ms as f64 - hour_angle / core::f64::consts::TAU * 86_400_000.0;
    ((transit_ms - half_day_ms) as i64, (transit_ms + half_day_ms) as i64)
}

/// Global radiation on level ground under a clear sky, W/m².
///
/// # Source
///
/// Haurwitz (1945): `1098 sin h exp(−0.059 / sin h)`, as printed at the head of the reference table below.
pub(super) fn clear_sky_w_m2(height_sine: f64) -> f64 {
    if height_sine <= 0.0 { 0.0 } else { 1098.0 * height_sine * libm::exp(-0.059 / height_sine) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::DateTime;

    const POSITIONS: &str = include_str!("../../../tests/reference/sun_positions.csv");
    const EVENTS: &str = include_str!("../../../tests/reference/sun_events.csv");

    /// Calls `check` with a lookup of each row's columns by name.
    fn rows(table: &str, mut check: impl FnMut(&dyn Fn(&str) -> String)) {
        let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(table.as_bytes());
        let head = reader.headers().unwrap().clone();
        for row in reader.records().map(Result::unwrap) {
            check(&|name: &str| row[head.iter().position(|h| h == name).unwrap()].to_owned());
        }
    }

    fn number(text: &str) -> f64 {
        text.parse().unwrap()
    }

    fn moment(text: &str) -> i64 {
        DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis()
    }

    #[test]
    fn the_sun_stands_where_the_ephemeris_puts_it() {
        // pvlib's SPA, sun_positions.csv; 0.05° is that table's own tolerance for low-accuracy formulas.
        let mut checked = 0;
        rows(POSITIONS, |at| {
            let sine = height_sine(moment(&at("utc")), number(&at("lat")), number(&at("lon")));
            let zenith = libm::acos(sine) / RADIANS;
            assert!((zenith - number(&at("zenith"))).abs() < 0.05, "{} {}: {zenith}", at("site"), at("utc"));
            checked += 1;
        });
        assert_eq!(checked, 336);
    }

    #[test]
    fn clear_sky_radiation_is_that_of_the_same_model_elsewhere() {
        // Column haurwitz_ghi of the same table: 1 % above 10° is its stated tolerance.
        rows(POSITIONS, |at| {
            if number(&at("zenith")) < 80.0 {
                let apparent = libm::cos(number(&at("apparent_zenith")) * RADIANS);
                let expected = number(&at("haurwitz_ghi"));
                assert!((clear_sky_w_m2(apparent) / expected - 1.0).abs() < 0.01);
            }
        });
    }

    #[test]
    fn days_are_as_long_as_the_ephemeris_says() {
        // Sites up to 50° in sun_events.csv; the declination of noon is used for the whole day: two minutes.
        let mut checked = 0;
        rows(EVENTS, |at| {
            let latitude = number(&at("lat"));
            if latitude.abs() > 52.0 || at("state") != "normal" {
                return;
            }
            let (rise, set) = rise_and_set(moment(&at("transit_utc")), latitude, number(&at("lon")));
            for (ours, column) in [(rise, "sunrise_utc"), (set, "sunset_utc")] {
                let difference = ours - moment(&at(column));
                assert!(difference.abs() < 120_000, "{} {column}: {difference} ms", at("local_date"));
            }
            checked += 1;
        });
        assert!(checked > 20, "{checked}");
    }
}
