//! After the heat: what each planting lost, what is to be sown again, and how long pruning has to wait.
//!
//! Flowers that heat struck show weeks later as trusses without fruit; whoever knows when the gap comes can sow
//! something else in time. What is scorched still shades, so nothing is cut back before days and nights have been cooler
//! for a while.

use std::fmt::Write as _;

use agronomy::crop::Severity;
use agronomy::heat_stress::Recovery;
use agronomy::heat_stress::damage::Damage;

use super::HEAT_DOME;
use super::seen::DAWN_H;
use crate::calendar::{Calendar, Day};
use crate::entry::{Step, Turn};
use crate::figure_words::capital;
use crate::minders::heat::{ON_COURSE, TOO_HOT};
use crate::minders::word::{Verdict, Word};
use crate::minders::words::limit;

/// The name of the minder.
pub const AFTER_HEAT: &str = "after-heat";

/// The list stands no longer than this, days (practice: by then the plants show it themselves).
pub const STANDS_DAYS: Day = 14;

/// A heat wave that is over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spell {
    /// Its first day.
    pub first: Day,
    /// Its last day.
    pub last: Day,
}

/// The last heat wave that was told and is over, by its steps: one that was foretold and began, or heat that buzzed on
/// two days running. None once it was over for longer than the list stands, and while heat is told of again.
pub fn spell(told: &[Step], calendar: &Calendar, now_ms: i64) -> Option<Spell> {
    let today = calendar.day_of(now_ms);
    let since = calendar.start_of(today - STANDS_DAYS - 31);
    let lately = || told.iter().rev().take_while(|step| step.at_ms >= since).filter(|it| it.at_ms <= now_ms);
    let of_dome = |step: &&Step| step.minder == HEAT_DOME;
    if lately().find(of_dome).is_some_and(|step| step.turn != Turn::Closed) {
        return None;
    }
    let foretold = lately().filter(of_dome).find_map(|closed| {
        let of_it = || lately().filter(|step| step.notice == closed.notice);
        let first = of_it().filter(|step| step.severity == Severity::Extreme).last()?;
        let last = of_it().next()?;
        Some(Spell { first: calendar.day_of(first.at_ms), last: calendar.day_of(last.at_ms) })
    });
    // Nobody has said when heat that was only felt ends: a day without it has to pass.
    let met = buzzed(lately(), calendar).filter(|spell| spell.last < today - 1);
    let both = [foretold.filter(|spell| spell.last < today), met].into_iter().flatten();
    both.max_by_key(|spell| spell.last).filter(|spell| today - spell.last <= STANDS_DAYS)
}

/// The last days running on which heat buzzed.
fn buzzed<'a>(newest_first: impl Iterator<Item = &'a Step>, calendar: &Calendar) -> Option<Spell> {
    // That a line was in sight is no heat yet.
    let in_sight = |step: &Step| step.severity < Severity::Extreme && step.inside.contains_key(ON_COURSE);
    let hot = newest_first.filter(|step| {
        step.minder == TOO_HOT
            && step.push
            && step.severity >= Severity::Severe
            && step.turn != Turn::Closed
            && !in_sight(step)
    });
    let mut days = hot.map(|step| calendar.day_of(step.at_ms));
    let last = days.next()?;
    let first = days.fold(
        (last, true),
        |(first, on), day| if on && day >= first - 1 { (day, on) } else { (first, false) },
    );
    (first.0 < last).then_some(Spell { first: first.0, last })
}

/// What the heat did to a planting.
#[derive(Clone, Debug, PartialEq)]
pub struct Touched {
    /// Its id.
    pub planting: String,
    /// Its words.
    pub name: String,
    /// How many of its days were beyond a line of its crop.
    pub days: u32,
    /// The stage it has to have been in, where nobody noted it: `if in flower`.
    pub only_if: String,
    /// Flowers that were lost, and the gap they leave.
    pub flowers: Vec<Damage>,
    /// It is of a kind that runs to seed in such heat.
    pub bolts: bool,
    /// Below these it recovers: days, and nights where the crop has a line for them, °C.
    pub lines_c: (f64, Option<f64>),
    /// How far it is.
    pub recovery: Recovery,
    /// The day on which it had recovered.
    pub recovered: Option<Day>,
}

/// Judges the site after the heat. `open`: the list stands already. Nothing where there is nothing to say or to close.
pub fn judge(
    spell: Option<Spell>,
    touched: &[Touched],
    open: bool,
    calendar: &Calendar,
    now_ms: i64,
) -> Option<Verdict> {
    let close = |title: &str, text: String| open.then(|| Verdict::clear(AFTER_HEAT, "", title, text));
    let Some(spell) = spell else {
        return close(
            "The list for after the heat is over.",
            "Two weeks have passed, or new heat leads.".into(),
        );
    };
    if touched.is_empty() {
        return close("Nothing that stands here is left to recover.", String::new());
    }
    if touched.iter().all(|it| it.recovery.is_complete()) {
        let by = touched.iter().filter_map(|it| it.recovered).max().unwrap_or(spell.last);
        let text = format!(
            "Three days and two nights were cool enough by {}. Now cut dead tissue, then side shoots; keep leaves over \
             trusses, and take no more than a third.",
            date(by, calendar)
        );
        return close("Pruning may go on: it has been cool enough.", text);
    }
    // After the last hot day has been reckoned, before the morning letter.
    if !open && calendar.civil_hour_of(now_ms) < DAWN_H {
        return None;
    }
    let list: Vec<String> = touched.iter().map(|it| line(it, calendar)).collect();
    let word = Word {
        planting: touched.first().map(|it| it.planting.clone()),
        severity: Severity::Minor,
        push: false,
        joins_heat: false,
        title: "Water steadily, sow again, and hold hard pruning.".to_owned(),
        text: format!(
            "After the heat of {} to {}. {} Take off scorched fruit, not leaves: they shade what is left.",
            date(spell.first, calendar),
            date(spell.last, calendar),
            list.join(" ")
        ),
        caution: "",
    };
    Some(Verdict::word(AFTER_HEAT, "", word))
}

fn line(it: &Touched, calendar: &Calendar) -> String {
    let days = if it.days == 1 { "day" } else { "days" };
    let mut words = format!("{}: {} {days} beyond its line{}", capital(&it.name), it.days, it.only_if);
    let gaps = it.flowers.iter().filter_map(|flowers| flowers.gap.as_ref());
    let gaps: Vec<String> = gaps
        .map(|gap| {
            format!(
                "from about {} to {}",
                date(*gap.begins.start(), calendar),
                date(*gap.ends.end(), calendar)
            )
        })
        .collect();
    if !gaps.is_empty() {
        let _ = write!(words, "; expect fewer to pick {}", gaps.join(" and "));
    } else if !it.flowers.is_empty() {
        words.push_str("; expect a gap in picking");
    }
    if it.bolts {
        words.push_str("; what bolted, sow again in the evening, shaded and moist");
    }
    let (day_c, night_c) = it.lines_c;
    let nights = night_c.map_or_else(String::new, |line| format!(" and two nights below {}", limit(line)));
    let _ = write!(words, "; no hard pruning before three days stay below {}{nights}.", limit(day_c));
    words
}

fn date(day: Day, calendar: &Calendar) -> String {
    calendar.civil_format(calendar.start_of(day) + 12 * 3_600_000, "%-d %B")
}

#[cfg(test)]
#[path = "after_tests.rs"]
mod tests;
