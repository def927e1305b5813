//! The heat index: what warm air feels like in shade.
//!
//! It is the temperature, in shade and a light breeze, of ordinary dampness that would tire a walking person as
//! much. Sweat cools only where it dries, so damp air feels hotter than it is.

use crate::units::{Celsius, RelativeHumidity};

/// A heat index, and which part of the algorithm gave it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeatIndex {
    /// Apparent temperature, °C. Not a [`Celsius`]: far outside the regression's range it is no temperature.
    pub celsius: f64,
    /// The equation used.
    pub branch: Branch,
}

impl HeatIndex {
    /// The warmest air to which the regression was fitted, °C: 112 °F. Beyond, the index is extrapolated.
    ///
    /// # Source
    ///
    /// Rothfusz (1990), NWS Southern Region technical attachment SR 90-23.
    pub const FITTED_UP_TO_C: f64 = (112.0 - 32.0) / 1.8;
}

/// The parts of the heat index algorithm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Branch {
    /// The simple formula, averaged with the air temperature: below about 27 °C.
    Simple,
    /// The regression.
    Regression,
    /// The regression, lowered for very dry air.
    Dry,
    /// The regression, raised for very damp air.
    Humid,
}

/// Heat index by the algorithm of the US National Weather Service.
///
/// # Equation
///
/// With T in °F and R in %:
///
/// ```text
/// simple  HI = (T + 0.5 (T + 61 + 1.2 (T − 68) + 0.094 R)) / 2          while below 80 °F, else
/// HI = −42.379 + 2.04901523 T + 10.14333127 R − 0.22475541 T R − 0.00683783 T² − 0.05481717 R²
///      + 0.00122874 T² R + 0.00085282 T R² − 0.00000199 T² R²
/// dry     R < 13, T 80 to 112:  − (13 − R)/4 √((17 − |T − 95|) / 17)
/// humid   R > 85, T 80 to 87:   + (R − 85)/10 (87 − T)/5
/// ```
///
/// # Domain
///
/// Fitted to 27 to 44 °C ([`HeatIndex::FITTED_UP_TO_C`]) in shade and a light breeze; beyond that it is extrapolated.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Rothfusz (1990), NWS Southern Region technical attachment SR 90-23, after Steadman (1979), with the NWS
/// adjustments; checked against a table made with independent libraries in `tests/people.rs`.
pub fn heat_index(air: Celsius, humidity: RelativeHumidity) -> HeatIndex {
    let (t, r) = (air.get() * 1.8 + 32.0, humidity.get());
    let simple = f64::midpoint(0.5 * (t + 61.0 + (t - 68.0) * 1.2 + r * 0.094), t);
    let (fahrenheit, branch) = if simple < 80.0 {
        (simple, Branch::Simple)
    } else if r < 13.0 && (80.0..=112.0).contains(&t) {
        let lowered = (13.0 - r) / 4.0 * ((17.0 - (t - 95.0).abs()) / 17.0).sqrt();
        (regression(t, r) - lowered, Branch::Dry)
    } else if r > 85.0 && (80.0..=87.0).contains(&t) {
        (regression(t, r) + (r - 85.0) / 10.0 * (87.0 - t) / 5.0, Branch::Humid)
    } else {
        (regression(t, r), Branch::Regression)
    };
    HeatIndex { celsius: (fahrenheit - 32.0) / 1.8, branch }
}

fn regression(t: f64, r: f64) -> f64 {
    -42.379 + 2.04901523 * t + 10.14333127 * r - 0.22475541 * t * r - 0.00683783 * t * t - 0.05481717 * r * r
        + 0.00122874 * t * t * r
        + 0.00085282 * t * r * r
        - 0.00000199 * t * t * r * r
}
