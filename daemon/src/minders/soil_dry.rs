//! A soil moisture probe below what the crop bears.
//!
//! Cheap probes differ from one to the next, so what counts is the share between a probe's own two marks: where plants
//! began to wilt, and after soaking. A probe without marks is read as if it stood in a loam. Down to a share p the crop
//! takes what it wants; below that it slows, and at half of the rest it takes half.

use agronomy::crop::Severity;
use agronomy::series::MS_PER_HOUR;

use super::ladder::{Ladder, Release, Rung};
use super::place_now::{PlaceNow, Standing};
use super::soil_now::{Moist, SoilNow};
use super::word::{Verdict, Word};
use super::words::{caution, planting};
use crate::calendar::Calendar;
use crate::entry::PlaceKind;

/// The name of the minder.
pub const SOIL_DRY: &str = "soil-dry";

const DWELL_MS: i64 = MS_PER_HOUR;
const RELEASE: Release = Release { margin: 0.05, ms: MS_PER_HOUR / 2 };

/// The running state for one place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SoilDry {
    ladder: Ladder,
    rungs: [Option<Rung>; 4],
}

/// The planting that feels it first, and the share that may go before it does.
fn first_to_feel<'a, 'b>(now: &'b PlaceNow<'a>) -> Option<(&'b Standing<'a>, f64)> {
    let share = |it: &Standing<'_>| it.crop.water.depletion_p.middle().clamp(0.1, 0.8);
    now.standing.iter().map(|it| (it, share(it))).min_by(|a, b| a.1.total_cmp(&b.1))
}

/// How much is left for roots at a probe, 0 to 1; none for a probe without marks in a mix, which no table describes.
pub fn left(kind: PlaceKind, probe: &Moist) -> Option<f64> {
    probe.left_by_marks().or_else(|| (kind != PlaceKind::Pots).then(|| probe.left_in_loam()))
}

impl SoilDry {
    /// Takes over what was told before a restart.
    pub fn take_over(&mut self, told: Option<Severity>) {
        self.ladder.set(told);
    }

    /// Judges a place at a moment; none where no probe measures moisture and nothing was told.
    pub fn judge(
        &mut self,
        now: &PlaceNow<'_>,
        soil: &SoilNow<'_>,
        calendar: &Calendar,
        told: bool,
    ) -> Option<Verdict> {
        let Some((tender, share)) = first_to_feel(now) else {
            self.ladder = Ladder::default();
            let text = format!("{}: nothing stands here any more.", now.name);
            return told.then(|| Verdict::clear(SOIL_DRY, now.place, "Nothing stands here any more.", text));
        };
        let of = |probe| left(now.kind, probe).map(|left| (probe, left));
        let driest = soil.moisture.iter().filter_map(of).min_by(|a, b| a.1.total_cmp(&b.1));
        let Some((probe, left)) = driest else {
            return told.then(|| Verdict::unknown(SOIL_DRY, now.place));
        };
        let rung = |line| Some(Rung { line, dwell_ms: DWELL_MS });
        self.rungs = [rung(share), rung(share + (1.0 - share) / 2.0), None, None];
        self.ladder.judge(soil.at_ms, Some(1.0 - left), &self.rungs, RELEASE);
        let Some(severity) = self.ladder.current() else {
            let text = format!("{}: damp enough again, by {}.", now.name, probe.probe);
            return Some(Verdict::clear(SOIL_DRY, now.place, "The soil is damp enough.", text));
        };
        let since = self.ladder.above_since(severity);
        let since = since
            .map_or_else(String::new, |at| format!(", past since {}", calendar.civil_format(at, "%a %H:%M")));
        let by = if probe.marks.is_some() { "between its two marks" } else { "for roots, read as in a loam" };
        let word = Word {
            planting: Some(tender.planting.id.clone()),
            severity,
            push: false,
            joins_heat: true,
            title: format!("{}: water at the root, slowly and deep.", now.name),
            text: format!(
                "{}: probe {} has {:.0} % left {by}; {} slow below {:.0} %{since}. Left so, growth stops and what sets \
                 is lost. Feel 5 cm down first: one probe knows one spot.",
                now.name,
                probe.probe,
                100.0 * left,
                planting(tender),
                100.0 * (1.0 - share)
            ),
            caution: caution(now.kind),
        };
        Some(Verdict::word(SOIL_DRY, now.place, word))
    }

    /// When time alone may change the verdict, UTC ms.
    pub fn wake(&self) -> Option<i64> {
        self.ladder.wake(&self.rungs, RELEASE)
    }
}
