//! The equations of FAO Irrigation and Drainage Paper 56.

use super::bisect;
use crate::units::{AirPressure, Celsius, Kilopascal, Metres, RelativeHumidity};

/// Saturation vapour pressure over water, e°(T) \[kPa\].
///
/// The most vapour that air of a temperature can hold.
///
/// # Equation
///
/// ```text
/// e° = 0.6108 exp(17.27 T / (T + 237.3))
/// ```
///
/// # Domain
///
/// All of [`Celsius`]; its printed table runs from 1 to 48.5 °C. Against WMO's equation over water it is
/// within 0.15 % from 0 to 55 °C and 0.8 % low at −20 °C (see `tests/air.rs`).
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Allen, Pereira, Raes & Smith, FAO-56 (1998), eq. 11.
///
/// # Example
///
/// ```
/// use agronomy::units::{Celsius, OutOfRange};
/// use agronomy::vapour::saturation_pressure;
///
/// // FAO-56, Table 2.3: 2.338 kPa at 20 °C.
/// assert_eq!(format!("{:.3}", saturation_pressure(Celsius::try_new(20.0)?)), "2.338 kPa");
/// # Ok::<(), OutOfRange>(())
/// ```
pub fn saturation_pressure(temperature: Celsius) -> Kilopascal {
    Kilopascal::reckoned(saturation(temperature.get()))
}

pub(super) fn saturation(t: f64) -> f64 {
    0.6108 * libm::exp(17.27 * t / (t + 237.3))
}

/// Actual vapour pressure, ea \[kPa\].
///
/// # Source
///
/// FAO-56 (1998), eq. 10 solved for ea.
pub fn vapour_pressure(air: Celsius, humidity: RelativeHumidity) -> Kilopascal {
    Kilopascal::reckoned(saturation(air.get()) * humidity.get() / 100.0)
}

/// Vapour-pressure deficit of the air \[kPa\]: how much more vapour it could take up.
///
/// # Equation
///
/// ```text
/// D = e°(T) (1 − RH / 100)
/// ```
///
/// # Domain
///
/// The air stands in for the leaf, which in sun may be degrees warmer and when it transpires freely cooler:
/// [`leaf_deficit`] where the leaf's temperature is known.
///
/// # Errors
///
/// None. The argument types hold no value it cannot take.
///
/// # Source
///
/// FAO-56 (1998), eq. 10 and 11.
pub fn deficit(air: Celsius, humidity: RelativeHumidity) -> Kilopascal {
    Kilopascal::reckoned(saturation(air.get()) * (1.0 - humidity.get() / 100.0))
}

/// Vapour-pressure deficit from leaf to air \[kPa\]; negative where the leaf lies below the dew point and dew
/// forms on it.
///
/// # Equation
///
/// ```text
/// D = e°(T leaf) − e°(T air) RH / 100
/// ```
///
/// # Source
///
/// FAO-56 (1998), eq. 10 and 11, with the inside of the leaf taken as saturated.
pub fn leaf_deficit(air: Celsius, humidity: RelativeHumidity, leaf: Celsius) -> Kilopascal {
    Kilopascal::reckoned(saturation(leaf.get()) - saturation(air.get()) * humidity.get() / 100.0)
}

/// Dew point, Td: the temperature at which this air is saturated over water; `None` for air without vapour,
/// and where it lies below the range of [`Celsius`].
///
/// # Equation
///
/// ```text
/// Td = 237.3 x / (17.27 − x),  x = ln(ea / 0.6108)
/// ```
///
/// # Source
///
/// FAO-56 (1998), eq. 11 solved for temperature.
pub fn dew_point(air: Celsius, humidity: RelativeHumidity) -> Option<Celsius> {
    dew_temperature(vapour_pressure(air, humidity).get())
}

pub(super) fn dew_temperature(vapour: f64) -> Option<Celsius> {
    if vapour <= 0.0 {
        return None;
    }
    let x = libm::log(vapour / 0.6108);
    Celsius::try_new(237.3 * x / (17.27 - x)).ok()
}

/// Wet-bulb temperature, Tw: as far as evaporating water can cool this air.
///
/// # Equation
///
/// ```text
/// ea = e°(Tw) − 0.000665 P (T − Tw), solved by bisection
/// ```
///
/// # Domain
///
/// All of the argument types. It is what a ventilated psychrometer reads, with water on the bulb also below
/// freezing. The thermodynamic wet bulb lies lower, by up to 0.4 °C in hot, very dry air, because the constant
/// takes the heat of evaporation at one temperature (see `tests/air.rs`); [`Formula::Ashrae`](super::Formula)
/// gives that one.
///
/// # Source
///
/// FAO-56 (1998), eq. 15 solved for Tw, with the psychrometric constant of eq. 8; eq. 16 has 0.000662 for
/// one make of psychrometer.
pub fn wet_bulb(air: Celsius, humidity: RelativeHumidity, pressure: AirPressure) -> Celsius {
    let vapour = saturation(air.get()) * humidity.get() / 100.0;
    Celsius::reckoned(wet_temperature(air.get(), vapour, pressure.get()))
}

pub(super) fn wet_temperature(t: f64, vapour: f64, pressure: f64) -> f64 {
    const BELOW_ANY_WET_BULB: f64 = -95.0;
    let psychrometric = 0.000665 * pressure;
    bisect(BELOW_ANY_WET_BULB, t, |wet| saturation(wet) - psychrometric * (t - wet) > vapour)
}

/// Usual air pressure at a height above the sea.
///
/// # Equation
///
/// ```text
/// P = 101.3 ((293 − 0.0065 z) / 293)^5.26
/// ```
///
/// # Source
///
/// FAO-56 (1998), eq. 7.
pub fn pressure_at_altitude(altitude: Metres) -> AirPressure {
    AirPressure::reckoned(101.3 * libm::pow((293.0 - 0.0065 * altitude.get()) / 293.0, 5.26))
}
