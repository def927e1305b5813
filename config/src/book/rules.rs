//! A crop's heat rules.

use std::collections::BTreeSet;

use agronomy::crop::figures::Kind;
use agronomy::crop::{HeatRule, Measure, Severity, Stage};

use super::figure::{figure, need_figure};
use crate::reader::Table;

/// Reads every `[[crop.X.heat_rule]]`.
pub(super) fn heat_rules(crop: &Table<'_, '_>, key: &str) -> Vec<HeatRule> {
    let mut ids = BTreeSet::new();
    let mut rules = Vec::new();
    for table in crop.tables("heat_rule", &format!("a [[crop.{key}.heat_rule]]")) {
        let id = table.need("id", "id = \"day_severe\"", table.line("id"));
        let table = match &id {
            Some(id) => table.called(id),
            None => table,
        };
        let Some(rule) = heat_rule(&table, id) else { continue };
        if !ids.insert(rule.id.clone()) {
            table.fault("id", format!("id {} is used twice in {key}; write another", rule.id));
        }
        rules.push(rule);
    }
    rules
}

fn heat_rule(table: &Table<'_, '_>, id: Option<String>) -> Option<HeatRule> {
    let stages = table.need("stages", "stages = [\"any\"]", stages(table));
    let measures = Measure::ALL.map(|measure| (measure.as_str(), measure));
    let measure = table.need("measure", "measure = \"day_max_c\"", table.word("measure", &measures));
    let severities = Severity::ALL.map(|severity| (severity.as_str(), severity));
    let severity = table.need("severity", "severity = \"moderate\"", table.word("severity", &severities));
    let threshold = need_figure(table, "threshold", Kind::Celsius);
    let night = figure(table, "night_threshold", Kind::Celsius);
    let hours = figure(table, "min_hours_per_day", Kind::HoursOfDay);
    let days = figure(table, "consecutive_days", Kind::DaysInARow);
    let effect = table.need("effect", "effect = \"...\"", table.line("effect"));
    let measure = measure?;
    if (measure == Measure::DayMaxAndNightMinC) != table.has("night_threshold") {
        table.fault(
            "measure",
            "night_threshold and day_max_and_night_min_c belong together; write both or neither",
        );
    }
    let threshold = threshold?;
    Some(HeatRule {
        id: id?,
        stages: stages?,
        measure,
        threshold: threshold.lo,
        night_threshold: night.map(|night| night.lo),
        min_hours_per_day: hours.map(|hours| hours.lo),
        consecutive_days: days.map(|days| days.lo as u32),
        severity: severity?,
        effect: effect?,
        sources: threshold.sources,
    })
}

fn stages(table: &Table<'_, '_>) -> Option<Vec<Stage>> {
    let written = table.texts("stages")?;
    let words = Stage::ALL.map(Stage::as_str);
    let mut stages = Vec::with_capacity(written.len());
    for word in &written {
        let found = table.choose("stage", word.at, &word.value, words.into_iter());
        stages.extend(found.map(|index| Stage::ALL[index]));
    }
    if written.is_empty() {
        table.fault("stages", "stages is empty; write stages = [\"any\"] for a rule that always runs");
    }
    (stages.len() == written.len()).then_some(stages)
}
