//! A crop's heat rules at a moment: which of them speak by now, today counted as far as it has come.
//!
//! A line that is touched is not yet harm. Most rules want hours of it, days of it in a row, a warm night or a high mean
//! of the whole day; so what a rule foretells is quoted only once its own conditions are met.

use agronomy::crop::{Certainty, HeatRule, Measure};
use agronomy::heat_stress::{DayAtLine, Run};

use super::place_now::Standing;
use super::words::any_of;
use crate::almanac::heat_day::HeatDay;
use crate::almanac::planting_page::PlantingPage;

/// The rules of a planting that speak by now: `earlier` are its days before today, in order.
pub fn speaking<'r>(
    standing: &'r Standing<'_>,
    earlier: &[&PlantingPage],
    today: &HeatDay,
) -> Vec<&'r HeatRule> {
    let running = standing.crop.heat_rules.iter().filter(|rule| standing.stages.certainty(rule).is_some());
    // A cold night is among the book's rules; it is no word of heat.
    running
        .filter(|rule| rule.measure != Measure::NightMinBelowC)
        .filter(|rule| {
            let said = earlier.iter().map(|page| page.rule_days.get(&rule.id).copied());
            let run = said.fold(Run::default(), |run, said| run.step(said.unwrap_or(DayAtLine::Unknown)));
            let said = today.says(rule);
            run.step(said).speaks(rule, said)
        })
        .collect()
}

/// What the worst of these rules foretells, as a sentence with its stage where that is only possible; empty for none.
pub fn effect(standing: &Standing<'_>, speaking: &[&HeatRule]) -> String {
    // Of rules as bad as each other the sure one counts, and of those the one that the book has first.
    let worst = speaking.iter().rev().max_by_key(|rule| (rule.severity, only_if(standing, rule).is_none()));
    worst.map_or_else(String::new, |rule| expect(standing, rule))
}

/// What a rule foretells, as a sentence with its stage where that is only possible.
pub fn expect(standing: &Standing<'_>, rule: &HeatRule) -> String {
    match only_if(standing, rule) {
        None => format!(" Expect: {}.", rule.effect),
        Some(stage) => format!(" If {stage}, expect: {}.", rule.effect),
    }
}

/// The stages in which a rule would run where none of them is certain: "in bud or in flower".
pub fn only_if(standing: &Standing<'_>, rule: &HeatRule) -> Option<String> {
    let stages = &standing.stages;
    let possible = rule.stages.iter().copied().filter(|stage| stages.possible.contains(stage));
    (stages.certainty(rule) != Some(Certainty::Certain)).then(|| any_of(possible))
}

#[cfg(test)]
mod tests {
    use std::borrow::Cow;
    use std::collections::BTreeMap;

    use agronomy::crop::{Stage, Stages};
    use agronomy::series::{Held, MS_PER_DAY, MS_PER_HOUR};

    use super::*;
    use crate::almanac::lines::Lines;
    use crate::ground::fixture::planted;

    const NIGHT: std::ops::Range<i64> = -3 * MS_PER_HOUR..5 * MS_PER_HOUR;

    /// A tomato's rules after so many earlier days that met each of them, and so many hours of 41 °C today.
    fn told(stages: &Stages, earlier: usize, hours: i64) -> String {
        let book = config::crop_book().unwrap();
        let crop = book.crops["tomato"].clone();
        let planting = planted("tomato");
        let lines = Lines::of(&crop, stages, 40.0);
        let rule_days: BTreeMap<_, _> =
            crop.heat_rules.iter().map(|rule| (rule.id.clone(), DayAtLine::Met)).collect();
        let page = PlantingPage { rule_days, ..PlantingPage::default() };
        let held = [
            Held { start_ms: -MS_PER_DAY, end_ms: 10 * MS_PER_HOUR, value: 19.0 },
            Held { start_ms: 10 * MS_PER_HOUR, end_ms: (10 + hours) * MS_PER_HOUR, value: 41.0 },
        ];
        let today = HeatDay::cut(&held, &(0..MS_PER_DAY), &NIGHT, None);
        let standing =
            Standing { planting: &planting, crop: Cow::Owned(crop), stages: stages.clone(), lines };
        effect(&standing, &speaking(&standing, &vec![&page; earlier], &today))
    }

    #[test]
    fn an_effect_is_quoted_once_its_hours_and_days_are_there_and_not_before() {
        // Crop book, read by eye: `day_severe` wants 35 °C for three hours of a day, `acute` 40 °C for three hours on
        // two days in a row (Sato, Peet & Thomas 2000, and others).
        let flowering = Stages::certain([Stage::Flowering]);
        assert_eq!(told(&flowering, 0, 2), "");
        assert_eq!(told(&flowering, 0, 3), " Expect: pollen viability compromised.");
        let acute = " Expect: three or more hours on two successive days can fail the set.";
        assert_eq!(told(&flowering, 1, 4), acute);
    }

    #[test]
    fn a_stage_that_is_only_possible_is_named() {
        let possible = Stages { possible: [Stage::Flowering].into(), ..Stages::default() };
        assert_eq!(told(&possible, 0, 3), " If in flower, expect: pollen viability compromised.");
        assert_eq!(told(&Stages::certain([Stage::Vegetative]), 3, 5), "", "it has no flowers to lose");
    }
}
