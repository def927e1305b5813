//! Reads the stamps of many rows quickly.
//!
//! Nearly every logger writes its stamps in digits of fixed width. Such a way of writing is taken apart once,
//! and a row that keeps to it is read digit by digit; a row that does not (a day without its nought, a month
//! by name) is left to `chrono`, which reads by the same letters, only slower.

use chrono::{NaiveDate, NaiveDateTime};
use config::record::Stamps;
use config::zone::Local;

/// One part of a way of writing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Part {
    /// So many digits of a figure: its place in [`Figures`].
    Digits { figure: usize, width: usize },
    /// This byte.
    Byte(u8),
}

/// Year, month, day, hour, minute, second.
type Figures = [u32; 6];

/// A way of writing whose parts all have their fixed width; `None` for any other.
fn fixed(format: &str) -> Option<Vec<Part>> {
    let mut parts = Vec::new();
    let mut told = [false; 6];
    let mut bytes = format.bytes();
    while let Some(byte) = bytes.next() {
        if byte != b'%' {
            parts.push(Part::Byte(byte));
            continue;
        }
        let letter = bytes.next()?;
        let figure = b"YmdHMS".iter().position(|known| *known == letter)?;
        if std::mem::replace(&mut told[figure], true) {
            return None;
        }
        parts.push(Part::Digits { figure, width: if figure == 0 { 4 } else { 2 } });
    }
    // A whole date, and no time of day or one to the minute at least; chrono has rules for all others.
    let [year, month, day, hour, minute, second] = told;
    (year && month && day && hour == minute && (hour || !second)).then_some(parts)
}

fn by_parts(text: &[u8], parts: &[Part]) -> Option<NaiveDateTime> {
    let mut figures: Figures = [0; 6];
    let mut at = 0;
    for part in parts {
        match *part {
            Part::Byte(byte) => {
                if *text.get(at)? != byte {
                    return None;
                }
                at += 1;
            }
            Part::Digits { figure, width } => {
                let mut value = 0;
                for digit in text.get(at..at + width)? {
                    value = value * 10 + u32::from(digit.is_ascii_digit().then(|| digit - b'0')?);
                }
                figures[figure] = value;
                at += width;
            }
        }
    }
    let [year, month, day, hour, minute, second] = figures;
    if at != text.len() {
        return None;
    }
    NaiveDate::from_ymd_opt(year as i32, month, day)?.and_hms_opt(hour, minute, second)
}

/// Reads the stamps of one file, row after row.
pub(super) struct Clockwork<'m> {
    stamps: &'m Stamps,
    /// The first way of writing, where it is fixed.
    first: Option<Vec<Part>>,
    last_ms: i64,
}

impl<'m> Clockwork<'m> {
    pub(super) fn new(stamps: &'m Stamps) -> Self {
        let first = stamps.formats.first().and_then(|format| fixed(format));
        Self { stamps, first, last_ms: i64::MIN }
    }

    /// The moment of the record's own clock that a trimmed stamp names.
    pub(super) fn moment(&self, text: &[u8]) -> Option<NaiveDateTime> {
        // Only the first way is tried so: a text that fits a later one exactly may fit an earlier one loosely,
        // and the order of the map holds.
        let quick = self.first.as_ref().and_then(|parts| by_parts(text, parts));
        quick.or_else(|| self.stamps.moment(std::str::from_utf8(text).ok()?))
    }

    /// The instant of a moment, UTC ms, before any shift. Rows must be asked in their order.
    pub(super) fn instant_ms(&mut self, moment: NaiveDateTime) -> i64 {
        let at = match self.stamps.instant(moment, 0) {
            Local::One(at) | Local::Gap(at) => at,
            Local::Twice(earlier, later) => {
                if earlier > self.last_ms {
                    earlier
                } else {
                    later
                }
            }
        };
        self.last_ms = at;
        at
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moment(formats: &[&str], text: &str) -> Option<String> {
        let stamps = Stamps {
            columns: Vec::new(),
            formats: formats.iter().map(|format| (*format).to_owned()).collect(),
            clock: config::Zone::fixed(3600),
            shift_s: 0,
        };
        let fast = Clockwork::new(&stamps).moment(text.as_bytes());
        assert_eq!(fast, stamps.moment(text), "the quick way and chrono differ on {text:?}");
        fast.map(|moment| moment.to_string())
    }

    #[test]
    fn both_common_ways_and_odd_ones_are_read() {
        let (european, iso) = ("%d/%m/%Y %H:%M:%S", "%Y-%m-%d %H:%M:%S");
        let expected = Some("2021-06-22 11:15:00".to_owned());
        assert_eq!(moment(&[european], "22/06/2021 11:15:00"), expected);
        assert_eq!(moment(&[european], "22/6/2021 11:15:00"), expected);
        assert_eq!(moment(&[iso], "2021-06-22 11:15:00"), expected);
        assert_eq!(moment(&[european, iso], "2021-06-22 11:15:00"), expected);
        assert_eq!(moment(&["%Y%m%d %H%M"], "20210622 1115"), expected);
        assert_eq!(moment(&["%Y-%m-%dT%H:%M:%SZ"], "2021-06-22T11:15:00Z"), expected);
        assert_eq!(moment(&["%d %b %Y %H:%M"], "22 Jun 2021 11:15"), expected);
        assert_eq!(moment(&["%Y-%m-%d"], "2021-06-22"), Some("2021-06-22 00:00:00".to_owned()));
    }

    #[test]
    fn what_is_no_moment_is_none_in_either_way() {
        let iso = "%Y-%m-%d %H:%M:%S";
        for text in [
            "",
            "2021-02-30 11:15:00",
            "2021-06-22 24:15:00",
            "2021-06-22",
            "2021-06-22 11:15:00 ",
            "2021-06-22 11:15:00x",
            "2021-06-2x 11:15:00",
            "22/06/2021 11:15:00",
            "\u{fffd}",
        ] {
            let read = moment(&[iso], text.trim());
            assert_eq!(read.is_some(), text.ends_with(' '), "{text:?}");
        }
    }

    fn instants(zone: config::Zone, moments: &[&str]) -> Vec<String> {
        let stamps = Stamps {
            columns: Vec::new(),
            formats: vec!["%Y-%m-%d %H:%M".to_owned()],
            clock: zone,
            shift_s: 0,
        };
        let mut clockwork = Clockwork::new(&stamps);
        let instant = |text: &&str| {
            let moment = clockwork.moment(text.as_bytes()).unwrap();
            let at = chrono::DateTime::from_timestamp_millis(clockwork.instant_ms(moment)).unwrap();
            at.format("%d %H:%M").to_string()
        };
        moments.iter().map(instant).collect()
    }

    #[test]
    fn c7_a_logger_that_keeps_winter_time_has_no_hour_twice_and_none_missing() {
        // UTC+1 all year: each moment is the UTC hour before it, over both nights of 2021.
        let winter = || config::Zone::fixed(3600);
        let autumn = instants(winter(), &["2021-10-31 01:30", "2021-10-31 02:30", "2021-10-31 03:30"]);
        assert_eq!(autumn, ["31 00:30", "31 01:30", "31 02:30"]);
        let spring = instants(winter(), &["2021-03-28 01:30", "2021-03-28 02:30", "2021-03-28 03:30"]);
        assert_eq!(spring, ["28 00:30", "28 01:30", "28 02:30"]);
    }

    #[test]
    fn c7_a_local_hour_that_never_was_is_read_as_if_the_clocks_had_not_jumped() {
        // Python's zoneinfo finds 28 March 2021 02:00 to 03:00 in Rome with neither fold; 03:00 is 01:00 UTC.
        let zones = config::Zones::in_folder(concat!(env!("CARGO_MANIFEST_DIR"), "/../config/tests/zones"));
        let rome = || zones.load("Europe/Rome").unwrap();
        let spring = instants(rome(), &["2021-03-28 01:30", "2021-03-28 02:30", "2021-03-28 03:00"]);
        assert_eq!(spring, ["28 00:30", "28 01:30", "28 01:00"]);
        // A whole day that never was: Apia went from 29 to 31 December 2011.
        let apia = zones.load("Pacific/Apia").unwrap();
        let days = instants(apia, &["2011-12-29 23:30", "2011-12-31 00:30"]);
        assert_eq!(days, ["30 09:30", "30 10:30"]);
    }

    #[test]
    fn an_hour_that_comes_twice_is_told_apart_by_the_order_of_the_rows() {
        // RFC 9636 gives the form of the rule: to winter time on the last Sunday of October at 01:00 UTC.
        let zones = config::Zones::in_folder(concat!(env!("CARGO_MANIFEST_DIR"), "/../config/tests/zones"));
        let stamps = Stamps {
            columns: Vec::new(),
            formats: vec!["%Y-%m-%d %H:%M:%S".to_owned()],
            clock: zones.load("Europe/Rome").unwrap(),
            shift_s: 0,
        };
        let mut clockwork = Clockwork::new(&stamps);
        let mut hours = Vec::new();
        for clock in ["01:30", "02:00", "02:30", "02:00", "02:30", "03:00"] {
            let moment = clockwork.moment(format!("2021-10-31 {clock}:00").as_bytes()).unwrap();
            let at = chrono::DateTime::from_timestamp_millis(clockwork.instant_ms(moment)).unwrap();
            hours.push(at.format("%H:%M").to_string());
        }
        assert_eq!(hours, ["23:30", "00:00", "00:30", "01:00", "01:30", "02:00"]);
    }
}
