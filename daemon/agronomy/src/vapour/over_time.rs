//! The deficit over hours and days, in the one order that is right: reckon at every moment, average last.
//!
//! Saturation bends upward with warmth, so the deficit of the mean air lies below the mean of the deficits,
//! on a hot day under glass by a quarter. Two series go in and one of deficits comes out; hours above a
//! limit, or the mean while the sun is up, are then asked of that one ([`series`]).

use crate::series::{self, Held};
use crate::units::{Celsius, Kilopascal, RelativeHumidity};

use super::deficit;

/// The deficit \[kPa\] wherever temperature \[°C\] and humidity \[%\] both hold.
///
/// A stretch with a figure that air cannot have is left out, as a gap. A humidity of 100 to 105 % is a wet
/// film on the probe and counts as 100 % ([`RelativeHumidity::from_probe`]).
///
/// # Domain
///
/// Both series in order and without overlap, as [`series::hold`] gives them.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// [`deficit`]: FAO-56 (1998), eq. 10 and 11, at every moment.
pub fn deficits(
    air: impl Iterator<Item = Held>,
    humidity: impl Iterator<Item = Held>,
) -> impl Iterator<Item = Held> {
    let at_once = |t, rh| match (Celsius::try_new(t), RelativeHumidity::from_probe(rh)) {
        (Ok(t), Ok(rh)) => deficit(t, rh).get(),
        _ => f64::NAN,
    };
    series::together(air, humidity, at_once).filter(|held| !held.value.is_nan())
}

/// The mean deficit over the time both series hold, weighted by time; `None` where they never hold together.
///
/// # Domain
///
/// As [`deficits`]. For a daylight mean, the series clipped to the time from sunrise to sunset.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// FAO-56 (1998), ch. 3, eq. 12 and the text at it: saturation of the mean temperature is too low, so pressures
/// are averaged.
pub fn mean_deficit(
    air: impl Iterator<Item = Held>,
    humidity: impl Iterator<Item = Held>,
) -> Option<Kilopascal> {
    series::time_weighted_mean(deficits(air, humidity)).map(Kilopascal::reckoned)
}
