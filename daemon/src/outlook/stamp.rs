//! Stamps of ISO 8601 as forecasts write them.
//!
//! With `Z` or an offset a stamp is an instant. Without one it is the reading of somebody's clock, and means nothing
//! unless the field map says whose. Once a year such a clock shows an hour that was not, and once an hour twice: the
//! first is passed over, and of the second the later follows the earlier.

use chrono::{DateTime, NaiveDateTime};
use config::Zone;
use config::zone::Local;

/// What a stamp means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Instant {
    /// This instant, UTC ms.
    At(i64),
    /// One of two, UTC ms: its hour came twice.
    Either(i64, i64),
    /// None: the clock jumped over it.
    Never,
}

/// Reads a stamp: `2026-07-14T15:00Z`, `2026-07-14T15:00:00+02:00`, or with `clock` `2026-07-14T15:00`. A blank may
/// stand for the `T`. `None` where it is none, or has no offset and there is no clock.
pub fn read(text: &str, clock: Option<&Zone>) -> Option<Instant> {
    let text = text.trim();
    if let Some(local) = ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S%.f", "%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S%.f"]
        .iter()
        .find_map(|form| NaiveDateTime::parse_from_str(text, form).ok())
    {
        return Some(match clock?.local(local.and_utc().timestamp_millis()) {
            Local::One(at) => Instant::At(at),
            Local::Twice(earlier, later) => Instant::Either(earlier, later),
            Local::Gap(_) => Instant::Never,
        });
    }
    // `Z` is no offset to the patterns of chrono, and the offset may lack its colon.
    let zoned = text.strip_suffix(['Z', 'z']).map_or_else(|| text.to_owned(), |rest| format!("{rest}+00:00"));
    let forms =
        ["%Y-%m-%dT%H:%M%#z", "%Y-%m-%dT%H:%M:%S%.f%#z", "%Y-%m-%d %H:%M:%S%.f%#z", "%Y-%m-%d %H:%M%#z"];
    let at = forms.iter().find_map(|form| DateTime::parse_from_str(&zoned, form).ok())?;
    Some(Instant::At(at.timestamp_millis()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `date -u -d '2026-07-14 13:00' +%s` of GNU coreutils says 1784034000.
    const AT: i64 = 1_784_034_000_000;

    #[test]
    fn one_instant_is_the_same_in_every_form() {
        let cest = Zone::fixed(7200);
        for text in [
            "2026-07-14T13:00Z",
            "2026-07-14T13:00:00Z",
            "2026-07-14T13:00:00.000Z",
            "2026-07-14T15:00:00+02:00",
            "2026-07-14T15:00+0200",
            "2026-07-14T15:00+02",
            "2026-07-14 15:00:00+02:00",
            " 2026-07-14T08:00-05:00 ",
        ] {
            assert_eq!(read(text, None), Some(Instant::At(AT)), "{text}");
            assert_eq!(read(text, Some(&cest)), Some(Instant::At(AT)), "{text}: its own offset goes first");
        }
        assert_eq!(read("2026-07-14T15:00", Some(&cest)), Some(Instant::At(AT)));
        assert_eq!(read("2026-07-14T15:00:00", Some(&cest)), Some(Instant::At(AT)));
    }

    #[test]
    fn a_stamp_without_offset_is_none_unless_the_map_names_its_clock() {
        assert_eq!(read("2026-07-14T15:00", None), None);
        for text in [
            "",
            "now",
            "2026-07-14",
            "2026-13-14T15:00Z",
            "15:00",
            "2026-07-14T25:00Z",
            "20260714T1500Z",
            "1784034000",
        ] {
            assert_eq!(read(text, Some(&Zone::fixed(0))), None, "{text}");
        }
    }
}
