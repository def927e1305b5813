//! Evapotranspiration under cover.
//!
//! In a house the sun comes through the cover less a third or more, and the air hardly moves; the wind over the
//! field does not come in, and the reference of the open does not hold. Radiation drives it here, with a share
//! that grows with the dryness of the house's own air, until leaves close their pores. Three ways, from the
//! least known to the most: sun alone; sun and deficit, fitted to the crop; and the full balance of a leaf
//! canopy. Their coefficients differ from crop to crop: a figure of a day is good to about a third until it has
//! been laid beside a weighed pot or beside what was given less what drained.

use super::moisture::{psychrometric_constant, slope};
use crate::units::{
    AirPressure, Celsius, DailyRadiation, DrynessPull, Extinction, Fraction, Kilopascal, LeafArea,
    MillimetresPerDay, MillimetresPerHour, SecondsPerMetre, WattsPerSquareMetre,
};

/// Heat that evaporates a kilogram of water \[MJ/kg\] (FAO-56, Annex 3).
const LATENT_HEAT: f64 = 2.45;
/// Leaves close further in air drier than this; a deficit above it counts as this \[kPa\] (from memory; the
/// measured crops differ).
const PORES_CLOSE: f64 = 2.5;

impl WattsPerSquareMetre {
    /// The water that so much heat evaporates in an hour.
    pub fn evaporates(self) -> MillimetresPerHour {
        MillimetresPerHour::reckoned(self.get() * 3600.0 / (LATENT_HEAT * 1e6))
    }
}

/// Evapotranspiration under a cover from the sun alone, where no humidity is known.
///
/// # Equation
///
/// ```text
/// ETc = a τ Rs fc / 2.45
/// ```
///
/// | symbol | meaning                                                            |
/// |--------|--------------------------------------------------------------------|
/// | a      | `share`: how much of the sun inside lifts water at full canopy, 0.55 to 0.70 |
/// | τ      | `transmission` of the cover; shade over it: [`under_shade`]         |
/// | Rs     | `solar`: radiation of the day outside                              |
/// | fc     | `covered`: the ground that leaves cover                            |
///
/// # Source
///
/// The energy balance of a canopy without wind; the share a from memory.
pub fn from_sun(
    solar: DailyRadiation,
    transmission: Fraction,
    covered: Fraction,
    share: Fraction,
) -> MillimetresPerDay {
    let inside = transmission.get() * solar.get().max(0.0);
    MillimetresPerDay::reckoned(share.get() * inside * covered.get() / LATENT_HEAT)
}

/// The share of the sun that lifts water at full canopy, where nobody has measured it: the middle of 0.55 to 0.70
/// (from memory).
pub const USUAL_SHARE: Fraction = Fraction::reckoned(0.625);

/// What is left of [`from_sun`] at [`USUAL_SHARE`] under shade that lets through the share `lets` of the sun.
///
/// Shade takes from the sun's part alone: dry air goes on drawing water from a shaded leaf, and in a heat wave that
/// is some four tenths of the whole. Half the sun leaves seven tenths of the water, not half of it. Shade cools
/// the house a little too, which is not counted: that errs towards more water.
///
/// # Equation
///
/// ```text
/// left = 1 − s (1 − lets),    s = A (1 − e^(−k LAI)) / a
/// ```
///
/// s is the sun's part of the whole: by [`Fitted::UNFITTED`] at a leaf area of 2.5, the middle of 1.5 to 3.5 in a house.
///
/// # Source
///
/// FAO-56 (1998), eq. 3: the aerodynamic term holds no radiation. The parts after Baille, Baille & Laury (1994), as
/// with [`Fitted::latent_heat`].
pub fn under_shade(lets: Fraction) -> Fraction {
    let Fitted { sun, extinction, .. } = Fitted::UNFITTED;
    let by_sun = sun.get() * (1.0 - libm::exp(-extinction.get() * SHADED_LEAF)) / USUAL_SHARE.get();
    Fraction::reckoned(1.0 - by_sun * (1.0 - lets.get()))
}

/// Leaf area of a full canopy in a house, m² over each m² of ground: the middle of 1.5 to 3.5 (common practice).
const SHADED_LEAF: f64 = 2.5;

/// Coefficients of the model of sun and deficit, for one crop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitted {
    /// A: the share of the sun inside that a closed canopy turns to vapour.
    pub sun: Fraction,
    /// k: how fast light is lost on its way down through the leaves.
    pub extinction: Extinction,
    /// B by day.
    pub by_day: DrynessPull,
    /// B by night.
    pub by_night: DrynessPull,
    /// Whether the coefficients were fitted on this crop up to its driest air: the deficit is not capped then.
    pub to_the_driest: bool,
}

impl Fitted {
    /// Where nothing has been fitted: A 0.45, k 0.64, B 18 by day and 5 by night, each within the range published
    /// for greenhouse crops (A 0.3 to 0.6, k 0.6 to 0.7, B 8 to 25 and 3 to 8; ranges from memory).
    pub const UNFITTED: Self = Self {
        sun: Fraction::reckoned(0.45),
        extinction: Extinction::reckoned(0.64),
        by_day: DrynessPull::reckoned(18.0),
        by_night: DrynessPull::reckoned(5.0),
        to_the_driest: false,
    };

    /// Heat that the canopy turns to vapour.
    ///
    /// # Equation
    ///
    /// ```text
    /// λE = A (1 − e^(−k LAI)) G + B LAI D
    /// ```
    ///
    /// G is the sun inside, D the deficit of the house's air, at most 2.5 kPa unless fitted beyond.
    ///
    /// # Source
    ///
    /// Baille, Baille & Laury (1994), Scientia Horticulturae 59, 217-232; equation from memory.
    pub fn latent_heat(
        &self,
        sun_inside: WattsPerSquareMetre,
        leaf: LeafArea,
        deficit: Kilopascal,
    ) -> WattsPerSquareMetre {
        let sun = sun_inside.get().max(0.0);
        let driest = if self.to_the_driest { f64::MAX } else { PORES_CLOSE };
        let pull = if sun > 0.0 { self.by_day } else { self.by_night };
        let caught = 1.0 - libm::exp(-self.extinction.get() * leaf.get());
        let by_air = pull.get() * leaf.get() * deficit.get().clamp(0.0, driest);
        WattsPerSquareMetre::reckoned(self.sun.get() * caught * sun + by_air)
    }
}

/// A canopy and the air in it, for the full balance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Canopy {
    /// Temperature of the air.
    pub air: Celsius,
    /// Its deficit.
    pub deficit: Kilopascal,
    /// Its pressure.
    pub pressure: AirPressure,
    /// Net radiation of the canopy.
    pub net: WattsPerSquareMetre,
    /// Leaf area.
    pub leaf: LeafArea,
    /// Resistance of the air around a leaf: 150 to 400 s/m in a house (from memory).
    pub around_leaf: SecondsPerMetre,
    /// Resistance of the leaf's pores; [`pores`] where it is not known.
    pub pores: SecondsPerMetre,
}

/// Resistance of the pores of leaves in light: 80 to 150 s/m at best (`least`), rising by 0.6 of that for every
/// kPa of deficit above 0.8.
///
/// # Source
///
/// After Stanghellini (1987); figures from memory.
pub fn pores(least: SecondsPerMetre, deficit: Kilopascal) -> SecondsPerMetre {
    SecondsPerMetre::reckoned(least.get() * (1.0 + 0.6 * (deficit.get() - 0.8).max(0.0)))
}

impl Canopy {
    /// Heat that the canopy turns to vapour.
    ///
    /// # Equation
    ///
    /// ```text
    ///      Δ Rn + 2 LAI ρ cp D / ra
    /// λE = ------------------------
    ///          Δ + γ (1 + rc/ra)
    /// ```
    ///
    /// | symbol | meaning                                      |
    /// |--------|----------------------------------------------|
    /// | ρ cp   | heat held by air: 1010 J/kg · 3.486 P/T kg/m³ |
    /// | ra, rc | resistance of the air and of the pores        |
    ///
    /// Never below nought: dew is another matter.
    ///
    /// # Source
    ///
    /// Stanghellini (1987), Transpiration of greenhouse crops; form from memory. With a leaf area of one half it
    /// is the equation of Penman and Monteith (FAO-56, eq. 3), against which it is checked.
    pub fn latent_heat(&self) -> WattsPerSquareMetre {
        let (slope, psychrometric) = (slope(self.air).get(), psychrometric_constant(self.pressure).get());
        let density = 3.486 * self.pressure.get() / (self.air.get() + 273.15);
        let by_air =
            2.0 * self.leaf.get() * density * 1010.0 * self.deficit.get().max(0.0) / self.around_leaf.get();
        let resistance = 1.0 + self.pores.get() / self.around_leaf.get();
        let heat = (slope * self.net.get() + by_air) / (slope + psychrometric * resistance);
        WattsPerSquareMetre::reckoned(heat.max(0.0))
    }
}

/// Why a day's figure for a house is not to be believed.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("{reckoned:.1} is more than the sun under this cover can lift, {most:.1}")]
pub struct Implausible {
    /// The figure.
    pub reckoned: MillimetresPerDay,
    /// The most that can be.
    pub most: MillimetresPerDay,
}

/// Lets a day's figure through that can be. A full canopy in a house uses 0.5 to 7.7 mm a day (common practice).
///
/// # Errors
///
/// [`Implausible`] where it is over 1.3 times what all the sun inside would evaporate: then a sensor or a
/// coefficient is wrong.
///
/// # Source
///
/// The energy balance; the 1.3 leaves room for the warmth of dry air (common practice).
pub fn plausible(
    reckoned: MillimetresPerDay,
    solar: DailyRadiation,
    transmission: Fraction,
) -> Result<MillimetresPerDay, Implausible> {
    let lifted = transmission.get() * solar.get().max(0.0) / LATENT_HEAT;
    let most = MillimetresPerDay::reckoned(1.3 * lifted);
    if reckoned > most { Err(Implausible { reckoned, most }) } else { Ok(reckoned) }
}
