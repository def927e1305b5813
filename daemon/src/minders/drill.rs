//! The drill: a marked notice through every courier, so that somebody has tried whether word arrives before it matters.

use agronomy::crop::Severity;

use super::word::{Verdict, Word};
use crate::calendar::Calendar;
use crate::entry::{Entry, Note};

/// The name of the minder.
pub const DRILL: &str = "drill";
/// How long a drill stands if nobody answers it, ms.
const STANDS_MS: i64 = 30 * 60_000;

/// Judges at a moment (`opened_ms`: when the drill that stands was opened, if one does): a drill stands for half an
/// hour after it was asked for. One that is asked for while another stands ends that and goes every way anew: what was
/// sent before the mail server broke says nothing of now.
pub fn judge(entries: &[Entry], calendar: &Calendar, now_ms: i64, opened_ms: Option<i64>) -> Vec<Verdict> {
    let over = || Verdict::clear(DRILL, "", "The drill is over.", "Nothing was wrong.");
    let asked = entries.iter().rev().find(|entry| matches!(entry.note, Note::Drill {}));
    let Some(asked) = asked.filter(|entry| now_ms < entry.at_ms + STANDS_MS) else { return vec![over()] };
    let earlier = opened_ms.filter(|opened| *opened < asked.at_ms);
    let word = Word {
        planting: None,
        severity: Severity::Minor,
        push: true,
        joins_heat: false,
        title: "Drill: did this come?".to_owned(),
        text: format!(
            "This is a drill, asked for at {}. Nothing is wrong in the garden. Answer “on it”, and the page says that \
             it came.",
            calendar.clock(asked.at_ms)
        ),
        caution: "",
    };
    earlier.map(|_| over()).into_iter().chain([Verdict::word(DRILL, "", word)]).collect()
}

/// When a drill that stands is over, UTC ms.
pub fn wake(entries: &[Entry], now_ms: i64) -> Option<i64> {
    let over = |entry: &Entry| matches!(entry.note, Note::Drill {}).then_some(entry.at_ms + STANDS_MS);
    entries.iter().rev().find_map(over).filter(|over| *over > now_ms)
}
