//! A forecast corrected to a place.
//!
//! By the hour of the day: the mean of what the last days missed at that hour, drawn towards the mean of all hours as
//! long as the days are few, since a few days' noon says less than their whole. For a house the miss is its own excess
//! over what was told for outside, and is taken the same way. By the day: the mean miss of the highest and the lowest,
//! and as the range the tenth to ninetieth of what is left, never less than 1.5 °C either way.
//!
//! # Source
//!
//! Removing a mean error by hour of day, and ranges from past errors, are common practice in site forecasts; the shrinkage
//! is that of a mean with a prior worth five days, and the least range that of AGRONOMY 3.6 ("floor ±1.5 °C"): practice.

use super::past::{DayHours, DayPair, Extremes, HOURS};
use crate::almanac::shape::quantile;

/// Days by which the hours of a day are drawn towards the mean of all.
const PRIOR_DAYS: f64 = 5.0;
/// Fewest days from which a place's own way is believed.
pub const FEWEST_DAYS: usize = 3;
/// Fewest days whose misses make a range.
const FEWEST_FOR_RANGE: usize = 8;
/// Least range, °C, either way.
const LEAST_C: f64 = 1.5;
/// Range while misses are too few, a day ahead, and what each further day adds, °C either way (common practice: a
/// forecast is off by 1.5 to 2 °C tomorrow, and for a yard by 2 to 4).
const UNKNOWN_C: (f64, f64) = (2.5, 0.5);

/// What is added to a forecast for a place, by the hour of the day.
#[derive(Clone, Debug, PartialEq)]
pub struct ByHour {
    add_c: [f64; HOURS],
    /// Standard deviation of what is left, °C.
    spread_c: [f64; HOURS],
}

impl ByHour {
    /// From the misses of the last days; `None` where fewer than three days have any.
    pub fn of(days: &[DayHours]) -> Option<Self> {
        let days: Vec<&DayHours> = days.iter().filter(|day| day.iter().any(Option::is_some)).collect();
        if days.len() < FEWEST_DAYS {
            return None;
        }
        let all: Vec<f64> = days.iter().flat_map(|day| day.iter().flatten()).copied().collect();
        let whole = mean(&all);
        let mut made = Self { add_c: [whole; HOURS], spread_c: [UNKNOWN_C.0; HOURS] };
        for hour in 0..HOURS {
            let misses: Vec<f64> = days.iter().filter_map(|day| day[hour]).collect();
            let count = misses.len() as f64;
            if misses.is_empty() {
                continue;
            }
            made.add_c[hour] = whole + (mean(&misses) - whole) * count / (count + PRIOR_DAYS);
            let squares = misses.iter().map(|miss| (miss - made.add_c[hour]) * (miss - made.add_c[hour]));
            // The prior's own spread stands in as long as the days are few.
            let prior = PRIOR_DAYS * UNKNOWN_C.0 * UNKNOWN_C.0;
            made.spread_c[hour] = libm::sqrt((squares.sum::<f64>() + prior) / (count + PRIOR_DAYS));
        }
        Some(made)
    }

    /// For outside while nothing is known of it: as told.
    pub fn as_told() -> Self {
        Self { add_c: [0.0; HOURS], spread_c: [UNKNOWN_C.0; HOURS] }
    }

    /// What is added and how far it strays at an hour of the day, 0 to 24 with its fraction, on the straight line from
    /// the middle of one hour to the next, °C.
    pub fn at(&self, hour_of_day: f64) -> (f64, f64) {
        let from_middle = (hour_of_day - 0.5).rem_euclid(HOURS as f64);
        let before = (from_middle as usize).min(HOURS - 1);
        let (after, share) = ((before + 1) % HOURS, from_middle - before as f64);
        let line = |of: &[f64; HOURS]| of[before] + (of[after] - of[before]) * share;
        (line(&self.add_c), line(&self.spread_c))
    }
}

/// A value of a day with its range, °C.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Ranged {
    /// Middle.
    pub middle_c: f64,
    /// Lower end: one day in ten is lower.
    pub from_c: f64,
    /// Upper end: one day in ten is higher.
    pub to_c: f64,
}

impl Ranged {
    /// A middle with as much either way.
    pub fn about(middle_c: f64, either_way_c: f64) -> Self {
        Self { middle_c, from_c: middle_c - either_way_c, to_c: middle_c + either_way_c }
    }
}

/// What is added to a day's highest or lowest, and how far it strays.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Value {
    /// °C, as the two after it.
    add: f64,
    below: f64,
    above: f64,
}

impl Value {
    fn of(misses: &[f64], lead: u32) -> Self {
        let add = if misses.len() < FEWEST_DAYS { 0.0 } else { mean(misses) };
        if misses.len() < FEWEST_FOR_RANGE {
            let unknown_c = UNKNOWN_C.0 + UNKNOWN_C.1 * f64::from(lead.max(1) - 1);
            return Self { add, below: unknown_c, above: unknown_c };
        }
        let mut left: Vec<f64> = misses.iter().map(|miss| miss - add).collect();
        left.sort_by(f64::total_cmp);
        Self {
            add,
            below: f64::max(-quantile(&left, 0.1), LEAST_C),
            above: f64::max(quantile(&left, 0.9), LEAST_C),
        }
    }

    fn of_told(self, told_c: f64) -> Ranged {
        let middle_c = told_c + self.add;
        Ranged { middle_c, from_c: middle_c - self.below, to_c: middle_c + self.above }
    }
}

/// What is made of a day's told highest and lowest at a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ByDay {
    high: Value,
    low: Value,
}

impl ByDay {
    /// From the days that were told so many days ahead.
    pub fn of(pairs: &[DayPair], lead: u32) -> Self {
        let of = |miss: fn(&DayPair) -> f64| Value::of(&pairs.iter().map(miss).collect::<Vec<_>>(), lead);
        Self {
            high: of(|pair| pair.came.high_c - pair.told.high_c),
            low: of(|pair| pair.came.low_c - pair.told.low_c),
        }
    }

    /// Highest and lowest of a day, corrected.
    pub fn of_told(&self, told: Extremes) -> (Ranged, Ranged) {
        (self.high.of_told(told.high_c), self.low.of_told(told.low_c))
    }
}

fn mean(values: &[f64]) -> f64 {
    if values.is_empty() { 0.0 } else { values.iter().sum::<f64>() / values.len() as f64 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pair(day: i64, told_c: f64, came_c: f64) -> DayPair {
        let day_of = |high_c: f64| Extremes { low_c: high_c - 12.0, high_c };
        DayPair { day, lead: 1, told: day_of(told_c), came: day_of(came_c) }
    }

    #[test]
    fn an_hour_that_always_misses_alike_is_put_right_more_with_every_day() {
        // By hand: hours miss by 1 °C, noon by 7: the mean of all is 1.25, and noon is drawn to it by 5 days.
        let mut day = [Some(1.0); HOURS];
        day[12] = Some(7.0);
        let of = |days: usize| ByHour::of(&vec![day; days]).unwrap();
        let whole = (23.0 + 7.0) / 24.0;
        for (days, share) in [(3, 3.0 / 8.0), (5, 0.5), (30, 30.0 / 35.0)] {
            let (add, spread) = of(days).at(12.5);
            assert!((add - (whole + (7.0 - whole) * share)).abs() < 1e-12, "{days} days: {add}");
            assert!(spread > 0.0 && spread < 5.0);
        }
        assert_eq!(ByHour::of(&[day; 2]), None);
        assert_eq!(ByHour::of(&vec![[None; HOURS]; 9]), None);
        assert_eq!(ByHour::as_told().at(3.0).0, 0.0);
    }

    #[test]
    fn between_the_middles_of_two_hours_the_correction_runs_on_a_line_also_over_midnight() {
        let mut day = [Some(0.0); HOURS];
        (day[23], day[0]) = (Some(8.0), Some(4.0));
        let made = ByHour::of(&vec![day; 1000]).unwrap();
        let at = |hour: f64| made.at(hour).0;
        assert!((at(0.0) - f64::midpoint(at(23.5), at(0.5))).abs() < 1e-9);
        assert!((at(24.0) - at(0.0)).abs() < 1e-9 && at(23.5) > at(0.5));
    }

    #[test]
    fn a_day_is_put_right_by_the_mean_miss_and_ranges_from_the_tenth_to_the_ninetieth_of_the_rest() {
        // Misses −5, −4 … 5 about a mean of 3: type 7 quantiles of eleven evenly spread values are −4 and 4.
        let pairs: Vec<_> = (0..11).map(|at| pair(at, 30.0, 30.0 + 3.0 + (at - 5) as f64)).collect();
        let (high, low) = ByDay::of(&pairs, 1).of_told(Extremes { low_c: 15.0, high_c: 35.0 });
        assert!((high.middle_c - 38.0).abs() < 1e-12 && (low.middle_c - 18.0).abs() < 1e-12);
        assert!((high.from_c - 34.0).abs() < 1e-12 && (high.to_c - 42.0).abs() < 1e-12, "{high:?}");
    }

    #[test]
    fn a_range_is_never_narrower_than_one_and_a_half_degrees_and_wide_while_nothing_is_known() {
        let exact: Vec<_> = (0..20).map(|at| pair(at, 30.0, 31.0)).collect();
        let told = Extremes { low_c: 15.0, high_c: 35.0 };
        let (high, _) = ByDay::of(&exact, 1).of_told(told);
        assert_eq!((high.from_c, high.middle_c, high.to_c), (34.5, 36.0, 37.5));
        let (unknown, _) = ByDay::of(&[], 1).of_told(told);
        assert_eq!((unknown.from_c, unknown.middle_c, unknown.to_c), (32.5, 35.0, 37.5));
        let (far, _) = ByDay::of(&[], 4).of_told(told);
        assert_eq!((far.from_c, far.to_c), (31.0, 39.0));
    }
}
