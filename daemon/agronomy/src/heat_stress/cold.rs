//! Cold: the lines of chill, frost and death, and which of them a night threatens.
//!
//! A crop of warm lands suffers long before it freezes: below its *chilling* line it stops growing and may not
//! recover for days. At the *damage* line tissue freezes; at the *lethal* line the plant dies. A plant that has
//! lived through ten cool days is hardened and bears more than one that comes from a warm spell.
//!
//! The lines are of leaves, the probe hangs in air: under a clear sky a leaf is one to three degrees colder
//! than the air beside it (from memory). And a forecast of the night's lowest errs, here by a degree and a half
//! (common practice). Both are allowed for before a line is said to be safe; where life or livelihood hangs on
//! it, local frost warnings go first.

use super::course::Slope;
use super::exposure::{Exposure, below};
use crate::crop::{Cold, Crop};
use crate::units::{Celsius, OutOfRange};

/// Air at canopy height below which there is frost among the leaves, °C (from memory).
pub const FROST_AIR: f64 = 0.5;
/// How much colder than air a leaf may be under a clear sky, °C (from memory).
const CLEAR_SKY: f64 = 3.0;
/// What a forecast of the night's lowest is allowed to err, °C (common practice).
const FORECAST_ERROR: f64 = 1.5;
/// A plant whose last days were cooler than this on average is hardened, °C (common practice).
const HARDENING_MEAN: f64 = 8.0;
/// How many days hardening takes.
const HARDENING_DAYS: usize = 10;
/// How far above the damage line a plant that is not hardened may die, °C (common practice).
const TENDER: f64 = 1.0;

/// The cold lines of a crop in its present state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ColdLines {
    /// Growth suffers below this; `None` for crops that do not chill.
    pub chill: Option<Celsius>,
    /// Tissue freezes at this.
    pub damage: Celsius,
    /// The plant dies at this.
    pub lethal: Celsius,
}

/// What a cold night may do, from least to worst.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Threat {
    /// Growth suffers.
    Chill,
    /// Tissue freezes.
    Damage,
    /// The plant may die.
    Death,
}

/// The sky of the night.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sky {
    /// Clear and still, over plants that see it: leaves cool below the air.
    Clear,
    /// Cloud, wind, a cover or glass.
    Covered,
}

/// Whether plants are hardened, by the means of the last days in order, °C, the last of them yesterday.
///
/// `None` where any of the last ten is not known: such a plant is to be taken as tender.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Common practice.
pub fn hardened(daily_means: &[Option<f64>]) -> Option<bool> {
    let last = daily_means.get(daily_means.len().checked_sub(HARDENING_DAYS)?..)?;
    let mut sum = 0.0;
    for mean in last {
        sum += mean.filter(|mean| mean.is_finite())?;
    }
    Some(sum / (HARDENING_DAYS as f64) < HARDENING_MEAN)
}

impl ColdLines {
    /// The lines of a crop; of a figure with two ends the warmer one.
    ///
    /// A plant that is not hardened, or not known to be, is taken to die a degree above its damage line.
    ///
    /// # Errors
    ///
    /// [`OutOfRange`] when a line of the book is no temperature.
    pub fn of(cold: &Cold, hardened: Option<bool>) -> Result<Self, OutOfRange> {
        let damage = cold.frost_damage.hi;
        let lethal = if hardened == Some(true) { cold.lethal.hi } else { damage + TENDER };
        let chill = cold.chilling.as_ref().map(|line| Celsius::try_new(line.hi)).transpose()?;
        Ok(Self { chill, damage: Celsius::try_new(damage)?, lethal: Celsius::try_new(lethal)? })
    }

    /// The worst that a night with this expected lowest air may do.
    ///
    /// Chill is a matter of the air; frost and death are of the leaf, which a clear sky cools further.
    ///
    /// # Errors
    ///
    /// None.
    ///
    /// # Source
    ///
    /// Allowances from memory and common practice, see the module.
    pub fn threat(&self, expected_low: Celsius, sky: Sky) -> Option<Threat> {
        let air = expected_low.get() - FORECAST_ERROR;
        let leaf = if sky == Sky::Clear { air - CLEAR_SKY } else { air };
        if leaf < self.lethal.get() {
            Some(Threat::Death)
        } else if leaf < self.damage.get() {
            Some(Threat::Damage)
        } else {
            self.chill.filter(|line| air < line.get()).map(|_| Threat::Chill)
        }
    }
}

/// Time and degree hours of the air below the crop's chilling line; `None` for a crop that does not chill.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// The definition; the line is the crop book's.
pub fn chilling(crop: &Crop, course: impl Iterator<Item = Slope>) -> Option<Exposure> {
    let line = Celsius::try_new(crop.cold.chilling.as_ref()?.hi).ok()?;
    Some(below(course, line))
}

/// Time and degree hours of frost among the leaves: air at canopy height below 0.5 °C.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// From memory, as [`FROST_AIR`].
pub fn frost(course: impl Iterator<Item = Slope>) -> Exposure {
    below(course, Celsius::reckoned(FROST_AIR))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::crop::Figure;
    use std::collections::BTreeMap;

    fn figure(lo: f64, hi: f64) -> Figure {
        Figure { lo, hi, sources: Vec::new(), note: None }
    }

    /// A tomato (chills at 10, damaged at 0, dies at -1.5) and a cabbage (-5, -8), read by eye from the book.
    fn cold(chilling: Option<f64>, damage: f64, lethal: f64) -> Cold {
        Cold {
            chilling: chilling.map(|line| figure(line, line)),
            frost_damage: figure(damage, damage),
            lethal: figure(lethal, lethal),
            other: BTreeMap::new(),
        }
    }

    fn celsius(value: f64) -> Celsius {
        Celsius::try_new(value).unwrap()
    }

    #[test]
    fn ten_days_below_eight_degrees_harden_and_an_unknown_day_leaves_it_open() {
        assert_eq!(hardened(&[Some(7.9); 10]), Some(true));
        assert_eq!(hardened(&[Some(8.0); 10]), Some(false));
        assert_eq!(hardened(&[Some(5.0); 9]), None);
        let mut days = [Some(5.0); 12];
        days[1] = None;
        assert_eq!(hardened(&days), Some(true));
        days[2] = Some(f64::NAN);
        assert_eq!(hardened(&days), None);
    }

    #[test]
    fn only_a_hardened_plant_bears_its_lethal_line() {
        let cabbage = cold(None, -5.0, -8.0);
        let lethal = |hardened| ColdLines::of(&cabbage, hardened).map(|lines| lines.lethal.get());
        assert_eq!(lethal(Some(true)), Ok(-8.0));
        assert_eq!(lethal(Some(false)), Ok(-4.0));
        assert_eq!(lethal(None), Ok(-4.0));
        assert!(ColdLines::of(&cold(Some(f64::NAN), 0.0, -1.5), None).is_err());
    }

    #[test]
    fn a_night_threatens_by_its_margin_and_more_under_a_clear_sky() {
        let tomato = ColdLines::of(&cold(Some(10.0), 0.0, -1.5), Some(true)).unwrap();
        let of = |low, sky| tomato.threat(celsius(low), sky);
        assert_eq!(of(11.5, Sky::Covered), None);
        assert_eq!(of(11.4, Sky::Covered), Some(Threat::Chill));
        assert_eq!(of(1.5, Sky::Covered), Some(Threat::Chill));
        assert_eq!(of(1.4, Sky::Covered), Some(Threat::Damage));
        assert_eq!(of(4.4, Sky::Clear), Some(Threat::Damage));
        assert_eq!(of(2.9, Sky::Clear), Some(Threat::Death));
        let cabbage = ColdLines::of(&cold(None, -5.0, -8.0), Some(true)).unwrap();
        assert_eq!(cabbage.threat(celsius(-3.4), Sky::Covered), None);
        assert_eq!(cabbage.threat(celsius(-3.6), Sky::Covered), Some(Threat::Damage));
        assert_eq!(cabbage.threat(celsius(-6.6), Sky::Covered), Some(Threat::Death));
    }

    #[test]
    fn frost_is_counted_from_half_a_degree() {
        // From 1.5 down to -0.5 in two hours: below 0.5 for the second of them.
        let night = Slope { start_ms: 0, end_ms: 7_200_000, from: 1.5, to: -0.5 };
        let found = frost(std::iter::once(night));
        assert_eq!((found.hours(), found.degree_hours.get()), (1.0, 0.5));
    }
}
