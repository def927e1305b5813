//! Frost: expected in the evening, while there is time to cover; and now, where the probe hangs.
//!
//! Water freezes at 0 °C, but a leaf under a clear sky is one to three degrees colder than the air beside it, so frost
//! among the leaves begins at about half a degree at canopy height (from memory). What a night does depends on what
//! stands there: tomatoes are lost where cabbages are not even marked, and these bear less after a warm spell than
//! hardened.
//!
//! Frost may push, where it threatens something tender, or what is known to be near its end. All else goes to the page
//! and the letter: a bed of cabbages sees frost all winter.

use agronomy::crop::Severity;
use agronomy::heat_stress::cold::FROST_AIR;

use super::ladder::{HEAT_RELEASE, Ladder, Release, Rung};
use super::night_now::{Cold, From, Guess, NightNow, named};
use super::word::{Verdict, Word};
use super::words::{limit, pace, plural};
use crate::calendar::Calendar;

const MINUTE: i64 = 60_000;
/// How long the air must stand below a line before frost is told (practice: as for heat).
const DWELL_MS: i64 = 10 * MINUTE;
/// How long a guess must stand before it is told (practice).
const GUESS_DWELL_MS: i64 = 30 * MINUTE;
/// What is expected stands until the morning: a guess that wavers about a line tells nobody that all is well.
const UNTIL_MORNING: Release = Release { margin: 0.5, ms: i64::MAX / 4 };
/// A planting nearer to its death than this wants covering, °C (common practice).
const FLEECE_C: f64 = 2.0;

/// The name of the minder.
pub const FROST: &str = "frost";

/// Stands beside every notice of frost.
pub const COLD_CAUTION: &str = "No unvented flame, candle, charcoal or engine in a closed house, and a carbon monoxide \
    alarm where people are; headache or sleepiness: out into the air, call for help. Mind ice on paths and \
    ladders. Local frost warnings, local rules, the label and a licensed trade come first.";

/// The running state for one place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Frost {
    now: Ladder,
    tonight: Ladder,
    /// What was guessed last tonight.
    guess: Option<Guess>,
}

/// Steps of what is expected: nothing, moderate, severe as 0, 1, 2.
const EXPECTED: [Option<Rung>; 4] = [
    None,
    Some(Rung { line: 1.0, dwell_ms: GUESS_DWELL_MS }),
    Some(Rung { line: 2.0, dwell_ms: GUESS_DWELL_MS }),
    None,
];

/// The lines of frost now. Cold climbs downwards, so the ladder's lines and values are negated.
fn rungs(cold: &[Cold<'_>], hardened: Option<bool>) -> [Option<Rung>; 4] {
    let rung = |line_c: f64| Rung { line: -line_c, dwell_ms: DWELL_MS };
    let first = |lines: &mut dyn Iterator<Item = f64>| lines.reduce(f64::max).map(rung);
    let tender = cold.iter().filter(|it| it.tender).map(|it| it.lines.damage.get().max(FROST_AIR));
    let hardy = || cold.iter().filter(|it| !it.tender);
    let deadly = hardy().filter(|_| hardened.is_some()).map(|it| it.lines.lethal.get());
    [
        (!cold.is_empty()).then(|| rung(FROST_AIR)),
        first(&mut hardy().map(|it| it.lines.damage.get())),
        first(&mut tender.chain(deadly)),
        None,
    ]
}

impl Frost {
    /// Takes over what was told before a restart. Which of the two it was is not told apart: both ladders stand on it,
    /// and the wrong one is left after its release, or in the morning.
    pub fn take_over(&mut self, told: Option<Severity>) {
        self.now.set(told);
        self.tonight.set(told);
    }

    /// How bad it is, or is expected to become tonight.
    pub fn severity(&self) -> Option<Severity> {
        self.now.current().max(self.tonight.current())
    }

    /// Judges a place at a moment.
    pub fn judge(&mut self, night: &NightNow<'_>, calendar: &Calendar) -> Verdict {
        let place = night.place;
        let cold = night.cold();
        let Some(tenderest) = cold.first() else {
            self.take_over(None);
            let text = format!("{}: nothing stands here any more.", place.name);
            return Verdict::clear(FROST, place.place, "Nothing to cover.", text);
        };
        let air = place.air.map(|(_, t_c)| -t_c);
        self.now.judge(place.now_ms, air, &rungs(&cold, night.hardened), HEAT_RELEASE);
        if night.is_guessed() {
            let guess = night.guess();
            self.guess = guess.or(self.guess);
            let worst = guess.map(|guess| cold.iter().filter_map(|it| night.risk(it, guess.middle_c)).max());
            let value = worst.map(|worst| worst.map_or(0.0, |severity| f64::from(severity as u8)));
            self.tonight.judge(place.now_ms, value, &EXPECTED, UNTIL_MORNING);
        } else {
            (self.tonight, self.guess) = (Ladder::default(), None);
        }
        let Some(severity) = self.severity() else {
            return Verdict::clear(FROST, place.place, "The frost is over.", last_words(night));
        };
        let (title, text) = if self.now.current() == Some(severity) {
            (now_title(night, &cold), self.now_text(night, &cold, severity, calendar))
        } else {
            (expected_title(night, &cold, self.guess), expected_text(night, tenderest, self.guess, calendar))
        };
        let word = Word {
            planting: Some(tenderest.standing.planting.id.clone()),
            severity,
            push: severity >= Severity::Severe,
            joins_heat: false,
            title,
            text,
            caution: COLD_CAUTION,
        };
        Verdict::word(FROST, place.place, word)
    }

    /// When time alone may change the verdict, UTC ms.
    pub fn wake(&self, night: &NightNow<'_>) -> Option<i64> {
        let now = self.now.wake(&rungs(&night.cold(), night.hardened), HEAT_RELEASE);
        now.into_iter().chain(self.tonight.wake(&EXPECTED, UNTIL_MORNING)).min()
    }

    fn now_text(
        &self,
        night: &NightNow<'_>,
        cold: &[Cold<'_>],
        severity: Severity,
        calendar: &Calendar,
    ) -> String {
        let place = night.place;
        let (at_ms, t_c) = place.air.or(place.last_air).unwrap_or((place.now_ms, f64::NAN));
        let since = self.now.above_since(severity);
        let since = since.map_or_else(String::new, |since| format!(", since {}", calendar.clock(since)));
        let what = match cold.iter().find(|it| t_c <= it.lines.damage.get().max(FROST_AIR)) {
            Some(it) => format!(
                "{} are harmed at {}{}; what freezes is lost, so cover and do not touch it frozen",
                plural(&it.standing.crop),
                limit(it.lines.damage.get()),
                state(night)
            ),
            None => "water may freeze".to_owned(),
        };
        let head = format!("{}: {t_c:.1} °C at {}", place.name, calendar.clock(at_ms));
        format!("{head}{}{since}; {what}.", pace(place.pace_c_per_h))
    }
}

/// Whole degrees, and no "-0".
pub(super) fn whole(celsius: f64) -> String {
    format!("{:.0}", libm::round(celsius) + 0.0)
}

/// Whether what stands is used to cold, where that is known.
pub(super) fn state(night: &NightNow<'_>) -> &'static str {
    match night.hardened {
        Some(true) => ", hardened",
        Some(false) => ", not hardened",
        None => "",
    }
}

/// What wants covering: what the night may bring within two degrees of its death.
pub(super) fn to_cover(night: &NightNow<'_>, cold: &[Cold<'_>], low_c: f64) -> String {
    let leaf_c = low_c - night.leaf_below_c();
    let near = cold.iter().filter(|it| leaf_c - it.lines.lethal.get() < FLEECE_C);
    named(near.map(|it| it.standing))
}

fn now_title(night: &NightNow<'_>, cold: &[Cold<'_>]) -> String {
    let t_c = night.place.air.or(night.place.last_air).map_or(FROST_AIR, |(_, t_c)| t_c);
    match to_cover(night, cold, t_c).as_str() {
        "" => format!("Frost in {}.", night.place.name),
        names if night.place.kind.under_cover() => format!("Frost now: shut the house, fleece over {names}."),
        names => format!("Frost now: fleece over {names}."),
    }
}

fn expected_title(night: &NightNow<'_>, cold: &[Cold<'_>], guess: Option<Guess>) -> String {
    let low_c = guess.map_or(FROST_AIR, |guess| guess.low_c);
    let when = if night.is_dark() { "Now" } else { "Before dark" };
    match to_cover(night, cold, low_c).as_str() {
        "" => format!("Have fleece ready in {}: frost may come tonight.", night.place.name),
        names if night.place.kind.under_cover() => {
            format!("{when}, shut the house and lay fleece over {names}: frost may come.")
        }
        names => format!("{when}, lay fleece over {names}: frost may come tonight."),
    }
}

fn expected_text(
    night: &NightNow<'_>,
    tenderest: &Cold<'_>,
    guess: Option<Guess>,
    calendar: &Calendar,
) -> String {
    let place = night.place;
    let (at_ms, t_c) = place.air.or(place.last_air).unwrap_or((place.now_ms, f64::NAN));
    let dew = night.dew_point_c.map_or_else(String::new, |dew| format!(", dew point {dew:.1}"));
    let lowest = guess.map_or_else(
        || "the lowest cannot be guessed at the moment".to_owned(),
        |guess| {
            let span = format!("{} to {} at the lowest", whole(guess.low_c), whole(guess.high_c));
            match guess.from {
                From::Forecast => format!("{} says {span}", night.forecast_words()),
                From::Nights(1) => format!("a guess from last night says {span}, give or take 1.5"),
                From::Nights(_) => format!("a guess from the last nights says {span}, give or take 1.5"),
            }
        },
    );
    let leaf = if night.leaf_below_c() > 0.0 { "; under a clear sky leaves are 1 to 3 colder" } else { "" };
    format!(
        "{}: {t_c:.1} °C at {}{dew}; {lowest}{leaf}. {} are harmed at {}{}, and may be lost uncovered.",
        place.name,
        calendar.clock(at_ms),
        crate::figure_words::capital(&plural(&tenderest.standing.crop)),
        limit(tenderest.lines.damage.get()),
        state(night)
    )
}

fn last_words(night: &NightNow<'_>) -> String {
    let place = night.place;
    match (night.is_guessed(), place.low, place.air) {
        (false, Some((low, _)), _) => {
            format!("{}: lowest of the night {low:.1} °C. Let covered plants have light again.", place.name)
        }
        (_, _, Some((_, t_c))) => format!("{}: {t_c:.1} °C now.", place.name),
        _ => format!("{}: too little was heard in the night to say how cold it was.", place.name),
    }
}
