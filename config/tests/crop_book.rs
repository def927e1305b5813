//! The shipped crop book, and what the reader says of damaged ones.

use std::collections::BTreeSet;

use agronomy::compost::HeapRule;
use agronomy::crop::{
    Certainty, Line, Measure, Severity, Stage, Stages, Standing, cold_night_line, crop_line, line, night_line,
};
use config::book::sources_of_book;
use config::{crop_book, read_crop_book};

const SHIPPED: &str = include_str!("../crops.toml");
const SOURCES: &str = include_str!("../crop-sources.md");

fn stages(list: &[Stage]) -> Stages {
    Stages::certain(list.iter().copied())
}

#[test]
fn all_33_crops_load_under_their_keys() {
    let book = crop_book().unwrap();
    // The keys counted by hand in the text, one heading each.
    let headings: BTreeSet<_> = SHIPPED
        .lines()
        .filter_map(|line| line.strip_prefix("[crop.")?.strip_suffix(']'))
        .filter(|key| !key.contains('.'))
        .collect();
    assert_eq!(headings.len(), 33);
    assert_eq!(book.crops.keys().map(String::as_str).collect::<BTreeSet<_>>(), headings);
    assert!(book.crops.iter().all(|(key, crop)| *key == crop.key && !crop.heat_rules.is_empty()));
}

#[test]
fn no_rule_step_or_disorder_of_the_text_is_lost() {
    let book = crop_book().unwrap();
    let written = |heading: &str| {
        SHIPPED.lines().filter(|line| line.starts_with("[[") && line.contains(heading)).count()
    };
    let read = |count: fn(&agronomy::crop::Crop) -> usize| book.crops.values().map(count).sum::<usize>();
    assert_eq!(read(|crop| crop.heat_rules.len()), written(".heat_rule]]"));
    assert_eq!(read(|crop| crop.gdd.milestones.len()), written(".milestone]]"));
    assert_eq!(read(|crop| crop.disorders.len()), written(".disorder]]"));
}

#[test]
fn tomato_reads_as_written() {
    // Read by eye from crops.toml, table [crop.tomato].
    let book = crop_book().unwrap();
    let tomato = &book.crops["tomato"];
    assert_eq!(
        (tomato.gdd.method.as_str(), tomato.gdd.base, tomato.gdd.upper),
        ("mean-capped", 7.0, Some(28.0))
    );
    let alt = tomato.gdd.alt.as_ref().unwrap();
    assert_eq!((alt.method.as_str(), alt.base, alt.upper), ("integral", 10.0, Some(30.0)));
    let acute = tomato.heat_rules.iter().find(|rule| rule.id == "acute").unwrap();
    assert_eq!(acute.measure, Measure::HoursAboveC);
    assert_eq!(
        (acute.threshold, acute.min_hours_per_day, acute.consecutive_days),
        (40.0, Some(3.0), Some(2))
    );
    assert_eq!(acute.sources, ["S14", "S16"]);
    let chronic = tomato.heat_rules.iter().find(|rule| rule.id == "chronic_32_26").unwrap();
    assert_eq!((chronic.threshold, chronic.night_threshold), (32.0, Some(26.0)));
    assert_eq!(tomato.cold.other["no_set_night_c"].lo, 13.0);
    assert_eq!((tomato.germination.table[2].soil, tomato.germination.table[2].days), (10.0, Some(43.0)));
    assert_eq!(book.global.place_heat_c.lo, 40.0);
    assert_eq!(book.global.place_heat_minutes.lo, 30.0);
}

#[test]
fn a_second_method_without_limits_shares_those_of_the_first() {
    let book = crop_book().unwrap();
    let alt = book.crops["sweet_corn"].gdd.alt.clone().unwrap();
    assert_eq!((alt.method.as_str(), alt.base, alt.upper), ("extremes-clipped", 10.0, Some(30.0)));
}

#[test]
fn lines_are_the_lowest_rule_of_exactly_that_severity_in_those_stages() {
    // Read by eye from crops.toml: tomato day 32 moderate, 35 severe, 40 extreme, nights 21 and 24 while
    // flowering; lettuce 27 and 32 in any stage; pea's severe rule counts hours above 28.
    let book = crop_book().unwrap();
    let (tomato, lettuce, pea) = (&book.crops["tomato"], &book.crops["lettuce"], &book.crops["pea"]);
    let flowering = stages(&[Stage::Flowering]);
    let day = |crop, severity, stages: &Stages| crop_line(crop, severity, stages).map(celsius);
    let night = |crop, severity, stages: &Stages| night_line(crop, severity, stages).map(celsius);
    assert_eq!(day(tomato, Severity::Moderate, &flowering), Some(32.0));
    assert_eq!(day(tomato, Severity::Severe, &flowering), Some(35.0));
    assert_eq!(day(tomato, Severity::Extreme, &flowering), Some(40.0));
    assert_eq!(day(tomato, Severity::Severe, &stages(&[Stage::Ripening])), None);
    assert_eq!(day(tomato, Severity::Moderate, &stages(&[Stage::Flowering, Stage::Ripening])), Some(32.0));
    assert_eq!(night(tomato, Severity::Moderate, &flowering), Some(21.0));
    assert_eq!(night(tomato, Severity::Severe, &flowering), Some(24.0));
    assert_eq!(day(lettuce, Severity::Severe, &Stages::default()), Some(32.0));
    assert_eq!(day(pea, Severity::Severe, &flowering), Some(28.0));
    // The pepper's only night rule below severe is against cold nights (15.5): no line for warm ones.
    let pepper = &book.crops["sweet_pepper"];
    assert_eq!(night(pepper, Severity::Moderate, &flowering), None);
    assert_eq!(cold_night_line(pepper, Severity::Moderate, &flowering).map(celsius), Some(15.5));
}

fn celsius(line: Line<'_>) -> f64 {
    line.celsius
}

#[test]
fn under_cover_a_line_is_never_absent_and_a_possible_stage_is_said_to_be_one() {
    // While no stage is known, most crops have no severe rule on the day's heat.
    let book = crop_book().unwrap();
    let place = book.global.place_heat_c.lo;
    let without =
        |crop: &&agronomy::crop::Crop| line(crop, Severity::Severe, &Stages::default(), place).rule.is_none();
    assert!(book.crops.values().filter(without).count() > 20);
    for crop in book.crops.values() {
        for severity in Severity::ALL {
            assert!(line(crop, severity, &stages(&Stage::ALL), place).celsius <= 45.0, "{}", crop.key);
        }
    }
    let tomato = &book.crops["tomato"];
    let mut maybe = stages(&[Stage::Ripening]);
    maybe.possible.insert(Stage::Flowering);
    // In ripening 34 is certain; in a possible flower 32 is the lower, and only possible.
    let moderate = line(tomato, Severity::Moderate, &maybe, place);
    assert_eq!((moderate.celsius, moderate.certainty), (32.0, Certainty::Possible));
    let ripening = line(tomato, Severity::Moderate, &stages(&[Stage::Ripening]), place);
    assert_eq!((ripening.celsius, ripening.certainty), (34.0, Certainty::Certain));
    let severe = line(tomato, Severity::Severe, &stages(&[Stage::Ripening]), place);
    assert_eq!((severe.celsius, severe.rule.is_none()), (40.0, true));
}

#[test]
fn every_source_key_is_in_the_source_list() {
    let listed: BTreeSet<_> =
        SOURCES.lines().filter_map(|line| Some(line.strip_prefix("- **")?.split_once("**")?.0)).collect();
    let book = crop_book().unwrap();
    let text = toml::from_str::<toml::Value>(SHIPPED).unwrap();
    let mut used = BTreeSet::new();
    gather(&text, &mut used);
    assert!(used.len() > 50 && book.crops.len() == 33);
    let unknown: Vec<_> = used
        .iter()
        .filter(|key| {
            !["memory", "practice", "derived"].contains(&key.as_str()) && !listed.contains(key.as_str())
        })
        .collect();
    assert_eq!(unknown, Vec::<&String>::new());
}

fn gather(value: &toml::Value, keys: &mut BTreeSet<String>) {
    match value {
        toml::Value::Table(table) => {
            if let Some(toml::Value::Array(list)) = table.get("s") {
                keys.extend(list.iter().filter_map(|key| key.as_str()).map(str::to_owned));
            }
            table.values().for_each(|value| gather(value, keys));
        }
        toml::Value::Array(list) => list.iter().for_each(|value| gather(value, keys)),
        _ => {}
    }
}

#[test]
fn the_edition_changes_with_the_smallest_change_of_the_text() {
    let book = crop_book().unwrap();
    let other =
        read_crop_book(&SHIPPED.replacen("place_heat_c = { v = 40.0", "place_heat_c = { v = 40.5", 1))
            .unwrap();
    assert_ne!(book.edition, other.edition);
    assert!(book.edition.starts_with("1-") && book.edition.len() == 10);
}

/// What stands in the book, and what is written in its place: a fault each.
const DAMAGE: [(&str, &str); 13] = [
    ("place_heat_minutes = { v = 30, s", "place_heat_minutes = { v = \"half an hour\", s"),
    ("method = \"mean-capped\"\n", "method = \"mean_caped\"\n"),
    ("t_upper_c = { v = 28.0, s = [\"S02\"] }", "t_upper_c = { v = 6.0, s = [\"S02\"] }"),
    ("dd_c = { v = 985.0, s = [\"S02\"] }", "dd_c = { v = 985.0, s = [\"memroy\"] }"),
    ("stages = [\"flowering\"]", "stages = [\"flowring\"]"),
    ("measure = \"daily_mean_c\"", "measure = \"daily_mean\""),
    ("severity = \"severe\"", "severity = \"terrible\""),
    ("threshold = { v = 40.0, s = [\"S14\", \"S16\"] }", "threshold = { v = 104.0, s = [\"S14\"] }"),
    ("frost_damage_c = { v = 0.0, s = [\"S66\"] }", "frost_damage_c = { v = -5.0, s = [] }"),
    ("harsh_above = { v = 3.0,", "harsh_above = { v = 1.0,"),
    ("kcb_mid = { v = 1.1,", "kcb_mdi = { v = 1.1,"),
    ("[crop.cucumber]\nname = ", "[crop.cucumber]\nnam = "),
    ("[crop.cucumber.light]\ndli_min = { ", "[crop.cucumber.light]\ndli_min = { lo = 9.0, "),
];

#[test]
fn a_book_with_a_dozen_faults_names_every_one_with_file_crop_and_field() {
    let mut text = SHIPPED.to_owned();
    for (whole, broken) in DAMAGE {
        assert!(text.contains(whole), "{whole} is not in the book any more");
        text = text.replacen(whole, broken, 1);
    }
    let told = read_crop_book(&text).unwrap_err().to_string();
    let place = |needle: &str| 1 + text.lines().position(|line| line.contains(needle)).unwrap();
    let after = |table: &str| place(table) + 1;
    let expected = [
        (place("half an hour"), "global, place_heat_minutes: v is text; write a number in min"),
        (place("mean_caped"), "tomato, gdd: unknown degree-day method mean_caped; write mean-capped"),
        (place("v = 6.0"), "tomato: gdd.t_upper_c 6 is not above gdd.t_base_c 7; write more than 7"),
        (
            place("memroy"),
            "tomato, gdd.milestone.transplant_to_full_cover_mid_season.dd_c: unknown source memroy; write memory",
        ),
        (place("flowring"), "tomato, heat_rule.mean_moderate: unknown stage flowring; write flowering"),
        (
            place("\"daily_mean\""),
            "tomato, heat_rule.mean_moderate: unknown measure daily_mean; write daily_mean_c",
        ),
        (
            place("terrible"),
            "tomato, heat_rule.mean_severe: unknown severity terrible; write minor, moderate, severe or extreme",
        ),
        (place("v = 104.0"), "tomato, heat_rule.acute.threshold: v 104 is out of range; write -60 to 90 °C"),
        (
            place("s = [] }"),
            "tomato, cold.frost_damage_c: frost_damage_c has an empty source; write s = [\"practice\"]",
        ),
        (
            place("harsh_above = { v = 1.0"),
            "tomato: vpd_kpa.harsh_above 1 is below vpd_kpa.drying_above 2; write 2 or more",
        ),
        (place("kcb_mdi"), "tomato, water: unknown key kcb_mdi in [crop.tomato.water]; write kcb_mid"),
        (after("[crop.cucumber]"), "cucumber: unknown key nam in [crop.cucumber]; write name"),
        (
            after("[crop.cucumber.light]"),
            "cucumber, light: dli_min is neither one number nor a span; write v, or lo and hi",
        ),
    ];
    let lines: Vec<_> = told.lines().collect();
    assert_eq!(lines.len(), expected.len(), "{told}");
    for (line, (number, message)) in lines.iter().zip(expected) {
        assert!(line.starts_with(&format!("crops.toml:{number}:")), "{number}: {line}");
        assert!(line.ends_with(&format!(": {message}")), "{message}: {line}");
    }
}

#[test]
fn every_number_with_a_source_in_the_text_is_listed_with_source_and_standing() {
    // Counted in the text itself: an inline table with `s` and a value is a figure; soils and germination tables
    // hold columns instead.
    fn count(value: &toml::Value) -> usize {
        match value {
            toml::Value::Table(table) if table.contains_key("s") => {
                usize::from(table.contains_key("v") || table.contains_key("lo"))
            }
            toml::Value::Table(table) => table.values().map(count).sum(),
            toml::Value::Array(list) => list.iter().map(count).sum(),
            _ => 0,
        }
    }
    let text = toml::from_str::<toml::Value>(SHIPPED).unwrap();
    let book = crop_book().unwrap();
    for (key, crop) in &book.crops {
        assert_eq!(crop.figures.len(), count(&text["crop"][key]), "{key}");
        for (name, listed) in crop.figures.iter() {
            assert!(!listed.figure.sources.is_empty(), "{key} {name}");
        }
    }
    let tomato = &book.crops["tomato"].figures;
    // Read by eye: S02 alone; practice; S01 with memory behind it is remembered.
    assert_eq!(tomato["gdd.t_base_c"].standing(), Standing::Published);
    assert_eq!(tomato["heat_rule.mean_moderate.consecutive_days"].standing(), Standing::Practice);
    assert_eq!(tomato["gdd.milestone.transplant_to_first_ripe.dd_c"].standing(), Standing::Derived);
    assert_eq!(tomato["air.day_opt_c"].standing(), Standing::Memory);
}

#[test]
fn whatever_leans_on_a_source_cited_from_memory_stands_as_remembered() {
    // The marks are those of the source list: [M] is cited from memory.
    let sources = sources_of_book();
    let remembered = |key: &String| sources.get(key.as_str()).is_some_and(|source| source.checked == 'M');
    let mut found = 0;
    for (key, crop) in &crop_book().unwrap().crops {
        let figures = crop.figures.iter().map(|(name, listed)| (name.as_str(), &listed.figure.sources));
        let rules = crop.heat_rules.iter().map(|rule| (rule.id.as_str(), &rule.sources));
        let disorders = crop.disorders.iter().map(|disorder| (disorder.name.as_str(), &disorder.sources));
        let table = std::iter::once(("germination table", &crop.germination.table_sources));
        for (name, keys) in figures.chain(rules).chain(disorders).chain(table) {
            if keys.iter().any(remembered) {
                assert_eq!(Standing::of_sources(keys), Standing::Memory, "{key} {name}: {keys:?}");
                found += 1;
            }
        }
    }
    assert!(found > 20, "{found}");
}

#[test]
fn a_source_cited_from_memory_without_the_word_is_refused() {
    let text = SHIPPED.replacen("s = [\"S119\", \"memory\"]", "s = [\"S119\"]", 1);
    let told = read_crop_book(&text).unwrap_err().to_string();
    assert!(told.contains("S119 is cited from memory; write \"memory\" beside it"), "{told}");
    assert_eq!(told.lines().count(), 1, "{told}");
}

#[test]
fn disorders_are_told_in_words() {
    let raw = [">", "<", "_", "Ks", "VPD", "RH", "DLI", " AND ", " OR ", "+ ", " C ", " C,", " percent"];
    for (key, crop) in &crop_book().unwrap().crops {
        for disorder in &crop.disorders {
            let rule = &disorder.rule;
            let sign = raw.into_iter().find(|sign| rule.contains(sign));
            assert!(sign.is_none() && !rule.ends_with(" C"), "{key} {}: {sign:?} in {rule}", disorder.name);
        }
        // The names of methods are ours, and a step says by its model which it goes by.
        for note in crop.gdd.milestones.iter().filter_map(|step| step.note.as_ref()) {
            assert!(!note.contains('_') && !note.contains("alt method"), "{key}: {note}");
        }
    }
}

#[test]
fn the_rule_for_compost_heat_is_that_of_the_book() {
    // 7 CFR 205.203(c)(2) as quoted by two bodies: 131 to 170 °F are 55 to 77 °C; 3 days, 15 days, 5 turns.
    let rule = HeapRule::of_book(&crop_book().unwrap().global).unwrap();
    assert_eq!((rule.from.get(), rule.to.get()), (55.0, 77.0));
    assert_eq!((rule.vessel_days, rule.windrow_days, rule.windrow_turns), (3, 15, 5));
}
