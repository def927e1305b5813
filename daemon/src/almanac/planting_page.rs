//! The day page of a planting: its degree days by its crop's own method, and what the heat did.

use std::collections::BTreeMap;

use agronomy::crop::{Crop, Measure, Severity, Stages};
use agronomy::degree_days::Method;
use agronomy::heat_stress::{DayAtLine, Run};
use serde::{Deserialize, Serialize};

use super::day_page::{DayInput, DayPage, RuleKey};
use super::heat_day::HeatDay;
use super::lines::Lines;
use crate::ground::Planting;

/// One planting's day.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PlantingPage {
    /// Which planting.
    pub planting: String,
    /// Key in the crop book.
    pub crop: String,
    /// Where it stands.
    pub place: String,
    /// Calendar day in the site's standard offset.
    pub date: String,
    /// Share of the day that was measured, 0..1.
    pub measured_share: f64,
    /// The crop's rule, such as `mean-capped 7/28`.
    pub rule: String,
    /// Degree days by that rule, °C d; none when the day does not count.
    pub degree_days: Option<f64>,
    /// Hours at or above each heat rule's threshold, by the rule's name, h.
    pub rule_hours: BTreeMap<String, f64>,
    /// What this day by itself says to each heat rule that runs, by the rule's name; a rule of which too little is
    /// known is not among them. Days in a row are counted from these.
    #[serde(default)]
    pub rule_days: BTreeMap<String, DayAtLine>,
    /// The severe line in force, °C.
    pub line_c: f64,
    /// Hours at or above it, h.
    pub stress_hours: f64,
    /// Severity of the worst rule that one day can meet and this day met; rules of days in a row are not among them.
    pub worst: Option<Severity>,
    /// The night before this morning stayed at or above the crop's moderate night line.
    pub warm_night: bool,
    /// Made from lows and highs read by hand.
    pub read_by_hand: bool,
}

/// The degree-day rules a crop's pages are reckoned by: its own, and the second one where a milestone goes by it.
pub fn rules_of(crop: &Crop) -> impl Iterator<Item = RuleKey> {
    let gdd = &crop.gdd;
    let second = gdd.alt.as_ref().filter(|_| gdd.milestones.iter().any(|it| it.model == "alt"));
    let second = second.and_then(|alt| Some(RuleKey::new(alt.method.parse().ok()?, alt.base, alt.upper)));
    std::iter::once(rule_of(crop)).chain(second)
}

/// The degree-day rule of a crop; a crop whose method we do not reckon goes by `integral`.
pub fn rule_of(crop: &Crop) -> RuleKey {
    let method = crop.gdd.method.parse().unwrap_or(Method::Integral);
    RuleKey::new(method, crop.gdd.base, crop.gdd.upper)
}

/// Makes the page of a planting from the day of its place, by the stages it is in or may be in that day.
pub fn planting_page(
    input: &DayInput,
    page: &DayPage,
    heat_day: &HeatDay,
    planting: &Planting,
    crop: &Crop,
    stages: &Stages,
    place_line_c: f64,
) -> PlantingPage {
    let lines = Lines::of(crop, stages, place_line_c);
    let rule = rule_of(crop).rule();
    let (mut rule_hours, mut rule_days) = (BTreeMap::new(), BTreeMap::new());
    let mut worst = None;
    for heat in crop.heat_rules.iter().filter(|rule| stages.certainty(rule).is_some()) {
        if matches!(heat.measure, Measure::DayMaxC | Measure::HoursAboveC) {
            rule_hours.insert(heat.id.clone(), input.hours_at_or_above(heat.threshold));
        }
        let said = heat_day.says(heat);
        if said != DayAtLine::Unknown {
            rule_days.insert(heat.id.clone(), said);
        }
        if Run::default().step(said).speaks(heat, said) {
            worst = worst.max(Some(heat.severity));
        }
    }
    PlantingPage {
        planting: planting.id.clone(),
        crop: planting.crop.clone(),
        place: planting.place.clone(),
        date: input.date.clone(),
        measured_share: page.measured_share,
        degree_days: rule.as_ref().and_then(|rule| input.degree_days(rule)),
        rule: rule.map_or_else(String::new, |rule| rule.to_string()),
        rule_hours,
        rule_days,
        line_c: lines.severe_c,
        stress_hours: input.hours_at_or_above(lines.severe_c),
        worst,
        warm_night: lines
            .night_moderate_c
            .is_some_and(|line| page.night_min_c.is_some_and(|low| low >= line)),
        read_by_hand: page.read_by_hand,
    }
}
