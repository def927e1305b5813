use std::borrow::Cow;
use std::ops::RangeInclusive;

use agronomy::crop::{Crop, Stage, Stages};
use agronomy::heat_stress::DayAtLine::{self, Met as Hot, Missed, Near, Unknown};
use agronomy::series::MS_PER_DAY;

use super::*;
use crate::almanac::lines::Lines;
use crate::ground::Planting;
use crate::ground::fixture::planted;
use crate::minders::place_now::Foretold;

const DAYS: RangeInclusive<Day> = 100..=400;

fn rule(crop: &str, id: &str) -> HeatRule {
    let book = config::crop_book().unwrap();
    book.crops[crop].heat_rules.iter().find(|rule| rule.id == id).unwrap().clone()
}

/// Whether a rule stands after each of these days.
fn stands(rule: &HeatRule, days: &[DayAtLine]) -> Vec<bool> {
    let after = |count: usize| Course::of(rule, DAYS.zip(days[..count].iter().copied()));
    (1..=days.len()).map(|count| after(count).stands.is_some()).collect()
}

#[test]
fn a_mean_stands_from_its_third_day_until_three_in_a_row_were_cooler() {
    // Crop book, tomato: a mean of 26 °C on three days in a row. The end: recovery, three days below (common practice).
    let mean = rule("tomato", "mean_moderate");
    assert_eq!(stands(&mean, &[Hot, Hot, Hot]), [false, false, true]);
    assert_eq!(stands(&mean, &[Hot, Missed, Hot, Hot]), [false; 4]);
    let cooling = [Hot, Hot, Hot, Missed, Missed, Hot, Missed, Near, Missed];
    assert_eq!(stands(&mean, &cooling)[2..], [true, true, true, true, true, true, false]);
}

#[test]
fn a_warm_night_is_over_after_two_cooler_ones() {
    // Crop book, tomato: nights of 24 °C, two in a row. The end: recovery, two nights below (common practice).
    let night = rule("tomato", "night_severe");
    assert_eq!(
        stands(&night, &[Hot, Hot, Missed, Hot, Missed, Missed]),
        [false, true, true, true, true, false]
    );
}

#[test]
fn what_nobody_measured_neither_opens_nor_ends_it() {
    let mean = rule("tomato", "mean_moderate");
    assert_eq!(stands(&mean, &[Hot, Unknown, Hot, Unknown, Hot]), [false, false, false, false, true]);
    // Three cooler days that are not in a row as far as anybody knows.
    let days = [Hot, Hot, Hot, Missed, Missed, Unknown, Missed, Missed, Missed];
    assert_eq!(stands(&mean, &days)[5..], [true, true, true, false]);
    let of = |days: &[DayAtLine]| Course::of(&mean, DAYS.zip(days.iter().copied()));
    assert!(of(&[Hot, Hot, Hot]).is_new());
    assert!(of(&[Hot, Hot, Hot, Unknown]).is_new(), "a day that is read by hand only the morning after");
    assert!(!of(&[Hot, Hot, Hot, Unknown, Unknown]).is_new(), "old news opens nothing");
    assert!(!of(&[Hot, Hot, Hot, Missed]).is_new() && !of(&[Hot, Hot, Hot, Missed]).is_over());
    assert!(!of(&[Unknown; 30]).is_over(), "silence is not calm");
    assert!(of(&[Unknown, Missed, Missed, Missed]).is_over());
}

#[test]
fn rules_of_nights_of_means_and_of_days_in_a_row_are_judged_here_and_no_others() {
    let book = config::crop_book().unwrap();
    let of = |crop: &str| -> Vec<String> {
        let rules = book.crops[crop].heat_rules.iter().filter(|rule| is_judged(rule));
        rules.map(|rule| rule.id.clone()).collect()
    };
    // Read by eye from the crop book.
    let tomato = ["mean_moderate", "mean_severe", "acute", "night_moderate", "night_severe", "chronic_32_26"];
    assert_eq!(of("tomato"), tomato);
    assert_eq!(of("sweet_pepper"), ["sustained_33", "night_severe"], "a cold night is no warm spell");
    assert_eq!(of("broccoli"), ["head_moderate", "head_severe", "head_extreme"]);
    assert_eq!(of("lettuce"), [""; 0], "bolting has a minder of its own");
}

fn place(kind: PlaceKind) -> PlaceNow<'static> {
    PlaceNow {
        now_ms: 400 * MS_PER_DAY,
        place: "house",
        name: "House",
        kind,
        air: None,
        air_until_ms: None,
        last_air: None,
        vpd_kpa: None,
        slope_c_per_h: None,
        pace_c_per_h: None,
        still_rising: false,
        high: None,
        low: None,
        yesterday_c: None,
        median_high_c: None,
        expected: Vec::new(),
        foretold: Foretold::default(),
        standing: Vec::new(),
        place_line_c: Some(40.0),
        place_line_ms: 1_800_000,
        daylight: true,
        civil_hour: 6.0,
        day: 400 * MS_PER_DAY..401 * MS_PER_DAY,
        date: String::new(),
        vents_open: None,
        shade_on: None,
    }
}

fn standing<'a>(planting: &'a Planting, crop: &Crop, stages: Stages) -> Standing<'a> {
    let lines = Lines::of(crop, &stages, 40.0);
    Standing { planting, crop: Cow::Owned(crop.clone()), stages, lines }
}

/// What is said of tomatoes and sweet peppers, of which each rule that is named was met on so many days, the others on none.
fn said(kind: PlaceKind, stages: &Stages, met: &[(&str, &str, usize)], open: bool) -> Verdict {
    let book = config::crop_book().unwrap();
    let plantings = ["tomato", "sweet_pepper"].map(|crop| Planting { id: crop.into(), ..planted(crop) });
    let each = plantings.iter().map(|it| standing(it, &book.crops[&it.crop], stages.clone()));
    let each: Vec<Standing<'_>> = each.collect();
    let ruled = each.iter().flat_map(|standing| {
        let rules = standing.crop.heat_rules.iter().filter(|rule| is_judged(rule));
        rules.map(move |rule| {
            let hot = met.iter().find(|(crop, id, _)| standing.planting.crop == *crop && rule.id == *id);
            let hot = hot.map_or(0, |(_, _, days)| *days);
            let days = (0..5).map(|day| if day + hot >= 5 { Hot } else { Missed });
            Ruled { standing, rule, course: Course::of(rule, DAYS.zip(days)) }
        })
    });
    let last = Last { low_c: Some(24.2), mean_c: Some(27.1), high_c: Some(30.5) };
    judge(&place(kind), &ruled.collect::<Vec<_>>(), last, open, &Calendar::fixed(0))
}

fn word_of(verdict: Verdict) -> Word {
    let Says::Word(word) = verdict.says else { panic!("{verdict:?}") };
    word
}

#[test]
fn one_word_names_each_planting_with_its_worst_rule_its_limit_its_days_and_what_it_loses() {
    let met = [
        ("tomato", "mean_moderate", 4),
        ("tomato", "night_severe", 2),
        ("tomato", "night_moderate", 5),
        ("sweet_pepper", "night_severe", 2),
    ];
    let word = word_of(said(PlaceKind::House, &Stages::certain([Stage::Flowering]), &met, false));
    assert_eq!((word.severity, word.push, word.joins_heat), (Severity::Severe, false, true));
    assert_eq!(word.planting.as_deref(), Some("tomato"));
    assert_eq!(word.title, "From outside, open door and vents from evening to morning.");
    // Limits and losses read by eye from the crop book. Day 103 from 1970 on is the 14th of April.
    let wanted = "House: lowest of the night 24.2 °C. Tomatoes want nights below 24 (severe); 2 were not, the first \
                  that to 14 April. Expect: pollen tube growth and set fail. Sweet peppers want nights below 24 \
                  (severe); 2 were not, the first that to 14 April. Expect: flowers drop. What";
    assert!(word.text.starts_with(wanted), "{}", word.text);
    assert!(!word.caution.is_empty());
}

#[test]
fn a_stage_that_is_only_possible_is_said_and_a_mean_is_met_with_shade() {
    let possible = Stages { possible: [Stage::Flowering].into(), ..Stages::default() };
    let word = word_of(said(PlaceKind::House, &possible, &[("tomato", "mean_moderate", 3)], false));
    assert_eq!(word.severity, Severity::Moderate);
    assert_eq!(word.title, "From outside, shade it by day; open early and late.");
    let wanted = "House: mean of the day before 27.1 °C. Tomatoes want days with a mean below 26 (moderate); 3 were not, the \
                  first that of 13 April. If in flower, expect: fruit set begins to fall";
    assert!(word.text.starts_with(wanted), "{}", word.text);
    let bed = word_of(said(PlaceKind::Bed, &possible, &[("tomato", "night_moderate", 1)], false));
    assert_eq!(bed.title, "Shade the tomatoes by day; water at dawn.");
    assert!(bed.text.contains("1 was not, that to 15 April"), "{}", bed.text);
}

#[test]
fn it_ends_by_what_was_measured_and_stays_while_that_is_not_known() {
    let flowering = Stages::certain([Stage::Flowering]);
    let none = said(PlaceKind::House, &flowering, &[], true);
    assert!(
        matches!(&none.says, Says::Clear { title, .. } if title == "The warm spell is over."),
        "{none:?}"
    );
    let empty = judge(&place(PlaceKind::House), &[], Last::default(), true, &Calendar::fixed(0));
    assert!(matches!(empty.says, Says::Clear { .. }));
    let (tomato, book) = (planted("tomato"), config::crop_book().unwrap());
    let standing = standing(&tomato, &book.crops["tomato"], flowering);
    let rule = &rule("tomato", "night_moderate");
    let silent = Ruled { standing: &standing, rule, course: Course::of(rule, DAYS.zip([Unknown; 30])) };
    let blind = judge(&place(PlaceKind::House), &[silent], Last::default(), true, &Calendar::fixed(0));
    assert_eq!(blind.says, Says::Unknown);
}

#[test]
fn it_joins_a_heat_notice_only_while_it_has_none_of_its_own() {
    let met = [("tomato", "night_moderate", 1)];
    let word = said(PlaceKind::House, &Stages::certain([Stage::Flowering]), &met, false);
    let mut mind = WarmSpell::default();
    assert!(mind.is_due(10, 3));
    mind.decide(10, 3, Some(word));
    assert!(!mind.is_due(10, 3) && mind.is_due(11, 3) && mind.is_due(10, 4));
    assert!(word_of(mind.says(false).unwrap()).joins_heat);
    assert!(!word_of(mind.says(true).unwrap()).joins_heat);
    let clear = said(PlaceKind::House, &Stages::certain([Stage::Flowering]), &[], true);
    mind.decide(11, 3, Some(clear));
    assert!(mind.says(true).is_some() && mind.says(false).is_none(), "what is not open is not closed");
}
