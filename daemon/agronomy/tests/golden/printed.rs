//! How exact a printed figure is.

/// The tables print ten digits: half of the last one is added to their tolerance.
pub(crate) fn printed(expected: f64, tolerance: f64) -> f64 {
    let digits = if expected == 0.0 { 0.0 } else { libm::floor(libm::log10(expected.abs())) + 1.0 };
    tolerance + 0.5 * libm::pow(10.0, digits - 10.0)
}
