//! Grey mould under cover: long damp nights, neither cold nor hot.
//!
//! *Botrytis* lives on what is dead or hurt and needs hours of damp still air to go over to what is alive. Under cover
//! the nights bring them: warm soil gives off water, the glass cools, nothing moves. One such night is common; two of
//! three are what growers go and look for.

use std::ops::Range;

use super::wetness::hours;
use crate::series::{Held, MS_PER_DAY, together};
use crate::units::{Celsius, HoursOfDay, Kilopascal, RelativeHumidity};
use crate::vapour::deficit;

/// Air of the nights that suit it, °C (common practice).
const SUITS_C: std::ops::RangeInclusive<f64> = 12.0..=25.0;
/// Damp hours that make a night count, h (common practice).
const DAMP_H: f64 = 8.0;
/// So many of three nights (common practice).
const NIGHTS: usize = 2;

/// From where on air counts as damp: either is enough.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Damp {
    /// Humidity at or above this.
    pub humidity: RelativeHumidity,
    /// Deficit below this.
    pub deficit: Kilopascal,
}

/// Damp hours of a night at 12 to 25 °C, in a row or not, from held readings of air, °C, and humidity, %; `None` where
/// less than three quarters of the night are known of both at once.
///
/// # Errors
///
/// None. Values that no probe can mean are passed over.
///
/// # Source
///
/// The rule: common practice. Three quarters are to a night what 18 hours are to a day.
pub fn damp_hours(
    air: impl Iterator<Item = Held>,
    humidity: impl Iterator<Item = Held>,
    damp: Damp,
    night: &Range<i64>,
) -> Option<HoursOfDay> {
    let (mut known_ms, mut damp_ms) = (0_i64, 0_i64);
    let inside = |held: Held| held.within(night);
    // 1 for an hour that counts, 0 for one that does not; what no probe can mean is no hour.
    let judge = |t: f64, rh: f64| match (Celsius::try_new(t), RelativeHumidity::from_probe(rh)) {
        (Ok(t), Ok(share)) => {
            let wet = share >= damp.humidity || deficit(t, share) < damp.deficit;
            f64::from(u8::from(wet && SUITS_C.contains(&t.get())))
        }
        _ => f64::NAN,
    };
    for held in together(air.filter_map(inside), humidity.filter_map(inside), judge) {
        if held.value.is_nan() {
            continue;
        }
        known_ms = known_ms.saturating_add(held.ms());
        if held.value > 0.0 {
            damp_ms = damp_ms.saturating_add(held.ms());
        }
    }
    let night_ms = (night.end - night.start).clamp(1, MS_PER_DAY);
    (known_ms >= night_ms / 4 * 3).then(|| hours(damp_ms))
}

/// Whether two of the last three nights were damp for 8 hours or more. A night not known is none of them.
///
/// Where the nights of summer are shorter than 8 hours the rule is silent.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Common practice.
///
/// # Example
///
/// ```
/// use agronomy::signs::grey_mould::presses;
/// use agronomy::units::{HoursOfDay, OutOfRange};
///
/// let night = |h| HoursOfDay::try_new(h).map(Some);
/// assert!(presses([night(8.5)?, night(3.0)?, night(8.0)?]));
/// assert!(!presses([night(9.0)?, None, night(7.9)?]));
/// # Ok::<(), OutOfRange>(())
/// ```
pub fn presses(nights: [Option<HoursOfDay>; 3]) -> bool {
    nights.into_iter().flatten().filter(|damp| damp.get() >= DAMP_H).count() >= NIGHTS
}
