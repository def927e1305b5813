//! What heat did to a planting over its days: the rules that spoke, days in a row counted.
//!
//! A day page says of each rule only what one day can say. Here the days are walked in order: a day that met a rule
//! adds one to its run, a clear miss starts anew, and a day of which too little is known holds the count. A rule of
//! three days in a row does not speak before its third. How days are counted is [`agronomy::heat_stress`]'s to say.

use std::collections::BTreeMap;

use agronomy::crop::{Certainty, Crop, HeatRule, Severity, Stage};
use agronomy::heat_stress::{DayAtLine, Run};

use super::planting_page::PlantingPage;
use crate::calendar::Day;

/// The worst that heat did in a season so far.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WorstHeat {
    /// How bad.
    pub severity: Severity,
    /// The first day on which a rule of that severity spoke.
    pub first: Day,
    /// The last such day.
    pub last: Day,
    /// How many such days.
    pub days: u32,
    /// What it does, by the rule that spoke first.
    pub effect: String,
    /// The stages of that rule, where on none of these days it was certain that the planting was in one.
    pub only_if: Vec<Stage>,
}

/// Walks the days of a planting, oldest first, by its crop's rules; `None` when no rule spoke on any of them.
///
/// `ran` says whether the planting was, on a day, in a stage of a rule, and how surely; a rule that did not run said
/// nothing.
pub fn worst_heat<'a>(
    days: impl Iterator<Item = (Day, &'a PlantingPage)>,
    crop: &Crop,
    ran: impl Fn(Day, &HeatRule) -> Option<Certainty>,
) -> Option<WorstHeat> {
    let mut runs: BTreeMap<&str, Run> = BTreeMap::new();
    let mut worst: Option<WorstHeat> = None;
    for (day, page) in days {
        for rule in &crop.heat_rules {
            let Some(certainty) = ran(day, rule) else { continue };
            let said = page.rule_days.get(&rule.id).copied().unwrap_or(DayAtLine::Unknown);
            let run = runs.entry(&rule.id).or_default();
            *run = run.step(said);
            if run.speaks(rule, said) {
                spoke(&mut worst, rule, day, certainty == Certainty::Certain);
            }
        }
    }
    worst
}

/// Takes in that a rule spoke on a day.
fn spoke(worst: &mut Option<WorstHeat>, rule: &HeatRule, day: Day, certain: bool) {
    match worst {
        Some(known) if known.severity > rule.severity => {}
        Some(known) if known.severity == rule.severity => {
            known.days += u32::from(known.last != day);
            known.last = day;
            if certain {
                known.only_if.clear();
            }
        }
        _ => {
            let (severity, effect) = (rule.severity, rule.effect.clone());
            let only_if = if certain { Vec::new() } else { rule.stages.clone() };
            *worst = Some(WorstHeat { severity, first: day, last: day, days: 1, effect, only_if });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pages of days in a row, each with what it says to one rule.
    fn pages(rule: &str, days: &[DayAtLine]) -> Vec<(Day, PlantingPage)> {
        let page = |said: &DayAtLine| {
            let rule_days = BTreeMap::from([(rule.to_owned(), *said)]);
            PlantingPage { rule_days, ..PlantingPage::default() }
        };
        (100..).zip(days.iter().map(page)).collect()
    }

    fn worst(rule: &str, days: &[DayAtLine]) -> Option<(Severity, Day, Day, u32)> {
        let book = config::crop_book().unwrap();
        let pages = pages(rule, days);
        let worst =
            worst_heat(pages.iter().map(|(day, page)| (*day, page)), &book.crops["tomato"], |_, _| {
                Some(Certainty::Certain)
            })?;
        Some((worst.severity, worst.first, worst.last, worst.days))
    }

    #[test]
    fn a_rule_of_two_days_is_silent_on_its_first_and_speaks_on_its_second() {
        use agronomy::heat_stress::DayAtLine::{Met, Missed, Near, Unknown};
        // Crop book, tomato: extreme from two days in a row of the acute rule (Sato, Peet & Thomas 2000, and others).
        assert_eq!(worst("acute", &[Met]), None);
        assert_eq!(worst("acute", &[Met, Missed, Met]), None);
        assert_eq!(worst("acute", &[Met, Met]), Some((Severity::Extreme, 101, 101, 1)));
        assert_eq!(worst("acute", &[Met, Met, Met, Missed]), Some((Severity::Extreme, 101, 102, 2)));
        // A near miss and a silent day hold the count, and do not speak.
        assert_eq!(worst("acute", &[Met, Near, Unknown]), None);
        assert_eq!(worst("acute", &[Met, Near, Unknown, Met]), Some((Severity::Extreme, 103, 103, 1)));
    }

    #[test]
    fn no_rule_of_the_book_speaks_before_as_many_days_as_it_wants() {
        let book = config::crop_book().unwrap();
        let mut of_days = 0;
        for crop in book.crops.values() {
            for rule in &crop.heat_rules {
                let wanted = rule.consecutive_days.unwrap_or(1);
                let made = pages(&rule.id, &vec![DayAtLine::Met; wanted as usize]);
                let spoken = |days: usize| {
                    let days = made[..days].iter().map(|(day, page)| (*day, page));
                    worst_heat(days, crop, |_, _| Some(Certainty::Certain))
                        .map(|worst| (worst.severity, worst.first, worst.days))
                };
                let last = wanted as usize;
                assert_eq!(spoken(last - 1), None, "{} {}", crop.key, rule.id);
                let expected = Some((rule.severity, 99 + i64::from(wanted), 1));
                assert_eq!(spoken(last), expected, "{} {}", crop.key, rule.id);
                of_days += u32::from(wanted > 1);
            }
        }
        assert!(of_days > 30, "{of_days} rules of days in a row");
    }

    #[test]
    fn the_worst_keeps_its_own_days_whatever_milder_follows() {
        let book = config::crop_book().unwrap();
        let tomato = &book.crops["tomato"];
        let mut days = pages("day_severe", &[DayAtLine::Met, DayAtLine::Missed, DayAtLine::Met]);
        days.push((103, pages("day_moderate", &[DayAtLine::Met]).remove(0).1));
        let walked = |certain: bool| {
            worst_heat(days.iter().map(|(day, page)| (*day, page)), tomato, |day, _| {
                let sure = certain && day == 102;
                Some(if sure { Certainty::Certain } else { Certainty::Possible })
            })
            .unwrap()
        };
        let worst = walked(true);
        assert_eq!((worst.severity, worst.first, worst.last, worst.days), (Severity::Severe, 100, 102, 2));
        // Read by eye from the crop book.
        assert_eq!(worst.effect, "pollen viability compromised");
        assert_eq!(worst.only_if, [], "on one of the days it was in flower for certain");
        assert_eq!(walked(false).only_if, [Stage::Flowering]);
    }
}
