//! Time and degree hours past a line.

use super::course::Slope;
use crate::series::MS_PER_HOUR;
use crate::units::{Celsius, DegreeHours};

/// How long and how far the course was past a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Exposure {
    /// How long, ms.
    pub ms: i64,
    /// The area between course and line.
    pub degree_hours: DegreeHours,
}

impl Exposure {
    /// How long, h.
    pub fn hours(&self) -> f64 {
        self.ms as f64 / MS_PER_HOUR as f64
    }
}

/// How long and how far a course was at or above a line.
///
/// # Equation
///
/// ```text
/// H = Σ Δt [T ≥ θ]        DH = Σ Δt max(0, T − θ)
/// ```
///
/// over straight pieces, so that a line is crossed between two readings in proportion.
///
/// # Errors
///
/// None: a piece that is not finite counts nothing.
///
/// # Source
///
/// The definition; common practice in trials of heat stress. Checked against closed forms in
/// `tests/heat_stress.rs`.
pub fn above(course: impl Iterator<Item = Slope>, line: Celsius) -> Exposure {
    gather(course, line.get(), 1.0)
}

/// How long and how far a course was below a line; at the line itself it is not below.
///
/// # Equation
///
/// As for [`above`], with T < θ and θ − T.
///
/// # Errors
///
/// None: a piece that is not finite counts nothing.
///
/// # Source
///
/// See [`above`].
pub fn below(course: impl Iterator<Item = Slope>, line: Celsius) -> Exposure {
    // A level piece exactly on the line lies above it by definition, so it is left out here.
    let level_on_line = |slope: &Slope| slope.from == line.get() && slope.to == line.get();
    gather(course.filter(move |slope| !level_on_line(slope)), line.get(), -1.0)
}

fn gather(course: impl Iterator<Item = Slope>, line: f64, sign: f64) -> Exposure {
    let (mut ms, mut degree_ms) = (0.0, 0.0);
    for slope in course {
        let (from, to) = (sign * (slope.from - line), sign * (slope.to - line));
        if !from.is_finite() || !to.is_finite() || slope.ms() <= 0 {
            continue;
        }
        let (low, high) = (from.min(to), from.max(to));
        if high < 0.0 {
            continue;
        }
        let length = slope.ms() as f64;
        if low >= 0.0 {
            ms += length;
            degree_ms += length * f64::midpoint(low, high);
        } else {
            let past = length * (high / (high - low));
            ms += past;
            degree_ms += past * high / 2.0;
        }
    }
    Exposure {
        ms: libm::round(ms) as i64,
        degree_hours: DegreeHours::reckoned(degree_ms / MS_PER_HOUR as f64),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR: i64 = MS_PER_HOUR;

    fn slope(hours: i64, from: f64, to: f64) -> impl Iterator<Item = Slope> {
        std::iter::once(Slope { start_ms: 0, end_ms: hours * HOUR, from, to })
    }

    fn line(celsius: f64) -> Celsius {
        Celsius::try_new(celsius).unwrap()
    }

    #[test]
    fn a_line_is_crossed_in_proportion() {
        // By hand: 30 to 40 in 4 h crosses 35 half way: 2 h, and a triangle of 2 h by 5 °C.
        for rising in [slope(4, 30.0, 40.0), slope(4, 40.0, 30.0)] {
            let found = above(rising, line(35.0));
            assert_eq!((found.hours(), found.degree_hours.get()), (2.0, 5.0));
        }
        let found = below(slope(4, 30.0, 40.0), line(32.5));
        assert_eq!((found.hours(), found.degree_hours.get()), (1.0, 1.25));
    }

    #[test]
    fn level_on_the_line_is_above_and_not_below() {
        assert_eq!(above(slope(3, 35.0, 35.0), line(35.0)).hours(), 3.0);
        assert_eq!(below(slope(3, 35.0, 35.0), line(35.0)).hours(), 0.0);
    }

    #[test]
    fn what_is_no_number_counts_nothing() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let found = above(slope(3, bad, 36.0), line(35.0));
            assert_eq!((found.ms, found.degree_hours.get()), (0, 0.0));
        }
    }
}
