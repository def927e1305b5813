//! The wet-bulb globe temperature, in which limits for work in heat are written.
//!
//! Measured, it takes a wetted thermometer in the open air, a thermometer in a black globe and one in the
//! shade. Where there is no globe, the shade value can be estimated by setting the globe to the air: right
//! with nothing hot in view, and **too low in sun or under hot glass**.

use crate::units::{AirPressure, Celsius, RelativeHumidity};
use crate::vapour::ashrae;

/// Wet-bulb globe temperature in shade, estimated from temperature and humidity; `None` where the air would boil.
///
/// # Equation
///
/// ```text
/// WBGT = 0.7 Tw + 0.3 T
/// ```
///
/// with the thermodynamic wet bulb Tw for the natural one and the air T for the globe.
///
/// # Domain
///
/// Shade, moving air, nothing hot in view. In still air the natural wet bulb is warmer than the thermodynamic
/// one by up to about 1 °C (common practice); the estimate is then low.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// ISO 7243:2017, the formula without solar load, with the two replacements said above; Tw by ASHRAE Handbook:
/// Fundamentals 2017, ch. 1, eq. 33.
pub fn wet_bulb_globe_in_shade(
    air: Celsius,
    humidity: RelativeHumidity,
    pressure: AirPressure,
) -> Option<Celsius> {
    let wet_bulb = ashrae::wet_bulb(air, humidity, pressure)?;
    Some(wet_bulb_globe_no_sun(wet_bulb, air))
}

/// Wet-bulb globe temperature without sun on the instruments, from a natural wet bulb and a black globe.
///
/// # Equation
///
/// ```text
/// WBGT = 0.7 Tnw + 0.3 Tg
/// ```
///
/// # Source
///
/// ISO 7243:2017; coefficients from memory.
pub fn wet_bulb_globe_no_sun(natural_wet_bulb: Celsius, globe: Celsius) -> Celsius {
    Celsius::reckoned(0.7 * natural_wet_bulb.get() + 0.3 * globe.get())
}

/// Wet-bulb globe temperature in the sun, from a natural wet bulb, a black globe and the shaded air.
///
/// # Equation
///
/// ```text
/// WBGT = 0.7 Tnw + 0.2 Tg + 0.1 T
/// ```
///
/// # Source
///
/// ISO 7243:2017; coefficients from memory.
pub fn wet_bulb_globe_in_sun(natural_wet_bulb: Celsius, globe: Celsius, air: Celsius) -> Celsius {
    Celsius::reckoned(0.7 * natural_wet_bulb.get() + 0.2 * globe.get() + 0.1 * air.get())
}
