//! The equations of the ASHRAE Handbook: over water above the triple point, over ice below it.
//!
//! Relative humidity here is over ice below 0.01 °C, as the Handbook has it. Humidity probes report over
//! water; for their readings the functions of the parent module are right.

use super::{FREEZING_KELVIN, bisect};
use crate::units::{AirPressure, Celsius, Kilopascal, RelativeHumidity};

/// Triple point of water, °C: ice below, water above (ASHRAE Handbook: Fundamentals 2017, ch. 1).
const TRIPLE_POINT: f64 = 0.01;

/// Saturation vapour pressure \[kPa\], over ice to 0.01 °C and over water above.
///
/// # Equation
///
/// ```text
/// ln p = C1 / T + C2 + C3 T + C4 T² + C5 T³ + C6 T⁴ + C7 ln T        (p in Pa, T in K)
/// ```
///
/// # Domain
///
/// All of [`Celsius`]; the source gives −100 to 0 °C over ice and 0 to 200 °C over water.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Hyland & Wexler (1983), as in ASHRAE Handbook: Fundamentals 2017, ch. 1, eq. 5 and 6.
pub fn saturation_pressure(temperature: Celsius) -> Kilopascal {
    Kilopascal::reckoned(saturation(temperature.get()))
}

/// Saturation vapour pressure over ice \[kPa\]; above 0 °C there is no ice, and the curve is only drawn on.
///
/// # Source
///
/// ASHRAE Handbook: Fundamentals 2017, ch. 1, eq. 5.
pub fn saturation_pressure_over_ice(temperature: Celsius) -> Kilopascal {
    Kilopascal::reckoned(over_ice(temperature.get()))
}

/// Saturation vapour pressure over water \[kPa\], also over the supercooled water of a cloud below 0 °C.
///
/// # Domain
///
/// The source gives 0 to 200 °C. Below, it stays within 0.05 % of WMO's equation down
/// to −20 °C (`tests/air.rs`).
///
/// # Source
///
/// ASHRAE Handbook: Fundamentals 2017, ch. 1, eq. 6.
pub fn saturation_pressure_over_water(temperature: Celsius) -> Kilopascal {
    Kilopascal::reckoned(over_water(temperature.get()))
}

/// Dew point, or frost point below 0.01 °C, of air with this humidity as the Handbook means it; `None` for air
/// with next to no vapour, where it lies below the range of [`Celsius`].
///
/// # Source
///
/// [`saturation_pressure`] solved for temperature by bisection.
pub fn dew_point(air: Celsius, humidity: RelativeHumidity) -> Option<Celsius> {
    dew_temperature(vapour(air, humidity))
}

/// Thermodynamic wet-bulb temperature: where air ends that takes up water until it is saturated and no heat is
/// given to it or taken; `None` where the vapour alone reaches the air pressure, which is boiling.
///
/// # Source
///
/// ASHRAE Handbook: Fundamentals 2017, ch. 1, eq. 33 over water and 35 over ice, solved by bisection.
pub fn wet_bulb(air: Celsius, humidity: RelativeHumidity, pressure: AirPressure) -> Option<Celsius> {
    let vapour = vapour(air, humidity);
    let ratio = super::mixing(vapour, pressure.get())?;
    let low = dew_temperature(vapour).unwrap_or(Celsius::MIN).get();
    Some(Celsius::reckoned(wet_temperature(air.get(), low, ratio, pressure.get())))
}

fn vapour(air: Celsius, humidity: RelativeHumidity) -> f64 {
    saturation(air.get()) * humidity.get() / 100.0
}

pub(super) fn saturation(t: f64) -> f64 {
    if t <= TRIPLE_POINT { over_ice(t) } else { over_water(t) }
}

fn over_ice(t: f64) -> f64 {
    let k = t + FREEZING_KELVIN;
    let polynomial =
        6.392_524_7 + k * (-9.677_843e-3 + k * (6.221_570_1e-7 + k * (2.074_782_5e-9 - 9.484_024e-13 * k)));
    libm::exp(-5.674_535_9e3 / k + polynomial + 4.163_501_9 * libm::log(k)) / 1000.0
}

fn over_water(t: f64) -> f64 {
    let k = t + FREEZING_KELVIN;
    let polynomial = 1.391_499_3 + k * (-4.864_023_9e-2 + k * (4.176_476_8e-5 - 1.445_209_3e-8 * k));
    libm::exp(-5.800_220_6e3 / k + polynomial + 6.545_967_3 * libm::log(k)) / 1000.0
}

/// Temperature at which `vapour` \[kPa\] saturates over ice; `None` above the triple point or below −90 °C.
pub(super) fn ice_temperature(vapour: f64) -> Option<Celsius> {
    let low = Celsius::MIN.get();
    let on_ice = vapour >= over_ice(low) && vapour <= over_ice(TRIPLE_POINT);
    on_ice.then(|| Celsius::reckoned(bisect(low, TRIPLE_POINT, |t| over_ice(t) > vapour)))
}

/// Dew or frost point, whichever comes first on cooling; `None` below −90 °C.
pub(super) fn dew_temperature(vapour: f64) -> Option<Celsius> {
    let (low, high) = (Celsius::MIN.get(), Celsius::MAX.get());
    (vapour >= saturation(low)).then(|| Celsius::reckoned(bisect(low, high, |t| saturation(t) > vapour)))
}

/// Thermodynamic wet bulb, °C, of air at `t` with `ratio` kg/kg of vapour; below 0 °C the bulb bears ice.
///
/// Near 0 °C an iced and a wet bulb may both solve the equations, up to 0.75 °C apart; the search from dew
/// point to air temperature then ends on one of them.
///
/// # Source
///
/// ASHRAE Handbook: Fundamentals 2017, ch. 1, eq. 33 (water) and 35 (ice).
pub(super) fn wet_temperature(t: f64, dew: f64, ratio: f64, pressure: f64) -> f64 {
    bisect(dew, t, |wet| {
        // Boiling at the bulb: far above any wet bulb.
        let Some(saturated) = super::mixing(saturation(wet), pressure) else { return true };
        let at_bulb = if wet >= 0.0 {
            ((2501.0 - 2.326 * wet) * saturated - 1.006 * (t - wet)) / (2501.0 + 1.86 * t - 4.186 * wet)
        } else {
            ((2830.0 - 0.24 * wet) * saturated - 1.006 * (t - wet)) / (2830.0 + 1.86 * t - 2.1 * wet)
        };
        at_bulb > ratio
    })
}
