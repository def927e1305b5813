//! Weeks, hours and ticks: how times and values become small numbers.

/// A week, ms. Chunks hold one each, counted from 1970 in the site's standard offset.
pub(super) const WEEK_MS: i64 = 604_800_000;
/// An hour, ms.
pub(super) const HOUR_MS: i64 = 3_600_000;
/// Weeks that have a number: a chunk's id leaves sixteen bits for them, until the year 3226.
const WEEKS: i64 = 65_536;
/// The last of them.
pub(super) const LAST_WEEK: i64 = WEEKS - 1;
/// The latest time that can be stored, UTC ms, whatever the offset.
pub(super) const MOST_MS: i64 = (WEEKS - 2) * WEEK_MS;

/// The week of a time.
pub(super) fn week(at_ms: i64, offset_ms: i64) -> i64 {
    at_ms.saturating_add(offset_ms).div_euclid(WEEK_MS).clamp(0, LAST_WEEK)
}

/// When a week starts, UTC ms.
pub(super) fn start_ms(week: i64, offset_ms: i64) -> i64 {
    week * WEEK_MS - offset_ms
}

/// The number of a chunk row.
pub(super) fn chunk_id(series: i64, week: i64) -> i64 {
    series * WEEKS + week
}

/// Series and week of a chunk row.
pub(super) fn of_chunk(id: i64) -> (i64, i64) {
    (id.div_euclid(WEEKS), id.rem_euclid(WEEKS))
}

/// Ticks in one unit.
pub(super) fn per_unit(decimals: u8) -> f64 {
    f64::from(10_u32.pow(u32::from(decimals.min(9))))
}

/// A value in ticks, to the nearest.
pub(super) fn ticks(value: f64, decimals: u8) -> i32 {
    (value * per_unit(decimals)).round() as i32
}

/// The value of so many ticks: the number nearest to its decimal form.
pub(super) fn value(ticks: i32, decimals: u8) -> f64 {
    f64::from(ticks) / per_unit(decimals)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weeks_start_at_midnight_of_the_standard_offset() {
        // 1970-01-01T00:00:00+02:00 is 22:00 UTC of the day before, and begins week 0.
        assert_eq!(start_ms(0, 7_200_000), -7_200_000);
        assert_eq!(week(WEEK_MS - 7_200_000, 7_200_000), 1);
        assert_eq!(week(WEEK_MS - 7_200_001, 7_200_000), 0);
        assert_eq!(of_chunk(chunk_id(3, 2_900)), (3, 2_900));
    }

    #[test]
    fn a_decimal_of_the_series_comes_back_as_the_number_it_reads_as() {
        for hundredths in -9_999_i32..=9_999 {
            let text = format!(
                "{}{}.{:02}",
                if hundredths < 0 { "-" } else { "" },
                hundredths.abs() / 100,
                hundredths.abs() % 100
            );
            let read: f64 = text.parse().unwrap();
            assert_eq!(value(ticks(read, 2), 2), read, "{text}");
        }
        assert_eq!(value(ticks(21.374, 2), 2), 21.37);
        assert_eq!(ticks(f64::INFINITY, 2), i32::MAX);
    }
}
