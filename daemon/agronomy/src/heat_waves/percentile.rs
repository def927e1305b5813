//! Percentiles, by the nine definitions in use.
//!
//! Between two values of a short list there is no one place for a percentile; nine definitions are in use, and
//! near the ends they differ by a whole step of the list. So a percentile names its definition. Numbers are
//! those of Hyndman & Fan; 7 is what most statistics programs do unasked, 8 is unbiased for the median
//! whatever the distribution and is what climate indices use for calendar days.

use crate::units::Percent;

/// Where between two ordered values a percentile lies: the types of Hyndman & Fan (1996).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Definition {
    /// The first value at which the share is reached.
    Type1,
    /// As type 1, but half way where the share is reached exactly.
    Type2,
    /// The nearest value; of two as near, the one with the even place.
    Type3,
    /// On lines between the steps of type 1.
    Type4,
    /// On lines between the middles of those steps (Hazen).
    Type5,
    /// Each value cuts off equal shares on average (Weibull).
    Type6,
    /// The ends of the list are 0 and 100 % (Gumbel): the usual one.
    Type7,
    /// The median of where such a value falls, for any distribution.
    Type8,
    /// The mean of where such a value falls, for normal ones.
    Type9,
}

impl Definition {
    /// All nine, in order.
    pub const ALL: [Self; 9] = [
        Self::Type1,
        Self::Type2,
        Self::Type3,
        Self::Type4,
        Self::Type5,
        Self::Type6,
        Self::Type7,
        Self::Type8,
        Self::Type9,
    ];

    /// The constant m of the definition for a share p.
    fn offset(self, p: f64) -> f64 {
        match self {
            Self::Type1 | Self::Type2 | Self::Type4 => 0.0,
            Self::Type3 => -0.5,
            Self::Type5 => 0.5,
            Self::Type6 => p,
            Self::Type7 => 1.0 - p,
            Self::Type8 => (p + 1.0) / 3.0,
            Self::Type9 => p / 4.0 + 0.375,
        }
    }

    /// The weight γ of the upper of two neighbours, of which the lower is the `place`th.
    fn weight(self, place: f64, rest: f64) -> f64 {
        match self {
            Self::Type1 if rest == 0.0 => 0.0,
            Self::Type2 if rest == 0.0 => 0.5,
            Self::Type3 if rest == 0.0 && place % 2.0 == 0.0 => 0.0,
            Self::Type1 | Self::Type2 | Self::Type3 => 1.0,
            _ => rest,
        }
    }
}

/// Values that have no percentile.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoSample {
    /// There are none.
    #[error("a percentile of no values at all")]
    Empty,
    /// One of them is NaN or infinite.
    #[error("a percentile of values of which one is {0}")]
    NotFinite(f64),
}

/// Values in order, at least one, all finite.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ordered<'a>(&'a [f64]);

impl<'a> Ordered<'a> {
    /// Puts the values in order where they stand; nothing is allocated.
    ///
    /// # Errors
    ///
    /// [`NoSample`] when there are none, or one is NaN or infinite.
    pub fn try_new(values: &'a mut [f64]) -> Result<Self, NoSample> {
        if values.is_empty() {
            return Err(NoSample::Empty);
        }
        if let Some(bad) = values.iter().find(|value| !value.is_finite()) {
            return Err(NoSample::NotFinite(*bad));
        }
        values.sort_unstable_by(f64::total_cmp);
        Ok(Self(values))
    }

    /// The value below which this share of them lies, in their unit.
    ///
    /// # Equation
    ///
    /// ```text
    /// j = ⌊n p + m⌋,  g = n p + m − j,  Q = (1 − γ) x_j + γ x_(j+1)
    /// ```
    ///
    /// with m and γ(j, g) by definition, and places outside the list taken at its ends.
    ///
    /// # Domain
    ///
    /// All of the argument types.
    ///
    /// # Errors
    ///
    /// None.
    ///
    /// # Source
    ///
    /// Hyndman & Fan (1996), The American Statistician 50, 361-365, eq. 1 and the list of definitions.
    pub fn percentile(&self, share: Percent, definition: Definition) -> f64 {
        let n = self.0.len() as f64;
        // Percent times count before the division: whole products stay whole, and the steps stay where they are.
        let position = n * share.get() / 100.0 + definition.offset(share.get() / 100.0);
        let place = libm::floor(position);
        let weight = definition.weight(place, position - place);
        let (lower, upper) = (self.at(place), self.at(place + 1.0));
        // Held between its neighbours against rounding.
        ((1.0 - weight) * lower + weight * upper).clamp(lower, upper)
    }

    /// The value at a place counted from 1, at the nearer end where there is no such place.
    fn at(&self, place: f64) -> f64 {
        let last = self.0.len() - 1;
        // A place below 1 saturates at 0.
        self.0[((place - 1.0) as usize).min(last)]
    }
}
