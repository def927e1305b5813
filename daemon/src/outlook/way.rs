//! A place's own way with the air outside.
//!
//! A house with thick walls or a net stays cooler than outside on a hot day and warmer on a cold one; a small tunnel
//! doubles every swing. Who adds the mean miss of mild days to a hot forecast tells the one too hot and the other too
//! cool, just when it counts. So the miss is a line over what was told: its mean, and a slope where the days show one.
//!
//! A slope is easily seen where there is none: few days, days all alike, and the errors of the forecast itself, which
//! make every place look damped. So of the slope that the days show only so much is taken as lies beyond its own standard
//! error. Where that leaves nothing, the mean miss stands alone, as if there were no line. Errors of the forecast still
//! leave a little damping, so in the open air, which no wall damps, a slope is taken only as far as it makes hot days
//! hotter: too hot a word on the yard costs a walk, too cool a one the crop.
//!
//! # Source
//!
//! The line: ordinary least squares, with the standard error of its slope (Draper & Smith, Applied Regression Analysis, 3rd
//! ed. 1998, ch. 1). What is taken of it: soft thresholding (Tibshirani 1996, J. R. Stat. Soc. B 58, 267-288, eq. 3).
//! That errors of the regressor flatten a slope: Fuller, Measurement Error Models (1987), ch. 1. The limits, the
//! threshold of one standard error and the spread taken for granted at first are own choices.

use std::ops::RangeInclusive;

/// Days that the spread taken for granted counts for.
pub const PRIOR_DAYS: f64 = 5.0;
/// Standard deviation of a miss that is taken for granted while the days are few, °C (common practice: a forecast is
/// off by 1.5 to 2 °C tomorrow, and for a yard by 2 to 4).
pub const PRIOR_C: f64 = 2.5;
/// Fewest days that make a line.
const FEWEST_DAYS: usize = 3;
/// How a house may answer to one degree more outside, °C.
const UNDER_COVER: RangeInclusive<f64> = 0.3..=1.5;
/// The same for a spot in the open: sun on the probe adds to it, nothing takes from it.
const IN_THE_OPEN: RangeInclusive<f64> = 1.0..=1.5;
/// A slope is never doubted by more: most places lie within so much of 1.
const MOST_DOUBT: f64 = 0.3;

/// What is added to what is told, and how it grows with it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Way {
    /// Mean of what was told, °C.
    told_c: f64,
    /// Mean of came less told, °C.
    miss_c: f64,
    /// By how much the miss grows with each degree told.
    gain: f64,
    /// How far the gain is doubted.
    doubt: f64,
}

impl Way {
    /// From pairs of told and came, °C; none where there are none.
    pub fn of(pairs: &[(f64, f64)], under_cover: bool) -> Option<Self> {
        if pairs.is_empty() {
            return None;
        }
        let count = pairs.len() as f64;
        let told_c = pairs.iter().map(|(told, _)| told).sum::<f64>() / count;
        let miss_c = pairs.iter().map(|(told, came)| came - told).sum::<f64>() / count;
        let level = Self { told_c, miss_c, gain: 0.0, doubt: MOST_DOUBT };
        let sum = |of: fn(f64, f64) -> f64| -> f64 {
            pairs.iter().map(|(told, came)| of(told - told_c, came - told - miss_c)).sum()
        };
        let spread = sum(|told, _| told * told);
        if pairs.len() < FEWEST_DAYS || spread <= 0.0 {
            return Some(level);
        }
        let shown = sum(|told, miss| told * miss) / spread;
        let left: f64 = pairs
            .iter()
            .map(|(told, came)| came - told - miss_c - shown * (told - told_c))
            .map(|left| left * left)
            .sum();
        let variance = (left + PRIOR_DAYS * PRIOR_C * PRIOR_C) / (count + PRIOR_DAYS);
        let error = libm::sqrt(variance / spread);
        let beyond = libm::copysign((libm::fabs(shown) - error).max(0.0), shown);
        let limits = if under_cover { UNDER_COVER } else { IN_THE_OPEN };
        let gain = beyond.clamp(limits.start() - 1.0, limits.end() - 1.0);
        Some(Self { gain, doubt: error.min(MOST_DOUBT), ..level })
    }

    /// The same mean miss, with the slope of another: what a place makes of a degree more is the same for tomorrow and
    /// for the day after, but forecasts of tomorrow show it best.
    #[must_use]
    pub fn sloped_as(self, other: Self) -> Self {
        Self { gain: other.gain, doubt: other.doubt, ..self }
    }

    /// The same slope about another mean miss, °C.
    #[must_use]
    pub fn missing_by(self, miss_c: f64) -> Self {
        Self { miss_c, ..self }
    }

    /// Mean of came less told, °C.
    pub fn miss_c(&self) -> f64 {
        self.miss_c
    }

    /// What is added to what is told, °C.
    pub fn add_c(&self, told_c: f64) -> f64 {
        self.miss_c + self.gain * (told_c - self.told_c)
    }

    /// How far the sum may stray because the slope is not known better, as a standard deviation, °C: nothing amid the days
    /// it was learnt from, more the further what is told lies from them.
    pub fn doubt_c(&self, told_c: f64) -> f64 {
        libm::fabs(self.doubt * (told_c - self.told_c))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// A month of days told between 12 and 27 °C, as a place had them.
    fn month(came: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
        (0..30).map(|day| 12.0 + f64::from(day * 7 % 16)).map(|told| (told, came(told))).collect()
    }

    fn at(pairs: &[(f64, f64)], under_cover: bool, told_c: f64) -> f64 {
        told_c + Way::of(pairs, under_cover).unwrap().add_c(told_c)
    }

    #[test]
    fn a_damped_house_is_not_told_hot_on_a_hot_day_as_its_mean_miss_would_have_it() {
        let house = |outside: f64| 18.0 + 0.4 * (outside - 18.0);
        let days = month(house);
        let mean_miss = Way::of(&days, true).unwrap().miss_c();
        let (told, came) = (at(&days, true, 40.0), house(40.0));
        assert!(40.0 + mean_miss > 38.0, "by the mean miss alone it passes every line: {mean_miss}");
        assert!((came..came + 2.0).contains(&told), "{told}, not {came}");
    }

    #[test]
    fn a_house_that_doubles_what_the_sun_gives_is_told_hotter_than_its_mean_miss() {
        let house = |outside: f64| 24.0 + 1.3 * (outside - 18.0);
        let days = month(house);
        let (told, came) = (at(&days, true, 36.0), house(36.0));
        assert!((came - 2.0..=came).contains(&told) && told > 36.0 + Way::of(&days, true).unwrap().miss_c());
    }

    #[test]
    fn a_probe_outside_in_a_sunny_spot_is_followed_up_and_never_down() {
        // Dull days below 20 °C come as told, sunny ones up to 5 °C hotter; and the same turned about.
        let sunny = month(|outside| outside + (outside - 20.0).clamp(0.0, 5.0));
        let shady = month(|outside| outside - (outside - 20.0).clamp(0.0, 5.0));
        let mean = |days: &[(f64, f64)]| 36.0 + Way::of(days, false).unwrap().miss_c();
        assert!(at(&sunny, false, 36.0) > mean(&sunny) + 2.0, "{}", at(&sunny, false, 36.0));
        assert_eq!(at(&shady, false, 36.0), mean(&shady), "no wall damps the open air");
        assert!(at(&shady, true, 36.0) < mean(&shady) - 2.0, "what stands under cover may be damped");
    }

    #[test]
    fn the_line_is_that_of_a_textbook_less_one_standard_error() {
        // By hand: told 10, 20, 30 and came 12, 20, 28: misses 2, 0, −2, slope −40 / 200 = −0.2 with nothing left over,
        // so the variance is 5 × 6.25 / 8 and the error of the slope √(3.90625 / 200) = 0.13975.
        let way = Way::of(&[(10.0, 12.0), (20.0, 20.0), (30.0, 28.0)], true).unwrap();
        assert!((way.add_c(30.0) - -(0.2 - 0.139_754) * 10.0).abs() < 1e-4, "{way:?}");
        assert!((way.doubt_c(30.0) - 1.397_54).abs() < 1e-4 && way.doubt_c(20.0) == 0.0);
        let few = Way::of(&[(10.0, 12.0), (30.0, 28.0)], true).unwrap();
        assert_eq!((few.add_c(40.0), Way::of(&[], true)), (0.0, None));
        let alike = Way::of(&[(20.0, 25.0), (20.0, 23.0), (20.0, 24.0)], true).unwrap();
        assert_eq!((alike.add_c(35.0), alike.doubt_c(30.0)), (4.0, 3.0), "days alike show no slope");
    }

    #[test]
    fn errors_of_the_forecast_damp_a_place_that_is_not_by_less_than_the_line_alone_would() {
        // A forecast off by 3 °C either way, in turn, on days that swing by 8 °C: least squares makes the slope
        // 1 / (1 + 9 / 64 × 1.0) or so, as Fuller has it; half of that at most is believed.
        let pairs: Vec<(f64, f64)> = (0..28)
            .map(|day| {
                let came = 20.0 + if day / 2 % 2 == 0 { 8.0 } else { -8.0 };
                (came + if day % 2 == 0 { 3.0 } else { -3.0 }, came)
            })
            .collect();
        let plain = -(9.0 / 73.0) * 16.0;
        let taken = Way::of(&pairs, true).unwrap().add_c(36.0);
        assert!((0.6 * plain..0.0).contains(&taken), "{taken} of {plain}");
    }

    proptest! {
        #[test]
        fn a_place_that_always_misses_alike_is_put_right_by_its_mean_miss(
            told in prop::collection::vec(-20.0..45.0_f64, 1..40), miss in -15.0..15.0_f64, asked in -20.0..50.0_f64,
        ) {
            let pairs: Vec<(f64, f64)> = told.iter().map(|told| (*told, told + miss)).collect();
            for under_cover in [false, true] {
                let way = Way::of(&pairs, under_cover).unwrap();
                prop_assert!((way.add_c(asked) - miss).abs() < 1e-9);
            }
        }

        #[test]
        fn whatever_came_a_degree_more_is_answered_within_the_limits_and_the_same_every_time(
            pairs in prop::collection::vec((-20.0..45.0_f64, -30.0..70.0_f64), 1..40), asked in -20.0..50.0_f64,
        ) {
            for (under_cover, limits) in [(false, IN_THE_OPEN), (true, UNDER_COVER)] {
                let way = Way::of(&pairs, under_cover).unwrap();
                let answer = 1.0 + way.add_c(asked + 1.0) - way.add_c(asked);
                prop_assert!(*limits.start() - 1e-9 <= answer && answer <= limits.end() + 1e-9, "{answer}");
                prop_assert!((0.0..=MOST_DOUBT * 70.0).contains(&way.doubt_c(asked)));
                prop_assert_eq!(Way::of(&pairs, under_cover), Some(way));
            }
        }
    }
}
