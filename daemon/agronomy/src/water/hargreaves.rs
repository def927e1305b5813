//! Reference evapotranspiration when only temperatures are known.

use super::weather::{WeatherError, in_order};
use crate::sun::DayOfYear;
use crate::sun::fao56::extraterrestrial_day;
use crate::units::{Celsius, Latitude, MillimetresPerDay};

/// Reference evapotranspiration of a day from its lowest and highest temperature alone, by the equation of
/// Hargreaves.
///
/// The further the two lie apart, the clearer the sky. It knows neither wind nor dryness: it asks for too much
/// in humid places and too little in a dry wind, and on a single day it may be far off.
///
/// # Equation
///
/// ```text
/// ET0 = 0.0023 (Tm + 17.8) √(Tx − Tn) · 0.408 Ra
/// ```
///
/// # Domain
///
/// Outdoors. Below a mean of −17.8 °C it turns negative, which means nothing but "none".
///
/// # Errors
///
/// [`WeatherError::Reversed`].
///
/// # Source
///
/// FAO-56 (1998), eq. 52.
pub fn hargreaves(
    latitude: Latitude,
    day: DayOfYear,
    lowest: Celsius,
    highest: Celsius,
) -> Result<MillimetresPerDay, WeatherError> {
    in_order(lowest, highest)?;
    let mean = f64::midpoint(lowest.get(), highest.get());
    let spread = libm::sqrt(highest.get() - lowest.get());
    let equivalent = extraterrestrial_day(latitude, day).evaporates().get();
    Ok(MillimetresPerDay::reckoned(0.0023 * (mean + 17.8) * spread * equivalent))
}
