//! When a hot spell is over.
//!
//! One cool evening is not the end: after three days below the crop's moderate line and two nights below its
//! moderate night line the plant is taken to have recovered (common practice). A day or night that was not
//! measured cannot clear it.

use super::day::Day;
use crate::units::Celsius;

/// How far a crop is from being over the heat.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Recovery {
    /// Cooler days still wanted.
    pub days_wanted: u32,
    /// Cooler nights still wanted.
    pub nights_wanted: u32,
}

impl Recovery {
    /// Cooler days in a row that end a hot spell (common practice).
    pub const DAYS: u32 = 3;
    /// Cooler nights in a row that end it (common practice).
    pub const NIGHTS: u32 = 2;

    /// Whether the spell is over.
    pub const fn is_complete(self) -> bool {
        self.days_wanted == 0 && self.nights_wanted == 0
    }
}

/// How far the last of these days are from ending a hot spell.
///
/// `day_line` and `night_line` are the crop's moderate lines; a crop without a night line wants no cooler nights.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// Common practice.
pub fn recovery(days: &[Day<'_>], day_line: Celsius, night_line: Option<Celsius>) -> Recovery {
    let cool_day = |day: &&Day<'_>| {
        day.air.in_full() && day.air.extremes().is_some_and(|(_, high)| high < day_line.get())
    };
    let cool_night = |day: &&Day<'_>, line: Celsius| {
        day.night_counts() && day.night.extremes().is_some_and(|(low, _)| low < line.get())
    };
    let cool_days = days.iter().rev().take_while(cool_day).count() as u32;
    let nights_wanted = night_line.map_or(0, |line| {
        let cool_nights = days.iter().rev().take_while(|day| cool_night(day, line)).count() as u32;
        Recovery::NIGHTS.saturating_sub(cool_nights)
    });
    Recovery { days_wanted: Recovery::DAYS.saturating_sub(cool_days), nights_wanted }
}

#[cfg(test)]
mod tests {
    use super::super::Curve;
    use super::*;

    fn celsius(value: f64) -> Celsius {
        Celsius::try_new(value).unwrap()
    }

    fn day(low: f64, high: f64) -> Day<'static> {
        let read = Curve::Extremes { low: celsius(low), high: celsius(high) };
        Day { air: read, night: read, night_ms: 1, ..Day::default() }
    }

    #[test]
    fn three_cooler_days_and_two_cooler_nights_end_it() {
        let (hot, cool) = (day(23.0, 36.0), day(18.0, 28.0));
        let of = |days: &[Day<'_>]| recovery(days, celsius(32.0), Some(celsius(21.0)));
        assert_eq!(of(&[hot, cool, cool]), Recovery { days_wanted: 1, nights_wanted: 0 });
        assert!(of(&[hot, cool, cool, cool]).is_complete());
        assert_eq!(of(&[cool, cool, hot]), Recovery { days_wanted: 3, nights_wanted: 2 });
        assert_eq!(of(&[]), Recovery { days_wanted: 3, nights_wanted: 2 });
    }

    #[test]
    fn warm_nights_alone_keep_it_open_and_unmeasured_days_too() {
        let (warm_night, cool) = (day(22.0, 28.0), day(18.0, 28.0));
        let of = |days: &[Day<'_>], night| recovery(days, celsius(32.0), night);
        assert_eq!(of(&[cool, cool, warm_night], Some(celsius(21.0))).nights_wanted, 2);
        assert!(of(&[cool, cool, warm_night], None).is_complete());
        assert_eq!(of(&[cool, cool, Day::default()], Some(celsius(21.0))).days_wanted, 3);
    }
}
