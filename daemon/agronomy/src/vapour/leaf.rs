//! What the air asks of a leaf whose temperature nobody measured.

use super::leaf_deficit;
use crate::units::{Celsius, Kilopascal, RelativeHumidity};

/// What is known of a leaf without a thermometer on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeafKind {
    /// Nothing: 2 °C below the air to 3 °C above it.
    Any,
    /// Watered and shaded, it cools itself: 1 to 2 °C below the air.
    WateredInShade,
    /// Short of water or in full sun: 2 to 5 °C above the air.
    DryOrInSun,
}

impl LeafKind {
    /// Leaf less air, °C: the coolest and the warmest to expect (common practice).
    const fn offsets(self) -> (f64, f64) {
        match self {
            Self::Any => (-2.0, 3.0),
            Self::WateredInShade => (-2.0, -1.0),
            Self::DryOrInSun => (2.0, 5.0),
        }
    }
}

/// The least and the greatest deficit from leaf to air \[kPa\] to expect for such a leaf.
///
/// # Equation
///
/// [`leaf_deficit`] at the air temperature plus the two offsets of [`LeafKind`].
///
/// # Domain
///
/// All of the argument types; a leaf outside [`Celsius`] is held to its edge.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// FAO-56 (1998), eq. 10 and 11; the offsets are common practice.
pub fn leaf_deficit_span(
    air: Celsius,
    humidity: RelativeHumidity,
    leaf: LeafKind,
) -> (Kilopascal, Kilopascal) {
    let (coolest, warmest) = leaf.offsets();
    let at = |offset| leaf_deficit(air, humidity, Celsius::reckoned(air.get() + offset));
    (at(coolest), at(warmest))
}
