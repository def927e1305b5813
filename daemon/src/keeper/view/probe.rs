//! The probes at a glance: what each said last, when, and what speaks against it.

use std::collections::BTreeSet;

use super::super::engine::Engine;
use super::super::tracks::Taken;
use super::Shell;
use crate::clock::trust::span;
use crate::glance::{ProbeGlance, Stranger};
use crate::keeper::event::Counted;
use crate::minders::board::BOARD;
use crate::minders::doubtful::DOUBTFUL;
use crate::reading::{Grade, Reason};

/// From this age on a time is said with its weekday, ms.
const ANOTHER_DAY_MS: i64 = 20 * 3_600_000;

/// What one series says last.
#[derive(Debug, PartialEq)]
struct Last {
    /// The newest value that may be shown, and when it was measured, UTC ms; none where nobody knows.
    shown: Option<(f64, Option<i64>)>,
    /// What speaks against the newest that was heard.
    doubt: Option<Reason>,
}

/// What a broker kept, or what came twice, says nothing new of a probe that gives its times: it comes at each visit. Nor
/// does what is stamped years ahead hide what is heard now.
fn last(taken: &[Taken]) -> Last {
    let undated = |reason| matches!(reason, Reason::NoTime | Reason::Repeated | Reason::FromTheFuture);
    let newest = taken.iter().rev().find(|(.., reason)| !undated(*reason));
    let Some((.., reason)) = newest else {
        return Last { shown: taken.last().map(|(_, value, _)| (*value, None)), doubt: None };
    };
    let shown = taken.iter().rev().find(|(.., reason)| !undated(*reason) && reason.grade() != Grade::Refused);
    Last {
        shown: shown.map(|(at, value, _)| (*value, Some(*at))),
        doubt: (reason.grade() != Grade::Sound).then_some(*reason),
    }
}

/// Names of what hangs or was heard with a value.
fn names(engine: &Engine) -> BTreeSet<&str> {
    let now_ms = engine.now_ms();
    let hung = engine.ground.hangs.iter().filter(|hang| hang.overlaps(now_ms, now_ms + 1));
    let heard = engine.tracks.probes().into_iter().filter(|name| *name != BOARD);
    heard.chain(hung.map(|hang| hang.probe.as_str())).collect()
}

/// All probes that hang or were heard.
pub(super) fn glances(engine: &Engine, shell: &Shell) -> Vec<ProbeGlance> {
    names(engine).into_iter().map(|name| glance(engine, shell, name)).collect()
}

/// Senders of what could not be read that are no probe here.
pub(super) fn strangers(engine: &Engine, shell: &Shell) -> Vec<Stranger> {
    let known = names(engine);
    let strange = shell.malformed.iter().filter(|(name, _)| !known.contains(name.as_str()));
    strange
        .map(|(name, (count, sample))| Stranger { name: name.clone(), count: *count, sample: sample.clone() })
        .collect()
}

fn glance(engine: &Engine, shell: &Shell, name: &str) -> ProbeGlance {
    let now_ms = engine.now_ms();
    let hang = engine.ground.hang_at(name, now_ms);
    let series: Vec<_> = engine
        .tracks
        .quantities(name)
        .into_iter()
        .map(|quantity| (quantity, last(engine.tracks.taken(name, quantity, &(i64::MIN..i64::MAX)))))
        .collect();
    let doubt = series.iter().find_map(|(_, last)| last.doubt);
    let told = engine.book.get(name, DOUBTFUL);
    let heard = engine.tracks.last_heard(name, now_ms);
    let silent = heard.is_none_or(|at| now_ms - at > 2 * engine.ground.usual_interval_ms(name));
    let malformed = shell.malformed.get(name);
    ProbeGlance {
        probe: name.to_owned(),
        place: hang.map(|hang| hang.place.clone()),
        height_m: hang.and_then(|hang| hang.height_m),
        shelter: hang.and_then(|hang| hang.shelter.clone()),
        hung_since_ms: engine.ground.hung_since_ms(name),
        usual_interval_s: hang.and_then(|hang| u32::try_from(hang.usual_interval_ms / 1000).ok()),
        newest: series
            .iter()
            .filter_map(|(quantity, last)| {
                let (value, at) = last.shown?;
                Some((quantity.as_str().to_owned(), value, quantity.unit().to_owned(), at))
            })
            .collect(),
        condition: condition(engine, name, silent, doubt) + &besides(shell, name),
        silent,
        doubtful: doubt.is_some() || told.is_some(),
        asks_where: told.is_some() && hang.is_some_and(|hang| engine.asks_where(hang, &engine.book)),
        malformed: malformed.map_or(0, |(count, _)| *count),
        malformed_sample: malformed.map(|(_, sample)| sample.clone()),
    }
}

/// Sound, doubtful or silent, since when and why, in words.
fn condition(engine: &Engine, name: &str, silent: bool, doubt: Option<Reason>) -> String {
    let now_ms = engine.now_ms();
    let clock = |at: i64| {
        let calendar = &engine.site.calendar;
        let day = (now_ms - at > ANOTHER_DAY_MS).then(|| format!("{}, ", calendar.weekday(at)));
        format!("{}{}", day.unwrap_or_default(), calendar.clock(at))
    };
    let why = doubt.map_or_else(String::new, |reason| format!(": {}", reason.words()));
    match engine.tracks.last_heard(name, now_ms) {
        None if doubt.is_some() => format!("doubtful{why}"),
        None if !engine.tracks.quantities(name).is_empty() => "last known, age unknown".to_owned(),
        None => "nothing heard yet".to_owned(),
        Some(at) if silent => format!("silent since {}{why}", clock(at)),
        Some(at) if doubt.is_some() => format!("doubtful{why}, {}", clock(at)),
        Some(at) => match engine.book.get(name, DOUBTFUL) {
            Some(notice) => format!("doubtful since {}, {}", clock(notice.opened_ms), clock(at)),
            None => format!("sound, {}", clock(at)),
        },
    }
}

/// What its sender and its cable add to that.
fn besides(shell: &Shell, name: &str) -> String {
    let mut words = match shell.senders_clocks.get(name) {
        Some(Some(ahead_ms)) => format!("; node clock {} fast", span(*ahead_ms)),
        Some(None) => "; node clock never set".to_owned(),
        None => String::new(),
    };
    if let Some(pct) = shell.cables.get(name).filter(|pct| **pct > 0) {
        words += &format!("; {pct} % of its answers came damaged within an hour: look at the cable");
    }
    for (what, count) in shell.counted.get(name).into_iter().flatten() {
        words += &counted(*what, *count);
    }
    words
}

/// What is counted of a probe's messages, as a further part of its condition; nothing where there is none.
fn counted(what: Counted, count: u64) -> String {
    let plural = |one: &'static str, more: &'static str| if count == 1 { one } else { more };
    match what {
        _ if count == 0 => String::new(),
        Counted::Late => format!(
            "; {count} {} came late without times and {} for nothing: let it send the time along",
            plural("reading", "readings"),
            plural("counts", "count")
        ),
        Counted::Missing => format!("; {count} {} missing", plural("message", "messages")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn m3_m4_what_came_late_or_never_is_said_with_its_number() {
        let late = "; 180 readings came late without times and count for nothing: let it send the time along";
        assert_eq!(counted(Counted::Late, 180), late);
        assert_eq!(counted(Counted::Missing, 17), "; 17 messages missing");
        assert_eq!(counted(Counted::Missing, 1), "; 1 message missing");
        assert_eq!(counted(Counted::Missing, 0), "");
    }

    #[test]
    fn what_has_no_value_shows_the_last_that_has_one_and_why() {
        let taken = [(60_000, 21.5, Reason::None), (120_000, 0.0, Reason::Missing)];
        assert_eq!(last(&taken), Last { shown: Some((21.5, Some(60_000))), doubt: Some(Reason::Missing) });
        assert_eq!(last(&taken[1..]), Last { shown: None, doubt: Some(Reason::Missing) });
        assert_eq!(last(&[]), Last { shown: None, doubt: None });
    }

    #[test]
    fn m5_what_a_broker_kept_bears_no_age_and_hides_nothing_that_has_one() {
        let kept = (120_000, 19.0, Reason::NoTime);
        assert_eq!(last(&[kept]), Last { shown: Some((19.0, None)), doubt: None });
        let dated = (60_000, 21.5, Reason::None);
        let ahead = (i64::MAX, 25.0, Reason::FromTheFuture);
        assert_eq!(last(&[dated, ahead]), Last { shown: Some((21.5, Some(60_000))), doubt: None });
        assert_eq!(last(&[dated, kept]), Last { shown: Some((21.5, Some(60_000))), doubt: None });
    }
}
