//! Roots too hot: the pot wants shade, not only the plant.
//!
//! Black pots in the sun pass 40 °C at the wall. Roots of most crops work badly above 30 °C, and those in containers were
//! injured at 40 °C for five to six hours; so two hours at 38 °C are told (S67 of the source list).

use agronomy::crop::Severity;
use agronomy::series::MS_PER_HOUR;

use super::ladder::{Ladder, Release, Rung};
use super::place_now::{PlaceNow, Standing};
use super::soil_now::SoilNow;
use super::word::{Verdict, Word};
use super::words::{caution, limit, plural};
use crate::calendar::Calendar;
use crate::entry::PlaceKind;

/// The name of the minder.
pub const ROOT_HOT: &str = "root-hot";

/// What no pot should pass, °C.
const POT_C: f64 = 38.0;
const DWELL_MS: i64 = 2 * MS_PER_HOUR;
const RELEASE: Release = Release { margin: 2.0, ms: MS_PER_HOUR / 2 };

/// The running state for one place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RootHot {
    ladder: Ladder,
    rungs: [Option<Rung>; 4],
}

/// The lowest line of what stands here, °C, and whose it is.
fn lowest<'a, 'b>(
    now: &'b PlaceNow<'a>,
    of: impl Fn(&Standing<'a>) -> f64,
) -> Option<(&'b Standing<'a>, f64)> {
    now.standing.iter().map(|it| (it, of(it))).min_by(|a, b| a.1.total_cmp(&b.1))
}

impl RootHot {
    /// Takes over what was told before a restart.
    pub fn take_over(&mut self, told: Option<Severity>) {
        self.ladder.set(told);
    }

    /// Judges a place at a moment; none where no probe measures the ground and nothing was told.
    pub fn judge(
        &mut self,
        now: &PlaceNow<'_>,
        soil: &SoilNow<'_>,
        calendar: &Calendar,
        told: bool,
    ) -> Option<Verdict> {
        let pots =
            now.kind == PlaceKind::Pots || now.standing.iter().any(|it| it.planting.container_l.is_some());
        let caution_c = lowest(now, |it| it.crop.root_zone.caution.middle());
        let most_c = |it: &Standing<'_>| {
            let injury = it.crop.root_zone.injury.middle();
            if pots { injury.min(POT_C) } else { injury }
        };
        let Some(((first, caution_c), (worst, injury_c))) = caution_c.zip(lowest(now, most_c)) else {
            self.ladder = Ladder::default();
            let text = format!("{}: nothing stands here any more.", now.name);
            return told.then(|| Verdict::clear(ROOT_HOT, now.place, "Nothing stands here any more.", text));
        };
        let Some(hottest) = soil.warmth.iter().max_by(|a, b| a.t_c.total_cmp(&b.t_c)) else {
            return told.then(|| Verdict::unknown(ROOT_HOT, now.place));
        };
        let rung = |line| Some(Rung { line, dwell_ms: DWELL_MS });
        self.rungs = [rung(caution_c), rung(injury_c), None, None];
        self.ladder.judge(soil.at_ms, Some(hottest.t_c), &self.rungs, RELEASE);
        let Some(severity) = self.ladder.current() else {
            let text = format!("{}: the ground is below {} °C again.", now.name, limit(caution_c));
            return Some(Verdict::clear(ROOT_HOT, now.place, "The roots are cooler.", text));
        };
        let (whose, line) =
            if severity >= Severity::Moderate { (worst, injury_c) } else { (first, caution_c) };
        let since = self.ladder.above_since(severity);
        let since = since.map_or_else(String::new, |at| format!(", past since {}", calendar.clock(at)));
        let title = if pots {
            format!("{}: shade the pots, not only the plants.", now.name)
        } else {
            format!("{}: mulch or shade the ground; water early.", now.name)
        };
        let word = Word {
            planting: Some(whose.planting.id.clone()),
            severity,
            push: false,
            joins_heat: true,
            title,
            text: format!(
                "{}: {:.1} °C at the roots by {}; {} bear {}{since}. Hot roots die back, and the plant wilts in wet soil.",
                now.name,
                hottest.t_c,
                hottest.probe,
                plural(&whose.crop),
                limit(line)
            ),
            caution: caution(now.kind),
        };
        Some(Verdict::word(ROOT_HOT, now.place, word))
    }

    /// When time alone may change the verdict, UTC ms.
    pub fn wake(&self) -> Option<i64> {
        self.ladder.wake(&self.rungs, RELEASE)
    }
}
