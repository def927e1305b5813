//! What became of the time between two runs of the service.
//!
//! The monotonic clock tells a board that was off or started anew from a stop of the program: it runs from when the board
//! was switched on. If it went back since the last run, or says another start of the board, the board itself was off.
//! Nobody need be asked, and it works behind a sandbox that hides the kernel's own name for a boot. What it cannot tell is
//! when a run without goodbye ended: that may have been long after it stored last, where readings come by the hour, and it
//! is told as "up to".

use crate::entry::BoardNews;
use crate::ledger::LastRun;

/// A stop shorter than this with the board left on is no news, ms: an upgrade, a change of settings.
const NEWS_MS: i64 = 120_000;
/// Two moments at which the board was switched on that lie no further apart are one, ms: the time service may have set the
/// wall clock right in between.
const SAME_START_MS: i64 = 600_000;

/// What is entered of the time between the last run and this one, which began at `began_mono_ms` and whose wall time less
/// monotonic time is `offset_ms`. `ran_ms`: when it ran again after the last absence that was entered, UTC ms. None where
/// nothing is known, or nothing worth telling.
pub(super) fn absence(
    last: &LastRun,
    ran_ms: Option<i64>,
    began_mono_ms: i64,
    offset_ms: i64,
) -> Option<BoardNews> {
    let goodbye = last.goodbye_mono_ms.is_some();
    let last_mono_ms = last.goodbye_mono_ms.or(last.stored_mono_ms)?;
    let since_ms = ran_ms.unwrap_or(i64::MIN).max(last_mono_ms + last.offset_ms?);
    let until_ms = began_mono_ms + offset_ms;
    let board = began_mono_ms < last_mono_ms || (offset_ms - last.offset_ms?).abs() > SAME_START_MS;
    let away_ms = until_ms - since_ms;
    let told = away_ms > 0 && (away_ms >= NEWS_MS || (board && !goodbye));
    told.then_some(BoardNews::Off { since_ms, until_ms, board, goodbye })
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTE: i64 = 60_000;
    const ON: i64 = 1_780_272_000_000;

    /// A run on a board switched on at `ON`, which stored last an hour later.
    fn cut() -> LastRun {
        LastRun { boot: 3, goodbye_mono_ms: None, stored_mono_ms: Some(60 * MINUTE), offset_ms: Some(ON) }
    }

    /// What is told of a start at a wall time, by a board that has been on for so long.
    fn told(last: LastRun, wall_ms: i64, on_ms: i64) -> Option<(i64, bool, bool)> {
        match absence(&last, None, on_ms, wall_ms - on_ms)? {
            BoardNews::Off { since_ms, until_ms, board, goodbye } => {
                assert_eq!(until_ms, wall_ms);
                Some(((until_ms - since_ms) / MINUTE, board, goodbye))
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn s1_s2_a_power_cut_is_told_from_a_program_that_was_killed() {
        let end = ON + 60 * MINUTE;
        assert_eq!(told(cut(), end + 7 * MINUTE, MINUTE), Some((7, true, false)));
        // A board that has been on for longer than the last run was old, and yet was switched on later.
        assert_eq!(told(cut(), end + 120 * MINUTE, 90 * MINUTE), Some((120, true, false)));
        assert_eq!(told(cut(), end + 7 * MINUTE, 67 * MINUTE), Some((7, false, false)));
        // The time service set the clock by some seconds meanwhile.
        assert_eq!(told(cut(), end + 7 * MINUTE, 67 * MINUTE - 9_000), Some((7, false, false)));
    }

    #[test]
    fn a_short_stop_is_no_news_but_a_short_power_cut_is() {
        let end = ON + 60 * MINUTE;
        assert_eq!(told(cut(), end + MINUTE, 61 * MINUTE), None);
        assert_eq!(told(cut(), end + MINUTE, MINUTE / 2), Some((1, true, false)));
        let asked = LastRun { goodbye_mono_ms: Some(60 * MINUTE), ..cut() };
        assert_eq!(told(asked, end + MINUTE, MINUTE / 2), None);
        assert_eq!(told(asked, end + 60 * MINUTE, MINUTE), Some((60, true, true)));
    }

    #[test]
    fn what_was_told_of_an_absence_before_is_not_told_again() {
        let end = ON + 60 * MINUTE;
        let told = |ran_ms| absence(&cut(), ran_ms, MINUTE, end + 8 * MINUTE - MINUTE);
        let off = |since_ms| {
            Some(BoardNews::Off { since_ms, until_ms: end + 8 * MINUTE, board: true, goodbye: false })
        };
        assert_eq!(told(Some(end - 90 * MINUTE)), off(end));
        assert_eq!(told(Some(end + 5 * MINUTE)), off(end + 5 * MINUTE));
        assert_eq!(told(Some(end + 8 * MINUTE)), None);
    }

    #[test]
    fn nothing_is_told_of_a_run_whose_end_has_no_date_or_seems_to_come_later() {
        let end = ON + 60 * MINUTE;
        assert_eq!(told(LastRun { offset_ms: None, ..cut() }, end + 60 * MINUTE, MINUTE), None);
        assert_eq!(told(LastRun { stored_mono_ms: None, ..cut() }, end + 60 * MINUTE, MINUTE), None);
        assert_eq!(told(cut(), end - MINUTE, MINUTE), None);
    }
}
