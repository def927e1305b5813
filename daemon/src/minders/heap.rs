//! A compost heap too hot, or ready to turn.
//!
//! Turning goes by days: a heap that has clearly fallen from its peak has used up its air. Heat goes by the hour: above
//! 65 °C it kills its helpers, above 80 °C it may go on until it smoulders. Nothing is claimed of hygiene: garden heaps
//! seldom meet the rule, and where one falls short it is said plainly.

use agronomy::compost::words::DUST_CAUTION;
use agronomy::compost::{HeapAdvice, HeapCount, HeapDay, HeapRule, HeapWatch, RULE_ENDS_C};
use agronomy::crop::Severity;
use agronomy::series::MS_PER_HOUR;

use super::ladder::{Ladder, Release, Rung};
use super::place_now::PlaceNow;
use super::soil_now::SoilNow;
use super::word::{Verdict, Word};
use crate::calendar::Day;
use crate::entry::PlaceKind;

/// The name of the minder.
pub const HEAP: &str = "heap";

const fn rung(line: f64) -> Rung {
    Rung { line, dwell_ms: MS_PER_HOUR }
}

/// Common practice: 65 °C slows it, 77 °C ends the published rule, 80 °C is looked at.
const RUNGS: [Option<Rung>; 4] = [Some(rung(65.0)), Some(rung(RULE_ENDS_C)), Some(rung(80.0)), None];
const RELEASE: Release = Release { margin: 2.0, ms: MS_PER_HOUR };

/// The running state for one heap.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Heap {
    ladder: Ladder,
}

/// The days of a heap, earliest first, each with whether it was turned.
fn days(soil: &SoilNow<'_>) -> Vec<Option<HeapDay>> {
    let Some(first) = soil.days.first() else { return Vec::new() };
    let seen = |day: Day| soil.days.iter().find(|it| it.day == day).and_then(|it| it.heap);
    let turned = |day| soil.turned.contains(&day);
    (first.day..=soil.yesterday)
        .map(|day| seen(day).map(|it| HeapDay { turned: turned(day), ..it }))
        .collect()
}

/// What the closed days ask for.
fn advice(soil: &SoilNow<'_>) -> HeapAdvice {
    let mut watch = HeapWatch::default();
    let asked = days(soil).into_iter().fold(HeapAdvice::Leave, |_, day| watch.step(day));
    // Turned since: what it asked for has been done.
    if soil.turned.iter().any(|day| *day > soil.yesterday) { HeapAdvice::Leave } else { asked }
}

impl Heap {
    /// Takes over what was told before a restart.
    pub fn take_over(&mut self, told: Option<Severity>) {
        self.ladder.set(told);
    }

    /// Judges a heap at a moment; none where no probe stands in it and nothing was told.
    pub fn judge(
        &mut self,
        now: &PlaceNow<'_>,
        soil: &SoilNow<'_>,
        rule: Option<HeapRule>,
        told: bool,
    ) -> Option<Verdict> {
        if now.kind != PlaceKind::Heap {
            return None;
        }
        let hottest = soil.warmth.iter().max_by(|a, b| a.t_c.total_cmp(&b.t_c));
        self.ladder.judge(soil.at_ms, hottest.map(|it| it.t_c), &RUNGS, RELEASE);
        let by_day = advice(soil);
        let by_hour =
            hottest.and(self.ladder.current()).map_or(HeapAdvice::Leave, |severity| match severity {
                Severity::Minor => HeapAdvice::TurnTooHot,
                Severity::Moderate => HeapAdvice::OutsideRule,
                _ => HeapAdvice::Inspect,
            });
        // By day only what the hour cannot say: the heat of yesterday is over or is told by the hour.
        let by_day = if by_day <= HeapAdvice::TurnCooled { by_day } else { HeapAdvice::Leave };
        let asks = by_hour.max(by_day);
        let Some(words) = asks.words() else {
            if hottest.is_none() {
                return told.then(|| Verdict::unknown(HEAP, now.place));
            }
            let text = format!("{}: it works, and asks for nothing.", now.name);
            return Some(Verdict::clear(HEAP, now.place, "Leave the heap as it is.", text));
        };
        let warmth = hottest.map_or_else(String::new, |it| format!("{:.0} °C by {}. ", it.t_c, it.probe));
        let severity = match asks {
            HeapAdvice::Inspect => Severity::Severe,
            HeapAdvice::OutsideRule => Severity::Moderate,
            _ => Severity::Minor,
        };
        let word = Word {
            planting: None,
            severity,
            push: false,
            joins_heat: false,
            title: format!("{}: {}", now.name, order(asks)),
            text: format!("{}: {warmth}{words}{}", now.name, hygiene(soil, rule)),
            caution: DUST_CAUTION,
        };
        Some(Verdict::word(HEAP, now.place, word))
    }

    /// When time alone may change the verdict, UTC ms.
    pub fn wake(&self) -> Option<i64> {
        self.ladder.wake(&RUNGS, RELEASE)
    }
}

fn order(asks: HeapAdvice) -> &'static str {
    match asks {
        HeapAdvice::Leave => "leave it.",
        HeapAdvice::Stalled => "feel whether it is damp, loose and green enough.",
        HeapAdvice::TurnCooled => "turn it, outside to the inside.",
        HeapAdvice::TurnTooHot => "turn it, and damp it where it is dry.",
        HeapAdvice::OutsideRule => "open it up, turn it, and damp it.",
        HeapAdvice::Inspect => "look at it from upwind, water at hand.",
    }
}

/// What the count falls short of; of a rule that was met nothing is claimed, since one probe proves nothing of the edge.
fn hygiene(soil: &SoilNow<'_>, rule: Option<HeapRule>) -> String {
    let Some(rule) = rule else { return String::new() };
    let mut count = HeapCount::new(rule);
    for day in days(soil) {
        count.step(day);
    }
    if count.vessel_met() || count.windrow_met() { String::new() } else { format!(" {count}") }
}
