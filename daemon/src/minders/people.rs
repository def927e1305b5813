//! Too hot to work inside.
//!
//! A heat index puts warmth and dampness into one figure of what a body feels (agronomy's `people`). From 29.4 °C on
//! people are to be warned, from 39.4 °C on what can wait is put off. Below that this is a line inside the notice of
//! heat and no reason to buzz; a house in which tomatoes do well is often too hot for hard work. From there on it may
//! buzz by itself, unless the heat notice of the place has: damp air strikes people long before it strikes tomatoes, and a
//! heat notice that nobody's phone rang for keeps nobody out. No hour is ever called safe: there is only a least hot one.

use agronomy::crop::Severity;
use agronomy::people::caution::{IN_THE_HOUSE, Strain};

use super::ladder::{HEAT_RELEASE, Ladder, Rung};
use super::place_now::PlaceNow;
use super::word::{Verdict, Word};
use crate::calendar::Calendar;

/// How long a band must be held before it is told, ms (practice: as for heat).
const DWELL_MS: i64 = 10 * 60_000;
/// An hour is called less hot from this on, °C.
const LESS_C: f64 = 1.0;

/// The name of the minder.
pub const PEOPLE: &str = "people";

/// What phones were told of a place's heat.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Told {
    /// A heat notice stands that has buzzed, or buzzes now. It carries the caution for people too.
    pub heat_buzzed: bool,
    /// A notice of this minder stands that has buzzed.
    pub buzzed: bool,
    /// A notice of this minder stands, or a heat notice in which it is heard.
    pub heard: bool,
}

/// The running state for one place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct People {
    ladder: Ladder,
}

fn rungs() -> [Option<Rung>; 4] {
    Strain::ALL.map(|band| Some(Rung { line: band.begins_at_c(), dwell_ms: DWELL_MS }))
}

/// The band that goes with a severity: the same four steps.
fn band(severity: Severity) -> Strain {
    Strain::ALL[severity as usize]
}

impl People {
    /// Takes over what was told before a restart.
    pub fn take_over(&mut self, told: Option<Severity>) {
        self.ladder.set(told);
    }

    /// Whether it feels too hot for anybody to go in, by what is felt now as [`judge`](Self::judge) has it.
    pub fn keeps_out(&mut self, now: &PlaceNow<'_>, felt: Option<(f64, f64)>) -> bool {
        if !now.kind.under_cover() {
            return false;
        }
        self.ladder.judge(now.now_ms, felt.map(|(felt_c, _)| felt_c), &rungs(), HEAT_RELEASE);
        self.ladder.current() >= Some(Severity::Severe)
    }

    /// Judges a place at a moment. `felt`: its heat index now (°C) and the humidity it rests on (%), where both air and
    /// humidity are held; only a place under cover is judged. `told`: what phones were told.
    pub fn judge(
        &mut self,
        now: &PlaceNow<'_>,
        felt: Option<(f64, f64)>,
        told: Told,
        calendar: &Calendar,
    ) -> Option<Verdict> {
        if !now.kind.under_cover() {
            return None;
        }
        self.keeps_out(now, felt);
        let Some(severity) = self.ladder.current() else {
            let text = felt
                .map_or_else(String::new, |(felt_c, _)| format!("{}: feels like {felt_c:.0} now.", now.name));
            return Some(Verdict::clear(PEOPLE, now.place, "Less hot to work inside.", text));
        };
        // Nobody has to be told at night that work would be hot: what only asks for care opens nothing then.
        if !now.daylight && severity < Severity::Severe && !told.heard {
            return None;
        }
        // What is felt is not known: what was told stays.
        let Some(((felt_c, rh_pct), (at_ms, t_c))) = felt.zip(now.air) else {
            return Some(Verdict::unknown(PEOPLE, now.place));
        };
        let title = if severity >= Severity::Severe {
            format!("Stay out of {}: too hot to work inside.", now.name)
        } else {
            format!("Hot to work in {}: go slowly, not alone.", now.name)
        };
        // Once it has rung it keeps its own notice until it is over: to end it while the heat goes on would ring as well.
        let by_itself = told.buzzed || (rings(severity, t_c, now) && !told.heat_buzzed);
        let word = Word {
            planting: None,
            severity,
            push: by_itself && severity >= Severity::Severe,
            joins_heat: !by_itself,
            title,
            text: format!(
                "{}: feels like {felt_c:.0} in shade, {t_c:.1} °C and {rh_pct:.0} % at {}. {}{}",
                now.name,
                calendar.clock(at_ms),
                band(severity).words(),
                least_hot(now, t_c, calendar)
            ),
            caution: IN_THE_HOUSE,
        };
        Some(Verdict::word(PEOPLE, now.place, word))
    }

    /// When time alone may change the verdict, UTC ms.
    pub fn wake(&self) -> Option<i64> {
        self.ladder.wake(&rungs(), HEAT_RELEASE)
    }
}

/// Whether it is worth a buzz. What is so each summer noon keeps nobody out whom a phone could warn: from 39.4 °C on it
/// buzzes on days out of the ordinary, or while nobody knows what is ordinary; from 46.1 °C on always.
fn rings(severity: Severity, t_c: f64, now: &PlaceNow<'_>) -> bool {
    match severity {
        Severity::Extreme => true,
        Severity::Severe => now.median_high_c.is_none() || now.out_of_the_ordinary(t_c),
        _ => false,
    }
}

/// The least hot hour of what is expected of the day, where it is less hot than now.
fn least_hot(now: &PlaceNow<'_>, t_c: f64, calendar: &Calendar) -> String {
    let least = now.expected.iter().min_by(|a, b| a.middle_c.total_cmp(&b.middle_c));
    least.filter(|it| it.middle_c < t_c - LESS_C).map_or_else(String::new, |it| {
        format!(
            " The least hot hour left today is about {}, near {:.0} °C: a guess from its last days.",
            calendar.clock(it.at_ms),
            it.middle_c
        )
    })
}
