//! Weather that cannot be: what the types of its figures let through and their combination does not.

use crate::units::{Celsius, Kilopascal};

/// Why weather has no evapotranspiration.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum WeatherError {
    /// Lowest and highest are the wrong way round.
    #[error("lowest {lowest} lies above highest {highest}")]
    Reversed {
        /// The lowest given.
        lowest: Celsius,
        /// The highest given.
        highest: Celsius,
    },
    /// There is less than no vapour.
    #[error("vapour pressure {0} is below nought")]
    NegativeVapour(Kilopascal),
    /// More vapour than the air can hold, by more than a drifting probe explains.
    #[error("vapour pressure {vapour} is more than such air can hold, {saturation:.3}")]
    TooMuchVapour {
        /// The vapour pressure given.
        vapour: Kilopascal,
        /// Saturation at the temperatures given.
        saturation: Kilopascal,
    },
    /// The sun gave less than nothing \[MJ/m²\].
    #[error("solar radiation {0} MJ/m² is below nought")]
    NegativeSun(f64),
}

/// Lowest and highest in their order.
pub(super) fn in_order(lowest: Celsius, highest: Celsius) -> Result<(), WeatherError> {
    if lowest > highest { Err(WeatherError::Reversed { lowest, highest }) } else { Ok(()) }
}

/// How much vapour is missing to saturation, kPa, never below nought.
///
/// Up to 105 % of saturation is read as saturated, as [`RelativeHumidity::from_probe`] does
/// (common practice with capacitive probes).
///
/// [`RelativeHumidity::from_probe`]: crate::units::RelativeHumidity::from_probe
pub(super) fn missing_vapour(saturation: Kilopascal, vapour: Kilopascal) -> Result<Kilopascal, WeatherError> {
    const WET_FILM: f64 = 1.05;
    if vapour.get() < 0.0 {
        return Err(WeatherError::NegativeVapour(vapour));
    }
    if vapour.get() > WET_FILM * saturation.get() {
        return Err(WeatherError::TooMuchVapour { vapour, saturation });
    }
    Ok(Kilopascal::reckoned((saturation.get() - vapour.get()).max(0.0)))
}
