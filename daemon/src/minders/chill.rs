//! Chill: cold without frost, which sets back what comes from warm lands for days.
//!
//! Below its chilling line a tomato, a cucumber or basil stops growing, drops flowers and takes up no water (the lines
//! are the crop book's). One such night is common in spring and nobody need be woken for it: this goes to the page and
//! the letter, and leaves the word to the frost notice where frost threatens.

use agronomy::crop::Severity;

use super::ladder::{Ladder, Release, Rung};
use super::night_now::NightNow;
use super::place_now::Standing;
use super::word::{Verdict, Word};
use super::words::{limit, planting};
use crate::calendar::Calendar;
use crate::figure_words::capital;

/// How long a guess must stand before it is told, ms (practice).
const DWELL_MS: i64 = 30 * 60_000;
/// What a guess of the lowest is allowed to err, °C (common practice).
const MARGIN_C: f64 = 1.5;
/// From so many hours below the line on it is told without a guess.
const TOLD_FROM_H: f64 = 1.0;
/// It stands until the morning.
const UNTIL_MORNING: Release = Release { margin: 0.5, ms: i64::MAX / 4 };
const RUNGS: [Option<Rung>; 4] = [Some(Rung { line: 1.0, dwell_ms: DWELL_MS }), None, None, None];

/// The name of the minder.
pub const CHILL: &str = "chill";

/// The running state for one place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Chill {
    tonight: Ladder,
}

impl Chill {
    /// Takes over what was told before a restart.
    pub fn take_over(&mut self, told: Option<Severity>) {
        self.tonight.set(told);
    }

    /// Judges a place at a moment; `frost` is how bad the frost minder finds it.
    pub fn judge(&mut self, night: &NightNow<'_>, frost: Option<Severity>, calendar: &Calendar) -> Verdict {
        let place = night.place;
        let clear = |title: &str, text: String| {
            Verdict::clear(CHILL, place.place, title, format!("{}: {text}", place.name))
        };
        let Some((standing, line_c, hours)) = most_chilled(night) else {
            self.tonight = Ladder::default();
            return clear(
                "Nothing to shield from chill.",
                "nothing that chills stands here any more.".into(),
            );
        };
        if !night.is_guessed() {
            self.tonight = Ladder::default();
            let low = place.low.map_or_else(String::new, |(low, _)| format!(", lowest {low:.1} °C"));
            let name = planting(standing);
            return clear(
                "The night is over.",
                format!("{name} had {hours:.1} h below {}{low}.", limit(line_c)),
            );
        }
        let guess = night.guess();
        let value = guess.map(|guess| if guess.middle_c - MARGIN_C < line_c { 1.0 } else { 0.0 });
        let value = if hours >= TOLD_FROM_H { Some(1.0) } else { value };
        self.tonight.judge(place.now_ms, value, &RUNGS, UNTIL_MORNING);
        if frost >= Some(Severity::Moderate) {
            return clear("The frost notice says this as well.", "frost is expected or here.".to_owned());
        }
        if self.tonight.current().is_none() {
            return Verdict::unknown(CHILL, place.place);
        }
        let (at_ms, t_c) = place.air.or(place.last_air).unwrap_or((place.now_ms, f64::NAN));
        let lowest = guess.map_or_else(String::new, |guess| {
            format!(
                "; a guess from its last nights says {:.0} to {:.0} at the lowest",
                guess.low_c, guess.high_c
            )
        });
        let order = if place.kind.under_cover() { "Shut up for the night" } else { "Fleece helps tonight" };
        let word = Word {
            planting: Some(standing.planting.id.clone()),
            severity: Severity::Minor,
            push: false,
            joins_heat: false,
            title: format!("{order}: it falls below {}.", limit(line_c)),
            text: format!(
                "{}: {t_c:.1} °C at {}{lowest}. {} chill below {}, {hours:.1} h so far; each such night costs days of \
                 growth.",
                place.name,
                calendar.clock(at_ms),
                capital(&planting(standing)),
                limit(line_c)
            ),
            caution: "",
        };
        Verdict::word(CHILL, place.place, word)
    }
}

/// The planting with the highest chilling line, the line, and its hours below it tonight.
fn most_chilled<'a>(night: &'a NightNow<'_>) -> Option<(&'a Standing<'a>, f64, f64)> {
    let lines = night.place.standing.iter().zip(&night.chilled_h);
    lines
        .filter_map(|(it, hours)| Some((it, it.crop.cold.chilling.as_ref()?.hi, (*hours)?)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
}
