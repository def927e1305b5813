//! Spider mites: hot dry days in a row.
//!
//! They are no disease, but are looked for in the same way. In heat a generation takes a week, dry air suits them and
//! not what eats them, and a crop that is short of water feeds them best: by the time webs are seen a plant is lost.

use std::ops::Range;

use super::wetness::counts;
use crate::series::{self, Held};
use crate::units::{Celsius, RelativeHumidity};

/// Days in a row (common practice).
pub const DAYS: usize = 5;
/// Each of them this hot, °C (common practice).
const HOT_C: f64 = 30.0;
/// All of them drier than this, %, in the mean (common practice).
const DRY_PCT: f64 = 50.0;

/// What spider mites ask of a day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MiteDay {
    /// The highest air temperature of the day.
    pub highest: Celsius,
    /// Mean humidity of the day.
    pub humidity: RelativeHumidity,
}

impl MiteDay {
    /// A day from held readings of air, °C, and humidity, %; `None` where less than 18 hours of either are known.
    ///
    /// # Errors
    ///
    /// None. Values that no probe can mean are passed over.
    pub fn of(
        air: impl Iterator<Item = Held>,
        humidity: impl Iterator<Item = Held>,
        day: &Range<i64>,
    ) -> Option<Self> {
        let (mut known_ms, mut highest) = (0_i64, Celsius::MIN);
        for held in air.filter_map(|held| held.within(day)) {
            let Ok(value) = Celsius::try_new(held.value) else { continue };
            known_ms = known_ms.saturating_add(held.ms());
            highest = if value > highest { value } else { highest };
        }
        let sound = |held: Held| {
            let value = RelativeHumidity::from_probe(held.value).ok()?.get();
            Held { value, ..held }.within(day)
        };
        let shares: Vec<Held> = humidity.filter_map(sound).collect();
        let mean = series::time_weighted_mean(shares.iter().copied())?;
        let known = counts(known_ms) && counts(series::held_ms(shares.into_iter()));
        known.then(|| Self { highest, humidity: RelativeHumidity::reckoned(mean) })
    }
}

/// Whether five days in a row, each of 30 °C or more, had a mean humidity below 50 %. A day not known breaks the row.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Common practice. The humidity is a mean of the air's share of water, not of its pull: so the rule is told.
///
/// # Example
///
/// ```
/// use agronomy::signs::spider_mite::{MiteDay, presses};
/// use agronomy::units::{Celsius, OutOfRange, RelativeHumidity};
///
/// let day = MiteDay { highest: Celsius::try_new(31.0)?, humidity: RelativeHumidity::try_new(42.0)? };
/// assert!(presses([Some(day); 5]));
/// assert!(!presses([Some(day), Some(day), None, Some(day), Some(day)]));
/// # Ok::<(), OutOfRange>(())
/// ```
pub fn presses(days: [Option<MiteDay>; DAYS]) -> bool {
    let known: Vec<MiteDay> = days.into_iter().flatten().collect();
    let mean = known.iter().map(|day| day.humidity.get()).sum::<f64>() / DAYS as f64;
    known.len() == DAYS && known.iter().all(|day| day.highest.get() >= HOT_C) && mean < DRY_PCT
}
