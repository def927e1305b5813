//! The site's days and clock: a day is 24 h in the frozen standard offset; clock times are civil.

use std::sync::Arc;

use agronomy::series::{MS_PER_DAY, MS_PER_HOUR};
use chrono::{DateTime, NaiveDate};

/// A day of the site, counted from 1970-01-01 in its standard offset.
pub type Day = i64;

/// Turns instants into the site's days and clock times, and back.
#[derive(Clone)]
pub struct Calendar {
    offset_ms: i64,
    civil: Arc<dyn Fn(i64) -> i32 + Send + Sync>,
}

impl Calendar {
    /// `offset_ms`: the standard offset, ms east of UTC. `civil`: seconds east of UTC in civil time at a UTC ms.
    pub fn new(offset_ms: i64, civil: Arc<dyn Fn(i64) -> i32 + Send + Sync>) -> Self {
        Self { offset_ms, civil }
    }

    /// One fixed offset for days and clock, ms east of UTC.
    pub fn fixed(offset_ms: i64) -> Self {
        Self::new(offset_ms, Arc::new(move |_| (offset_ms / 1000) as i32))
    }

    /// The standard offset, ms east of UTC.
    pub fn offset_ms(&self) -> i64 {
        self.offset_ms
    }

    /// Offset of civil time at an instant, s east of UTC.
    pub fn civil_offset_s(&self, at_ms: i64) -> i32 {
        (self.civil)(at_ms)
    }

    /// The day an instant falls in.
    pub fn day_of(&self, at_ms: i64) -> Day {
        (at_ms + self.offset_ms).div_euclid(MS_PER_DAY)
    }

    /// When a day begins, UTC ms; it ends where the next begins.
    pub fn start_of(&self, day: Day) -> i64 {
        day * MS_PER_DAY - self.offset_ms
    }

    /// Hour of the day in the standard offset, 0..24, with its fraction.
    pub fn hour_of(&self, at_ms: i64) -> f64 {
        (at_ms + self.offset_ms).rem_euclid(MS_PER_DAY) as f64 / MS_PER_HOUR as f64
    }

    /// Civil hour of the day, 0..24, with its fraction.
    pub fn civil_hour_of(&self, at_ms: i64) -> f64 {
        (at_ms + i64::from(self.civil_offset_s(at_ms)) * 1000).rem_euclid(MS_PER_DAY) as f64
            / MS_PER_HOUR as f64
    }

    /// `13:40` in civil time.
    pub fn clock(&self, at_ms: i64) -> String {
        self.civil_format(at_ms, "%H:%M")
    }

    /// `Wed 15 July` in civil time.
    pub fn weekday(&self, at_ms: i64) -> String {
        self.civil_format(at_ms, "%a %-d %B")
    }

    /// Civil time by a `strftime` pattern.
    pub fn civil_format(&self, at_ms: i64, pattern: &str) -> String {
        DateTime::from_timestamp_millis(at_ms + i64::from(self.civil_offset_s(at_ms)) * 1000)
            .map_or_else(String::new, |time| time.format(pattern).to_string())
    }
}

/// `2022-07-20`.
pub fn date(day: Day) -> String {
    DateTime::from_timestamp_millis(day.saturating_mul(MS_PER_DAY))
        .map_or_else(|| "beyond the calendar".to_owned(), |time| time.format("%Y-%m-%d").to_string())
}

/// The day with this date; `None` when it is not a date.
pub fn day(date: &str) -> Option<Day> {
    let date = NaiveDate::parse_from_str(date, "%Y-%m-%d").ok()?;
    Some(date.and_time(chrono::NaiveTime::MIN).and_utc().timestamp().div_euclid(86_400))
}

/// `2022-07-20T13:40:00Z`, with milliseconds only where there are any (ISO 8601).
pub fn iso(at_ms: i64) -> String {
    let pattern = if at_ms.rem_euclid(1000) == 0 { "%Y-%m-%dT%H:%M:%SZ" } else { "%Y-%m-%dT%H:%M:%S%.3fZ" };
    DateTime::from_timestamp_millis(at_ms).map_or_else(String::new, |time| time.format(pattern).to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_is_24_hours_of_the_standard_offset() {
        let calendar = Calendar::fixed(3_600_000);
        let day = day("2022-07-20").unwrap();
        assert_eq!(calendar.day_of(calendar.start_of(day)), day);
        assert_eq!(calendar.day_of(calendar.start_of(day) - 1), day - 1);
        assert_eq!(iso(calendar.start_of(day)), "2022-07-19T23:00:00Z");
        assert_eq!(calendar.clock(calendar.start_of(day)), "00:00");
        assert_eq!(date(day), "2022-07-20");
    }

    #[test]
    fn days_keep_their_24_hours_while_the_clock_goes_by_civil_time() {
        // Standard offset one hour east; summer time an hour more, as in central Europe since 1996 (EU directive
        // 2000/84/EC: last Sunday of March, 01:00 UTC; in 2026 the 29th).
        let change = start("2026-03-29") + 2 * MS_PER_HOUR;
        let calendar =
            Calendar::new(MS_PER_HOUR, Arc::new(move |at_ms| if at_ms < change { 3_600 } else { 7_200 }));
        assert_eq!(iso(change), "2026-03-29T01:00:00Z");
        assert_eq!(calendar.clock(change - 60_000), "01:59");
        assert_eq!(calendar.clock(change), "03:00");
        assert_eq!((calendar.hour_of(change), calendar.civil_hour_of(change)), (2.0, 3.0));
        let today = day("2026-03-29").unwrap();
        assert_eq!(calendar.start_of(today + 1) - calendar.start_of(today), MS_PER_DAY);
        assert_eq!(calendar.clock(calendar.start_of(today + 1)), "01:00", "midnight of standard time");
        assert_eq!(calendar.weekday(change), "Sun 29 March");
    }

    fn start(date: &str) -> i64 {
        Calendar::fixed(MS_PER_HOUR).start_of(day(date).unwrap())
    }

    #[test]
    fn days_before_1970_and_west_of_greenwich_begin_where_they_should() {
        let calendar = Calendar::fixed(-5 * MS_PER_HOUR);
        let day = day("1969-12-31").unwrap();
        assert_eq!(day, -1);
        assert_eq!(iso(calendar.start_of(day)), "1969-12-31T05:00:00Z");
        assert_eq!(calendar.day_of(calendar.start_of(day)), day);
        assert_eq!(calendar.hour_of(calendar.start_of(day) - 1), 24.0 - 1.0 / 3_600_000.0);
    }

    #[test]
    fn an_instant_is_written_with_milliseconds_only_where_there_are_any() {
        assert_eq!(iso(0), "1970-01-01T00:00:00Z");
        assert_eq!(iso(-1), "1969-12-31T23:59:59.999Z");
    }

    #[test]
    fn what_lies_beyond_the_calendar_is_said_not_reckoned() {
        assert_eq!(date(i64::MAX), "beyond the calendar");
        assert_eq!(date(i64::MIN), "beyond the calendar");
        assert_eq!(iso(i64::MAX), "");
        assert_eq!(Calendar::fixed(0).clock(i64::MAX), "");
    }

    #[test]
    fn nonsense_is_no_date() {
        assert_eq!(day("2022-02-30"), None);
        assert_eq!(day("yesterday"), None);
    }
}
