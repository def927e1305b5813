//! The humidex: the same question as the heat index, answered in one line.

use crate::units::{Celsius, RelativeHumidity};
use crate::vapour::ashrae;

/// Humidex, an apparent temperature in °C; not a [`Celsius`], because on very damp heat it is no temperature.
///
/// # Equation
///
/// ```text
/// humidex = T + 5/9 (e − 10)
/// e = 6.11 exp(5417.7530 (1 / 273.16 − 1 / (Td + 273.15)))        (hPa)
/// ```
///
/// # Domain
///
/// Meant for 20 °C and warmer, where it exceeds the air temperature in all but dry air; below that it is only
/// arithmetic. Air without vapour has e = 0.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Masterton & Richardson (1979), Environment Canada, CLI 1-79, as that service prints it; the dew point Td by
/// ASHRAE Handbook: Fundamentals 2017, ch. 1.
pub fn humidex(air: Celsius, humidity: RelativeHumidity) -> f64 {
    let vapour_hpa = ashrae::dew_point(air, humidity)
        .map_or(0.0, |dew| 6.11 * libm::exp(5417.7530 * (1.0 / 273.16 - 1.0 / (dew.get() + 273.15))));
    air.get() + 5.0 / 9.0 * (vapour_hpa - 10.0)
}
