//! Air too dry or too damp: to the page and the letter, never a push, and silent while heat speaks.
//!
//! Temperature outranks the deficit: no advice to close vents for the deficit's sake while it is too hot.

use agronomy::crop::Severity;

use super::ladder::{Ladder, Release, Rung};
use super::place_now::PlaceNow;
use super::word::{Verdict, Word};
use crate::calendar::Calendar;

const MINUTE: i64 = 60_000;
const RELEASE: Release = Release { margin: 0.2, ms: 30 * MINUTE };
/// Bands where no crop stands, kPa (common practice).
const DEFAULT: Bands = Bands { damp_below: 0.2, drying_above: 2.0, harsh_above: 3.0 };

/// The name of the minder.
pub const AIR: &str = "air";

/// Where the air is damp, drying, harsh, kPa.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bands {
    /// Damp below.
    pub damp_below: f64,
    /// Drying above.
    pub drying_above: f64,
    /// Harsh above.
    pub harsh_above: f64,
}

impl Bands {
    /// The narrowest bands of what stands here.
    pub fn of(now: &PlaceNow<'_>) -> Self {
        now.standing.iter().map(|it| &it.crop.vpd).fold(DEFAULT, |bands, vpd| Self {
            damp_below: bands.damp_below.max(vpd.damp_below.middle()),
            drying_above: bands.drying_above.min(vpd.drying_above.middle()),
            harsh_above: bands.harsh_above.min(vpd.harsh_above.middle()),
        })
    }

    /// The word for a deficit: damp, easy, drying, harsh.
    pub fn word(&self, vpd_kpa: f64) -> &'static str {
        if vpd_kpa < self.damp_below {
            "damp"
        } else if vpd_kpa < self.drying_above {
            "easy"
        } else if vpd_kpa < self.harsh_above {
            "drying"
        } else {
            "harsh"
        }
    }
}

/// The running state for one place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Air {
    dry: Ladder,
    damp: Ladder,
}

impl Air {
    /// Takes over what was told before a restart. Whether a minor notice was for dry or for damp air is not
    /// told apart: both ladders stand on it, and the wrong one is left after its release.
    pub fn take_over(&mut self, told: Option<Severity>) {
        self.dry.set(told);
        self.damp.set(told.filter(|told| *told == Severity::Minor));
    }

    fn rungs(bands: Bands) -> ([Option<Rung>; 4], [Option<Rung>; 4]) {
        let dwell = |minutes: i64| minutes * MINUTE;
        let dry = [
            Some(Rung { line: bands.drying_above, dwell_ms: dwell(60) }),
            Some(Rung { line: bands.harsh_above, dwell_ms: dwell(60) }),
            None,
            None,
        ];
        // Damp is judged on the negative deficit, so that the same ladder serves.
        let damp = [Some(Rung { line: -bands.damp_below, dwell_ms: dwell(120) }), None, None, None];
        (dry, damp)
    }

    /// Judges a place at a moment.
    pub fn judge(&mut self, now: &PlaceNow<'_>, heat: Option<Severity>, calendar: &Calendar) -> Verdict {
        if now.standing.is_empty() {
            return clear(now, "Nothing stands here any more.");
        }
        let bands = Bands::of(now);
        let (dry, damp) = Self::rungs(bands);
        // By night leaves hardly transpire, so dry air does not count, and the hour's dwell begins with the day.
        self.dry.judge(
            now.now_ms,
            now.vpd_kpa.map(|vpd| if now.daylight { vpd } else { 0.0 }),
            &dry,
            RELEASE,
        );
        self.damp.judge(now.now_ms, now.vpd_kpa.map(|vpd| -vpd), &damp, Release { margin: 0.1, ..RELEASE });
        // Not knowing is no reason to tell anything, nor to call the air easy.
        let Some(vpd) = now.vpd_kpa else { return Verdict::unknown(AIR, now.place) };
        let clock = calendar.clock(now.now_ms);
        // In heat all is open anyway: nothing is said of damp air.
        let hot = heat >= Some(Severity::Moderate);
        let (severity, title, text) = if let Some(severity) = self.dry.current().filter(|_| now.daylight) {
            let title = "The air pulls hard: water first, then damp the paths.";
            let word = if severity >= Severity::Moderate { "Harsh" } else { "Drying" };
            // Said inside a heat notice, which gives the figure already.
            let figure = if heat.is_some() { String::new() } else { format!(", {vpd:.1} kPa at {clock}") };
            let text = format!(
                "{}: {word} air{figure}. With vents open, wet paths help a little until three \
                 hours before sunset; switch the electricity off, then wet.",
                now.name
            );
            (severity, title, text)
        } else if let Some(severity) = self.damp.current().filter(|_| !hot) {
            let title = "Damp air: let some out.";
            let text = format!(
                "{}: damp air, {vpd:.2} kPa at {clock}, for two hours. Leave a crack open; no wet leaves tonight.",
                now.name
            );
            (severity, title, text)
        } else {
            return clear(now, "The air is easy again.");
        };
        let word = Word {
            planting: None,
            severity,
            push: false,
            joins_heat: true,
            title: title.to_owned(),
            text,
            caution: "",
        };
        Verdict::word(AIR, now.place, word)
    }

    /// When time alone may change the verdict, UTC ms.
    pub fn wake(&self, now: &PlaceNow<'_>) -> Option<i64> {
        let (dry, damp) = Self::rungs(Bands::of(now));
        self.dry.wake(&dry, RELEASE).into_iter().chain(self.damp.wake(&damp, RELEASE)).min()
    }
}

fn clear(now: &PlaceNow<'_>, why: &str) -> Verdict {
    Verdict::clear(AIR, now.place, why, format!("{}: {why}", now.name))
}
