//! Yesterday's light, and how long the shade has been on: to page and letter, once a day.
//!
//! A crop in too little light makes leaf and no fruit; shade that saves it in a heat wave is a loan from the yield.
//! Tomato yield fell with shade: no loss within 20 days, a fifth after 25 to 45 (S68 of the source list).

use agronomy::crop::Severity;

use super::place_now::{PlaceNow, Standing};
use super::soil_now::SoilNow;
use super::word::{Verdict, Word};
use super::words::{limit, plural};

/// The name of the minder.
pub const LIGHT: &str = "light";

/// Shaded days in a row that are told, and told as worse.
const SHADED: [u32; 2] = [20, 40];

/// Judges a place by its closed day; none where nothing stands, or nobody measures light and no shade is on.
pub fn judge(now: &PlaceNow<'_>, soil: &SoilNow<'_>, told: bool) -> Option<Verdict> {
    let mol = soil.of_yesterday().and_then(|seen| seen.light_mol);
    let shaded = soil.shaded_days >= SHADED[0];
    if now.standing.is_empty() || (mol.is_none() && !shaded) {
        let unknown = told && !now.standing.is_empty() && soil.shaded_days > 0;
        return match (told, unknown) {
            (true, true) => Some(Verdict::unknown(LIGHT, now.place)),
            (true, false) => Some(clear(now)),
            (false, _) => None,
        };
    }
    let Some((planting, severity, title, text)) = said(now, soil, mol) else { return Some(clear(now)) };
    let text = format!("{}: {text}", now.name);
    let word = Word { planting, severity, push: false, joins_heat: false, title, text, caution: "" };
    Some(Verdict::word(LIGHT, now.place, word))
}

fn clear(now: &PlaceNow<'_>) -> Verdict {
    let text = format!("{}: nothing is known to lack light or to have too much.", now.name);
    Verdict::clear(LIGHT, now.place, "Light is well.", text)
}

type Said = (Option<String>, Severity, String, String);

fn said(now: &PlaceNow<'_>, soil: &SoilNow<'_>, mol: Option<f64>) -> Option<Said> {
    let id = |it: &Standing<'_>| Some(it.planting.id.clone());
    if soil.shaded_days >= SHADED[0] {
        let severity = if soil.shaded_days >= SHADED[1] { Severity::Moderate } else { Severity::Minor };
        let title = format!("{}: take the shade off on cooler days.", now.name);
        let text = format!(
            "shade on for {} days in a row. It is a loan from the yield: in one trial on tomato nothing was lost within \
             20 days, a fifth after 25 to 45.",
            soil.shaded_days
        );
        return Some((None, severity, title, text));
    }
    let mol = mol?;
    let dark = now.standing.iter().filter(|it| mol < it.crop.light.dli_min.middle());
    if let Some(it) =
        dark.max_by(|a, b| a.crop.light.dli_min.middle().total_cmp(&b.crop.light.dli_min.middle()))
    {
        let title = match now.shade_on {
            Some(true) => format!("{}: shade off while the sky is dull.", now.name),
            _ => format!("{}: clean the cover, thin what shades.", now.name),
        };
        let text = format!(
            "{mol:.0} mol/m² of light yesterday; {} want at least {}. In too little light they make leaf and little else.",
            plural(&it.crop),
            limit(it.crop.light.dli_min.middle())
        );
        return Some((id(it), Severity::Minor, title, text));
    }
    let line = |it: &Standing<'_>| it.crop.light.dli_tipburn.as_ref().map(agronomy::crop::Figure::middle);
    let bright =
        now.standing.iter().filter_map(|it| line(it).map(|line| (it, line))).find(|(_, line)| mol > *line)?;
    let title = format!("{}: let air move over the {}.", now.name, plural(&bright.0.crop));
    let text = format!(
        "{mol:.0} mol/m² of light yesterday; above {} in still, warm air the inner leaves of {} outgrow their calcium \
         and burn at the tips. Moving air, even water, or shade at noon.",
        limit(bright.1),
        plural(&bright.0.crop)
    );
    Some((id(bright.0), Severity::Minor, title, text))
}
