//! When a target is reached, as a range of days.
//!
//! Up to yesterday the season's own days are added. From today on an outlook stands in: first the days of a
//! forecast, then what a day here usually brings, with a slow and a fast year beside it. The earliest day
//! belongs to the lower end of the target in a fast year, the latest to the upper end in a slow one, and
//! never less than 12 % of what is still wanted lies between them and the usual course (common practice).
//!
//! A date rests on measured warmth: where more than a tenth of the sum was filled, or a day is missing, none
//! is given. Days are numbered from 1970-01-01 as 0.

use super::rule::Rule;
use super::season::{Day, Season};
use super::sum::{NoNumber, UnlikeSums};
use super::target::Target;
use crate::crop::Known;

/// From this filled share no date is given (common practice).
const FILLED_AT_MOST: f64 = 0.10;
/// Half the least width of a forecast range, as a share of the sum still wanted (common practice).
const LEAST_WIDTH: f64 = 0.12;
/// Further ahead than this nothing is dated.
const IN_SIGHT_DAYS: i64 = 366;

/// The days of a season so far, by one rule.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SoFar<'a> {
    /// The rule they are reckoned by.
    pub rule: Rule,
    /// The first of them: that of the event the target counts from.
    pub first_day: i64,
    /// Each day in order, the last of them yesterday.
    pub days: &'a [Day],
}

/// What the coming days bring, by one rule, °C d per day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlook<'a> {
    /// The rule it is reckoned by.
    pub rule: Rule,
    /// Forecast days from today on.
    pub forecast: &'a [f64],
    /// A day after the forecast in a slow year (one in ten is slower).
    pub slow: f64,
    /// A day after the forecast in a usual year.
    pub usual: f64,
    /// A day after the forecast in a fast year (one in ten is faster).
    pub fast: f64,
}

/// When a sum is reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dated {
    /// It was, on this day.
    Reached(i64),
    /// It will be, about this day.
    Expected(i64),
    /// Not within a year.
    NotInSight,
    /// Too much of the sum was filled, or a day in it is missing.
    TooLittleMeasured,
}

/// The range in which a milestone falls.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dates {
    /// When the lower end of the target is reached at the earliest.
    pub earliest: Dated,
    /// When the upper end of the target is reached at the latest.
    pub latest: Dated,
}

impl From<Dates> for Known {
    /// A milestone's range: open at its late end where that is not in sight, unknown where it has no early end.
    fn from(dates: Dates) -> Self {
        let day = |dated| match dated {
            Dated::Reached(day) | Dated::Expected(day) => Some(day),
            Dated::NotInSight | Dated::TooLittleMeasured => None,
        };
        match (dates.earliest, day(dates.earliest), day(dates.latest)) {
            (_, Some(earliest), latest) => Self::Between(earliest, latest.unwrap_or(i64::MAX)),
            (Dated::NotInSight, ..) => Self::Between(i64::MAX, i64::MAX),
            _ => Self::Unknown,
        }
    }
}

/// Why no range can be given.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DatesError {
    /// The target, the days so far and the outlook do not belong to one rule.
    #[error(transparent)]
    Unlike(#[from] UnlikeSums),
    /// A day or a rate is no number.
    #[error(transparent)]
    NoNumber(#[from] NoNumber),
    /// A slow year is faster than a usual one, or a usual one than a fast one.
    #[error(
        "the outlook's years are out of order: slow {slow}, usual {usual}, fast {fast} degree days a day"
    )]
    OutOfOrder {
        /// The slow year's day.
        slow: f64,
        /// The usual year's day.
        usual: f64,
        /// The fast year's day.
        fast: f64,
    },
}

impl Target {
    /// When this target is reached by the days so far and the outlook, both reckoned by its own rule.
    ///
    /// # Errors
    ///
    /// [`DatesError`]: days or an outlook by another rule, an outlook out of order, or something that is no
    /// number.
    pub fn dates(&self, so_far: &SoFar<'_>, outlook: &Outlook<'_>) -> Result<Dates, DatesError> {
        let SoFar { rule, first_day, days } = *so_far;
        if rule != self.rule() {
            return Err(UnlikeSums { left: self.rule(), right: rule }.into());
        }
        outlook.check(rule)?;
        let today = first_day.saturating_add(days.len() as i64);
        let one = |sum: f64, spread: f64, year: f64| -> Result<Dated, DatesError> {
            let (gathered, dated) = walk(rule, sum, first_day, days)?;
            if let Some(dated) = dated {
                return Ok(dated);
            }
            let wanted = sum - gathered;
            let usual = outlook.days_to(wanted * (1.0 + spread), outlook.usual);
            let extreme = outlook.days_to(wanted, year);
            // None is never: the later of two days when the latest is asked, passed over when the earliest is.
            let days = match (usual, extreme) {
                (Some(one), Some(other)) if spread > 0.0 => Some(one.max(other)),
                (Some(one), Some(other)) => Some(one.min(other)),
                (one, other) if spread < 0.0 => one.or(other),
                _ => None,
            };
            Ok(days.map_or(Dated::NotInSight, |days| Dated::Expected(today.saturating_add(days))))
        };
        Ok(Dates {
            earliest: one(self.low(), -LEAST_WIDTH, outlook.fast)?,
            latest: one(self.high(), LEAST_WIDTH, outlook.slow)?,
        })
    }
}

/// Adds up the days until `sum` is reached: what they come to, and the day, or why there is none.
fn walk(rule: Rule, sum: f64, first_day: i64, days: &[Day]) -> Result<(f64, Option<Dated>), NoNumber> {
    let mut season = Season::new(rule);
    let sound = |season: &Season| season.missing_days() == 0 && season.filled_share() <= FILLED_AT_MOST;
    if sum <= 0.0 {
        return Ok((0.0, Some(Dated::Reached(first_day))));
    }
    for (at, day) in days.iter().enumerate() {
        season.add_day(*day)?;
        if season.sum().total() >= sum {
            let reached = Dated::Reached(first_day.saturating_add(at as i64));
            return Ok((sum, Some(if sound(&season) { reached } else { Dated::TooLittleMeasured })));
        }
    }
    Ok((season.sum().total(), (!sound(&season)).then_some(Dated::TooLittleMeasured)))
}

impl Outlook<'_> {
    fn check(&self, rule: Rule) -> Result<(), DatesError> {
        if self.rule != rule {
            return Err(UnlikeSums { left: rule, right: self.rule }.into());
        }
        let (slow, usual, fast) = (self.slow, self.usual, self.fast);
        for number in self.forecast.iter().copied().chain([slow, usual, fast]) {
            if !number.is_finite() {
                return Err(NoNumber(number).into());
            }
        }
        if slow > usual || usual > fast {
            return Err(DatesError::OutOfOrder { slow, usual, fast });
        }
        Ok(())
    }

    /// How many days from today it takes to gather `wanted`, the day that completes it not counted.
    fn days_to(&self, wanted: f64, rate: f64) -> Option<i64> {
        let mut left = wanted;
        for (at, day) in self.forecast.iter().enumerate() {
            left -= day;
            if left <= 0.0 {
                return Some(at as i64);
            }
        }
        // In a standstill, and for what takes longer than a year, there is no day.
        let more = libm::ceil(left / rate);
        if rate <= 0.0 || more.is_nan() || more > IN_SIGHT_DAYS as f64 {
            return None;
        }
        Some(self.forecast.len() as i64 + more as i64 - 1)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Cutoff, Method};
    use super::*;

    fn rule() -> Rule {
        Rule::of_numbers(Method::Integral, 10.0, Some(30.0), Cutoff::Horizontal).unwrap()
    }

    fn outlook(forecast: &[f64]) -> Outlook<'_> {
        Outlook { rule: rule(), forecast, slow: 8.0, usual: 10.0, fast: 12.0 }
    }

    fn dates(low: f64, high: f64, days: &[Day], outlook: &Outlook<'_>) -> Dates {
        let so_far = SoFar { rule: rule(), first_day: 100, days };
        Target::try_new(rule(), low, high).unwrap().dates(&so_far, outlook).unwrap()
    }

    #[test]
    fn what_is_past_has_its_days_and_what_is_not_has_a_range() {
        // By hand: ten days of 10 from day 100 reach 45 on day 104 and stand at 100; 200 wants 100 more. A usual
        // year gives 10 a day: 112 at 12 % more is 12 days, the last of them day 110 + 11. A slow year gives 8 a
        // day: 13 days, day 110 + 12, and that is the later.
        let days = [Day::Measured(10.0); 10];
        let found = dates(45.0, 200.0, &days, &outlook(&[]));
        assert_eq!(found, Dates { earliest: Dated::Reached(104), latest: Dated::Expected(122) });
        // The lower end: 88 at 10 a day is 9 days; 100 at 12 a day is 9 days too: day 110 + 8.
        assert_eq!(dates(200.0, 200.0, &days, &outlook(&[])).earliest, Dated::Expected(118));
    }

    #[test]
    fn a_forecast_comes_before_the_usual_days() {
        // By hand: 100 wanted; two forecast days of 25 leave 50 in a fast year (5 days, to day 110 + 6) and
        // 88 - 50 = 38 of the usual (4 days, to day 110 + 5).
        let days = [Day::Measured(10.0); 10];
        let found = dates(200.0, 200.0, &days, &outlook(&[25.0, 25.0]));
        assert_eq!(found.earliest, Dated::Expected(115));
        assert_eq!(dates(110.0, 110.0, &days, &outlook(&[25.0])).latest, Dated::Expected(110));
    }

    #[test]
    fn a_plant_set_out_in_flower_flowers_on_its_first_day() {
        assert_eq!(dates(0.0, 250.0, &[], &outlook(&[])).earliest, Dated::Reached(100));
    }

    #[test]
    fn more_than_a_tenth_filled_or_a_missing_day_gives_no_date() {
        let mut days = [Day::Measured(10.0); 20];
        (days[9], days[10]) = (Day::Filled(10.0), Day::Filled(10.0));
        assert_eq!(dates(200.0, 200.0, &days, &outlook(&[])).earliest, Dated::Reached(119));
        days[11] = Day::Filled(10.0);
        assert_eq!(dates(200.0, 200.0, &days, &outlook(&[])).earliest, Dated::TooLittleMeasured);
        // What was reached before the hole keeps its day.
        assert_eq!(dates(50.0, 200.0, &days, &outlook(&[])).earliest, Dated::Reached(104));
        days[11] = Day::Missing;
        assert_eq!(dates(300.0, 300.0, &days, &outlook(&[])).latest, Dated::TooLittleMeasured);
    }

    #[test]
    fn in_a_standstill_nothing_is_in_sight() {
        let still = Outlook { slow: 0.0, usual: 0.0, fast: 0.0, ..outlook(&[]) };
        let found = dates(50.0, 60.0, &[], &still);
        assert_eq!(found, Dates { earliest: Dated::NotInSight, latest: Dated::NotInSight });
        let slow_year = Outlook { slow: 0.0, ..outlook(&[]) };
        assert_eq!(dates(50.0, 60.0, &[], &slow_year).latest, Dated::NotInSight);
        assert_eq!(dates(1e9, 2e9, &[], &outlook(&[])).earliest, Dated::NotInSight);
    }

    #[test]
    fn days_or_an_outlook_that_do_not_fit_are_refused() {
        let target = Target::try_new(rule(), 50.0, 60.0).unwrap();
        let other = Rule::of_numbers(Method::SingleSine, 10.0, Some(30.0), Cutoff::Horizontal).unwrap();
        let so_far = SoFar { rule: rule(), first_day: 0, days: &[] };
        let refusal = |outlook: Outlook<'_>| target.dates(&so_far, &outlook).unwrap_err();
        let unlike = target.dates(&SoFar { rule: other, ..so_far }, &outlook(&[]));
        assert!(matches!(unlike, Err(DatesError::Unlike(_))));
        assert!(matches!(refusal(Outlook { rule: other, ..outlook(&[]) }), DatesError::Unlike(_)));
        assert!(matches!(refusal(outlook(&[f64::NAN])), DatesError::NoNumber(_)));
        assert!(matches!(refusal(Outlook { slow: 11.0, ..outlook(&[]) }), DatesError::OutOfOrder { .. }));
    }

    #[test]
    fn a_milestones_range_is_what_is_known_of_an_opening() {
        let known = |earliest, latest| Known::from(Dates { earliest, latest });
        assert_eq!(known(Dated::Reached(104), Dated::Expected(122)), Known::Between(104, 122));
        assert_eq!(known(Dated::Expected(104), Dated::NotInSight), Known::Between(104, i64::MAX));
        assert_eq!(known(Dated::NotInSight, Dated::NotInSight), Known::Between(i64::MAX, i64::MAX));
        assert_eq!(known(Dated::TooLittleMeasured, Dated::TooLittleMeasured), Known::Unknown);
    }
}
