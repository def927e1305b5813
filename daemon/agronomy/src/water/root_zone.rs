//! The root zone of a bed: a store that is filled by rain and can, and emptied by the crop.
//!
//! It is counted from the top down: *depletion* is what is missing to field capacity. More than full it cannot
//! be; the rest drains to where no root follows. Down to a share p of the store the crop takes what the weather
//! asks; p is smaller for shallow-rooted and tender crops and on days of great demand. Below that the stress
//! coefficient falls in a straight line to nought at the wilting point.

use crate::units::{Days, Fraction, Millimetres, MillimetresPerDay};

/// The share of the available water that may go before the crop feels it, p, on a day of this demand.
///
/// # Equation
///
/// ```text
/// p = p(table) + 0.04 (5 − ETc),  0.1 ≤ p ≤ 0.8
/// ```
///
/// # Source
///
/// FAO-56 (1998), Table 22, note 2; the tables stand for 5 mm/d.
pub fn depletion_share(table: Fraction, demand: MillimetresPerDay) -> Fraction {
    Fraction::reckoned((table.get() + 0.04 * (5.0 - demand.get())).clamp(0.1, 0.8))
}

/// Water stress coefficient, Ks: one where the crop takes all it wants, nought where it wilts.
///
/// # Equation
///
/// ```text
/// Ks = (TAW − Dr) / ((1 − p) TAW)   where Dr > p TAW, else 1
/// ```
///
/// A store that holds nothing gives nought.
///
/// # Source
///
/// FAO-56 (1998), eq. 84.
pub fn stress_coefficient(total: Millimetres, depletion: Millimetres, share: Fraction) -> Fraction {
    left_over_share(total.get(), depletion.get(), share.get())
}

/// The same for any store, in any unit of volume.
pub(super) fn left_over_share(total: f64, missing: f64, share: f64) -> Fraction {
    if total <= 0.0 || missing >= total {
        return Fraction::NONE;
    }
    if missing <= share * total {
        return Fraction::WHOLE;
    }
    // Here the share is below one, since missing is below total.
    Fraction::reckoned((total - missing) / ((1.0 - share) * total))
}

/// The store of a bed within reach of its roots.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RootZone {
    total: Millimetres,
    depletion: Millimetres,
}

impl RootZone {
    /// A store of `total` available water (TAW) of which `depletion` (Dr) is missing; more than all cannot be.
    pub fn new(total: Millimetres, depletion: Millimetres) -> Self {
        Self { total, depletion: Millimetres::reckoned(depletion.get().min(total.get())) }
    }

    /// Total available water, TAW.
    pub const fn total(&self) -> Millimetres {
        self.total
    }

    /// What is missing to field capacity, Dr: as much water would fill it.
    pub const fn depletion(&self) -> Millimetres {
        self.depletion
    }

    /// Readily available water, RAW: what may be missing before the crop feels it (FAO-56, eq. 83).
    pub fn readily_available(&self, share: Fraction) -> Millimetres {
        Millimetres::reckoned(share.get() * self.total.get())
    }

    /// Stress coefficient at this depletion; see [`stress_coefficient`].
    pub fn stress(&self, share: Fraction) -> Fraction {
        stress_coefficient(self.total, self.depletion, share)
    }

    /// Days at this use until it is time to water, when the readily available part is gone (FAO-56, chapter 8); nought
    /// where it is time, `None` where nothing is used.
    pub fn days_until_due(&self, share: Fraction, daily_use: MillimetresPerDay) -> Option<Days> {
        let left = (self.readily_available(share).get() - self.depletion.get()).max(0.0);
        (daily_use.get() > 0.0).then(|| Days::reckoned(left / daily_use.get()))
    }

    /// After rain or watering, and what drained away (the order of events known: water first).
    ///
    /// # Source
    ///
    /// FAO-56 (1998), eq. 85, in the order of its example 38.
    #[must_use]
    pub fn watered(&self, water: Millimetres) -> (Self, Millimetres) {
        let drained = (water.get() - self.depletion.get()).max(0.0);
        let depletion = (self.depletion.get() - water.get()).max(0.0);
        (Self::new(self.total, Millimetres::reckoned(depletion)), Millimetres::reckoned(drained))
    }

    /// After the crop has taken `used`, at most what is there.
    #[must_use]
    pub fn used(&self, used: Millimetres) -> Self {
        Self::new(self.total, Millimetres::reckoned(self.depletion.get() + used.get()))
    }

    /// After a day of which only the sums are known, and what drained away: use and water meet, and only what
    /// is over drains.
    ///
    /// # Source
    ///
    /// FAO-56 (1998), eq. 85 and 88.
    #[must_use]
    pub fn over_day(&self, water: Millimetres, used: Millimetres) -> (Self, Millimetres) {
        let drained = (water.get() - used.get() - self.depletion.get()).max(0.0);
        let depletion = (self.depletion.get() - water.get() + used.get() + drained).max(0.0);
        (Self::new(self.total, Millimetres::reckoned(depletion)), Millimetres::reckoned(drained))
    }

    /// The same with roots that reach another store: the soil they grow into is taken to be full.
    ///
    /// # Source
    ///
    /// FAO-56 (1998), example 38: the depletion stays as roots deepen.
    #[must_use]
    pub fn with_total(&self, total: Millimetres) -> Self {
        Self::new(total, self.depletion)
    }
}
