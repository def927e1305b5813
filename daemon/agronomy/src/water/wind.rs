//! Wind at the height the equations want it.
//!
//! Wind is slowed by the ground: at ten metres, where weather stations measure it, it is a third stronger than
//! at two, where the equations of evapotranspiration take it. Over short grass the profile is a logarithm; in
//! a garden between hedges and walls it is weaker than any station says.

use crate::units::{GaugeHeight, MetresPerSecond};

/// Wind to reckon with in the open where nobody measures it, 2 m/s at 2 m: FAO-56, chapter 4, the mean of
/// over two thousand stations.
pub const OPEN: MetresPerSecond = MetresPerSecond::reckoned(2.0);

/// Wind at 2 m over short grass, from wind at another height.
///
/// # Equation
///
/// ```text
/// u2 = uz · 4.87 / ln(67.8 z − 5.42)
/// ```
///
/// # Domain
///
/// Height from 0.5 m, below which the logarithm has no meaning. At 2 m itself the factor is 1.0002, as the
/// equation is printed.
///
/// # Source
///
/// FAO-56 (1998), eq. 47.
pub fn at_two_metres(speed: MetresPerSecond, height: GaugeHeight) -> MetresPerSecond {
    MetresPerSecond::reckoned(speed.get() * factor(height))
}

/// What wind at a height is multiplied by to have it at 2 m (FAO-56, Table 2.9).
pub fn factor(height: GaugeHeight) -> f64 {
    4.87 / libm::log(67.8 * height.get() - 5.42)
}
