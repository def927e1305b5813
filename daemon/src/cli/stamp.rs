//! Instants in a sheet: ISO 8601 as programs and people write it.

use chrono::{DateTime, NaiveDateTime};

use crate::rows::shown;

/// UTC ms of `2026-07-15T13:00:00Z`: a blank for the T, no seconds, fractions of them and an offset in place of the Z
/// are understood too. Without Z and offset it is taken as UTC.
///
/// # Errors
///
/// A sentence with the cell in it.
pub(super) fn instant(name: &str, cell: Option<&[u8]>) -> Result<i64, String> {
    let cell = cell.ok_or_else(|| format!("{name} is missing: the row is too short"))?;
    let text = std::str::from_utf8(cell).ok().filter(|text| whole(text.as_bytes()));
    text.and_then(read)
        .ok_or_else(|| format!("{name} {} is no time; write it as 2026-07-15T13:00:00Z", shown(cell)))
}

/// Four, two and two digits of a date and two of an hour: anything shorter may be meant otherwise.
fn whole(text: &[u8]) -> bool {
    const SHAPE: &[u8] = b"0000-00-00T00:00";
    text.len() >= SHAPE.len()
        && text.iter().zip(SHAPE).all(|(byte, shape)| match shape {
            b'0' => byte.is_ascii_digit(),
            b'T' => matches!(byte, b'T' | b't' | b' '),
            other => byte == other,
        })
}

fn read(text: &str) -> Option<i64> {
    let text = format!("{}T{}", text.get(..10)?, text.get(11..)?);
    let text = text.strip_suffix(['Z', 'z']).unwrap_or(&text);
    let plain = ["%Y-%m-%dT%H:%M:%S%.f", "%Y-%m-%dT%H:%M"];
    let found = plain.into_iter().find_map(|form| NaiveDateTime::parse_from_str(text, form).ok());
    let found = found.map(|time| time.and_utc().timestamp_millis());
    let offset = ["%Y-%m-%dT%H:%M:%S%.f%:z", "%Y-%m-%dT%H:%M%:z"];
    found.or_else(|| {
        offset
            .into_iter()
            .find_map(|form| DateTime::parse_from_str(text, form).ok())
            .map(|time| time.timestamp_millis())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_instant_may_be_written_in_several_ways_and_means_the_same() {
        // 2024-03-31T06:00:00Z is 1711864800 s (date -d of any system).
        for text in [
            "2024-03-31T06:00:00Z",
            "2024-03-31T06:00:00",
            "2024-03-31 06:00",
            "2024-03-31T06:00Z",
            "2024-03-31T06:00:00.000Z",
            "2024-03-31 08:00:00+02:00",
            "2024-03-31T01:30-04:30",
        ] {
            assert_eq!(instant("time", Some(text.as_bytes())), Ok(1_711_864_800_000), "{text}");
        }
    }

    #[test]
    fn what_may_be_meant_otherwise_is_no_instant() {
        for text in [
            "",
            "2024-03-31",
            "24-03-31T06:00",
            "2024-3-31T06:00",
            "31.03.2024 06:00",
            "2024-03-31T25:00",
            "2024-02-30T06:00",
            "2024-03-31T06:00 h",
            "+2024-03-31T06:00",
            "2024-03-31é06:00:00",
        ] {
            let refused = instant("time", Some(text.as_bytes())).unwrap_err();
            assert!(refused.contains("is no time"), "{refused}");
        }
        assert!(instant("time", None).unwrap_err().contains("too short"));
        assert!(instant("time", Some(b"\xff\xfe24-03-31T06:00")).is_err());
    }
}
