//! Leaf spots and early blight of tomato: a value from 0 to 4 for each day, by how long and how warm the leaf was wet.
//!
//! The values are added up from planting out. The sum is made to say when a look pays: three fungi that spot tomato
//! leaves gather strength by wet, warm hours, and before a sum of 15 there is little to see; the limits in use lie from
//! 15 to 25 (from memory).
//!
//! The table is known from memory and from one public copy of it, which needs an hour more at two edges (the first
//! value from 13 to 17 °C and from 18 to 20 °C). Hold it against a printed chart before building more on it.

use std::ops::Range;

use super::wetness::{Air, WET_FROM, counts, hours, wet_air};
use crate::series::{Held, MS_PER_HOUR};
use crate::units::{Celsius, HoursOfDay};

/// Hours of wet leaf from which a day has the value 1, 2, 3 and 4, h, by the highest whole degree of a class; `None`
/// where the table has no such value.
const CLASSES: [(f64, [Option<f64>; 4]); 4] = [
    (17.0, [Some(7.0), Some(16.0), Some(21.0), None]),
    (20.0, [Some(4.0), Some(9.0), Some(16.0), Some(23.0)]),
    (25.0, [Some(3.0), Some(6.0), Some(13.0), Some(21.0)]),
    (29.0, [Some(4.0), Some(9.0), Some(16.0), Some(23.0)]),
];
/// The table begins here, °C; nothing is rounded up into it.
const COLDEST_C: f64 = 13.0;

/// The severity value of a day, 0 to 4: by the mean temperature of the wet hours and how many they were.
///
/// # Domain
///
/// 13 °C to the class that ends at 29, in whole degrees with halves rounded up (our convention; the sources are
/// silent); 0 outside. Hours that
/// are not whole count as the whole hours in them.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Pitblado (1992), after the early blight model of Madden, Pennypacker and MacNab (1978). From memory, compared
/// with one public copy.
///
/// # Example
///
/// ```
/// use agronomy::signs::severity::severity_value;
/// use agronomy::units::{Celsius, HoursOfDay, OutOfRange};
///
/// assert_eq!(severity_value(Celsius::try_new(23.0)?, HoursOfDay::try_new(13.0)?), 3);
/// # Ok::<(), OutOfRange>(())
/// ```
pub fn severity_value(while_wet: Celsius, wet: HoursOfDay) -> u8 {
    if while_wet.get() < COLDEST_C {
        return 0;
    }
    let degree = (while_wet.get() + 0.5).floor();
    let Some((_, hours)) = CLASSES.iter().find(|(highest, _)| degree <= *highest) else { return 0 };
    hours.iter().flatten().filter(|from| wet.get() >= **from).count() as u8
}

/// The severity value of a day from held readings of air, °C, and humidity, %; `None` where less than 18 hours are
/// known of both at once.
///
/// # Errors
///
/// None. Values that no probe can mean are passed over.
pub fn severity_of(
    air: impl Iterator<Item = Held>,
    humidity: impl Iterator<Item = Held>,
    day: &Range<i64>,
) -> Option<u8> {
    let (mut known_ms, mut wet_ms, mut degree_ms) = (0_i64, 0_i64, 0.0);
    for (held, state) in wet_air(air, humidity, WET_FROM, day) {
        known_ms = known_ms.saturating_add(held.ms());
        if let Air::Wet(t) = state {
            wet_ms = wet_ms.saturating_add(held.ms());
            degree_ms += t.get() * held.ms() as f64 / MS_PER_HOUR as f64;
        }
    }
    if !counts(known_ms) {
        return None;
    }
    if wet_ms == 0 {
        return Some(0);
    }
    let mean = degree_ms / (wet_ms as f64 / MS_PER_HOUR as f64);
    Some(severity_value(Celsius::reckoned(mean), hours(wet_ms)))
}
