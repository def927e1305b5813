//! The demo's calendar: days are counted from the local midnight before the story begins, which is day 0.

use chrono::{DateTime, FixedOffset, NaiveDate};

/// The site's standard offset and, for the whole demo, its civil time: one hour ahead of UTC, ms.
pub const OFFSET_MS: i64 = 3_600_000;
/// A minute, ms.
pub const MINUTE_MS: i64 = 60_000;
/// An hour, ms.
pub const HOUR_MS: i64 = 60 * MINUTE_MS;
/// A day, ms.
pub const DAY_MS: i64 = 24 * HOUR_MS;

/// Turns days and clock times of the site into UTC milliseconds and back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Calendar {
    midnight_ms: i64,
}

impl Calendar {
    /// The calendar in which `start_ms` (UTC ms) falls on day 0.
    pub fn new(start_ms: i64) -> Self {
        let local_days = (start_ms + OFFSET_MS).div_euclid(DAY_MS);
        Self { midnight_ms: local_days * DAY_MS - OFFSET_MS }
    }

    /// The moment, UTC ms, of a clock time on a day.
    pub fn at(self, day: i64, hour: i64, minute: i64) -> i64 {
        self.midnight_ms + day * DAY_MS + hour * HOUR_MS + minute * MINUTE_MS
    }

    /// The day in which a moment falls.
    pub fn day_of(self, at_ms: i64) -> i64 {
        (at_ms - self.midnight_ms).div_euclid(DAY_MS)
    }

    /// The calendar date of a day.
    pub fn date(self, day: i64) -> NaiveDate {
        local(self.at(day, 12, 0)).date_naive()
    }
}

/// A moment as the site's clock shows it.
///
/// Times that no calendar holds become the beginning of 1970: the demo is hundreds of millions of years from them.
pub fn local(at_ms: i64) -> DateTime<FixedOffset> {
    const OFFSET: FixedOffset = match FixedOffset::east_opt((OFFSET_MS / 1000) as i32) {
        Some(offset) => offset,
        None => panic!("an hour is a valid offset"),
    };
    DateTime::from_timestamp_millis(at_ms).unwrap_or_default().with_timezone(&OFFSET)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn day_nought_holds_the_start_from_midnight_to_midnight_of_the_site() {
        // 2026-07-13T00:30+01:00 is still the twelfth in UTC.
        let start_ms = DateTime::parse_from_rfc3339("2026-07-13T00:30:00+01:00").unwrap().timestamp_millis();
        let calendar = Calendar::new(start_ms);
        assert_eq!(calendar.at(0, 0, 30), start_ms);
        assert_eq!(calendar.day_of(calendar.at(0, 0, 0)), 0);
        assert_eq!(calendar.day_of(calendar.at(0, 0, 0) - 1), -1);
        assert_eq!(calendar.date(0).to_string(), "2026-07-13");
        assert_eq!(calendar.date(-90).to_string(), "2026-04-14");
    }
}
