//! What the air has to do with evaporation: how steeply it takes more vapour as it warms, and what it holds.
//!
//! A day has one vapour pressure and two temperatures. Saturation is the mean of those at the lowest and the
//! highest, never that at the mean: the curve bends upwards, and the mean of its ends lies above it. The
//! vapour itself is best taken from the dew point (saturation pressure at it), then from the humidity at both
//! ends of the day, then from the mean humidity. All of FAO-56, chapter 3.

use crate::units::{AirPressure, Celsius, Kilopascal, KilopascalPerCelsius, RelativeHumidity};
use crate::vapour::{saturation_pressure, vapour_pressure};

/// Slope of the saturation vapour pressure curve, Δ \[kPa/°C\].
///
/// # Equation
///
/// ```text
/// Δ = 4098 e°(T) / (T + 237.3)²
/// ```
///
/// # Source
///
/// FAO-56 (1998), eq. 13.
pub fn slope(air: Celsius) -> KilopascalPerCelsius {
    let from_pole = air.get() + 237.3;
    KilopascalPerCelsius::reckoned(4098.0 * saturation_pressure(air).get() / (from_pole * from_pole))
}

/// Psychrometric constant, γ \[kPa/°C\]: how much vapour a degree of cooling pays for.
///
/// # Equation
///
/// ```text
/// γ = 0.665 · 10⁻³ P
/// ```
///
/// # Source
///
/// FAO-56 (1998), eq. 8.
pub fn psychrometric_constant(pressure: AirPressure) -> KilopascalPerCelsius {
    KilopascalPerCelsius::reckoned(0.665e-3 * pressure.get())
}

/// Saturation vapour pressure of a day, es \[kPa\].
///
/// # Source
///
/// FAO-56 (1998), eq. 12: the mean of the saturation pressures at lowest and highest temperature.
pub fn day_saturation(lowest: Celsius, highest: Celsius) -> Kilopascal {
    mean(saturation_pressure(lowest), saturation_pressure(highest))
}

/// Actual vapour pressure of a day, ea \[kPa\], from its highest humidity (at the lowest temperature) and its
/// lowest (at the highest).
///
/// # Source
///
/// FAO-56 (1998), eq. 17.
pub fn vapour_from_extremes(
    (lowest, most_humid): (Celsius, RelativeHumidity),
    (highest, least_humid): (Celsius, RelativeHumidity),
) -> Kilopascal {
    mean(vapour_pressure(lowest, most_humid), vapour_pressure(highest, least_humid))
}

/// Actual vapour pressure of a day, ea \[kPa\], from its mean humidity: less to be trusted than
/// [`vapour_from_extremes`].
///
/// # Source
///
/// FAO-56 (1998), eq. 19.
pub fn vapour_from_mean(lowest: Celsius, highest: Celsius, humidity: RelativeHumidity) -> Kilopascal {
    Kilopascal::reckoned(day_saturation(lowest, highest).get() * humidity.get() / 100.0)
}

/// Actual vapour pressure of a day, ea \[kPa\], where no humidity is known: the air is taken to be saturated
/// at its coolest, or 2 °C below that where the land around is dry.
///
/// # Domain
///
/// Outdoors over watered ground; in arid places the air is drier still.
///
/// # Source
///
/// FAO-56 (1998), eq. 48, and the lowering by 2 °C of its Annex 6 (that figure from memory).
pub fn vapour_from_lowest(lowest: Celsius, dry_land: bool) -> Kilopascal {
    let below = if dry_land { 2.0 } else { 0.0 };
    saturation_pressure(Celsius::reckoned(lowest.get() - below))
}

/// The kind of psychrometer, which sets its coefficient.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Psychrometer {
    /// A fan draws air past the bulbs at about 5 m/s.
    Ventilated,
    /// Natural draught of about 1 m/s.
    NaturallyVentilated,
    /// Indoors, without a draught.
    Indoors,
}

impl Psychrometer {
    /// Coefficient a of the instrument \[1/°C\] (FAO-56, eq. 16).
    pub const fn coefficient(self) -> f64 {
        match self {
            Self::Ventilated => 0.000662,
            Self::NaturallyVentilated => 0.0008,
            Self::Indoors => 0.0012,
        }
    }
}

/// Actual vapour pressure, ea \[kPa\], from a dry and a wet bulb; nought where the bulbs are further apart than
/// dry air would bring them.
///
/// # Equation
///
/// ```text
/// ea = e°(T wet) − a P (T dry − T wet)
/// ```
///
/// # Source
///
/// FAO-56 (1998), eq. 15 and 16.
pub fn vapour_from_bulbs(
    dry: Celsius,
    wet: Celsius,
    pressure: AirPressure,
    instrument: Psychrometer,
) -> Kilopascal {
    let cooling = instrument.coefficient() * pressure.get() * (dry.get() - wet.get());
    Kilopascal::reckoned((saturation_pressure(wet).get() - cooling).max(0.0))
}

fn mean(one: Kilopascal, other: Kilopascal) -> Kilopascal {
    Kilopascal::reckoned(f64::midpoint(one.get(), other.get()))
}
