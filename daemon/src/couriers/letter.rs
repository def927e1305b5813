//! The morning letter: one mail a day with the whole glance in it.
//!
//! The keeper asks [`due`] as time advances, and writes the letter into ledger and outbox like a step; so it is told
//! once, survives a restart, and is tried again like everything else that travels.

use chrono::{DateTime, FixedOffset, NaiveTime, TimeDelta};

/// A letter as it is written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// One line.
    pub subject: String,
    /// Plain text.
    pub text: String,
    /// The same in HTML.
    pub html: String,
    /// A picture of Now: a whole HTML file that loads nothing.
    pub picture: String,
}

/// How long a letter is still a morning letter, ms: also its life in the outbox.
pub const LETTER_LIFE_MS: i64 = 4 * 3_600_000;

/// The day (`YYYY-MM-DD`, civil) whose letter is to be written at `now_ms` (UTC ms), if one is.
///
/// `at` is the time of day the grower wants it, `civil_offset_s` the offset of civil time now (s east of UTC), and
/// `last` the day of the last letter written. None before the hour, after the letter's life, when this day's letter was
/// written, and for times that no calendar holds.
pub fn due(last: Option<&str>, now_ms: i64, civil_offset_s: i32, at: NaiveTime) -> Option<String> {
    let zone = FixedOffset::east_opt(civil_offset_s)?;
    let now = DateTime::from_timestamp_millis(now_ms)?.with_timezone(&zone).naive_local();
    // A letter for 23:00 is still due at 01:00: take the newest moment of the wanted hour that is past.
    let today = now.date().and_time(at);
    let wanted = if today <= now { today } else { today.checked_sub_signed(TimeDelta::days(1))? };
    let late = now - wanted;
    let date = wanted.date().format("%Y-%m-%d").to_string();
    // Not only the same day: a clock that was set back must not bring old letters again. ISO dates sort as text.
    let written = last.is_some_and(|last| last >= date.as_str());
    (!written && late < TimeDelta::milliseconds(LETTER_LIFE_MS)).then_some(date)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utc_ms(text: &str) -> i64 {
        DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis()
    }

    fn six() -> NaiveTime {
        NaiveTime::from_hms_opt(6, 0, 0).unwrap()
    }

    #[test]
    fn it_is_due_from_the_hour_on_in_civil_time_and_only_once() {
        let before = utc_ms("2031-07-02T05:59:59+02:00");
        let at = utc_ms("2031-07-02T06:00:00+02:00");
        assert_eq!(due(None, before, 7200, six()), None);
        assert_eq!(due(None, at, 7200, six()).as_deref(), Some("2031-07-02"));
        assert_eq!(due(Some("2031-07-01"), at, 7200, six()).as_deref(), Some("2031-07-02"));
        assert_eq!(due(Some("2031-07-02"), at, 7200, six()), None);
    }

    #[test]
    fn a_board_that_starts_in_the_afternoon_writes_no_morning_letter() {
        assert_eq!(
            due(None, utc_ms("2031-07-02T09:59:59+02:00"), 7200, six()).as_deref(),
            Some("2031-07-02")
        );
        assert_eq!(due(None, utc_ms("2031-07-02T10:00:00+02:00"), 7200, six()), None);
    }

    #[test]
    fn a_late_hour_reaches_over_midnight_and_keeps_its_day() {
        let at = NaiveTime::from_hms_opt(23, 0, 0).unwrap();
        assert_eq!(due(None, utc_ms("2031-07-03T01:00:00+02:00"), 7200, at).as_deref(), Some("2031-07-02"));
        assert_eq!(due(Some("2031-07-02"), utc_ms("2031-07-03T01:00:00+02:00"), 7200, at), None);
    }

    #[test]
    fn a_clock_set_back_brings_no_old_letter_again() {
        assert_eq!(due(Some("2031-07-02"), utc_ms("2031-07-01T06:30:00+02:00"), 7200, six()), None);
    }

    #[test]
    fn one_letter_on_the_days_when_the_civil_hour_jumps() {
        // Every quarter of an hour over the night the offset falls back from +2 to +1 h at 03:00 civil.
        let start = utc_ms("2031-10-25T22:00:00+00:00");
        let change = utc_ms("2031-10-26T01:00:00+00:00");
        let mut last: Option<String> = None;
        let mut written = Vec::new();
        for quarter in 0..96 {
            let now = start + quarter * 900_000;
            let offset = if now < change { 7200 } else { 3600 };
            let half_past_two = NaiveTime::from_hms_opt(2, 30, 0).unwrap();
            if let Some(date) = due(last.as_deref(), now, offset, half_past_two) {
                last = Some(date.clone());
                written.push(date);
            }
        }
        assert_eq!(written, ["2031-10-26"]);
    }
}
