//! The closing rule of a zone file: a POSIX TZ string with the extensions of RFC 9636 section 3.3.1.
//!
//! `CET-1CEST,M3.5.0,M10.5.0/3` says: standard time is one hour east (the sign is turned round), summer
//! time from the last Sunday of March at 02:00 to the last Sunday of October at 03:00, local clock.

use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveTime};

/// Larger offsets are refused: RFC 9636 section 3.2 asks for −25 h to 26 h, both excluded at most.
pub(super) const WIDEST: i32 = 26 * 3600;

/// Standard time, and summer time if there is any \[s east of UTC\].
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Rule {
    standard: i32,
    summer: Option<Summer>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
struct Summer {
    offset: i32,
    start: Change,
    end: Change,
}

/// A day of every year, and seconds after its midnight (may be negative or beyond the day).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Change {
    day: Day,
    time: i32,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Day {
    /// `Jn`: 1 to 365, 29 February never counted.
    Julian(u32),
    /// `n`: 0 to 365, 29 February counted.
    Ordinal(u32),
    /// `Mm.w.d`: weekday d (0 is Sunday) of week w (5 is the last) of month m.
    Weekday { month: u32, week: u32, day: u32 },
}

impl Rule {
    /// Reads the string; `None` if it is not sound.
    pub(super) fn parse(text: &str) -> Option<Self> {
        let mut rest = text;
        name(&mut rest)?;
        let standard = -time(&mut rest, 24)?;
        if rest.is_empty() {
            return Some(Self { standard, summer: None });
        }
        name(&mut rest)?;
        let offset = if rest.starts_with(',') { standard + 3600 } else { -time(&mut rest, 24)? };
        let start = change(&mut rest)?;
        let end = change(&mut rest)?;
        let sound = rest.is_empty() && standard.abs() < WIDEST && offset.abs() < WIDEST;
        sound.then_some(Self { standard, summer: Some(Summer { offset, start, end }) })
    }

    /// Offset of standard time \[s east of UTC\].
    pub(super) fn standard(&self) -> i32 {
        self.standard
    }

    /// Offset in force at an instant \[s since 1970 UTC\].
    pub(super) fn offset_at(&self, utc: i64) -> i32 {
        let Some(summer) = &self.summer else { return self.standard };
        let Some(when) = DateTime::from_timestamp(utc, 0) else { return self.standard };
        // The local year can differ from that of UTC, and a change can be told from the year beside its
        // own (times run from −167 to 167 hours), so three years are looked at.
        let mut latest = (i64::MIN, false);
        for year in when.year() - 1..=when.year() + 1 {
            for (change, before, starts) in
                [(summer.start, self.standard, true), (summer.end, summer.offset, false)]
            {
                // Where both fall on one instant, summer time wins: so a zone writes "summer all year".
                if let Some(at) = change.instant(year, before)
                    && at <= utc
                    && (at, starts) > latest
                {
                    latest = (at, starts);
                }
            }
        }
        if latest.1 { summer.offset } else { self.standard }
    }
}

impl Change {
    /// The instant in a year \[s since 1970 UTC\], given the offset in force before it.
    fn instant(self, year: i32, before: i32) -> Option<i64> {
        let midnight = self.day.in_year(year)?.and_time(NaiveTime::MIN).and_utc().timestamp();
        Some(midnight + i64::from(self.time) - i64::from(before))
    }
}

impl Day {
    fn in_year(self, year: i32) -> Option<NaiveDate> {
        let new_year = NaiveDate::from_ymd_opt(year, 1, 1)?;
        match self {
            Self::Julian(day) => {
                let leap_day = u32::from(new_year.leap_year() && day >= 60);
                new_year.checked_add_days(Days::new(u64::from(day - 1 + leap_day)))
            }
            Self::Ordinal(day) => new_year.checked_add_days(Days::new(u64::from(day))),
            Self::Weekday { month, week, day } => {
                let first = NaiveDate::from_ymd_opt(year, month, 1)?;
                let ahead = (7 + day - first.weekday().num_days_from_sunday()) % 7;
                let date = first.checked_add_days(Days::new(u64::from(ahead + 7 * (week - 1))))?;
                // The fifth of its kind is the last: four weeks on where there are only four.
                if date.month() == month { Some(date) } else { date.checked_sub_days(Days::new(7)) }
            }
        }
    }
}

/// Skips a name: letters, or anything but `>` in angle brackets.
fn name(rest: &mut &str) -> Option<()> {
    if let Some(quoted) = rest.strip_prefix('<') {
        *rest = quoted.split_once('>')?.1;
        return Some(());
    }
    let end = rest.find(|c: char| !c.is_ascii_alphabetic()).unwrap_or(rest.len());
    *rest = &rest[end..];
    (end >= 3).then_some(())
}

/// Reads digits up to a limit.
fn digits(rest: &mut &str, limit: u32) -> Option<u32> {
    let end = rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len());
    let value = rest[..end].parse().ok().filter(|value| *value <= limit);
    *rest = &rest[end..];
    value
}

/// Reads `[+-]hh[:mm[:ss]]` \[s\].
fn time(rest: &mut &str, most_hours: u32) -> Option<i32> {
    let sign = if rest.starts_with('-') { -1 } else { 1 };
    *rest = rest.strip_prefix(['+', '-']).unwrap_or(rest);
    let mut seconds = digits(rest, most_hours)? * 3600;
    for unit in [60, 1] {
        let Some(after) = rest.strip_prefix(':') else { break };
        *rest = after;
        seconds += digits(rest, 59)? * unit;
    }
    Some(sign * seconds as i32)
}

/// Reads `,day[/time]`; the time is 02:00 if not told.
fn change(rest: &mut &str) -> Option<Change> {
    *rest = rest.strip_prefix(',')?;
    let day = if let Some(after) = rest.strip_prefix('M') {
        *rest = after;
        let month = digits(rest, 12).filter(|month| *month >= 1)?;
        *rest = rest.strip_prefix('.')?;
        let week = digits(rest, 5).filter(|week| *week >= 1)?;
        *rest = rest.strip_prefix('.')?;
        Day::Weekday { month, week, day: digits(rest, 6)? }
    } else if let Some(after) = rest.strip_prefix('J') {
        *rest = after;
        Day::Julian(digits(rest, 365).filter(|day| *day >= 1)?)
    } else {
        Day::Ordinal(digits(rest, 365)?)
    };
    let Some(after) = rest.strip_prefix('/') else { return Some(Change { day, time: 2 * 3600 }) };
    *rest = after;
    Some(Change { day, time: time(rest, 167)? })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seconds(text: &str) -> i64 {
        DateTime::parse_from_rfc3339(text).unwrap().timestamp()
    }

    #[test]
    fn the_examples_of_rfc_9636_mean_what_it_says() {
        // RFC 9636 section 3.3.1: "<-03>3<-02>,M3.5.0/-2,M10.5.0/-1" is summer time from 22:00 on the day
        // before the last Sunday of March to 23:00 on the day before the last Sunday of October.
        let rule = Rule::parse("<-03>3<-02>,M3.5.0/-2,M10.5.0/-1").unwrap();
        assert_eq!(rule.offset_at(seconds("2026-03-28T21:59:59-03:00")), -3 * 3600);
        assert_eq!(rule.offset_at(seconds("2026-03-28T22:00:00-03:00")), -2 * 3600);
        assert_eq!(rule.offset_at(seconds("2026-10-24T22:59:59-02:00")), -2 * 3600);
        assert_eq!(rule.offset_at(seconds("2026-10-24T23:00:00-02:00")), -3 * 3600);
        // The same section: "EST5EDT,0/0,J365/25" is summer time all year.
        let always = Rule::parse("EST5EDT,0/0,J365/25").unwrap();
        for at in
            ["2026-01-01T00:00:00Z", "2026-01-01T04:59:59Z", "2026-07-01T00:00:00Z", "2028-12-31T23:59:59Z"]
        {
            assert_eq!(always.offset_at(seconds(at)), -4 * 3600, "{at}");
        }
    }

    #[test]
    fn unsound_rules_are_refused() {
        let bad = "|C-1|CET|CET-|CET-25|CET-1CEST|CET-1CEST,M13.5.0,M10.5.0|CET-1CEST,M3.0.0,M10.5.0|\
                   CET-1CEST,M3.5.0|CET-1CEST,M3.5.0,M10.5.0x|CET-1CEST,J0,J1|<CET-1|CET-1CEST,M3.5.0/168,M10.5.0|\
                   CET-99999999999|é";
        for text in bad.split('|') {
            assert_eq!(Rule::parse(text), None, "{text}");
        }
    }
}
