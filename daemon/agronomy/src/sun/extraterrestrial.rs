//! The sun's power before the air takes its share.

use std::f64::consts::PI;

use super::day_of_year::DayOfYear;
use super::position::Position;
use crate::series::{MS_PER_DAY, MS_PER_HOUR};
use crate::units::{Irradiance, Latitude, Longitude, Metres, Radiation};

/// The sun's power on a surface turned towards it, above the air, W/m²: 1321 in July to 1414 in January.
///
/// # Equation
///
/// ```text
/// E = 1366.1 (1.00011 + 0.034221 cos B + 0.00128 sin B + 0.000719 cos 2B + 0.000077 sin 2B)
/// B = 2π (J − 1) / 365
/// ```
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Spencer (1971), Search 2 (5), 172, with the mean of ASTM E490; from memory, results checked against pvlib
/// 0.16.1 in `tests/sun_radiation.rs`.
pub fn beam(day: DayOfYear) -> Irradiance {
    let (sin, cos) = libm::sincos(2.0 * PI * (f64::from(day.get()) - 1.0) / 365.0);
    let (sin2, cos2) = (2.0 * sin * cos, cos * cos - sin * sin);
    let nearness = 1.00011 + 0.034221 * cos + 0.00128 * sin + 0.000719 * cos2 + 0.000077 * sin2;
    Irradiance::reckoned(1366.1 * nearness)
}

/// The sun's power on a level surface above the air, W/m²; nought while it is below the horizon.
///
/// # Equation
///
/// ```text
/// E sin h
/// ```
///
/// with E from [`beam`] and h the altitude, without refraction.
///
/// # Errors
///
/// None.
pub fn extraterrestrial(day: DayOfYear, sun: Position) -> Irradiance {
    let height = libm::sin(sun.altitude_deg.to_radians()).max(0.0);
    Irradiance::reckoned(beam(day).get() * height)
}

/// Radiation of a day on a level surface above the air (Ra), MJ/m².
///
/// # Equation
///
/// ```text
/// Ra = 24 × 60 / π × 0.0820 dr (ωs sin φ sin δ + cos φ cos δ sin ωs)
/// ```
///
/// | symbol | meaning                                                                 |
/// |--------|-------------------------------------------------------------------------|
/// | dr     | nearness of the sun, 1 + 0.033 cos(2π J / 365)                          |
/// | δ      | declination, 0.409 sin(2π J / 365 − 1.39)                               |
/// | ωs     | half the day as an angle, arccos(−tan φ tan δ), 0 to π                  |
/// | φ, J   | latitude, day of the year                                               |
///
/// # Domain
///
/// Within 1.1 MJ/m² of an integral over a precise sun (`tests/sun_radiation.rs`); FAO-56 itself calls winter
/// beyond 55° of latitude a place for caution.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Allen, Pereira, Raes & Smith (1998), FAO Irrigation and Drainage Paper 56, eq. 21 and 23 to 25, with eq. 25
/// held at polar day and night.
pub fn extraterrestrial_day(latitude: Latitude, day: DayOfYear) -> Radiation {
    let season = Season::of(latitude, day);
    let half = season.half_day;
    let lit = half * season.sines + season.cosines * libm::sin(half);
    Radiation::reckoned(24.0 * 60.0 / PI * SOLAR_CONSTANT * season.nearness * lit)
}

/// Radiation of the hour from `start_ms_utc` on a level surface above the air (Ra), MJ/m².
///
/// # Equation
///
/// ```text
/// Ra = 12 × 60 / π × 0.0820 dr ((ω2 − ω1) sin φ sin δ + cos φ cos δ (sin ω2 − sin ω1))
/// ω  = π / 12 (t + λ / 15 + Sc − 12), half an hour less for ω1 and more for ω2, both held between ∓ωs
/// Sc = 0.1645 sin 2b − 0.1255 cos b − 0.025 sin b,  b = 2π (J − 81) / 364
/// ```
///
/// | symbol  | meaning                                                            |
/// |---------|--------------------------------------------------------------------|
/// | t, λ    | middle of the hour in UTC, h; longitude, degrees east              |
/// | Sc      | equation of time, h                                                |
/// | J       | day of the year in mean solar time at the place                    |
///
/// and the rest as in [`extraterrestrial_day`].
///
/// # Errors
///
/// None.
///
/// # Source
///
/// FAO Irrigation and Drainage Paper 56, eq. 28 to 33; the hours of sunrise and sunset in part, as in ASCE-EWRI
/// (2005), eq. 55 and 56.
pub fn extraterrestrial_hour(start_ms_utc: i64, latitude: Latitude, longitude: Longitude) -> Radiation {
    /// Half an hour as an angle.
    const HALF: f64 = PI / 24.0;
    let middle = start_ms_utc.saturating_add(MS_PER_HOUR / 2);
    let solar_ms = (longitude.get() / 15.0 * MS_PER_HOUR as f64) as i64;
    let day = DayOfYear::of_utc(middle.saturating_add(solar_ms));
    let season = Season::of(latitude, day);
    let hours = middle.rem_euclid(MS_PER_DAY) as f64 / MS_PER_HOUR as f64;
    let past_noon = PI / 12.0 * (hours + longitude.get() / 15.0 + equation_of_time_h(day) - 12.0);
    let angle = (past_noon + PI).rem_euclid(2.0 * PI) - PI;
    // Where the sun does not set, the hour around midnight counts whole.
    let limit = if season.half_day < PI { season.half_day } else { PI + HALF };
    let from = (angle - HALF).clamp(-limit, limit);
    let to = (angle + HALF).clamp(-limit, limit);
    let lit = (to - from) * season.sines + season.cosines * (libm::sin(to) - libm::sin(from));
    Radiation::reckoned(12.0 * 60.0 / PI * SOLAR_CONSTANT * season.nearness * lit)
}

/// Hours from sunrise to sunset of the sun's centre, without refraction (N), 0 to 24.
///
/// Up to 0.3 h below the almanac's day, more near the polar circles; [`rise_set`](super::rise_set()) gives
/// that one. Use this where a formula of FAO-56 asks for N.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// FAO Irrigation and Drainage Paper 56, eq. 34.
pub fn day_length_h(latitude: Latitude, day: DayOfYear) -> f64 {
    24.0 / PI * Season::of(latitude, day).half_day
}

/// Radiation of a cloudless day on level ground (Rso), MJ/m².
///
/// # Equation
///
/// ```text
/// Rso = (0.75 + 0.00002 z) Ra
/// ```
///
/// with z the altitude, m, and Ra from [`extraterrestrial_day`].
///
/// # Domain
///
/// 10 to 15 % beside other models where Ra exceeds 20; 40 to 60 % too high in winter at high latitude.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// FAO Irrigation and Drainage Paper 56, eq. 37.
pub fn clear_day(latitude: Latitude, altitude: Metres, day: DayOfYear) -> Radiation {
    Radiation::reckoned(clear_share(altitude) * extraterrestrial_day(latitude, day).get())
}

/// The share of the radiation above the air that FAO-56, eq. 37, lets through a cloudless sky.
pub(super) fn clear_share(altitude: Metres) -> f64 {
    0.75 + 2e-5 * altitude.get()
}

/// MJ/m² in a minute (FAO-56, below eq. 21).
const SOLAR_CONSTANT: f64 = 0.0820;

/// What a latitude and a day say about the sun's path.
struct Season {
    nearness: f64,
    half_day: f64,
    /// sin φ sin δ
    sines: f64,
    /// cos φ cos δ
    cosines: f64,
}

impl Season {
    fn of(latitude: Latitude, day: DayOfYear) -> Self {
        let angle = 2.0 * PI * f64::from(day.get()) / 365.0;
        let declination = 0.409 * libm::sin(angle - 1.39);
        let (sin_lat, cos_lat) = libm::sincos(latitude.get().to_radians());
        let (sin_dec, cos_dec) = libm::sincos(declination);
        let (sines, cosines) = (sin_lat * sin_dec, cos_lat * cos_dec);
        // At a pole the quotient is infinite or, on the day of equinox, no number: then neither rises nor sets.
        let cosine = -sines / cosines;
        let half_day = if cosine.is_nan() { PI / 2.0 } else { libm::acos(cosine.clamp(-1.0, 1.0)) };
        Self { nearness: 1.0 + 0.033 * libm::cos(angle), half_day, sines, cosines }
    }
}

/// How far a sundial is ahead of the clock, h (FAO-56, eq. 32 and 33).
fn equation_of_time_h(day: DayOfYear) -> f64 {
    let b = 2.0 * PI * (f64::from(day.get()) - 81.0) / 364.0;
    0.1645 * libm::sin(2.0 * b) - 0.1255 * libm::cos(b) - 0.025 * libm::sin(b)
}
