//! The board itself: too hot, weakly fed, its clock not believed, its card slow.
//!
//! A board in a greenhouse gets as hot as the tomatoes, and throttles itself or stops; a thin cable lets its voltage
//! sag until writes go wrong; a worn card first takes long and then fails. None of this harms a plant, and all of it
//! ends the watching: it goes to the page and the letter, and nobody is woken for it.

use agronomy::crop::Severity;

use super::word::{Verdict, Word};
use crate::calendar::Calendar;
use crate::entry::lost;

/// The probe that the board itself is, and the place of its notices.
pub const BOARD: &str = "board";
/// The board is too hot.
pub const BOARD_HOT: &str = "board-hot";
/// Its supply is weak.
pub const SUPPLY: &str = "board-supply";
/// Its clock is not believed.
pub const CLOCK: &str = "board-clock";
/// Its card lost what it had reported as stored.
pub const LYING_CARD: &str = "lying-card";
/// A loss is told for so long, ms.
pub const LOSS_MS: i64 = 7 * 86_400_000;
/// Its card is slow.
pub const SLOW_CARD: &str = "slow-card";

/// From here on a board is hot, °C (practice: most throttle themselves at 80 to 85).
const HOT_C: f64 = 80.0;
/// Below this it is cool again, °C.
const COOL_C: f64 = 75.0;
/// Writes that took long in a day, from which on the card is called slow (practice).
const SLOW_WRITES: usize = 3;

/// A word about the board: minor or moderate, never a push.
pub(super) fn word(minder: &'static str, severity: Severity, title: &str, text: String) -> Verdict {
    let word = Word {
        planting: None,
        severity,
        push: false,
        joins_heat: false,
        title: title.to_owned(),
        text,
        caution: "",
    };
    Verdict::word(minder, BOARD, word)
}

/// Judges the board's temperature by its sound readings of the last half hour, °C: hot when two in a row are, ten
/// minutes apart.
pub fn hot(lately_c: &[f64]) -> Verdict {
    let [.., before, last] = lately_c else { return Verdict::unknown(BOARD_HOT, BOARD) };
    if before.min(*last) >= HOT_C {
        let title = "Give the board shade and air: it is too hot.";
        let text = format!(
            "Board: {last:.0} °C, {HOT_C:.0} is its limit. It slows down, then stops: then nobody watches."
        );
        return word(BOARD_HOT, Severity::Moderate, title, text);
    }
    if before.max(*last) < COOL_C {
        let text = format!("Board: {last:.0} °C.");
        return Verdict::clear(BOARD_HOT, BOARD, "The board is cool again.", text);
    }
    Verdict::unknown(BOARD_HOT, BOARD)
}

/// Judges the board's supply by its readings of the last six hours: 1 sound, 0 weak.
pub fn supply(lately: &[f64]) -> Verdict {
    if lately.iter().any(|sound| *sound < 0.5) {
        let title = "Give the board a better supply: its voltage sags.";
        let text = "Board: the voltage fell too low within the last six hours. A shorter or thicker cable, a stronger \
                    supply, fewer things plugged into it; until then writes may go wrong. Switch off before rewiring.";
        return word(SUPPLY, Severity::Moderate, title, text.to_owned());
    }
    if lately.len() < 6 {
        return Verdict::unknown(SUPPLY, BOARD);
    }
    Verdict::clear(SUPPLY, BOARD, "The supply holds again.", "Board: no low voltage for six hours.")
}

/// Judges the clock: `doubt` is why it is not believed.
pub fn clock(doubt: Option<&str>) -> Verdict {
    match doubt {
        Some(doubt) => {
            let title = "Say on the page what time it is.";
            let text =
                format!("Board: {doubt}. Heat is watched all the same; dates follow once the time is known.");
            word(CLOCK, Severity::Minor, title, text)
        }
        None => Verdict::clear(CLOCK, BOARD, "The time is known.", "Board: the clock is believed."),
    }
}

/// Judges the card by what it lost in the last week: UTC ms, readings.
pub fn lying_card(losses: &[(i64, u64)], calendar: &Calendar) -> Verdict {
    let Some((at_ms, _)) = losses.last() else {
        let text = "Board: no further loss was seen, for a week or since a backup was put back. A card that lied once is \
                    not to be trusted.";
        return Verdict::clear(LYING_CARD, BOARD, "No further loss was seen.", text);
    };
    // A page may say any number.
    let readings = losses.iter().fold(0_u64, |sum, (_, readings)| sum.saturating_add(*readings));
    let title = format!("The card lost {}. Replace it.", lost(readings));
    let times =
        if losses.len() > 1 { format!("{} times in a week, last ", losses.len()) } else { String::new() };
    let text = format!(
        "Board: {times}found on {}, {}. A page that stood open had seen more than the ledger held after the start: the \
         card reports as stored what it has not stored, or an older copy of the card was put back. Make a backup, \
         “glasshour ledger backup”, and go on with another card.",
        calendar.weekday(*at_ms),
        calendar.clock(*at_ms)
    );
    word(LYING_CARD, Severity::Moderate, &title, text)
}

/// Judges the card by the writes of the last day that took long: UTC ms, s.
pub fn slow_card(slow: &[(i64, i64)], calendar: &Calendar) -> Verdict {
    let Some((at_ms, worst_s)) = slow.iter().copied().max_by_key(|(_, seconds)| *seconds) else {
        let text = "Board: no write took long for a day.";
        return Verdict::clear(SLOW_CARD, BOARD, "The card is quick again.", text);
    };
    if slow.len() < SLOW_WRITES {
        return Verdict::unknown(SLOW_CARD, BOARD);
    }
    let title = "Make a backup, and try another card.";
    let text = format!(
        "Board: the card took {worst_s} s for one write at {}, and long for {} in a day. A worn card first takes long \
         and then fails: “glasshour ledger backup”.",
        calendar.clock(at_ms),
        slow.len()
    );
    word(SLOW_CARD, Severity::Minor, title, text)
}

#[cfg(test)]
mod tests {
    use super::super::word::Says;
    use super::*;

    fn stands(verdict: &Verdict) -> bool {
        matches!(&verdict.says, Says::Word(word) if !word.push)
    }

    fn clears(verdict: &Verdict) -> bool {
        matches!(verdict.says, Says::Clear { .. })
    }

    #[test]
    fn s10_a_board_is_hot_at_eighty_twice_in_a_row_and_cool_below_seventy_five() {
        // FAULTS S10; 80 °C for ten minutes: practice.
        assert!(stands(&hot(&[60.0, 80.0, 80.1])));
        assert_eq!(hot(&[79.9, 80.1]).says, Says::Unknown);
        assert_eq!(hot(&[80.1]).says, Says::Unknown);
        assert_eq!(hot(&[75.0, 74.0]).says, Says::Unknown);
        assert!(clears(&hot(&[80.0, 74.9, 74.0])));
    }

    #[test]
    fn s10_one_sag_of_the_supply_is_told_and_six_hours_without_take_it_back() {
        assert!(stands(&supply(&[1.0, 0.0, 1.0, 1.0])));
        assert!(clears(&supply(&[1.0; 36])));
        assert_eq!(supply(&[1.0; 5]).says, Says::Unknown);
        assert_eq!(supply(&[]).says, Says::Unknown);
    }

    #[test]
    fn s3_a_card_that_lost_readings_is_to_be_replaced() {
        let calendar = Calendar::fixed(0);
        let told = |losses: &[(i64, u64)]| match lying_card(losses, &calendar).says {
            Says::Word(word) => (word.title, word.text),
            other => panic!("{other:?}"),
        };
        let (title, text) = told(&[(60_000, 41)]);
        assert_eq!(title, "The card lost 41 readings it had promised to keep. Replace it.");
        assert!(text.starts_with("Board: found on Thu 1 January, 00:01."), "{text}");
        assert!(text.contains("or an older copy of the card was put back"), "{text}");
        let (title, text) = told(&[(0, 1), (60_000, 0)]);
        assert_eq!(title, "The card lost 1 reading it had promised to keep. Replace it.");
        assert!(text.contains("2 times in a week"), "{text}");
        // What a page says may be made up.
        assert!(told(&[(0, u64::MAX), (60_000, 2)]).0.contains(&u64::MAX.to_string()));
        assert!(clears(&lying_card(&[], &calendar)));
    }

    #[test]
    fn s9_the_third_slow_write_in_a_day_is_told_with_the_worst() {
        let calendar = Calendar::fixed(0);
        assert_eq!(slow_card(&[(0, 6), (60_000, 22)], &calendar).says, Says::Unknown);
        let told = slow_card(&[(0, 6), (60_000, 22), (120_000, 5)], &calendar);
        let Says::Word(word) = told.says else { panic!("{told:?}") };
        assert!(word.text.contains("took 22 s for one write at 00:01"), "{}", word.text);
        assert!(clears(&slow_card(&[], &calendar)));
    }
}
