//! Water vapour in air: how much there is, and how much more there could be.
//!
//! A leaf's inside is saturated; the air beyond it mostly is not. The gap, the vapour-pressure deficit, is
//! the pull on the plant's water. It grows steeply with warmth, because saturation does: air of 50 % pulls
//! three times as hard at 35 °C as at 17 °C. So deficits are averaged, never temperature and humidity first:
//! [`mean_deficit`] takes both series and does it in that order.
//!
//! The functions here take saturation over *water* at every temperature, because humidity probes report
//! against water, and use the form of FAO-56, so that figures can be laid beside tables a grower already
//! owns. [`ashrae`] has the other published set, with ice below the freezing point; [`AirState`] reckons a
//! whole row by either. [`polynomial`] is FAO-56's saturation for millions of readings at once.

mod air_state;
pub mod ashrae;
mod fao56;
mod leaf;
mod over_time;
pub mod polynomial;

pub use air_state::{AirState, Boils, Formula, UnknownFormula};
pub use ashrae::saturation_pressure as saturation_pressure_ashrae;
pub use fao56::{
    deficit, dew_point, leaf_deficit, pressure_at_altitude, saturation_pressure, vapour_pressure, wet_bulb,
};
pub use leaf::{LeafKind, leaf_deficit_span};
pub use over_time::{deficits, mean_deficit};

use crate::units::{AirPressure, Celsius, RelativeHumidity};

/// Molar mass of water over that of dry air (ASHRAE Handbook: Fundamentals 2017, ch. 1).
const MASS_RATIO: f64 = 0.621945;
/// Gas constant of water vapour, kJ/(kg K): molar gas constant (CODATA 2018) over the molar mass of water.
const VAPOUR_GAS_CONSTANT: f64 = 8.314462618e-3 / 0.018015268;
/// 0 °C in kelvin.
const FREEZING_KELVIN: f64 = 273.15;

/// Temperature at which frost forms on a surface cooled in this air; `None` where dew forms first, at
/// 0.01 °C or above, and where it lies below the range of [`Celsius`].
///
/// Below freezing the frost point lies above the dew point, by about a tenth of the distance to 0 °C:
/// frost comes sooner than the dew point says.
///
/// # Source
///
/// ASHRAE Handbook: Fundamentals 2017, ch. 1, eq. 5, solved for temperature by bisection; vapour pressure
/// over water by [`vapour_pressure`].
pub fn frost_point(air: Celsius, humidity: RelativeHumidity) -> Option<Celsius> {
    ashrae::ice_temperature(vapour_pressure(air, humidity).get())
}

/// Mass of vapour for each mass of dry air, kg/kg; `None` where the vapour alone reaches the air pressure, which is
/// boiling.
///
/// # Equation
///
/// ```text
/// W = 0.621945 e / (P − e)
/// ```
///
/// # Source
///
/// ASHRAE Handbook: Fundamentals 2017, ch. 1, eq. 20.
pub fn humidity_ratio(air: Celsius, humidity: RelativeHumidity, pressure: AirPressure) -> Option<f64> {
    mixing(vapour_pressure(air, humidity).get(), pressure.get())
}

/// Mass of vapour in a volume of air, g/m³.
///
/// # Source
///
/// Ideal gas law, e / (Rv T).
pub fn absolute_humidity(air: Celsius, humidity: RelativeHumidity) -> f64 {
    density(vapour_pressure(air, humidity).get(), air)
}

/// Mass of vapour that a volume of air could still take up at its temperature, g/m³.
///
/// # Source
///
/// Ideal gas law, (es − e) / (Rv T).
pub fn humidity_deficit(air: Celsius, humidity: RelativeHumidity) -> f64 {
    density(deficit(air, humidity).get(), air)
}

/// Heat in moist air for each kg of dry air, kJ/kg, from 0 for dry air at 0 °C; `None` where
/// [`humidity_ratio`] is.
///
/// # Equation
///
/// ```text
/// h = 1.006 T + W (2501 + 1.86 T)
/// ```
///
/// # Source
///
/// ASHRAE Handbook: Fundamentals 2017, ch. 1, eq. 30.
pub fn enthalpy(air: Celsius, humidity: RelativeHumidity, pressure: AirPressure) -> Option<f64> {
    humidity_ratio(air, humidity, pressure).map(|ratio| heat(air.get(), ratio))
}

fn mixing(vapour: f64, pressure: f64) -> Option<f64> {
    (vapour < pressure).then(|| MASS_RATIO * vapour / (pressure - vapour))
}

fn density(vapour: f64, air: Celsius) -> f64 {
    1000.0 * vapour / (VAPOUR_GAS_CONSTANT * (air.get() + FREEZING_KELVIN))
}

fn heat(t: f64, ratio: f64) -> f64 {
    1.006 * t + ratio * (2501.0 + 1.86 * t)
}

/// The temperature between `low` and `high` at which `too_high` begins to hold, to 1e-9 of a degree.
fn bisect(mut low: f64, mut high: f64, too_high: impl Fn(f64) -> bool) -> f64 {
    // 40 halvings of 200 degrees leave 2e-10.
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        if too_high(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    f64::midpoint(low, high)
}
