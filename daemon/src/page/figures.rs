//! How every figure on the page, in the letter and in the drawings is written.
//!
//! One place decides about decimals and clocks: measured temperatures to 0.1 °C, advice to 0.5, vapour-pressure
//! deficit to 0.1 kPa, degree days whole, litres to 0.5, less than a litre to 0.1; the 24-hour clock in civil time.

use chrono::{DateTime, Datelike, FixedOffset, NaiveDate, NaiveDateTime, Offset, Utc};

use crate::entry::UNDATED_BELOW_MS;
use crate::glance::{Glance, LitresGlance, PlantingGlance};
use crate::minders::pots::dose;

/// The time of what was told while nobody vouched for the clock.
const NOT_KNOWN: &str = "an hour not known";
/// Milliseconds in an hour.
pub(crate) const HOUR_MS: i64 = 3_600_000;

/// Civil time: an offset from UTC, s.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Civil(pub(crate) i32);

impl Civil {
    fn local(self, ms: i64) -> DateTime<FixedOffset> {
        let utc = DateTime::from_timestamp_millis(ms).unwrap_or(DateTime::<Utc>::UNIX_EPOCH);
        let offset = FixedOffset::east_opt(self.0).unwrap_or_else(|| Utc.fix());
        utc.with_timezone(&offset)
    }

    /// `13:09`; "an hour not known" for what was told before anybody knew the time.
    pub(crate) fn clock(self, ms: i64) -> String {
        if ms < UNDATED_BELOW_MS {
            return NOT_KNOWN.to_owned();
        }
        self.local(ms).format("%H:%M").to_string()
    }

    /// Now, as the head of a page says it: its day as given, and the clock; that nobody knows the time while nobody vouches
    /// for it.
    pub(crate) fn head(self, glance: &Glance, day: fn(Self, i64) -> String) -> String {
        if glance.board.clock_vouched_by.is_none() {
            return "the time is not known yet".to_owned();
        }
        format!("{}, {}", day(self, glance.at_ms), self.clock(glance.at_ms))
    }

    /// Hours since midnight, 0..24.
    pub(crate) fn hour_of_day(self, ms: i64) -> f64 {
        (ms + i64::from(self.0) * 1000).rem_euclid(24 * HOUR_MS) as f64 / HOUR_MS as f64
    }

    /// `Wed 15 July`.
    pub(crate) fn day(self, ms: i64) -> String {
        self.local(ms).format("%a %-d %B").to_string()
    }

    /// `Wed 15`.
    pub(crate) fn short_day(self, ms: i64) -> String {
        self.local(ms).format("%a %-d").to_string()
    }

    /// `Wednesday`.
    pub(crate) fn weekday(self, ms: i64) -> String {
        self.local(ms).format("%A").to_string()
    }

    /// `Wednesday 15 July`.
    pub(crate) fn long_day(self, ms: i64) -> String {
        self.local(ms).format("%A %-d %B").to_string()
    }

    /// `15 July`, with the year where it is another one than that of `now_ms`.
    pub(crate) fn date(self, ms: i64, now_ms: i64) -> String {
        let (then, now) = (self.local(ms), self.local(now_ms));
        then.format(if then.year() == now.year() { "%-d %B" } else { "%-d %B %Y" }).to_string()
    }

    /// `13:09` for the same civil day as `now_ms`, otherwise `13 July, 13:09`.
    pub(crate) fn when(self, ms: i64, now_ms: i64) -> String {
        if ms < UNDATED_BELOW_MS || self.local(ms).date_naive() == self.local(now_ms).date_naive() {
            self.clock(ms)
        } else {
            format!("{}, {}", self.date(ms, now_ms), self.clock(ms))
        }
    }

    /// The calendar day as `YYYY-MM-DD`.
    pub(crate) fn iso_day(self, ms: i64) -> String {
        self.local(ms).format("%Y-%m-%d").to_string()
    }

    /// The moment of a date-and-time field (`2026-07-15T13:00`), UTC ms; the seconds may be there.
    pub(crate) fn moment(self, field: &str) -> Option<i64> {
        let local = NaiveDateTime::parse_from_str(field, "%Y-%m-%dT%H:%M")
            .or_else(|_| NaiveDateTime::parse_from_str(field, "%Y-%m-%dT%H:%M:%S"))
            .ok()?;
        Some(local.and_utc().timestamp_millis() - i64::from(self.0) * 1000)
    }
}

/// A calendar day, where the text is one (`2026-07-15`).
pub(crate) fn calendar_day(text: &str) -> Option<NaiveDate> {
    NaiveDate::parse_from_str(text, "%Y-%m-%d").ok()
}

/// `15 July` from `2026-07-15`; the text itself where it is no day.
pub(crate) fn day_words(text: &str) -> String {
    calendar_day(text).map_or_else(|| text.to_owned(), |day| day.format("%-d %B").to_string())
}

fn signed(text: String) -> String {
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().all(|c| c == '0' || c == '.') => digits.to_owned(),
        Some(digits) => format!("−{digits}"),
        None => text,
    }
}

/// A measured temperature, a deficit in kPa, hours: one decimal.
pub(crate) fn tenth(value: f64) -> String {
    signed(format!("{value:.1}"))
}

/// A temperature in advice, litres: to the half, whole ones without a decimal.
pub(crate) fn half(value: f64) -> String {
    let halves = (value * 2.0).round() / 2.0;
    if halves.fract() == 0.0 { whole(halves) } else { signed(format!("{halves:.1}")) }
}

/// A whole number with the thousands set off: `1,522`.
pub(crate) fn whole(value: f64) -> String {
    let digits = format!("{:.0}", value.abs());
    let mut grouped = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index) % 3 == 0 {
            grouped.push(',');
        }
        grouped.push(digit);
    }
    if value < 0.0 && digits != "0" { format!("−{grouped}") } else { grouped }
}

/// A planting's sum with what was filled in and what is not in it: `642 degree days, 38 of them filled in for 6 days`.
pub(crate) fn degree_days(planting: &PlantingGlance) -> String {
    let sum = whole(planting.degree_days);
    let unit = if sum == "1" { "degree day" } else { "degree days" };
    let not_measured = not_measured(planting).map_or_else(String::new, |words| format!(", {words}"));
    format!("{sum} {unit}{not_measured}")
}

/// What of a sum was filled in, and what is not in it: `38 of them filled in for 6 days, 2 days could not be reckoned`.
pub(crate) fn not_measured(planting: &PlantingGlance) -> Option<String> {
    let days = |count: u32| if count == 1 { "1 day".to_owned() } else { format!("{count} days") };
    let filled =
        || format!("{} of them filled in for {}", whole(planting.filled), days(planting.filled_days));
    let missing = || format!("{} could not be reckoned", days(planting.missing_days));
    let words = [(planting.filled_days > 0).then(filled), (planting.missing_days > 0).then(missing)];
    let words: Vec<String> = words.into_iter().flatten().collect();
    (!words.is_empty()).then(|| words.join(", "))
}

/// A range in advice: `38 to 41`; one figure where both ends round to the same.
pub(crate) fn range(low: f64, high: f64) -> String {
    let (low, high) = (half(low), half(high));
    if low == high { low } else { format!("{low} to {high}") }
}

/// A share of time: `99 %`. A share that is not whole never reads as 100 %.
pub(crate) fn share(value: f64) -> String {
    let percent = (value * 100.0).round();
    let percent = if value < 1.0 { percent.min(99.0) } else { percent };
    format!("{percent:.0} %")
}

/// A length of time in words: `80 minutes`, `5 h`, `3 days`.
pub(crate) fn span(ms: i64) -> String {
    let minutes = (ms.max(0) + 30_000) / 60_000;
    match minutes {
        0 => "less than a minute".to_owned(),
        1 => "1 minute".to_owned(),
        2..=119 => format!("{minutes} minutes"),
        120..=2879 => format!("{} h", (minutes + 30) / 60),
        _ => format!("{} days", (minutes + 720) / 1440),
    }
}

/// "1 warm night", "3 warm nights".
pub(crate) fn warm_nights(count: u32) -> String {
    format!("{count} warm {}", if count == 1 { "night" } else { "nights" })
}

/// What each plant needs today, and all of them: "3 litres each today, 36 in all, reckoned from …".
pub(crate) fn water_words(count: Option<u32>, water: &LitresGlance) -> String {
    format!("{}, {}", litres_words(count, water, " today"), water.assumption)
}

/// The same without what it rests on, with the day in words or without: "3 litres each, 36 in all".
pub(crate) fn litres_words(count: Option<u32>, water: &LitresGlance, day: &str) -> String {
    if water.each < 0.05 {
        return format!("no water needed{day}");
    }
    let all = count.filter(|count| *count > 1).map(|count| water.each * f64::from(count));
    let all = all.map_or_else(String::new, |all| format!(", {} in all", dose(all)));
    let each = dose(water.each);
    let litres = if each == "1" { "litre" } else { "litres" };
    format!("{each} {litres} each{day}{all}")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 15 July 2026, 11:09:00 UTC (by `date -u -d @1784113740`).
    const MOMENT: i64 = 1_784_113_740_000;

    #[test]
    fn clock_times_and_days_are_civil() {
        let civil = Civil(7200);
        assert_eq!(civil.clock(MOMENT), "13:09");
        assert_eq!(civil.long_day(MOMENT), "Wednesday 15 July");
        assert_eq!(civil.when(MOMENT - 48 * HOUR_MS, MOMENT), "13 July, 13:09");
        assert_eq!(civil.moment("2026-07-15T13:09"), Some(MOMENT));
        assert_eq!(civil.moment("yesterday"), None);
    }

    #[test]
    fn measured_figures_have_one_decimal_and_no_negative_nought() {
        assert_eq!(tenth(36.44), "36.4");
        assert_eq!(tenth(-0.04), "0.0");
        assert_eq!(tenth(-3.25), "−3.2");
    }

    #[test]
    fn advice_is_to_the_half() {
        assert_eq!(half(36.3), "36.5");
        assert_eq!(half(36.2), "36");
        assert_eq!(range(37.9, 41.1), "38 to 41");
        assert_eq!(range(37.9, 38.1), "38");
    }

    #[test]
    fn degree_days_are_whole_and_thousands_are_set_off() {
        assert_eq!(whole(1521.6), "1,522");
        assert_eq!(whole(-1234567.0), "−1,234,567");
        assert_eq!(whole(-0.2), "0");
    }

    #[test]
    fn a_share_short_of_whole_never_reads_as_whole() {
        assert_eq!(share(0.9999), "99 %");
        assert_eq!(share(1.0), "100 %");
    }

    #[test]
    fn lengths_of_time_are_said_in_words() {
        assert_eq!(span(80 * 60_000), "80 minutes");
        assert_eq!(span(5 * HOUR_MS), "5 h");
        assert_eq!(span(72 * HOUR_MS), "3 days");
    }
}
