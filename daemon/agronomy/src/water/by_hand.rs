//! From millimetres to what a hand can do: litres for a plant, minutes of drip, cans and jugs.
//!
//! One millimetre on one square metre is one litre. The area is that of the ground the leaves shade, not that of
//! the pot. Some of what is poured misses the roots, more from a hose on dry peat than from an emitter; so more
//! must be given than the plant takes. Emitters age: ten minutes into a jug say what one really gives.

use crate::units::{Days, Fraction, Litres, LitresPerHour, MillimetresPerDay, Minutes, SquareMetres};

/// How water is given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Means {
    /// Emitters.
    Drip,
    /// A can on soil.
    Can,
    /// From overhead.
    Sprinkler,
    /// A hose on dry peat, which sheds it.
    HoseOnDryPeat,
}

impl Means {
    /// The share that reaches the roots (common practice).
    pub const fn efficiency(self) -> Fraction {
        Fraction::reckoned(match self {
            Self::Drip => 0.90,
            Self::Can => 0.80,
            Self::Sprinkler => 0.70,
            Self::HoseOnDryPeat => 0.60,
        })
    }
}

/// Water to give for a day, from what the crop uses and the ground it shades; nought where dew falls.
///
/// # Equation
///
/// ```text
/// L = ETc A / Ea
/// ```
///
/// # Source
///
/// By definition of the millimetre, and of application efficiency.
pub fn litres(crop_use: MillimetresPerDay, shaded: SquareMetres, means: Means) -> Litres {
    let used = crop_use.get().max(0.0) * shaded.get();
    Litres::reckoned(used / means.efficiency().get())
}

/// How evenly the emitters of a line give.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Line {
    /// New: 0.9 (common practice).
    New,
    /// Old: 0.75 (common practice).
    Old,
}

impl Line {
    /// Uniformity, 0 to 1.
    pub const fn uniformity(self) -> Fraction {
        Fraction::reckoned(match self {
            Self::New => 0.9,
            Self::Old => 0.75,
        })
    }
}

/// How long to let a line run; `None` without emitters or flow.
///
/// # Equation
///
/// ```text
/// t = 60 L / (n q) / uniformity
/// ```
pub fn drip_minutes(water: Litres, emitters: u32, each: LitresPerHour, line: Line) -> Option<Minutes> {
    let flow = f64::from(emitters) * each.get() * line.uniformity().get();
    (flow > 0.0).then(|| Minutes::reckoned(60.0 * water.get() / flow))
}

/// What an emitter gives, from what ten minutes brought into a jug.
pub fn measured_flow(in_ten_minutes: Litres) -> LitresPerHour {
    LitresPerHour::reckoned(6.0 * in_ten_minutes.get())
}

/// Whether an emitter is to be looked at: it gives more than a quarter off what it should (common practice).
pub fn is_off(measured: LitresPerHour, nominal: LitresPerHour) -> bool {
    (measured.get() - nominal.get()).abs() > 0.25 * nominal.get()
}

/// How many cans or jugs so many plants need, the last one perhaps not full; `None` for a vessel that holds
/// nothing.
pub fn vessels(per_plant: Litres, plants: u32, vessel: Litres) -> Option<u64> {
    // A hair over a whole number is rounding, not another walk to the butt.
    const HAIR: f64 = 1e-9;
    let needed = per_plant.get() * f64::from(plants) / vessel.get();
    (vessel.get() > 0.0).then(|| libm::ceil(needed - HAIR).max(0.0) as u64)
}

/// How long a water butt lasts; `None` where nothing is taken.
pub fn store_lasts(store: Litres, per_day: Litres) -> Option<Days> {
    (per_day.get() > 0.0).then(|| Days::reckoned(store.get() / per_day.get()))
}
