//! Times as the standard writes them: `2002-05-24T16:49:00-07:00` (section 3.3.2).

use chrono::{FixedOffset, NaiveDate, TimeZone};

/// The moment that a text tells, UTC ms; none where it is not of the one form there is.
///
/// The offset must be there, as hours and minutes; the letter Z and fractions of a second are not allowed. UTC is to be
/// written `-00:00`; `+00:00`, which the schema lets pass, is taken too.
pub(super) fn moment(text: &str) -> Option<i64> {
    let form = b"0000-00-00T00:00:00+00:00";
    let fits = |(sign, wanted): (u8, &u8)| match wanted {
        b'0' => sign.is_ascii_digit(),
        b'+' => matches!(sign, b'+' | b'-'),
        other => sign == *other,
    };
    if text.len() != form.len() || !text.bytes().zip(form).all(fits) {
        return None;
    }
    let number = |from: usize, to: usize| text.get(from..to)?.parse::<u32>().ok();
    let date = NaiveDate::from_ymd_opt(number(0, 4)? as i32, number(5, 7)?, number(8, 10)?)?;
    let local = date.and_hms_opt(number(11, 13)?, number(14, 16)?, number(17, 19)?)?;
    let (hours, minutes) = (number(20, 22)?, number(23, 25)?);
    // XML Schema Part 2, 3.2.7.3: at most fourteen hours.
    if minutes > 59 || hours * 60 + minutes > 14 * 60 {
        return None;
    }
    let east_s = (hours * 3600 + minutes * 60) as i32;
    let offset = FixedOffset::east_opt(if text.as_bytes()[19] == b'-' { -east_s } else { east_s })?;
    Some(offset.from_local_datetime(&local).single()?.timestamp_millis())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_standards_own_example_and_utc_are_read() {
        // CAP 1.2, 3.3.2: its example is 16:49 Pacific Daylight Time; the moments by `date -u -d` of coreutils.
        assert_eq!(moment("2002-05-24T16:49:00-07:00"), Some(1_022_284_140_000));
        assert_eq!(moment("2002-05-24T23:49:00-00:00"), Some(1_022_284_140_000));
        assert_eq!(moment("2002-05-24T23:49:00+00:00"), Some(1_022_284_140_000));
    }

    #[test]
    fn any_other_form_is_refused() {
        for text in [
            "",
            "2002-05-24",
            "2002-05-24T16:49:00",
            "2002-05-24T16:49:00Z",
            "2002-05-24T16:49:00.0-07:00",
            "2002-05-24t16:49:00-07:00",
            "2002-05-24 16:49:00-07:00",
            "2002-05-24T16:49:00,07:00",
            "2002-05-24T16:49:00-0700",
            "2002-02-30T16:49:00-07:00",
            "2002-05-24T24:00:00-07:00",
            "2002-05-24T16:49:60-07:00",
            "2002-05-24T16:49:00-14:01",
            "2002-05-24T16:49:00-07:60",
            "+002-05-24T16:49:00-07:00",
            "２002-05-24T16:49:0-07:00",
        ] {
            assert_eq!(moment(text), None, "{text}");
        }
    }
}
