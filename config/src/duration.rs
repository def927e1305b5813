//! Lengths of time as ISO 8601 writes them: `PT1H`, `P1DT6H`, `PT30M`.
//!
//! Years and months are no fixed length and are not read, nor are fractions and negative lengths: a forecast goes
//! forward in whole steps.

/// Days of milliseconds.
const DAY_MS: i64 = 86_400_000;
/// Each sign with its length, ms, in the order ISO 8601 wants them; the time signs come after the `T`.
const SIGNS: [(char, i64, bool); 5] = [
    ('W', 7 * DAY_MS, false),
    ('D', DAY_MS, false),
    ('H', 3_600_000, true),
    ('M', 60_000, true),
    ('S', 1000, true),
];

/// Reads a length, ms; `None` where the text is none or its length is nought or over a year.
///
/// # Source
///
/// ISO 8601-1:2019, 5.5.2 (durations with designators), without years, months and fractions.
pub fn duration_ms(text: &str) -> Option<i64> {
    let rest = text.strip_prefix('P')?;
    let (days, clock) = match rest.split_once('T') {
        Some((_, "")) => return None,
        Some((days, clock)) => (days, clock),
        None => (rest, ""),
    };
    let mut next = 0;
    let total = parts(days, false, &mut next)?.checked_add(parts(clock, true, &mut next)?)?;
    (1..=366 * DAY_MS).contains(&total).then_some(total)
}

/// Adds up `1D`, `6H30M`: each sign once, in order.
fn parts(mut text: &str, of_clock: bool, next: &mut usize) -> Option<i64> {
    let mut total = 0_i64;
    while !text.is_empty() {
        let end = text.find(|c: char| !c.is_ascii_digit())?;
        let sign = text[end..].chars().next()?;
        let number: i64 = text[..end].parse().ok()?;
        let (at, known) =
            SIGNS.iter().enumerate().skip(*next).find(|(_, known)| known.0 == sign && known.2 == of_clock)?;
        *next = at + 1;
        total = total.checked_add(number.checked_mul(known.1)?)?;
        text = &text[end + sign.len_utf8()..];
    }
    Some(total)
}

#[cfg(test)]
mod tests {
    use super::duration_ms;

    #[test]
    fn lengths_are_those_that_iso_8601_gives_their_signs() {
        // ISO 8601-1:2019, 5.5.2.2: P2W, P1DT12H, PT36H and PT1H30M are its forms; the lengths follow from them.
        for (text, minutes) in [
            ("PT1H", 60),
            ("PT30M", 30),
            ("PT3600S", 60),
            ("P1D", 1440),
            ("P1DT12H", 2160),
            ("PT36H", 2160),
            ("PT1H30M", 90),
            ("P2W", 20_160),
        ] {
            assert_eq!(duration_ms(text), Some(minutes * 60_000), "{text}");
        }
    }

    #[test]
    fn what_is_no_fixed_forward_length_is_none() {
        for text in [
            "",
            "P",
            "PT",
            "1H",
            "P1H",
            "PT1D",
            "P1M",
            "P1Y",
            "PT1.5H",
            "PT-1H",
            "-PT1H",
            "PT1H1H",
            "PT1M1H",
            "pt1h",
            "PT0H",
            "P1DT",
            "PTH",
            "P99999999999999999999D",
            "P400D",
            "PT1Ł",
            "P 1D",
        ] {
            assert_eq!(duration_ms(text), None, "{text}");
        }
    }
}
