//! The row as nearly every file has it, `2026-07-15T13:00:00Z,31.25,40.5`, read without detours.
//!
//! What looks any other way is no fault: it is `None` here, and the reader that understands everything takes over.

/// Length of `2026-07-15T`.
pub(super) const DATE: usize = 11;

/// What stands in a row behind its date; NaN where a cell is empty.
#[derive(Clone, Copy, Debug)]
pub(super) struct Plain {
    /// Time of the day, ms.
    pub since_midnight_ms: i64,
    /// Temperature, °C.
    pub air: f64,
    /// Relative humidity, %.
    pub humidity: f64,
    /// Bytes of the row with its line end.
    pub length: usize,
}

/// Reads the row with which `text` begins, from behind its date. The date itself is not looked at.
#[inline]
pub(super) fn row(text: &[u8]) -> Option<Plain> {
    let (since_midnight_ms, at) = time_of_day(text)?;
    let (air, at) = number(text, at)?;
    let at = passed(text, at, b',')?;
    let (humidity, at) = number(text, at)?;
    let at = if text.get(at) == Some(&b'\r') { at + 1 } else { at };
    let length = passed(text, at, b'\n')?;
    Some(Plain { since_midnight_ms, air, humidity, length })
}

/// The place behind a sign that must be there.
#[inline]
fn passed(text: &[u8], at: usize, sign: u8) -> Option<usize> {
    (*text.get(at)? == sign).then_some(at + 1)
}

/// `13:00`, perhaps seconds, perhaps a Z, and the comma: ms of the day, and the place behind it.
#[inline]
fn time_of_day(text: &[u8]) -> Option<(i64, usize)> {
    let eight = *text.get(DATE..)?.first_chunk::<8>()?;
    let (clock_ms, at) = match eight {
        [.., b':', _, _] => (clock_ms(eight)?, DATE + 8),
        [a, b, c, d, e, ..] => (clock_ms([a, b, c, d, e, b':', b'0', b'0'])?, DATE + 5),
    };
    let at = at + usize::from(text.get(at) == Some(&b'Z'));
    Some((clock_ms, passed(text, at, b',')?))
}

/// Ms of the day of `13:00:00`, its eight signs taken as one number.
#[inline]
fn clock_ms(signs: [u8; 8]) -> Option<i64> {
    const HIGH_BITS: u64 = 0x8080_8080_8080_8080;
    const MOST: u64 = u64::from_le_bytes([2, 9, 0, 5, 9, 0, 5, 9]);
    // What is left of each sign: a digit's worth, and nought of the colons.
    let worth = u64::from_le_bytes(signs) ^ u64::from_le_bytes(*b"00:00:00");
    // Where a sign is worth more than it may be, the subtraction borrows its high bit.
    let sound = worth & HIGH_BITS == 0 && ((MOST | HIGH_BITS).wrapping_sub(worth)) & HIGH_BITS == HIGH_BITS;
    // Each sign ten times, and the next one: no more than 99, so that nothing spills over.
    let pairs = (worth & 0x0f0f_0f0f_0f0f_0f0f) * 10 + ((worth >> 8) & 0x000f_0f0f_0f0f_0f0f);
    let [hour, _, _, minute, _, _, second, _] = pairs.to_le_bytes().map(i64::from);
    (sound && hour < 24).then_some(((hour * 60 + minute) * 60 + second) * 1000)
}

/// Tens up to those that a double holds exactly beside fifteen digits.
const TENS: [f64; 16] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// A number of at most fifteen digits, perhaps with a minus sign and a point, up to the end of its cell; NaN of an
/// empty cell. The place of the sign behind it comes with it.
///
/// Both the digits as a whole number and the power of ten are exact, so their quotient is the double nearest to what
/// is written, as the general reader gives it.
#[inline]
fn number(text: &[u8], start: usize) -> Option<(f64, usize)> {
    let first = *text.get(start)?;
    if ends_cell(first) {
        return Some((f64::NAN, start));
    }
    let negative = first == b'-';
    let whole_from = start + usize::from(negative);
    let (whole, mut at) = digits(text, whole_from, 0);
    let mut all = whole;
    let mut decimals = 0;
    let mut count = at - whole_from;
    let mut complete = count > 0;
    if text.get(at) == Some(&b'.') {
        let (with_decimals, end) = digits(text, at + 1, whole);
        decimals = end - (at + 1);
        complete &= decimals > 0;
        count += decimals;
        (all, at) = (with_decimals, end);
    }
    if !complete || count > 15 || !ends_cell(*text.get(at)?) {
        return None;
    }
    let value = all as f64 / TENS[decimals];
    Some((if negative { -value } else { value }, at))
}

#[inline]
fn ends_cell(sign: u8) -> bool {
    matches!(sign, b',' | b'\n' | b'\r')
}

/// Goes on with a whole number as far as there are digits. More than fifteen are refused by the caller, so that it
/// may wrap here.
#[inline]
fn digits(text: &[u8], mut at: usize, mut value: i64) -> (i64, usize) {
    while let Some(&sign) = text.get(at) {
        let digit = sign.wrapping_sub(b'0');
        if digit > 9 {
            break;
        }
        value = value.wrapping_mul(10).wrapping_add(i64::from(digit));
        at += 1;
    }
    (value, at)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn read(text: &str) -> Option<(i64, f64, f64, usize)> {
        row(text.as_bytes()).map(|plain| (plain.since_midnight_ms, plain.air, plain.humidity, plain.length))
    }

    #[test]
    fn the_usual_forms_are_read_in_place() {
        assert_eq!(read("2026-07-15T13:00:00Z,31.25,40.5\n20"), Some((46_800_000, 31.25, 40.5, 32)));
        assert_eq!(read("2026-07-15T13:01:30,-0.5,100\r\n"), Some((46_890_000, -0.5, 100.0, 30)));
        assert_eq!(read("2026-07-15 00:00Z,7,8\n"), Some((0, 7.0, 8.0, 22)));
        assert_eq!(read("2026-07-15T23:59,7,8\n").map(|found| found.0), Some(86_340_000));
        let missing = row(b"2026-07-15T13:00:00Z,,\n").unwrap();
        assert!(missing.air.is_nan() && missing.humidity.is_nan() && missing.length == 23);
        assert!(row(b"2026-07-15T13:00:00Z,5,\n").unwrap().humidity.is_nan());
    }

    #[test]
    fn every_second_of_a_day_is_read_and_nothing_that_is_none() {
        let mut read = 0;
        for hour in 0..100_i64 {
            for minute in 0..100_i64 {
                for second in 0..100_i64 {
                    let text = format!("2026-07-15T{hour:02}:{minute:02}:{second:02},");
                    let sound = hour < 24 && minute < 60 && second < 60;
                    let expected = sound.then_some((((hour * 60 + minute) * 60 + second) * 1000, 20));
                    assert_eq!(time_of_day(text.as_bytes()), expected, "{text}");
                    read += i32::from(sound);
                }
            }
        }
        assert_eq!(read, 86_400);
    }

    #[test]
    fn what_is_unusual_or_wrong_is_left_to_the_general_reader() {
        for text in [
            "",
            "2026-07-15T13:00:00Z,31.25,40.5",
            "2026-07-15T13:00:00Z,31.25\n",
            "2026-07-15T13:00:00Z,31.25,40.5,\n",
            "2026-07-15T13:00:00+02:00,31.25,40.5\n",
            "2026-07-15T24:00:00Z,31.25,40.5\n",
            "2026-07-15T13:60Z,31.25,40.5\n",
            "2026-07-15T1:00Z,31.25,40.5\n",
            "2026-07-15T13:00:0:Z,31.25,40.5\n",
            "2026-07-15T13:00:00Z,3e1,40.5\n",
            "2026-07-15T13:00:00Z, 31,40.5\n",
            "2026-07-15T13:00:00Z,+31,40.5\n",
            "2026-07-15T13:00:00Z,-,40.5\n",
            "2026-07-15T13:00:00Z,.5,40.5\n",
            "2026-07-15T13:00:00Z,5.,40.5\n",
            "2026-07-15T13:00:00Z,5.1.2,40.5\n",
            "2026-07-15T13:00:00Z,NaN,40.5\n",
            "2026-07-15T13:00:00Z,\"31\",40.5\n",
            "2026-07-15T13:00:00Z,1234567890.123456,40.5\n",
            "2026-07-15T13:00:00Z,99999999999999999999999999,40.5\n",
            "2026-07-15T13:00:00Z,31.25,40.5\r",
        ] {
            assert!(row(text.as_bytes()).is_none(), "{text:?}");
        }
    }

    proptest! {
        #[test]
        fn a_number_is_the_one_that_the_general_reader_finds(
            whole in 0..10_000_000_u64, decimals in 0..8_usize, tail in 0..10_000_000_u64, negative in any::<bool>(),
        ) {
            let sign = if negative { "-" } else { "" };
            let tail = &format!("{tail:08}")[..decimals];
            let point = if decimals == 0 { "" } else { "." };
            let written = format!("{sign}{whole}{point}{tail}");
            let (value, end) = number(format!("{written},").as_bytes(), 0).unwrap();
            prop_assert_eq!(value.to_bits(), written.parse::<f64>().unwrap().to_bits());
            prop_assert_eq!(end, written.len());
        }

        #[test]
        fn no_text_makes_it_panic(text in prop::collection::vec(any::<u8>(), 0..60)) {
            row(&text);
            row(&[b"2026-07-15T13:00:00Z,".as_slice(), &text].concat());
        }
    }
}
