//! Bolting led by heat: lettuce and spinach run to seed when long days are warm. To the page only.

use agronomy::crop::{HeatRule, Measure, Severity};

use super::place_now::{PlaceNow, Standing};
use super::soil_now::SoilNow;
use super::word::{Verdict, Word};
use super::words::{limit, planting};

/// The name of the minder.
pub const BOLTING: &str = "bolting";

/// Days longer than this make these crops bolt, h: the lower end of 13 to 14 (from memory).
const LONG_DAY_H: f64 = 13.0;

/// Whether a rule is of bolting: a mean, for some days in a row.
pub fn is_bolting(rule: &HeatRule) -> bool {
    rule.measure == Measure::DailyMeanC && rule.id.contains("bolt")
}

/// The crop's own rule.
fn rule<'a>(standing: &'a Standing<'_>) -> Option<&'a HeatRule> {
    standing.crop.heat_rules.iter().find(|rule| is_bolting(rule))
}

/// Judges a place by its closed days; none where nothing that stands there bolts of heat.
pub fn judge(now: &PlaceNow<'_>, soil: &SoilNow<'_>, told: bool) -> Option<Verdict> {
    let mut known = false;
    for standing in &now.standing {
        let Some(rule) = rule(standing) else { continue };
        let days = i64::from(rule.consecutive_days.unwrap_or(1));
        let mean =
            |back: i64| soil.days.iter().find(|it| it.day == soil.yesterday - back).and_then(|it| it.mean_c);
        let means: Vec<_> = (0..days).map(mean).collect();
        known |= means.first().is_some_and(Option::is_some);
        let warm = means.iter().all(|mean| mean.is_some_and(|mean| mean >= rule.threshold));
        if warm && soil.day_length_h > LONG_DAY_H {
            let word = Word {
                planting: Some(standing.planting.id.clone()),
                severity: Severity::Minor,
                push: false,
                joins_heat: false,
                title: format!("{}: pick early, shade, and sow again later.", now.name),
                text: format!(
                    "{}: {} may bolt: means of {} °C or more for {days} days, and daylight of {:.0} h. Once a stalk \
                     rises they turn bitter.",
                    now.name,
                    planting(standing),
                    limit(rule.threshold),
                    soil.day_length_h
                ),
                caution: "",
            };
            return Some(Verdict::word(BOLTING, now.place, word));
        }
    }
    let text = format!("{}: the last days were not so warm, or are not so long.", now.name);
    let clear = Verdict::clear(BOLTING, now.place, "Less fear of bolting.", text);
    if known { Some(clear) } else { told.then(|| Verdict::unknown(BOLTING, now.place)) }
}
