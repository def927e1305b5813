//! Evaporation from bare wet soil beside the crop, and the seed layer.
//!
//! After rain or the can, soil between plants gives off as much as the sky asks; then its surface dries, a crust
//! holds the rest, and it gives less and less. The dual crop coefficient reckons the two apart: basal Kcb for
//! what goes through the leaf, Ke for what leaves the soil. Only soil that is both wetted and in the sun counts,
//! and both together never take more than a ceiling that the sun's energy sets. FAO-56 keeps account of the
//! top 0.10 m. Seed lies in the top centimetre; the same account of a layer that thin says when a seedbed goes
//! dry, which on a hot day takes hours. That thin layer is our own extension of the method.

use super::crop_coefficient::climate_term;
use super::soil::SoilWater;
use crate::units::{
    CropCoefficient, Fraction, MetresPerSecond, Millimetres, MillimetresPerDay, MillimetresPerHour,
    PlantHeight, RelativeHumidity, SoilDepth,
};

/// Depth of the layer a seedbed's seed lies in, 0.01 m.
pub const SEED_LAYER: SoilDepth = SoilDepth::reckoned(0.01);
/// Depth of the layer FAO-56 keeps account of, 0.10 m (its Table 19).
pub const TOP_LAYER: SoilDepth = SoilDepth::reckoned(0.10);

impl MillimetresPerDay {
    /// The depth lost in a whole day; nought where dew fell.
    pub fn lost(self) -> Millimetres {
        Millimetres::reckoned(self.get().max(0.0))
    }
}

impl MillimetresPerHour {
    /// The depth lost in a whole hour; nought where dew fell.
    pub fn lost(self) -> Millimetres {
        Millimetres::reckoned(self.get().max(0.0))
    }
}

/// The most that crop and soil together can take, Kc max.
///
/// # Equation
///
/// ```text
/// Kc max = max(1.2 + (0.04 (u2 − 2) − 0.004 (RHmin − 45)) (h/3)^0.3,  Kcb + 0.05)
/// ```
///
/// # Source
///
/// FAO-56 (1998), eq. 72, within the limits of [`climate_adjusted`](super::climate_adjusted).
pub fn ceiling(
    basal: CropCoefficient,
    wind: MetresPerSecond,
    lowest_humidity: RelativeHumidity,
    height: PlantHeight,
) -> CropCoefficient {
    let by_climate = 1.2 + climate_term(wind, lowest_humidity, height);
    CropCoefficient::reckoned(by_climate.max(basal.get() + 0.05))
}

/// Share of the ground that leaves cover, fc, from the basal coefficient, where nobody has looked.
///
/// # Equation
///
/// ```text
/// fc = ((Kcb − Kc min) / (Kc max − Kc min))^(1 + 0.5 h),  Kc min = 0.15
/// ```
///
/// # Source
///
/// FAO-56 (1998), eq. 76; at most 0.99, as it says for eq. 75.
pub fn covered(basal: CropCoefficient, ceiling: CropCoefficient, height: PlantHeight) -> Fraction {
    const BARE: f64 = 0.15;
    let room = ceiling.get() - BARE;
    let share = if room > 0.0 { ((basal.get() - BARE) / room).clamp(0.0, 1.0) } else { 0.0 };
    Fraction::reckoned(libm::pow(share, 1.0 + 0.5 * height.get()).min(0.99))
}

/// How the ground was wetted last.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wetting {
    /// All of it: rain, sprinkler, rose of a can.
    All,
    /// A share, between the plants too: furrows, basins, watering by the row.
    Part(Fraction),
    /// A share, under the leaves for the greater part: drip.
    Drip(Fraction),
}

impl Wetting {
    /// Share of the ground that was wetted, fw.
    pub const fn share(self) -> Fraction {
        match self {
            Self::All => Fraction::WHOLE,
            Self::Part(share) | Self::Drip(share) => share,
        }
    }

    /// Share of the ground that is both wetted and in the sun, few.
    ///
    /// # Equation
    ///
    /// ```text
    /// few = min(1 − fc, fw);  drip: min(1 − fc, (1 − 0.67 fc) fw)
    /// ```
    ///
    /// # Source
    ///
    /// FAO-56 (1998), eq. 75 and the rule for drip behind it.
    pub fn exposed(self, covered: Fraction) -> Fraction {
        let wet = match self {
            Self::All | Self::Part(_) => self.share().get(),
            Self::Drip(share) => (1.0 - 0.67 * covered.get()) * share.get(),
        };
        Fraction::reckoned(wet.min(1.0 - covered.get()))
    }

    /// The depth an irrigation has where it falls, I/fw; none where it wets nothing.
    pub fn depth(self, over_the_bed: Millimetres) -> Millimetres {
        let share = self.share().get();
        Millimetres::reckoned(if share > 0.0 { over_the_bed.get() / share } else { 0.0 })
    }
}

/// Soil evaporation coefficient, Ke.
///
/// # Equation
///
/// ```text
/// Ke = min(Kr (Kc max − Kcb), few Kc max)
/// ```
///
/// # Source
///
/// FAO-56 (1998), eq. 71.
pub fn soil_coefficient(
    reduction: Fraction,
    ceiling: CropCoefficient,
    basal: CropCoefficient,
    exposed: Fraction,
) -> CropCoefficient {
    let left_by_crop = reduction.get() * (ceiling.get() - basal.get());
    CropCoefficient::reckoned(left_by_crop.min(exposed.get() * ceiling.get()))
}

/// What crop and soil use, (Kcb Ks + Ke) times the reference: FAO-56 (1998), eq. 80.
pub fn dual(
    basal: CropCoefficient,
    stress: Fraction,
    soil: CropCoefficient,
    reference: Millimetres,
) -> Millimetres {
    Millimetres::reckoned((basal.get() * stress.get() + soil.get()) * reference.get())
}

/// The layer at the top of wetted soil that the air dries.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EvaporableLayer {
    total: Millimetres,
    readily: Millimetres,
    depletion: Millimetres,
}

impl EvaporableLayer {
    /// A layer that can lose `total` (TEW), `readily` of it (REW) without a crust, and has lost `depletion` (De).
    /// Readily evaporable water and depletion are at most the total.
    pub fn new(total: Millimetres, readily: Millimetres, depletion: Millimetres) -> Self {
        let within = |depth: Millimetres| Millimetres::reckoned(depth.get().min(total.get()));
        Self { total, readily: within(readily), depletion: within(depletion) }
    }

    /// The wet layer of a soil to a depth. What is readily evaporable of [`TOP_LAYER`] is scaled to the depth,
    /// with a floor of 1 mm that any wet surface has (common practice).
    pub fn of_soil(soil: &SoilWater, readily_of_top_layer: Millimetres, depth: SoilDepth) -> Self {
        let scaled = readily_of_top_layer.get() * depth.get() / TOP_LAYER.get();
        Self::new(soil.evaporable(depth), Millimetres::reckoned(scaled.max(1.0)), Millimetres::reckoned(0.0))
    }

    /// All that it can lose, TEW.
    pub const fn total(&self) -> Millimetres {
        self.total
    }

    /// What it has lost, De.
    pub const fn depletion(&self) -> Millimetres {
        self.depletion
    }

    /// Evaporation reduction coefficient, Kr: one while the surface is wet.
    ///
    /// # Equation
    ///
    /// ```text
    /// Kr = (TEW − De) / (TEW − REW)   where De > REW, else 1
    /// ```
    ///
    /// # Source
    ///
    /// FAO-56 (1998), eq. 74.
    pub fn reduction(&self) -> Fraction {
        if self.depletion <= self.readily && self.depletion < self.total {
            return Fraction::WHOLE;
        }
        let left = self.total.get() - self.depletion.get();
        Fraction::reckoned(if left > 0.0 { left / (self.total.get() - self.readily.get()) } else { 0.0 })
    }

    /// After water of this depth where it fell, and what went deeper.
    ///
    /// # Source
    ///
    /// FAO-56 (1998), eq. 77 and 79, with the water early in the day.
    #[must_use]
    pub fn wetted(&self, water: Millimetres) -> (Self, Millimetres) {
        let deeper = Millimetres::reckoned((water.get() - self.depletion.get()).max(0.0));
        let depletion = Millimetres::reckoned((self.depletion.get() - water.get()).max(0.0));
        (Self { depletion, ..*self }, deeper)
    }

    /// After the air has asked for `coefficient` (Ke) times `reference`, all of it from the share `exposed` of the
    /// ground; and what was evaporated, as a depth over all the ground. It gives no more than it has, so
    /// that long steps and thin layers close their account.
    ///
    /// # Source
    ///
    /// FAO-56 (1998), eq. 77.
    #[must_use]
    pub fn dried(
        &self,
        coefficient: CropCoefficient,
        reference: Millimetres,
        exposed: Fraction,
    ) -> (Self, Millimetres) {
        if exposed.get() <= 0.0 {
            return (*self, Millimetres::reckoned(0.0));
        }
        let asked = coefficient.get() * reference.get() / exposed.get();
        let given = asked.min(self.total.get() - self.depletion.get());
        let depletion = Millimetres::reckoned(self.depletion.get() + given);
        (Self::new(self.total, self.readily, depletion), Millimetres::reckoned(given * exposed.get()))
    }

    /// How dry it is: nought when wet, one when the air has taken all it can.
    pub fn dryness(&self) -> Fraction {
        let known = self.total.get() > 0.0;
        Fraction::reckoned(if known { self.depletion.get() / self.total.get() } else { 1.0 })
    }

    /// Whether a seed layer wants water: half of what it can lose is gone (common practice).
    pub fn is_thirsty(&self) -> bool {
        self.dryness().get() >= 0.5
    }
}
