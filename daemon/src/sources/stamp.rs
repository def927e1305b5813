//! Times inside a message, as senders write them.
//!
//! Nothing is guessed: a rule says which form a sender uses, and a stamp that cannot be what the rule says
//! is refused. The two usual slips are caught by their size: seconds where milliseconds were promised lie in
//! January 1970, and milliseconds where seconds were promised lie tens of thousands of years ahead. A node
//! that lost its clock begins again in 1970, so nothing before 2000 is believed either.

use chrono::{DateTime, NaiveDateTime};
use serde_json::Value;

/// How a sender writes its times.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TimeFormat {
    /// RFC 3339, with its offset: `2026-07-14T15:02:00+02:00`.
    Rfc3339,
    /// Seconds since 1970, UTC; fractions are allowed.
    UnixSeconds,
    /// Milliseconds since 1970, UTC.
    UnixMilliseconds,
    /// A local time without zone, by a pattern of `strftime`, always at the same distance from UTC.
    Pattern {
        /// The pattern, as `%d/%m/%Y %H:%M`.
        pattern: String,
        /// East of UTC, s.
        offset_s: i32,
    },
}

/// Why a stamp is no time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StampFault {
    /// Not written the way the rule says.
    #[error("the time is not written as its rule says")]
    Form,
    /// The size of seconds where the rule says milliseconds.
    #[error("the time looks like seconds, its rule says milliseconds")]
    SecondsForMilliseconds,
    /// The size of milliseconds where the rule says seconds.
    #[error("the time looks like milliseconds, its rule says seconds")]
    MillisecondsForSeconds,
    /// A time nobody had this program in: the sender's clock was never set.
    #[error("the time lies before 2000: the sender's clock is not set")]
    Before2000,
    /// Past the year 9999.
    #[error("the time lies past the year 9999")]
    TooFar,
}

/// 1 January 2000, 00:00 UTC, ms.
const YEAR_2000_MS: f64 = 946_684_800_000.0;
/// 1 January 10000, 00:00 UTC, ms.
const YEAR_10000_MS: f64 = 253_402_300_800_000.0;

/// Reads a stamp; UTC milliseconds since 1970.
///
/// Numbers may also come as text, since many senders quote everything.
///
/// # Errors
///
/// [`StampFault`].
pub fn read_stamp(value: &Value, format: &TimeFormat) -> Result<i64, StampFault> {
    let ms = match format {
        TimeFormat::UnixSeconds => {
            let seconds = number(value)?;
            if (YEAR_10000_MS / 1000.0..YEAR_10000_MS).contains(&seconds) {
                return Err(StampFault::MillisecondsForSeconds);
            }
            seconds * 1000.0
        }
        TimeFormat::UnixMilliseconds => {
            let ms = number(value)?;
            if (YEAR_2000_MS / 1000.0..YEAR_10000_MS / 1000.0).contains(&ms) {
                return Err(StampFault::SecondsForMilliseconds);
            }
            ms
        }
        TimeFormat::Rfc3339 => {
            let time = DateTime::parse_from_rfc3339(text(value)?).map_err(form)?;
            time.timestamp_millis() as f64
        }
        TimeFormat::Pattern { pattern, offset_s } => {
            let local = NaiveDateTime::parse_from_str(text(value)?, pattern).map_err(form)?;
            local.and_utc().timestamp_millis() as f64 - f64::from(*offset_s) * 1000.0
        }
    };
    if ms < YEAR_2000_MS {
        Err(StampFault::Before2000)
    } else if ms >= YEAR_10000_MS {
        Err(StampFault::TooFar)
    } else {
        // Below 2^53, so every whole millisecond is exact; half of one is more than any sender knows.
        Ok(ms.round() as i64)
    }
}

/// What chrono says is wrong names no value and helps nobody more than that the form is another one.
fn form(_: chrono::ParseError) -> StampFault {
    StampFault::Form
}

fn text(value: &Value) -> Result<&str, StampFault> {
    value.as_str().map(str::trim).ok_or(StampFault::Form)
}

fn number(value: &Value) -> Result<f64, StampFault> {
    let number = match value {
        Value::Number(number) => number.as_f64(),
        Value::String(text) => super::payload::plain_number(text),
        _ => None,
    };
    number.filter(|number| number.is_finite()).ok_or(StampFault::Form)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn the_examples_of_rfc_3339_are_the_instants_it_says() {
        // RFC 3339 section 5.8: 1996-12-19T16:39:57-08:00 "is equivalent to 1996-12-20T00:39:57Z". We believe
        // nothing before 2000, so the year is another one here.
        let format = TimeFormat::Rfc3339;
        let there = read_stamp(&json!("2026-12-19T16:39:57-08:00"), &format);
        let here = read_stamp(&json!("2026-12-20T00:39:57Z"), &format);
        assert_eq!(there, here);
        assert_eq!(read_stamp(&json!("1996-12-19T16:39:57-08:00"), &format), Err(StampFault::Before2000));
        assert_eq!(read_stamp(&json!("2026-12-19T16:39:57"), &format), Err(StampFault::Form));
    }

    #[test]
    fn one_instant_is_the_same_in_every_form() {
        // `date -u -d '2026-07-14 13:02' +%s` of GNU coreutils says 1784034120.
        let instant = Ok(1_784_034_120_000);
        for (value, format) in [
            (json!("2026-07-14T15:02:00+02:00"), TimeFormat::Rfc3339),
            (json!(1_784_034_120), TimeFormat::UnixSeconds),
            (json!("1784034120"), TimeFormat::UnixSeconds),
            (json!(1_784_034_120.0), TimeFormat::UnixSeconds),
            (json!(1_784_034_120_000_i64), TimeFormat::UnixMilliseconds),
            (
                json!("14/07/2026 14:02"),
                TimeFormat::Pattern { pattern: "%d/%m/%Y %H:%M".to_owned(), offset_s: 3600 },
            ),
        ] {
            assert_eq!(read_stamp(&value, &format), instant, "{value} {format:?}");
        }
    }

    #[test]
    fn seconds_for_milliseconds_and_the_reverse_are_refused_by_name() {
        let seconds = json!(1_784_034_120_i64);
        let ms = json!(1_784_034_120_000_i64);
        assert_eq!(
            read_stamp(&seconds, &TimeFormat::UnixMilliseconds),
            Err(StampFault::SecondsForMilliseconds)
        );
        assert_eq!(read_stamp(&ms, &TimeFormat::UnixSeconds), Err(StampFault::MillisecondsForSeconds));
    }

    #[test]
    fn a_clock_that_was_never_set_is_not_believed() {
        for (value, format) in [
            (json!(0), TimeFormat::UnixSeconds),
            (json!(86_400), TimeFormat::UnixSeconds),
            (json!(86_400_000), TimeFormat::UnixMilliseconds),
            (json!("1970-01-01T00:05:00Z"), TimeFormat::Rfc3339),
            (json!("1999-12-31T23:59:59Z"), TimeFormat::Rfc3339),
        ] {
            assert_eq!(read_stamp(&value, &format), Err(StampFault::Before2000), "{value}");
        }
        assert!(read_stamp(&json!("2000-01-01T00:00:00Z"), &TimeFormat::Rfc3339).is_ok());
    }

    #[test]
    fn what_is_no_time_is_refused() {
        for format in [TimeFormat::Rfc3339, TimeFormat::UnixSeconds, TimeFormat::UnixMilliseconds] {
            for value in [json!(null), json!(true), json!("yesterday"), json!([]), json!("NaN"), json!("")] {
                assert_eq!(read_stamp(&value, &format), Err(StampFault::Form), "{value}");
            }
        }
        assert_eq!(read_stamp(&json!(1e300), &TimeFormat::UnixSeconds), Err(StampFault::TooFar));
        let broken = TimeFormat::Pattern { pattern: "%Q %".to_owned(), offset_s: 0 };
        assert_eq!(read_stamp(&json!("12"), &broken), Err(StampFault::Form));
    }
}
