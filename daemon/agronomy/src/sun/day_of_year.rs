//! The day of the year, by which the simple formulas know the season.

use crate::series::MS_PER_DAY;

/// A number that is no day of a year.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("day {0} of the year is not within 1 to 366")]
pub struct NoDayOfYear(pub u16);

/// Number of a day in its year: 1 is 1 January, 366 the last day of a leap year.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct DayOfYear(u16);

impl DayOfYear {
    /// Takes a number.
    ///
    /// # Errors
    ///
    /// [`NoDayOfYear`] when it is 0 or above 366.
    pub const fn try_new(day: u16) -> Result<Self, NoDayOfYear> {
        if day >= 1 && day <= 366 { Ok(Self(day)) } else { Err(NoDayOfYear(day)) }
    }

    /// That of a day counted from 1970-01-01 as 0, in the Gregorian calendar.
    ///
    /// # Source
    ///
    /// The calendar's rule: 146 097 days in 400 years, 36 524 in a century, 1461 in four years.
    pub const fn of_day(day_since_1970: i64) -> Self {
        /// From 0000-03-01 to 1970-01-01. Years counted from March have their leap day last.
        const TO_MARCH: i64 = 719_468;
        let of_era = day_since_1970.rem_euclid(146_097) + TO_MARCH;
        let of_era = of_era.rem_euclid(146_097);
        let year = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
        let from_march = of_era - (365 * year + year / 4 - year / 100);
        // The civil year of January and February is the next one; the era's own year 0 counts as leap.
        let leap = year % 4 == 0 && (year % 100 != 0 || year == 0);
        let from_january = if from_march >= 306 {
            from_march - 306
        } else if leap {
            from_march + 60
        } else {
            from_march + 59
        };
        Self(from_january as u16 + 1)
    }

    /// That of the UTC day an instant falls in.
    pub const fn of_utc(ms_utc: i64) -> Self {
        Self::of_day(ms_utc.div_euclid(MS_PER_DAY))
    }

    /// The number, 1 to 366.
    pub const fn get(self) -> u16 {
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_numbered_as_on_the_wall_calendar() {
        // 1970-01-01, 1972-02-29, 1972-12-31, 1999-12-31, 2000-02-29, 2000-03-01, 2000-12-31, 2100-03-01,
        // 2100-12-31 (2100 has no leap day), 1969-12-31, 1600-12-31.
        for (day, number) in [
            (0, 1),
            (789, 60),
            (1095, 366),
            (10_956, 365),
            (11_016, 60),
            (11_017, 61),
            (11_322, 366),
            (47_541, 60),
            (47_846, 365),
            (-1, 365),
            (-134_775, 366),
        ] {
            assert_eq!(DayOfYear::of_day(day).get(), number, "{day}");
        }
    }

    #[test]
    fn every_day_follows_the_one_before_and_a_year_has_365_or_366() {
        let mut last = DayOfYear::of_day(-200_000).get();
        for day in -199_999..200_000 {
            let number = DayOfYear::of_day(day).get();
            assert!(number == last + 1 || (number == 1 && last >= 365), "{day}: {last} then {number}");
            last = number;
        }
        assert!((1..=366).contains(&DayOfYear::of_utc(i64::MIN).get()));
        assert!((1..=366).contains(&DayOfYear::of_utc(i64::MAX).get()));
    }

    #[test]
    fn what_is_no_day_is_refused() {
        assert_eq!(DayOfYear::try_new(0), Err(NoDayOfYear(0)));
        assert_eq!(
            DayOfYear::try_new(367).unwrap_err().to_string(),
            "day 367 of the year is not within 1 to 366"
        );
        assert_eq!(DayOfYear::try_new(366).unwrap().get(), 366);
    }
}
