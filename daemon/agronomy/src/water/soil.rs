//! How much water soil holds, and how much of it roots or air can take.
//!
//! Soaked soil drains for a day or two to its *field capacity*; roots dry it to the *wilting point* and no
//! further. What lies between, over the depth of the roots, is all there is. Clay holds more than sand, but
//! more of it is held too tightly. The air, working from above, dries the top few centimetres half way beyond
//! the wilting point.

use crate::crop;
use crate::units::{Fraction, Millimetres, OutOfRange, SoilDepth};

/// What soil holds, as shares of its volume.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SoilWater {
    field_capacity: Fraction,
    wilting_point: Fraction,
}

/// Figures that are no soil's.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NoSoil {
    /// It would wilt plants while it drains.
    #[error("wilting point {wilting_point} must lie below field capacity {field_capacity}")]
    Reversed {
        /// Field capacity given.
        field_capacity: Fraction,
        /// Wilting point given.
        wilting_point: Fraction,
    },
    /// The book does not have field capacity and wilting point for it, as for a potting mix.
    #[error("no field capacity and wilting point are known for this soil")]
    Unknown,
    /// A figure is no share.
    #[error(transparent)]
    Figure(#[from] OutOfRange),
}

impl SoilWater {
    /// Takes the water held at field capacity and at the wilting point, m³/m³.
    ///
    /// # Errors
    ///
    /// [`NoSoil::Reversed`] unless the wilting point lies below field capacity.
    pub fn try_new(field_capacity: Fraction, wilting_point: Fraction) -> Result<Self, NoSoil> {
        if wilting_point < field_capacity {
            Ok(Self { field_capacity, wilting_point })
        } else {
            Err(NoSoil::Reversed { field_capacity, wilting_point })
        }
    }

    /// The soil of the crop book, at the middle of its ranges.
    ///
    /// # Errors
    ///
    /// [`NoSoil`]: the book has no such figures for it, or they are none.
    pub fn of_book(soil: &crop::Soil) -> Result<Self, NoSoil> {
        let (Some(capacity), Some(wilting)) = (soil.field_capacity, soil.wilting_point) else {
            return Err(NoSoil::Unknown);
        };
        let middle = |[low, high]: [f64; 2]| Fraction::try_new(f64::midpoint(low, high));
        Self::try_new(middle(capacity)?, middle(wilting)?)
    }

    /// Total available water to a depth, TAW: what roots that reach it can take.
    ///
    /// # Equation
    ///
    /// ```text
    /// TAW = 1000 (θfc − θwp) Zr
    /// ```
    ///
    /// # Source
    ///
    /// FAO-56 (1998), eq. 82.
    pub fn available(&self, roots: SoilDepth) -> Millimetres {
        self.held(1.0, roots)
    }

    /// Total evaporable water of the top layer, TEW: what the air can take.
    ///
    /// # Equation
    ///
    /// ```text
    /// TEW = 1000 (θfc − 0.5 θwp) Ze
    /// ```
    ///
    /// # Source
    ///
    /// FAO-56 (1998), eq. 73, for layers of 0.10 to 0.15 m. For the top centimetre of a seedbed it is our own
    /// extension of the method.
    pub fn evaporable(&self, layer: SoilDepth) -> Millimetres {
        self.held(0.5, layer)
    }

    fn held(&self, of_wilting: f64, depth: SoilDepth) -> Millimetres {
        let share = self.field_capacity.get() - of_wilting * self.wilting_point.get();
        Millimetres::reckoned(1000.0 * share * depth.get())
    }
}

/// Soils by the feel of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Texture {
    /// Runs through the fingers.
    Sand,
    /// Sand that stains.
    LoamySand,
    /// Forms a ball that breaks at a touch.
    SandyLoam,
    /// Forms a ball that can be handled.
    Loam,
    /// Feels like flour.
    SiltLoam,
    /// Feels like soap.
    Silt,
    /// Rolls into a short ribbon, smooth.
    SiltClayLoam,
    /// Rolls into a long ribbon, smooth.
    SiltyClay,
    /// Rolls into a long ribbon, and shines.
    Clay,
}

/// A row of FAO-56, Table 19: lowest and highest of field capacity, wilting point \[m³/m³\], and of readily and
/// totally evaporable water of the top 0.10 m \[mm\].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TextureWater {
    /// Field capacity \[m³/m³\].
    pub field_capacity: [f64; 2],
    /// Wilting point \[m³/m³\].
    pub wilting_point: [f64; 2],
    /// Readily evaporable water \[mm\].
    pub readily_evaporable: [f64; 2],
    /// Totally evaporable water \[mm\].
    pub evaporable: [f64; 2],
}

impl Texture {
    /// All of them, from the lightest to the heaviest.
    pub const ALL: [Self; 9] = [
        Self::Sand,
        Self::LoamySand,
        Self::SandyLoam,
        Self::Loam,
        Self::SiltLoam,
        Self::Silt,
        Self::SiltClayLoam,
        Self::SiltyClay,
        Self::Clay,
    ];

    /// The name in the table.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Sand => "Sand",
            Self::LoamySand => "Loamy sand",
            Self::SandyLoam => "Sandy loam",
            Self::Loam => "Loam",
            Self::SiltLoam => "Silt loam",
            Self::Silt => "Silt",
            Self::SiltClayLoam => "Silt clay loam",
            Self::SiltyClay => "Silty clay",
            Self::Clay => "Clay",
        }
    }

    /// What such soils hold, from the lightest to the heaviest of the kind.
    ///
    /// # Source
    ///
    /// FAO-56 (1998), Table 19.
    pub const fn water(self) -> TextureWater {
        let (field_capacity, wilting_point, readily_evaporable, evaporable) = match self {
            Self::Sand => ([0.07, 0.17], [0.02, 0.07], [2.0, 7.0], [6.0, 12.0]),
            Self::LoamySand => ([0.11, 0.19], [0.03, 0.10], [4.0, 8.0], [9.0, 14.0]),
            Self::SandyLoam => ([0.18, 0.28], [0.06, 0.16], [6.0, 10.0], [15.0, 20.0]),
            Self::Loam => ([0.20, 0.30], [0.07, 0.17], [8.0, 10.0], [16.0, 22.0]),
            Self::SiltLoam => ([0.22, 0.36], [0.09, 0.21], [8.0, 11.0], [18.0, 25.0]),
            Self::Silt => ([0.28, 0.36], [0.12, 0.22], [8.0, 11.0], [22.0, 26.0]),
            Self::SiltClayLoam => ([0.30, 0.37], [0.17, 0.24], [8.0, 11.0], [22.0, 27.0]),
            Self::SiltyClay => ([0.30, 0.42], [0.17, 0.29], [8.0, 12.0], [22.0, 28.0]),
            Self::Clay => ([0.32, 0.40], [0.20, 0.24], [8.0, 12.0], [22.0, 29.0]),
        };
        TextureWater { field_capacity, wilting_point, readily_evaporable, evaporable }
    }

    /// Soil of this texture, at the middle of its ranges.
    pub fn soil(self) -> SoilWater {
        let water = self.water();
        let middle = |[low, high]: [f64; 2]| Fraction::reckoned(f64::midpoint(low, high));
        SoilWater { field_capacity: middle(water.field_capacity), wilting_point: middle(water.wilting_point) }
    }

    /// Readily evaporable water of its top 0.10 m, at the middle of the range.
    pub fn readily_evaporable(self) -> Millimetres {
        let [low, high] = self.water().readily_evaporable;
        Millimetres::reckoned(f64::midpoint(low, high))
    }
}
