//! One day as the heat rules look at it.

use super::course::{self, Slope};
use super::exposure::above;
use crate::degree_days::sine_share_above;
use crate::series::{COUNTS_IN_FULL_MS, MS_PER_HOUR};
use crate::units::Celsius;

/// A night counts when this much of it was measured, or half of it where it is short, h (common practice).
const NIGHT_COUNTS_MS: i64 = 6 * MS_PER_HOUR;

/// What is known of a temperature's course over a stretch of time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Curve<'a> {
    /// Nothing.
    #[default]
    Unknown,
    /// Its readings, joined by [`course`](super::course::course) and cut to the stretch.
    Read(&'a [Slope]),
    /// Its lowest and highest, read by hand: a sine runs between them, as in the single-sine method.
    Extremes {
        /// The lowest.
        low: Celsius,
        /// The highest.
        high: Celsius,
    },
}

impl Curve<'_> {
    /// Lowest and highest of what is known, °C.
    pub fn extremes(&self) -> Option<(f64, f64)> {
        match *self {
            Self::Unknown => None,
            Self::Read(slopes) => course::extremes(slopes),
            Self::Extremes { low, high } => Some((low.get(), high.get())),
        }
    }

    /// The mean over what is known, °C; half way between lowest and highest read by hand.
    pub fn mean(&self) -> Option<f64> {
        match *self {
            Self::Unknown => None,
            Self::Read(slopes) => course::mean(slopes),
            Self::Extremes { low, high } => Some(f64::midpoint(low.get(), high.get())),
        }
    }

    /// Hours of the day at or above a line, as far as is known, h; 24 h long when read by hand.
    pub fn hours_above(&self, line: Celsius) -> Option<f64> {
        match *self {
            Self::Unknown => None,
            Self::Read(slopes) => Some(above(slopes.iter().copied(), line).hours()),
            Self::Extremes { low, high } => Some(24.0 * sine_share_above(low.get(), high.get(), line.get())),
        }
    }

    /// Whether it was measured for 18 h of the day; lowest and highest read by hand speak for the whole.
    pub fn in_full(&self) -> bool {
        self.covers(COUNTS_IN_FULL_MS)
    }

    fn covers(&self, least_ms: i64) -> bool {
        match self {
            Self::Unknown => false,
            Self::Read(slopes) => course::known_ms(slopes) >= least_ms.max(1),
            Self::Extremes { .. } => true,
        }
    }
}

/// One day at one place: its air, the night that ended this morning, and its soil where a probe lies.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Day<'a> {
    /// Air over the 24 hours of standard time.
    pub air: Curve<'a>,
    /// Air from yesterday's sunset to this morning's sunrise.
    pub night: Curve<'a>,
    /// How long that night was, ms.
    pub night_ms: i64,
    /// Soil at the depth of seed or roots.
    pub soil: Curve<'a>,
    /// Soil 10 cm down.
    pub soil_10cm: Curve<'a>,
    /// The soil's surface.
    pub surface: Curve<'a>,
}

impl Day<'_> {
    /// Whether enough of the night was measured: six hours, or half of a short one.
    pub fn night_counts(&self) -> bool {
        self.night.covers(NIGHT_COUNTS_MS.min(self.night_ms / 2))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn celsius(value: f64) -> Celsius {
        Celsius::try_new(value).unwrap()
    }

    #[test]
    fn a_day_read_by_hand_has_the_hours_of_its_sine() {
        // By hand: half the day lies above the mean, a third above a quarter from the top: acos(0.5) = 60°.
        let day = Curve::Extremes { low: celsius(16.0), high: celsius(36.0) };
        assert!((day.hours_above(celsius(26.0)).unwrap() - 12.0).abs() < 1e-9);
        assert!((day.hours_above(celsius(31.0)).unwrap() - 8.0).abs() < 1e-9);
        assert_eq!(day.hours_above(celsius(36.5)), Some(0.0));
        assert_eq!(day.hours_above(celsius(15.0)), Some(24.0));
        assert_eq!((day.mean(), Curve::Unknown.mean()), (Some(26.0), None));
    }

    #[test]
    fn a_day_counts_from_18_hours_and_a_short_night_from_half() {
        let hours = |count: i64| [Slope { start_ms: 0, end_ms: count * MS_PER_HOUR, from: 20.0, to: 20.0 }];
        assert!(Curve::Read(&hours(18)).in_full() && !Curve::Read(&hours(17)).in_full());
        let four = hours(4);
        let night =
            |length: i64| Day { night: Curve::Read(&four), night_ms: length * MS_PER_HOUR, ..Day::default() };
        assert!(night(8).night_counts() && !night(9).night_counts());
        assert!(!Day { night_ms: 0, night: Curve::Read(&[]), ..Day::default() }.night_counts());
    }
}
