//! The sun's power at one moment, before the air takes its share.

use std::f64::consts::PI;

use super::day_of_year::DayOfYear;
use super::position::Position;
use crate::units::Irradiance;

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
