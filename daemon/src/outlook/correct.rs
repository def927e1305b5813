//! A forecast corrected to a place.
//!
//! By the hour of the day, and by the day: the place's own [`Way`] at that hour, or at the highest and the lowest. The
//! mean miss of an hour is drawn towards that of all hours as long as the days are few, since a few days' noon says less
//! than their whole. The range of a day is the tenth to ninetieth of what is left, never less than 1.5 °C either way,
//! and wider where what is told lies beyond the days that were seen. For a house the miss is its own excess over what
//! was told for outside, and is taken the same way.
//!
//! # Source
//!
//! Removing errors by hour of day, and ranges from past errors, are common practice in site forecasts; the shrinkage is
//! that of a mean with a prior worth five days, and the least range that of AGRONOMY 3.6 ("floor ±1.5 °C"): practice.

use super::past::{DayPair, Extremes, HOURS, HourPairs};
use super::way::{PRIOR_C, PRIOR_DAYS, Way};
use crate::almanac::shape::quantile;

/// Fewest days from which a place's own way is believed.
pub const FEWEST_DAYS: usize = 3;
/// Fewest days whose misses make a range.
const FEWEST_FOR_RANGE: usize = 8;
/// Least range, °C, either way.
const LEAST_C: f64 = 1.5;
/// What each further day adds to the range while misses are too few, °C either way (common practice).
const FURTHER_C: f64 = 0.5;
/// From a standard deviation to the tenth and ninetieth of a normal spread.
pub(super) const TENTHS: f64 = 1.2816;

/// What is made of a forecast for a place, by the hour of the day.
#[derive(Clone, Debug, PartialEq)]
pub struct ByHour {
    ways: [Way; HOURS],
    /// Standard deviation of what is left, °C.
    spread_c: [f64; HOURS],
}

impl ByHour {
    /// From what was told and came in the hours of the last days; `None` where fewer than three days have any.
    pub fn of(days: &[HourPairs], under_cover: bool) -> Option<Self> {
        let days: Vec<&HourPairs> = days.iter().filter(|day| day.iter().any(Option::is_some)).collect();
        if days.len() < FEWEST_DAYS {
            return None;
        }
        let misses = days.iter().flat_map(|day| day.iter().flatten()).map(|(told, came)| came - told);
        let whole = mean(&misses.collect::<Vec<_>>());
        let mut made = Self { ways: [Way::default().missing_by(whole); HOURS], spread_c: [PRIOR_C; HOURS] };
        for hour in 0..HOURS {
            let pairs: Vec<(f64, f64)> = days.iter().filter_map(|day| day[hour]).collect();
            let Some(way) = Way::of(&pairs, under_cover) else { continue };
            let count = pairs.len() as f64;
            let way = way.missing_by(whole + (way.miss_c() - whole) * count / (count + PRIOR_DAYS));
            let left = pairs.iter().map(|(told, came)| came - told - way.add_c(*told));
            // The prior's own spread stands in as long as the days are few.
            let squares = left.map(|left| left * left).sum::<f64>() + PRIOR_DAYS * PRIOR_C * PRIOR_C;
            (made.ways[hour], made.spread_c[hour]) = (way, libm::sqrt(squares / (count + PRIOR_DAYS)));
        }
        Some(made)
    }

    /// For outside while nothing is known of it: as told.
    pub fn as_told() -> Self {
        Self { ways: [Way::default(); HOURS], spread_c: [PRIOR_C; HOURS] }
    }

    /// What is added to what is told (°C) and how far that strays at an hour of the day, 0 to 24 with its fraction, on
    /// the straight line from the middle of one hour to the next, °C.
    pub fn at(&self, hour_of_day: f64, told_c: f64) -> (f64, f64) {
        let from_middle = (hour_of_day - 0.5).rem_euclid(HOURS as f64);
        let before = (from_middle as usize).min(HOURS - 1);
        let (after, share) = ((before + 1) % HOURS, from_middle - before as f64);
        let line = |of: &dyn Fn(usize) -> f64| of(before) + (of(after) - of(before)) * share;
        let strays = |hour: usize| libm::hypot(self.spread_c[hour], self.ways[hour].doubt_c(told_c));
        (line(&|hour| self.ways[hour].add_c(told_c)), line(&strays))
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

/// What is made of a day's highest or lowest, and how far it strays.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Value {
    way: Way,
    /// °C, as that after it.
    below: f64,
    above: f64,
}

impl Value {
    /// `pairs`: told and came at this lead. `nearest`: the same of the evening before, which shows the slope.
    fn of(pairs: &[(f64, f64)], nearest: &[(f64, f64)], lead: u32, under_cover: bool) -> Self {
        let sloped = Way::of(nearest, under_cover).unwrap_or_default();
        let way = Way::of(pairs, under_cover).filter(|_| pairs.len() >= FEWEST_DAYS);
        let way = way.map_or_else(Way::default, |way| way.sloped_as(sloped));
        if pairs.len() < FEWEST_FOR_RANGE {
            let unknown_c = PRIOR_C + FURTHER_C * f64::from(lead.max(1) - 1);
            return Self { way, below: unknown_c, above: unknown_c };
        }
        let mut left: Vec<f64> = pairs.iter().map(|(told, came)| came - told - way.add_c(*told)).collect();
        left.sort_by(f64::total_cmp);
        Self {
            way,
            below: f64::max(-quantile(&left, 0.1), LEAST_C),
            above: f64::max(quantile(&left, 0.9), LEAST_C),
        }
    }

    fn of_told(self, told_c: f64) -> Ranged {
        let middle_c = told_c + self.way.add_c(told_c);
        let strays = |either_way: f64| libm::hypot(either_way, TENTHS * self.way.doubt_c(told_c));
        Ranged { middle_c, from_c: middle_c - strays(self.below), to_c: middle_c + strays(self.above) }
    }
}

/// What is made of a day's told highest and lowest at a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ByDay {
    high: Value,
    low: Value,
}

impl ByDay {
    /// From the days that were told so many days ahead; `nearest`: those told the evening before.
    pub fn of(pairs: &[DayPair], nearest: &[DayPair], lead: u32, under_cover: bool) -> Self {
        let of = |value: fn(&Extremes) -> f64| {
            let each = |pairs: &[DayPair]| -> Vec<(f64, f64)> {
                pairs.iter().map(|pair| (value(&pair.told), value(&pair.came))).collect()
            };
            Value::of(&each(pairs), &each(nearest), lead, under_cover)
        };
        Self { high: of(|it| it.high_c), low: of(|it| it.low_c) }
    }

    /// For outside while nothing is known of it: as told so many days ahead.
    pub fn as_told(lead: u32) -> Self {
        Self::of(&[], &[], lead, false)
    }

    /// Highest and lowest of a day, corrected.
    pub fn of_told(&self, told: Extremes) -> (Ranged, Ranged) {
        (self.high.of_told(told.high_c), self.low_of_told(told.low_c))
    }

    /// A lowest that was told, corrected.
    pub fn low_of_told(&self, low_c: f64) -> Ranged {
        self.low.of_told(low_c)
    }
}

fn mean(values: &[f64]) -> f64 {
    if values.is_empty() { 0.0 } else { values.iter().sum::<f64>() / values.len() as f64 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::Day;

    fn pair(day: i64, told_c: f64, came_c: f64) -> DayPair {
        let day_of = |high_c: f64| Extremes { low_c: high_c - 12.0, high_c };
        DayPair { day, lead: 1, told: day_of(told_c), came: day_of(came_c) }
    }

    #[test]
    fn an_hour_that_always_misses_alike_is_put_right_more_with_every_day() {
        // By hand: hours miss by 1 °C, noon by 7: the mean of all is 1.25, and noon is drawn to it by 5 days.
        let mut day = [Some((20.0, 21.0)); HOURS];
        day[12] = Some((20.0, 27.0));
        let of = |days: usize| ByHour::of(&vec![day; days], true).unwrap();
        let whole = (23.0 + 7.0) / 24.0;
        for (days, share) in [(3, 3.0 / 8.0), (5, 0.5), (30, 30.0 / 35.0)] {
            let (add, spread) = of(days).at(12.5, 20.0);
            assert!((add - (whole + (7.0 - whole) * share)).abs() < 1e-12, "{days} days: {add}");
            assert!(spread > 0.0 && spread < 5.0);
        }
        assert_eq!(ByHour::of(&[day; 2], true), None);
        assert_eq!(ByHour::of(&vec![[None; HOURS]; 9], true), None);
        assert_eq!(ByHour::as_told().at(3.0, 35.0).0, 0.0);
    }

    #[test]
    fn between_the_middles_of_two_hours_the_correction_runs_on_a_line_also_over_midnight() {
        let mut day = [Some((15.0, 15.0)); HOURS];
        (day[23], day[0]) = (Some((15.0, 23.0)), Some((15.0, 19.0)));
        let made = ByHour::of(&vec![day; 1000], true).unwrap();
        let at = |hour: f64| made.at(hour, 15.0).0;
        assert!((at(0.0) - f64::midpoint(at(23.5), at(0.5))).abs() < 1e-9);
        assert!((at(24.0) - at(0.0)).abs() < 1e-9 && at(23.5) > at(0.5));
    }

    #[test]
    fn a_day_is_put_right_by_the_mean_miss_and_ranges_from_the_tenth_to_the_ninetieth_of_the_rest() {
        // Misses −5, −4 … 5 about a mean of 3: type 7 quantiles of eleven evenly spread values are −4 and 4.
        let pairs: Vec<_> = (0..11).map(|at| pair(at, 30.0, 30.0 + 3.0 + (at - 5) as f64)).collect();
        let (high, low) = ByDay::of(&pairs, &pairs, 1, true).of_told(Extremes { low_c: 15.0, high_c: 30.0 });
        assert!((high.middle_c - 33.0).abs() < 1e-12 && (low.middle_c - 18.0).abs() < 1e-12);
        assert!((high.from_c - 29.0).abs() < 1e-12 && (high.to_c - 37.0).abs() < 1e-12, "{high:?}");
    }

    #[test]
    fn a_range_is_never_narrower_than_one_and_a_half_degrees_and_wide_while_nothing_is_known() {
        let exact: Vec<_> = (0..20).map(|at| pair(at, 30.0, 31.0)).collect();
        let (high, _) = ByDay::of(&exact, &exact, 1, true).of_told(Extremes { low_c: 15.0, high_c: 30.0 });
        assert_eq!((high.from_c, high.middle_c, high.to_c), (29.5, 31.0, 32.5));
        let told = Extremes { low_c: 15.0, high_c: 35.0 };
        let (unknown, _) = ByDay::as_told(1).of_told(told);
        assert_eq!((unknown.from_c, unknown.middle_c, unknown.to_c), (32.5, 35.0, 37.5));
        let (far, _) = ByDay::as_told(4).of_told(told);
        assert_eq!((far.from_c, far.to_c), (31.0, 39.0));
    }

    #[test]
    fn beyond_the_days_that_were_seen_the_range_widens_by_what_the_slope_may_be() {
        // By hand: days alike show no slope, so it may be 0.3 more or less; six degrees beyond them 1.28 × 1.8 = 2.307,
        // beside the least range of 1.5 on the square root of the sum of squares 2.752.
        let exact: Vec<_> = (0..20).map(|at| pair(at, 30.0, 31.0)).collect();
        let (high, _) = ByDay::of(&exact, &exact, 1, true).of_told(Extremes { low_c: 15.0, high_c: 36.0 });
        assert!((high.middle_c - 37.0).abs() < 1e-12 && (high.to_c - 39.752).abs() < 1e-3, "{high:?}");
    }

    #[test]
    fn a_damped_house_is_told_by_its_slope_for_every_lead_and_hour() {
        let house = |outside: f64| 18.0 + 0.4 * (outside - 18.0);
        let highs = (0..30).map(|day| 16.0 + (day * 7 % 13) as f64);
        let near: Vec<_> = highs.zip(0..).map(|(told, day)| pair(day, told, house(told))).collect();
        // Three days ahead the forecast was off by 5 °C either way: on its own it would show next to no house at all.
        let off = |day: Day| if day % 2 == 0 { 5.0 } else { -5.0 };
        let far: Vec<_> =
            near.iter().map(|it| pair(it.day, it.told.high_c + off(it.day), it.came.high_c)).collect();
        for (pairs, lead) in [(&near, 1), (&far, 4)] {
            let (high, _) =
                ByDay::of(pairs, &near, lead, true).of_told(Extremes { low_c: 24.0, high_c: 40.0 });
            assert!((house(40.0) - 0.5..house(40.0) + 3.0).contains(&high.middle_c), "{lead}: {high:?}");
        }
        let hours: Vec<HourPairs> =
            near.iter().map(|it| [Some((it.told.high_c, it.came.high_c)); HOURS]).collect();
        let made = ByHour::of(&hours, true).unwrap();
        let at_noon = 40.0 + made.at(12.0, 40.0).0;
        assert!((house(40.0) - 0.5..house(40.0) + 2.0).contains(&at_noon), "{at_noon}");
    }
}
