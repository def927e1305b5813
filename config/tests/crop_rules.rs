//! Every figure of the shipped crop book that a reckoning leans on can be reckoned with.

use agronomy::compost::RULE_ENDS_C;
use agronomy::crop::{Measure, Stage, Stages};
use agronomy::degree_days::Method;
use agronomy::heat_stress::cold::{ColdLines, Sky, Threat};
use agronomy::heat_stress::damage::damage;
use agronomy::heat_stress::{Curve, Day, StressRecord, findings, judge, worst};
use agronomy::signs::wetness::WET_FROM;
use agronomy::units::Celsius;
use config::crop_book;

fn celsius(value: f64) -> Celsius {
    Celsius::try_new(value).unwrap()
}

/// A day of one temperature, in the air by day and by night and in the soil.
fn level(value: f64) -> Day<'static> {
    let read = Curve::Extremes { low: celsius(value), high: celsius(value) };
    Day { air: read, night: read, night_ms: 1, soil: read, soil_10cm: read, surface: read }
}

#[test]
fn every_heat_rule_speaks_after_enough_days_past_it_and_is_silent_before_and_short_of_it() {
    let book = crop_book().unwrap();
    let mut measures = std::collections::BTreeSet::new();
    let mut count = 0;
    for crop in book.crops.values() {
        for rule in &crop.heat_rules {
            let what = format!("{} {}", crop.key, rule.id);
            let wanted = rule.consecutive_days.unwrap_or(1) as usize;
            // A rule of hot day and warm night wants a day before the first night.
            let extra = usize::from(rule.measure == Measure::DayMaxAndNightMinC);
            let cold = rule.measure == Measure::NightMinBelowC;
            let past = level(rule.threshold + if cold { -0.5 } else { 0.5 });
            let short = level(rule.threshold + if cold { 2.5 } else { -2.5 });
            assert!(judge(rule, &vec![past; wanted + extra]).speaks, "{what}");
            assert!(!judge(rule, &vec![past; wanted + extra - 1]).speaks, "{what}");
            assert!(!judge(rule, &vec![short; wanted + extra]).speaks, "{what}");
            let mut broken = vec![past; wanted + extra];
            broken[0] = short;
            assert!(!judge(rule, &broken).speaks, "{what}");
            let all = Stages::certain(Stage::ALL);
            let days = vec![past; wanted + extra];
            assert!(findings(crop, &all, &days).any(|found| found.rule.id == rule.id), "{what}");
            assert!(worst(findings(crop, &all, &days)) >= Some(rule.severity), "{what}");
            measures.insert(rule.measure);
            count += 1;
        }
    }
    println!("{count} heat rules of {} crops, {} measures", book.crops.len(), measures.len());
    assert_eq!(measures.len(), Measure::ALL.len());
}

#[test]
fn what_the_formulas_hold_as_limits_is_what_the_book_says() {
    let global = crop_book().unwrap().global;
    assert_eq!(global.compost_max_c.middle(), RULE_ENDS_C);
    assert_eq!(global.canopy_wet_rh_pct.middle(), WET_FROM.get());
    assert_eq!(global.heat_hour_default_c.middle(), StressRecord::ACROSS_CROPS_C);
}

#[test]
fn every_milestone_is_a_target_by_a_rule_of_its_own_method() {
    let book = crop_book().unwrap();
    let mut count = 0;
    for crop in book.crops.values() {
        assert!(crop.gdd.rule("main").is_ok(), "{}", crop.key);
        for milestone in &crop.gdd.milestones {
            let target = crop.gdd.target(milestone).unwrap_or_else(|why| panic!("{}: {why}", crop.key));
            let ontario = target.rule().method() == Method::OntarioUnits;
            assert_eq!(ontario, milestone.model == "ontario_units", "{} {}", crop.key, milestone.to);
            count += 1;
        }
    }
    println!("{count} milestones");
    // Read by eye: the tomato's second method is the integral between 10 and 30 °C.
    assert_eq!(book.crops["tomato"].gdd.rule("alt").unwrap().to_string(), "integral 10/30");
    assert_eq!(book.crops["pea"].gdd.rule("main").unwrap().to_string(), "mean 4.4");
}

#[test]
fn cold_lines_of_every_crop_stand_in_order_and_a_mild_night_threatens_none() {
    for crop in crop_book().unwrap().crops.values() {
        let [hardened, tender] = [Some(true), None].map(|it| ColdLines::of(&crop.cold, it).unwrap());
        assert!(hardened.lethal <= hardened.damage && tender.lethal > tender.damage, "{}", crop.key);
        assert!(hardened.chill.is_none_or(|chill| chill > hardened.damage), "{}", crop.key);
        assert_eq!(hardened.threat(celsius(15.0), Sky::Covered), None, "{}", crop.key);
        assert_eq!(tender.threat(celsius(-40.0), Sky::Clear), Some(Threat::Death), "{}", crop.key);
    }
}

#[test]
fn a_hot_spell_is_told_by_the_flowers_it_touches_and_the_gap_it_leaves() {
    let book = crop_book().unwrap();
    // A spell on days 200 to 203. Windows from the trials named in the code; days to picking read by eye: tomato
    // flower_to_pick 35 to 49 days, cucumber set_to_pick 7 to 14.
    let of = |key: &str| damage(&book.crops[key], 200..=203).collect::<Vec<_>>();
    let tomato = of("tomato");
    assert_eq!(tomato[0].flowers, 200..=216);
    let gap = tomato[0].gap.clone().unwrap();
    assert_eq!((gap.begins, gap.ends), (235..=249, 251..=265));
    assert_eq!(of("bean_green")[0].flowers, 200..=213);
    assert_eq!((of("pea")[0].flowers.clone(), of("pea")[0].gap.is_none()), (188..=197, true));
    let pepper = of("sweet_pepper");
    assert_eq!((pepper[0].flowers.clone(), pepper[1].flowers.clone()), (200..=203, 214..=224));
    // Read by eye: strawberry flower_to_ripe 24 to 35 days.
    assert_eq!(of("strawberry")[0].gap.clone().unwrap().begins, 224..=235);
    assert_eq!(of("cucumber")[0].gap.clone().unwrap().begins, 207..=214);
    assert!(of("lettuce").is_empty());
    #[expect(clippy::reversed_empty_ranges, reason = "the spell that ends before it begins")]
    let none = damage(&book.crops["tomato"], 203..=200);
    assert_eq!(none.count(), 0);
    assert_eq!(damage(&book.crops["tomato"], i64::MAX..=i64::MAX).count(), 1);
}
