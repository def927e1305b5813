//! A season's sum with what was filled in it said aloud.
//!
//! A probe falls silent, and the sum must not take the lost days for cold ones. A missing day is given the
//! mean of the measured days among the three before and the three after it; it is *filled*, not measured,
//! and stays so in every sum: "642, of it 38 filled". A day with none of the six measured stays missing, and
//! a season with such a day dates nothing. The rule is common practice for short gaps in daily records.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::rule::Rule;
use super::sum::{NoNumber, Sum, UnlikeSums};

/// How many days on each side fill a missing one.
const NEIGHBOURS: usize = 3;

/// One day of a season, °C d.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Day {
    /// Reckoned from what was measured that day.
    Measured(f64),
    /// The mean of its neighbours.
    Filled(f64),
    /// Not measured, and nothing near enough to fill it.
    Missing,
}

impl Day {
    /// Its degree days, °C d; nought for a missing day.
    pub const fn degree_days(self) -> f64 {
        match self {
            Self::Measured(degree_days) | Self::Filled(degree_days) => degree_days,
            Self::Missing => 0.0,
        }
    }
}

/// Fills the days that were not measured (`None`, or no number) from the three days each side.
pub fn fill(days: &[Option<f64>]) -> impl Iterator<Item = Day> {
    let measured = |at: usize| days[at].filter(|degree_days| degree_days.is_finite());
    (0..days.len()).map(move |at| {
        if let Some(degree_days) = measured(at) {
            return Day::Measured(degree_days);
        }
        let near = at.saturating_sub(NEIGHBOURS)..days.len().min(at + NEIGHBOURS + 1);
        let (mut sum, mut count) = (0.0, 0_u32);
        for degree_days in near.filter_map(measured) {
            sum += degree_days;
            count += 1;
        }
        if count == 0 { Day::Missing } else { Day::Filled(sum / f64::from(count)) }
    })
}

/// A season's degree days, with the days measured, filled and missing in it. Shown as `642, of it 38 filled`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Written")]
pub struct Season {
    sum: Sum,
    filled: f64,
    measured_days: u32,
    filled_days: u32,
    missing_days: u32,
}

/// A season as it stands in a file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    sum: Sum,
    filled: f64,
    measured_days: u32,
    filled_days: u32,
    missing_days: u32,
}

/// Why a season read from a file cannot be.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SeasonError {
    /// What was filled is no number.
    #[error(transparent)]
    NoNumber(#[from] NoNumber),
    /// Degree days were filled on no day.
    #[error("{0} degree days are said to be filled, but no day is")]
    FilledOnNoDay(f64),
}

impl TryFrom<Written> for Season {
    type Error = SeasonError;

    fn try_from(written: Written) -> Result<Self, SeasonError> {
        let Written { sum, filled, measured_days, filled_days, missing_days } = written;
        if !filled.is_finite() {
            return Err(NoNumber(filled).into());
        }
        if filled != 0.0 && filled_days == 0 {
            return Err(SeasonError::FilledOnNoDay(filled));
        }
        Ok(Self { sum, filled, measured_days, filled_days, missing_days })
    }
}

impl Season {
    /// A season with no day yet.
    pub const fn new(rule: Rule) -> Self {
        Self { sum: Sum::new(rule), filled: 0.0, measured_days: 0, filled_days: 0, missing_days: 0 }
    }

    /// The season of these days, reckoned by `rule` and filled where they were not measured.
    ///
    /// # Errors
    ///
    /// [`NoNumber`] when the total would be none.
    pub fn of(rule: Rule, days: &[Option<f64>]) -> Result<Self, NoNumber> {
        let mut season = Self::new(rule);
        fill(days).try_for_each(|day| season.add_day(day))?;
        Ok(season)
    }

    /// Adds a day reckoned by this season's own rule.
    ///
    /// # Errors
    ///
    /// [`NoNumber`] when the day is none; the season is then as it was.
    pub fn add_day(&mut self, day: Day) -> Result<(), NoNumber> {
        self.sum.add_day(day.degree_days())?;
        match day {
            Day::Measured(_) => self.measured_days = self.measured_days.saturating_add(1),
            Day::Filled(degree_days) => {
                self.filled += degree_days;
                self.filled_days = self.filled_days.saturating_add(1);
            }
            Day::Missing => self.missing_days = self.missing_days.saturating_add(1),
        }
        Ok(())
    }

    /// Adds another stretch of the same season.
    ///
    /// # Errors
    ///
    /// [`UnlikeSums`] when the rules differ; the season is then as it was.
    pub fn add(&mut self, other: &Self) -> Result<(), UnlikeSums> {
        self.sum.add(&other.sum)?;
        self.filled += other.filled;
        self.measured_days = self.measured_days.saturating_add(other.measured_days);
        self.filled_days = self.filled_days.saturating_add(other.filled_days);
        self.missing_days = self.missing_days.saturating_add(other.missing_days);
        Ok(())
    }

    /// The sum, measured and filled together.
    pub const fn sum(&self) -> Sum {
        self.sum
    }

    /// What of the sum was filled, °C d.
    pub const fn filled(&self) -> f64 {
        self.filled
    }

    /// Days measured.
    pub const fn measured_days(&self) -> u32 {
        self.measured_days
    }

    /// Days filled.
    pub const fn filled_days(&self) -> u32 {
        self.filled_days
    }

    /// Days that nothing could fill; they count nought.
    pub const fn missing_days(&self) -> u32 {
        self.missing_days
    }

    /// The share of the sum that was filled, 0 to 1; of the days, where the sum is nought or below.
    pub fn filled_share(&self) -> f64 {
        let days = f64::from(self.measured_days) + f64::from(self.filled_days);
        let share = if self.sum.total() > 0.0 {
            self.filled / self.sum.total()
        } else if days > 0.0 {
            f64::from(self.filled_days) / days
        } else {
            0.0
        };
        share.clamp(0.0, 1.0)
    }
}

impl fmt::Display for Season {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{:.0}", self.sum.total())?;
        if self.filled_days > 0 {
            write!(out, ", of it {:.0} filled", self.filled)?;
        }
        if self.missing_days > 0 {
            write!(out, ", {} days missing", self.missing_days)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Cutoff, Method};
    use super::*;

    fn rule(base: f64) -> Rule {
        Rule::of_numbers(Method::Integral, base, Some(30.0), Cutoff::Horizontal).unwrap()
    }

    #[test]
    fn a_missing_day_has_the_mean_of_the_measured_days_among_three_each_side() {
        // By hand: the first gap has 6, 8 and 10 before it, 12 and 14 after it (one more is missing): 50 / 5.
        // The second has 10, 12 and 14 in reach: 36 / 3.
        let days = [Some(100.0), Some(6.0), Some(8.0), Some(10.0), None, Some(12.0), None, Some(14.0)];
        let filled: Vec<_> = fill(&days).collect();
        assert_eq!(filled[4], Day::Filled(10.0));
        assert_eq!(filled[6], Day::Filled(12.0));
        assert_eq!(filled[0], Day::Measured(100.0));
    }

    #[test]
    fn the_middle_of_a_long_gap_stays_missing() {
        let mut days = [None; 9];
        (days[0], days[8]) = (Some(10.0), Some(f64::NAN));
        let filled: Vec<_> = fill(&days).collect();
        assert_eq!(filled[3], Day::Filled(10.0));
        assert!(filled[4..].iter().all(|day| *day == Day::Missing));
    }

    #[test]
    fn what_was_filled_is_said_with_the_sum() {
        let mut days = vec![Some(15.0); 40];
        days[10] = None;
        days[11] = None;
        let season = Season::of(rule(10.0), &days).unwrap();
        assert_eq!(season.to_string(), "600, of it 30 filled");
        assert_eq!((season.measured_days(), season.filled_days(), season.missing_days()), (38, 2, 0));
        assert_eq!(season.filled_share(), 0.05);
    }

    #[test]
    fn unlike_seasons_do_not_add_and_like_ones_keep_their_count() {
        let mut spring = Season::of(rule(10.0), &[Some(5.0), None]).unwrap();
        let summer = Season::of(rule(10.0), &[Some(15.0)]).unwrap();
        assert!(spring.add(&Season::new(rule(7.0))).is_err());
        spring.add(&summer).unwrap();
        assert_eq!((spring.sum().total(), spring.filled(), spring.filled_days()), (25.0, 5.0, 1));
    }

    #[test]
    fn a_season_comes_back_from_a_file_and_an_impossible_one_is_refused() {
        let season = Season::of(rule(10.0), &[Some(5.0), None, Some(7.0)]).unwrap();
        let text = serde_json::to_string(&season).unwrap();
        assert_eq!(serde_json::from_str::<Season>(&text).unwrap(), season);
        let odd = text.replace("\"filled_days\":1", "\"filled_days\":0");
        assert!(serde_json::from_str::<Season>(&odd).unwrap_err().to_string().contains("no day is"));
    }
}
