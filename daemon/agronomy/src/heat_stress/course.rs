//! The course of a temperature between its readings: straight lines, where hours past a line are wanted.
//!
//! Held steps would let a spike begin and end with a reading; a straight line between two neighbours crosses
//! a threshold where the air most likely did. The gap rule stays that of [`series`](crate::series): the line
//! runs only where one reading holds until the next, and past twice the usual interval nothing is known.
//! So the time known is the same, to the millisecond, as for every other figure of the day.

use std::ops::Range;

use crate::series::Held;

/// A straight piece of the course, from `start_ms` up to but not including `end_ms`; never empty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// When it begins, ms since 1970 UTC.
    pub start_ms: i64,
    /// When it ends, ms since 1970 UTC.
    pub end_ms: i64,
    /// The value at its beginning, °C.
    pub from: f64,
    /// The value it runs towards, °C.
    pub to: f64,
}

impl Slope {
    /// How long it lasts.
    pub const fn ms(&self) -> i64 {
        self.end_ms.saturating_sub(self.start_ms)
    }

    /// The value at a moment; that of the nearer end outside.
    pub fn at(&self, ms: i64) -> f64 {
        let gone = ms.clamp(self.start_ms, self.end_ms).saturating_sub(self.start_ms);
        let share = if self.ms() > 0 { gone as f64 / self.ms() as f64 } else { 0.0 };
        self.from * (1.0 - share) + self.to * share
    }

    /// The part of it that lies in a window; `None` where none does.
    pub fn within(&self, window: &Range<i64>) -> Option<Self> {
        let (start_ms, end_ms) = (self.start_ms.max(window.start), self.end_ms.min(window.end));
        (start_ms < end_ms).then(|| Self { start_ms, end_ms, from: self.at(start_ms), to: self.at(end_ms) })
    }
}

/// The course through values as [`hold`](crate::series::hold) gives them, in order and without overlap.
///
/// A value that holds until the next one begins runs to it in a straight line; one that is followed by a gap,
/// and the last, stays level. Values that are not finite are left out. Take the whole stretch first and cut
/// the day out of it with [`Slope::within`], so that a line over midnight counts on both days.
pub fn course(held: impl Iterator<Item = Held>) -> impl Iterator<Item = Slope> {
    let mut held = held.filter(|held| held.value.is_finite() && held.start_ms < held.end_ms).peekable();
    std::iter::from_fn(move || {
        let Held { start_ms, end_ms, value } = held.next()?;
        let next = held.peek().filter(|next| next.start_ms == end_ms);
        Some(Slope { start_ms, end_ms, from: value, to: next.map_or(value, |next| next.value) })
    })
}

/// How long anything was known, ms.
pub fn known_ms(course: &[Slope]) -> i64 {
    course.iter().fold(0_i64, |sum, slope| sum.saturating_add(slope.ms()))
}

/// The mean over known time; `None` where nothing is known.
pub fn mean(course: &[Slope]) -> Option<f64> {
    let known = known_ms(course);
    let sum: f64 = course.iter().map(|slope| f64::midpoint(slope.from, slope.to) * slope.ms() as f64).sum();
    (known > 0).then(|| sum / known as f64)
}

/// Lowest and highest; `None` where nothing is known.
pub fn extremes(course: &[Slope]) -> Option<(f64, f64)> {
    let mut ends = course.iter().flat_map(|slope| [slope.from, slope.to]);
    let first = ends.next()?;
    Some(ends.fold((first, first), |(low, high), value| (low.min(value), high.max(value))))
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn held(start_ms: i64, end_ms: i64, value: f64) -> Held {
        Held { start_ms, end_ms, value }
    }

    #[test]
    fn neighbours_are_joined_and_gaps_stay_gaps() {
        let readings = [
            held(0, 10, 20.0),
            held(10, 20, 30.0),
            held(30, 40, 26.0),
            held(40, 40, 9.0),
            held(40, 50, f64::NAN),
        ];
        let found: Vec<_> = course(readings.into_iter()).map(|it| (it.start_ms, it.from, it.to)).collect();
        assert_eq!(found, [(0, 20.0, 30.0), (10, 30.0, 30.0), (30, 26.0, 26.0)]);
    }

    #[test]
    fn a_piece_cut_in_two_meets_at_the_cut() {
        let slope = Slope { start_ms: 0, end_ms: 100, from: 20.0, to: 30.0 };
        let (left, right) = (slope.within(&(-5..25)).unwrap(), slope.within(&(25..500)).unwrap());
        assert_eq!((left.from, left.to, right.from, right.to), (20.0, 22.5, 22.5, 30.0));
        assert_eq!(slope.within(&(100..200)), None);
    }

    #[test]
    fn mean_and_extremes_are_those_worked_by_hand() {
        // Ten at a mean of 25, ten at 30.
        let readings = [held(0, 10, 20.0), held(10, 20, 30.0)];
        let slopes: Vec<_> = course(readings.into_iter()).collect();
        assert_eq!((mean(&slopes), extremes(&slopes)), (Some(27.5), Some((20.0, 30.0))));
        assert_eq!((mean(&[]), extremes(&[]), known_ms(&slopes)), (None, None, 20));
    }
}
