//! Saturation pressure by multiplication and addition alone, for millions of readings.
//!
//! The equation of FAO-56 asks for an exponential and a division at every reading, and both are slow beside
//! everything else that is done with one. But its eighth root is nearly a straight line: from −90 to 100 °C it
//! climbs from 0.25 to 1.78. A polynomial of eleventh degree follows that line, and three squarings bring the
//! pressure back. What remains of error is a ten-thousandth of what any probe can tell.
//!
//! Nothing but IEEE 754 multiplication and addition in a written order is used, so every machine gives the same
//! bits, and a compiler may take several readings at once.

use crate::units::{Celsius, Kilopascal};

/// The polynomial's greatest distance from FAO-56 eq. 11 anywhere from −90 to 100 °C, kPa; `tests/day_sums.rs`
/// walks the whole range. As a share of the pressure it is never more than this number either.
pub const WORST_ERROR_KPA: f64 = 5e-8;

/// The middle of [`Celsius`], about which the polynomial is written.
const MIDDLE: f64 = 5.0;

/// Coefficients of (T − 5 °C)⁰ to (T − 5 °C)¹¹.
///
/// The one polynomial of eleventh degree that meets the eighth root of FAO-56 eq. 11 at the twelve Chebyshev points
/// T = 5 + 95 cos((2k + 1) π / 24): solved with 60 digits, then rounded. `tests/day_sums.rs` checks the twelve meetings.
const COEFFICIENTS: [f64; 12] = [
    0.9830688068562458,
    0.008577824905060117,
    2.0214906827948387e-06,
    -5.394664684799664e-08,
    1.9906741944893602e-10,
    -4.1576142162420226e-13,
    -3.4938835530631655e-18,
    5.063710839409206e-18,
    -3.138371719394261e-20,
    1.357272211416515e-22,
    -4.252358165689682e-25,
    6.843759315216394e-28,
];

/// Saturation vapour pressure over water \[kPa\], as [`saturation_pressure`](super::saturation_pressure) within
/// [`WORST_ERROR_KPA`].
///
/// # Equation
///
/// ```text
/// e° = (c₀ + c₁ (T − 5) + … + c₁₁ (T − 5)¹¹)⁸
/// ```
///
/// # Domain
///
/// All of [`Celsius`]. It rises with temperature throughout, as the equation does.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// FAO-56 (1998), eq. 11; the polynomial is ours.
///
/// # Example
///
/// ```
/// use agronomy::units::{Celsius, OutOfRange};
/// use agronomy::vapour::polynomial;
///
/// // FAO-56, Table 2.3: 2.338 kPa at 20 °C.
/// assert_eq!(format!("{:.3}", polynomial::saturation_pressure(Celsius::try_new(20.0)?)), "2.338 kPa");
/// # Ok::<(), OutOfRange>(())
/// ```
pub fn saturation_pressure(temperature: Celsius) -> Kilopascal {
    Kilopascal::reckoned(saturation(temperature.get()))
}

/// The same on bare numbers; NaN gives NaN.
#[inline]
pub(crate) fn saturation(t: f64) -> f64 {
    let beyond = t - MIDDLE;
    let [lower @ .., highest] = COEFFICIENTS;
    let mut root = highest;
    for coefficient in lower.into_iter().rev() {
        root = root * beyond + coefficient;
    }
    let squared = root * root;
    let fourth = squared * squared;
    fourth * fourth
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_machine_gives_these_bits() {
        // The same multiplications and additions done by another language's IEEE doubles (Python floats).
        for (t, bits) in [
            (-90.0, 0x3ef0be642ef05442),
            (-40.0, 0x3f92dd0227e56767),
            (-20.0, 0x3fbfe709c4d1cb8f),
            (-10.0, 0x3fd24916b79214b0),
            (0.0, 0x3fe38bac701f55ad),
            (5.0, 0x3febe9f8ab5de05b),
            (10.0, 0x3ff3a5bc20ee4af7),
            (17.5, 0x3ffffff2579e12b0),
            (20.0, 0x4002b4cccfd64c3b),
            (25.0, 0x4009579bd8c172c0),
            (32.0, 0x401304e3d7efec06),
            (35.25, 0x4016cda927891500),
            (48.5, 0x4026e4ce05fcf41d),
            (60.0, 0x4033eee0df5d6871),
            (100.0, 0x40598dce4c64365e_u64),
        ] {
            assert_eq!(saturation(t).to_bits(), bits, "{t} °C");
        }
    }

    #[test]
    fn what_is_no_number_stays_none() {
        assert!(saturation(f64::NAN).is_nan());
    }
}
