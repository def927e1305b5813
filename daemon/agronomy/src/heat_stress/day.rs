//! One day as the heat rules look at it.

use super::course::{self, Slope};
use super::exposure::above;
use crate::degree_days::sine_above;
use crate::series::{COUNTS_IN_FULL_MS, MS_PER_HOUR};
use crate::units::{Celsius, DegreeHours};

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
            Self::Extremes { low, high } => Some(24.0 * sine_above(low.get(), high.get(), line.get()).share),
        }
    }

    /// Whether it was measured for 18 h of the day; lowest and highest read by hand speak for the whole.
    pub fn in_full(&self) -> bool {
        self.covers(COUNTS_IN_FULL_MS)
    }

    /// Degree hours of the day above a line, as far as is known.
    pub fn degree_hours_above(&self, line: Celsius) -> Option<DegreeHours> {
        match *self {
            Self::Unknown => None,
            Self::Read(slopes) => Some(above(slopes.iter().copied(), line).degree_hours),
            Self::Extremes { low, high } => {
                Some(DegreeHours::reckoned(24.0 * sine_above(low.get(), high.get(), line.get()).area))
            }
        }
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

/// How warm a night was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NightWarmth {
    /// The lowest of the night, °C.
    pub lowest: f64,
    /// Hours of the night at or above the line, h; `None` for a night read by hand.
    pub hours_above: Option<f64>,
}

impl Day<'_> {
    /// How warm the night that ended this morning was, by a line such as the crop's
    /// [`night_line`](crate::crop::night_line); `None` where too little of it was measured.
    pub fn night_warmth(&self, line: Celsius) -> Option<NightWarmth> {
        let (lowest, _) = self.night.extremes().filter(|_| self.night_counts())?;
        // The sine of a day read by hand has no night in it.
        let hours_above = match self.night {
            Curve::Read(_) => self.night.hours_above(line),
            Curve::Unknown | Curve::Extremes { .. } => None,
        };
        Some(NightWarmth { lowest, hours_above })
    }

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
    fn a_warm_night_has_its_lowest_and_its_hours() {
        // By hand: from 25 to 20 in 8 h, at or above 23 for the first 2 / 5 of it.
        let night = [Slope { start_ms: 0, end_ms: 8 * MS_PER_HOUR, from: 25.0, to: 20.0 }];
        let read = Day { night: Curve::Read(&night), night_ms: 9 * MS_PER_HOUR, ..Day::default() };
        let warmth = read.night_warmth(celsius(23.0)).unwrap();
        assert_eq!((warmth.lowest, warmth.hours_above), (20.0, Some(3.2)));
        let hand = Curve::Extremes { low: celsius(21.0), high: celsius(33.0) };
        let by_hand = Day { night: hand, ..Day::default() }.night_warmth(celsius(20.0));
        assert_eq!(by_hand, Some(NightWarmth { lowest: 21.0, hours_above: None }));
        assert_eq!(Day::default().night_warmth(celsius(20.0)), None);
    }

    #[test]
    fn a_day_read_by_hand_has_the_degree_hours_of_the_single_sine() {
        // degree_days_synthetic.csv checks the area; a day wholly above the line is 24 times its mean excess.
        let day = Curve::Extremes { low: celsius(16.0), high: celsius(36.0) };
        assert_eq!(day.degree_hours_above(celsius(10.0)).unwrap().get(), 24.0 * 16.0);
        // Above its mean a sine leaves half its swing over π: 10 / π for 24 h.
        let above_mean = day.degree_hours_above(celsius(26.0)).unwrap().get();
        assert!((above_mean - 240.0 / std::f64::consts::PI).abs() < 1e-9);
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
