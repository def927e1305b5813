//! What of the forecasts is kept.
//!
//! A service is asked every hour and mostly says the same again. The ledger keeps what was told for good, so it is not
//! written down more often than it is worth: every three hours, or at once where the next three days changed by more
//! than a degree. Eight days of it are kept: after that it says little more than the season.

use agronomy::series::{MS_PER_DAY, MS_PER_HOUR};

use super::even::Hour;
use super::parse::Hours;
use crate::entry::Forecast;

/// How far back and how far ahead of the present is kept, ms.
const BACK_MS: i64 = MS_PER_DAY;
const AHEAD_MS: i64 = 8 * MS_PER_DAY;
/// Least time between two that are kept, ms.
const SELDOM_MS: i64 = 3 * MS_PER_HOUR;
/// A change that is kept at once, °C, and in which time ahead, ms.
const CHANGED_C: f64 = 1.0;
const SOON_MS: i64 = 3 * MS_PER_DAY;

/// A forecast in the form the ledger keeps.
pub fn forecast(read: &Hours, now_ms: i64) -> Forecast {
    let kept = |hour: &&Hour| (now_ms - BACK_MS..=now_ms + AHEAD_MS).contains(&hour.at_ms);
    let hours: Vec<&Hour> = read.hours.iter().filter(kept).collect();
    let column = |of: fn(&Hour) -> Option<f64>| {
        let told: Vec<Option<i16>> = hours.iter().map(|hour| of(hour).map(tenths)).collect();
        if told.iter().any(Option::is_some) { told } else { Vec::new() }
    };
    Forecast {
        issued_ms: read.issued_ms,
        start_ms: hours.first().map_or(now_ms, |hour| hour.at_ms),
        step_min: 60,
        air: hours.iter().map(|hour| tenths(hour.air_c)).collect(),
        humidity: column(|hour| hour.humidity_pct),
        wind: column(|hour| hour.wind_m_s),
        light: column(|hour| hour.light_w_m2),
        rain: column(|hour| hour.rain_mm),
    }
}

/// The reader lets nothing pass that would not fit: 1500 W/m² are 15 000 tenths.
fn tenths(value: f64) -> i16 {
    libm::round(value * 10.0).clamp(f64::from(i16::MIN), f64::from(i16::MAX)) as i16
}

/// Whether a forecast is to be written down after the one that was last: told at a moment, UTC ms.
pub fn worth_keeping(last: Option<(i64, &Forecast)>, new: &Forecast, now_ms: i64) -> bool {
    let Some((told_ms, last)) = last else { return true };
    if last == new || new.issued_ms < last.issued_ms {
        return false;
    }
    let changed = new.furthest_from(last, now_ms, now_ms + SOON_MS);
    now_ms - told_ms >= SELDOM_MS || changed.is_none_or(|by_c| by_c > CHANGED_C)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(air_c: f64) -> Hours {
        let hour = |at: i64| Hour { at_ms: at * MS_PER_HOUR, air_c, wind_m_s: Some(1.26), ..Hour::default() };
        Hours { issued_ms: 0, hours: (-48..300).map(hour).collect() }
    }

    #[test]
    fn a_day_back_and_eight_days_ahead_are_kept_in_tenths_and_what_was_not_told_takes_no_room() {
        let kept = forecast(&read(21.26), 0);
        assert_eq!((kept.start_ms, kept.air.len()), (-24 * MS_PER_HOUR, 24 + 8 * 24 + 1));
        assert_eq!((kept.air[0], kept.wind[0], kept.humidity.len()), (213, Some(13), 0));
        let json = serde_json::to_string(&crate::entry::Note::Outlook(kept.clone())).unwrap();
        assert!(json.len() < 3000 && !json.contains("humidity"), "{} bytes", json.len());
        assert_eq!(
            serde_json::from_str::<crate::entry::Note>(&json).unwrap(),
            crate::entry::Note::Outlook(kept)
        );
    }

    #[test]
    fn one_is_written_down_every_three_hours_or_when_it_changed_by_more_than_a_degree() {
        let at = |air_c: f64, issued_h: i64| Forecast {
            issued_ms: issued_h * MS_PER_HOUR,
            ..forecast(&read(air_c), 0)
        };
        let last = at(30.0, 0);
        let worth = |new: &Forecast, now_h: i64| worth_keeping(Some((0, &last)), new, now_h * MS_PER_HOUR);
        assert!(worth_keeping(None, &last, 0));
        assert!(!worth(&at(30.9, 1), 1) && worth(&at(31.2, 1), 1) && worth(&at(28.8, 1), 1));
        assert!(worth(&at(30.9, 3), 3), "after three hours even if little changed");
        assert!(!worth(&last, 30), "the very same is not news however late it is");
        assert!(!worth(&at(40.0, -1), 5), "one that is older than what is known is no news");
        let mut far = at(30.0, 1);
        let end = far.air.len();
        far.air[end - 24..].fill(450);
        assert!(!worth(&far, 1), "a change a week ahead can wait");
    }
}
