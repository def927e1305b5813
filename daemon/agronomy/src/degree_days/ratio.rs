//! What a sum by one method comes to by another, learned on the site's own seasons.
//!
//! The shortcuts from lowest and highest stray from the integral by place and by kind of house, so no factor
//! from elsewhere holds here. Both methods are run over the same days of a season; the ratio of the two sums
//! is that season's, and the mean over the seasons is shown with its spread and their number. One season is
//! a beginning: it has no spread.
//!
//! The bias by site: comparisons of daily methods with the hourly integral, Bragantia 71 (2012) and Agronomia
//! Colombiana 35(3) (2017).

use super::rule::Rule;
use super::sum::{Sum, UnlikeSums};

/// The learned ratio between the sums of two methods.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratio {
    published: Rule,
    own: Rule,
    mean: f64,
    deviation: Option<f64>,
    lowest: f64,
    highest: f64,
    seasons: usize,
}

/// Why seasons teach no ratio.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RatioError {
    /// There is none.
    #[error("no season has both sums")]
    NoSeason,
    /// A season's sums are by other rules than the first season's.
    #[error(transparent)]
    Unlike(#[from] UnlikeSums),
    /// A sum of nought or less has no ratio to another.
    #[error("{0} degree days have no ratio to another sum")]
    NotPositive(f64),
}

impl Ratio {
    /// Learns from pairs of sums over the same days: by the published method, and by our own.
    ///
    /// # Equation
    ///
    /// Mean, and sample standard deviation, of own / published over the seasons; each season counts alike.
    ///
    /// # Errors
    ///
    /// [`RatioError`]: no pair, seasons by unlike rules, or a sum that is not above nought.
    pub fn learn(seasons: &[(Sum, Sum)]) -> Result<Self, RatioError> {
        let (published, own) = seasons.first().ok_or(RatioError::NoSeason)?;
        let (published, own) = (published.rule(), own.rule());
        for (left, right) in seasons {
            for (sum, rule) in [(left, published), (right, own)] {
                if sum.rule() != rule {
                    return Err(UnlikeSums { left: rule, right: sum.rule() }.into());
                }
                if sum.total() <= 0.0 {
                    return Err(RatioError::NotPositive(sum.total()));
                }
            }
        }
        let ratios = || seasons.iter().map(|(published, own)| own.total() / published.total());
        let count = seasons.len();
        let mean = ratios().sum::<f64>() / count as f64;
        let squares: f64 = ratios().map(|ratio| (ratio - mean) * (ratio - mean)).sum();
        Ok(Self {
            published,
            own,
            mean,
            deviation: (count > 1).then(|| (squares / (count - 1) as f64).sqrt()),
            lowest: ratios().fold(f64::INFINITY, f64::min),
            highest: ratios().fold(0.0, f64::max),
            seasons: count,
        })
    }

    /// The rule of the published sums.
    pub const fn published(&self) -> Rule {
        self.published
    }

    /// The rule of our own sums.
    pub const fn own(&self) -> Rule {
        self.own
    }

    /// Own degree days for one published one.
    pub const fn mean(&self) -> f64 {
        self.mean
    }

    /// Sample standard deviation between the seasons; `None` after one season.
    pub const fn deviation(&self) -> Option<f64> {
        self.deviation
    }

    /// The lowest and the highest season's ratio.
    pub const fn span(&self) -> (f64, f64) {
        (self.lowest, self.highest)
    }

    /// How many seasons taught it.
    pub const fn seasons(&self) -> usize {
        self.seasons
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Cutoff, Method};
    use super::*;

    fn sum(method: Method, total: f64) -> Sum {
        let mut sum = Sum::new(Rule::of_numbers(method, 10.0, Some(30.0), Cutoff::Horizontal).unwrap());
        sum.add_day(total).unwrap();
        sum
    }

    fn season(published: f64, own: f64) -> (Sum, Sum) {
        (sum(Method::MeanCapped, published), sum(Method::Integral, own))
    }

    #[test]
    fn three_seasons_give_mean_spread_and_count() {
        // By hand: ratios 0.8, 0.9 and 1.0; mean 0.9, deviations -0.1, 0, 0.1, sample variance 0.02 / 2.
        let ratio =
            Ratio::learn(&[season(1000.0, 800.0), season(1000.0, 900.0), season(500.0, 500.0)]).unwrap();
        assert!((ratio.mean() - 0.9).abs() < 1e-12);
        assert!((ratio.deviation().unwrap() - 0.1).abs() < 1e-12);
        assert_eq!((ratio.span(), ratio.seasons()), ((0.8, 1.0), 3));
    }

    #[test]
    fn one_season_has_a_ratio_and_no_spread() {
        let ratio = Ratio::learn(&[season(1000.0, 765.0)]).unwrap();
        assert_eq!((ratio.mean(), ratio.deviation(), ratio.seasons()), (0.765, None, 1));
    }

    #[test]
    fn what_teaches_nothing_is_refused() {
        assert_eq!(Ratio::learn(&[]), Err(RatioError::NoSeason));
        assert_eq!(Ratio::learn(&[season(0.0, 10.0)]), Err(RatioError::NotPositive(0.0)));
        let mixed = [season(1000.0, 800.0), (sum(Method::SingleSine, 900.0), sum(Method::Integral, 800.0))];
        assert!(matches!(Ratio::learn(&mixed), Err(RatioError::Unlike(_))));
    }
}
