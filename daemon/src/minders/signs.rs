//! Weather in which a disease is worth looking for: once a day, to page and letter.
//!
//! A rule of the weather has seen no leaf. What follows from it is to look and to let the leaves dry, never to spray; for
//! anything put on a crop the label and local rules come first. Humidity is measured where the probe hangs, and in the
//! leaves it is higher: the hours are "at least".

use agronomy::crop::Severity;
use agronomy::signs::late_blight::BlightRule;
use agronomy::signs::mildew::{MildewIndex, Pressure};
use agronomy::signs::words::{Scouting, Sign};

use super::place_now::{PlaceNow, Standing};
use super::soil_now::SoilNow;
use super::word::{Verdict, Word};
use super::words::planting;

/// The name of the minder.
pub const SIGNS: &str = "signs";

/// Where the probe that measures humidity hangs, m above ground; above this the leaves are damper than it says.
const HIGH_M: f64 = 1.5;

/// Whether a crop of the book is known to get this.
fn gets(standing: &Standing<'_>, disease: &str) -> bool {
    standing.crop.disorders.iter().any(|it| it.name == disease)
}

/// Judges a place by its closed days. `height_m`: of its probe. None where nothing that stands there gets any of it.
pub fn judge(now: &PlaceNow<'_>, soil: &SoilNow<'_>, height_m: Option<f64>, told: bool) -> Option<Verdict> {
    let of = |disease: &'static str| now.standing.iter().find(|it| gets(it, disease));
    let (blight, mildew) = (of("late_blight"), of("powdery_mildew"));
    if blight.is_none() && mildew.is_none() {
        let text = format!("{}: nothing stands here that is watched for it.", now.name);
        return told.then(|| Verdict::clear(SIGNS, now.place, "No sign to look for.", text));
    }
    let mut found = Vec::new();
    let mut known = false;
    if let Some(standing) = blight {
        let day =
            |back: i64| soil.days.iter().find(|it| it.day == soil.yesterday - back).and_then(|it| it.blight);
        known |= day(0).is_some();
        if BlightRule::Hutton.completed_by(day(1), day(0)) {
            found.push((standing, Sign::HuttonPeriod));
        }
    }
    if let Some(standing) = mildew {
        let seen = soil.of_yesterday().and_then(|it| it.mildew);
        known |= seen.is_some();
        if seen.is_some() && mildew_index(soil).pressure() == Pressure::High {
            found.push((standing, Sign::MildewPressure));
        }
    }
    let Some((first, sign)) = found.first() else {
        let text = format!("{}: the weather of the last days gives no reason to look.", now.name);
        let clear = Verdict::clear(SIGNS, now.place, "No sign to look for.", text);
        return if known { Some(clear) } else { told.then(|| Verdict::unknown(SIGNS, now.place)) };
    };
    let mut said: Vec<String> =
        found.iter().map(|(standing, sign)| reason(standing, sign.scouting())).collect();
    if *sign == Sign::HuttonPeriod {
        said.extend(at_least(soil, height_m));
    }
    let word = Word {
        planting: Some(first.planting.id.clone()),
        severity: Severity::Minor,
        push: false,
        joins_heat: false,
        title: format!("{}: look at the leaves, and let them dry.", now.name),
        text: format!("{}: {}", now.name, said.join(" ")),
        caution: sign.scouting().defer,
    };
    Some(Verdict::word(SIGNS, now.place, word))
}

/// The index over the days at hand; a day that is missing is a day not known.
fn mildew_index(soil: &SoilNow<'_>) -> MildewIndex {
    let mut index = MildewIndex::default();
    let Some(first) = soil.days.first() else { return index };
    for day in first.day..=soil.yesterday {
        index.step(soil.days.iter().find(|seen| seen.day == day).and_then(|seen| seen.mildew));
    }
    index
}

fn reason(standing: &Standing<'_>, scouting: Scouting) -> String {
    let Scouting { look_for, meanwhile, rule, bounds, .. } = scouting;
    format!("{}: {look_for} {meanwhile} ({rule} {bounds})", planting(standing))
}

/// Why the hours of damp air are a least figure.
fn at_least(soil: &SoilNow<'_>, height_m: Option<f64>) -> Option<String> {
    if soil.of_yesterday().is_some_and(|it| it.wet_film) {
        return Some("The humidity probe may be wet itself: dry it and look again.".to_owned());
    }
    let height = height_m.filter(|height| *height > HIGH_M)?;
    Some(format!("The probe hangs {height:.1} m up; between the leaves it was damp for longer."))
}
