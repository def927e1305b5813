//! The lines of a crop: the lowest limits of each severity that count in its present stages.
//!
//! A line is what hangs on the day's picture and what a notice names. Under cover it is never absent: where
//! the crop has no rule of that severity for its stages, the line of the place stands for it. A line that
//! rests on a stage which is only possible says so.

use super::{Certainty, Crop, HeatRule, Measure, Severity, Stages};

/// A limit in force, with the rule that draws it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line<'a> {
    /// The limit \[°C\].
    pub celsius: f64,
    /// The crop's rule; `None` for the line of the place.
    pub rule: Option<&'a HeatRule>,
    /// Whether the rule's stage is certain; the line of the place always is.
    pub certainty: Certainty,
}

/// The heat line by day: the crop's ([`crop_line`]), or else that of the place, `place_heat_c` \[°C\].
pub fn line<'a>(crop: &'a Crop, severity: Severity, stages: &Stages, place_heat_c: f64) -> Line<'a> {
    let place = Line { celsius: place_heat_c, rule: None, certainty: Certainty::Certain };
    crop_line(crop, severity, stages).unwrap_or(place)
}

/// The crop's heat line by day: the lowest threshold on the day's heat of exactly this severity among the
/// rules that run in these stages.
///
/// Rules on the day's highest temperature and on hours above a temperature both draw a line; a rule that
/// wants a hot day *and* a warm night draws none, because the day alone does not meet it. Of two rules with
/// one threshold, the one whose stage is certain draws it.
pub fn crop_line<'a>(crop: &'a Crop, severity: Severity, stages: &Stages) -> Option<Line<'a>> {
    drawn(crop, severity, stages, &[Measure::DayMaxC, Measure::HoursAboveC]).min_by(order)
}

/// The crop's line for warm nights: the lowest threshold on the night's minimum of exactly this severity among
/// the rules that run in these stages. Rules against cold nights draw no such line.
pub fn night_line<'a>(crop: &'a Crop, severity: Severity, stages: &Stages) -> Option<Line<'a>> {
    drawn(crop, severity, stages, &[Measure::NightMinC]).min_by(order)
}

/// The crop's line against cold nights: the highest threshold below which the night's minimum does harm of
/// exactly this severity, among the rules that run in these stages.
pub fn cold_night_line<'a>(crop: &'a Crop, severity: Severity, stages: &Stages) -> Option<Line<'a>> {
    let warmest_first =
        |a: &Line<'_>, b: &Line<'_>| b.celsius.total_cmp(&a.celsius).then(a.certainty.cmp(&b.certainty));
    drawn(crop, severity, stages, &[Measure::NightMinBelowC]).min_by(warmest_first)
}

fn order(a: &Line<'_>, b: &Line<'_>) -> std::cmp::Ordering {
    a.celsius.total_cmp(&b.celsius).then(a.certainty.cmp(&b.certainty))
}

fn drawn<'a>(
    crop: &'a Crop,
    severity: Severity,
    stages: &Stages,
    measures: &[Measure],
) -> impl Iterator<Item = Line<'a>> {
    crop.heat_rules
        .iter()
        .filter(move |rule| rule.severity == severity && measures.contains(&rule.measure))
        .filter_map(move |rule| {
            let certainty = stages.certainty(rule)?;
            Some(Line { celsius: rule.threshold, rule: Some(rule), certainty })
        })
}
