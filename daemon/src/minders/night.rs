//! Warm night: a sentence in the evening, a fact in the morning, never a push.
//!
//! The night's low is expected to differ from last night's as this evening's air differs from yesterday
//! evening's (own method, and said to be a guess).

use agronomy::crop::Severity;

use super::book::Book;
use super::place_now::PlaceNow;
use super::word::{Verdict, Word};
use super::words::{limit, plural};
use crate::figure_words::capital;

/// The name of the minder.
pub const WARM_NIGHT: &str = "warm-night";

/// Judges a place at a moment: opens in the evening, closes in the morning with what came.
pub fn judge(now: &PlaceNow<'_>, book: &Book) -> Option<Verdict> {
    let open = book.get(now.place, WARM_NIGHT).is_some();
    if open && (8.0..20.0).contains(&now.civil_hour) {
        let text = now.low.map_or_else(
            || format!("{}: too little was heard in the night to say.", now.name),
            |(low, _)| format!("{}: lowest of the night {low:.1} °C.", now.name),
        );
        return Some(Verdict::clear(WARM_NIGHT, now.place, "The night is over.", text));
    }
    if open || !(21.0..24.0).contains(&now.civil_hour) {
        return None;
    }
    let (_, t_c) = now.air?;
    let expected = now.low?.0 + (t_c - now.yesterday_c?);
    let (tender, line) = now
        .standing
        .iter()
        .filter_map(|it| it.lines.night_moderate_c.map(|line| (it, line)))
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    if expected < line {
        return None;
    }
    let order = if now.kind.under_cover() { "Leave everything open." } else { "Water at dawn, not now." };
    let word = Word {
        planting: Some(tender.planting.id.clone()),
        severity: Severity::Minor,
        push: false,
        joins_heat: false,
        title: format!("Tonight stays above {}. {order}", limit(line)),
        text: format!(
            "{}: {t_c:.1} °C now; a guess from last night says about {expected:.0} at the lowest. {} want less than \
             {} at night.",
            now.name,
            capital(&plural(&tender.crop)),
            limit(line)
        ),
        caution: "",
    };
    Some(Verdict::word(WARM_NIGHT, now.place, word))
}
