//! `glasshour crops`: the crop book as a grower and as a program reads it.

use agronomy::crop::Standing;
use glasshour::cli::crops::{CropsArgs, run};
use serde_json::Value;

fn told(crop: Option<&str>, json: bool) -> (u8, String, String) {
    let args = CropsArgs { crop: crop.map(str::to_owned), json };
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let exit = run(&args, &mut out, &mut err).unwrap();
    (exit, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
}

fn json(crop: Option<&str>) -> Value {
    let (exit, out, _) = told(crop, true);
    assert_eq!(exit, 0);
    serde_json::from_str(&out).unwrap()
}

#[test]
fn all_33_crops_are_listed_with_how_well_their_figures_are_known() {
    let (exit, out, err) = told(None, false);
    assert_eq!((exit, err.as_str()), (0, ""));
    assert!(out.starts_with("33 crops, edition 1-"), "{out}");
    assert_eq!(out.lines().count(), 35);
    let tomato = out.lines().find(|line| line.starts_with("tomato ")).unwrap();
    for part in ["Tomato (standard), warm fruiting: ", " published, ", " practice, ", " derived, ", " memory"]
    {
        assert!(tomato.contains(part), "{part} in {tomato}");
    }
    let crops = json(None)["crops"].as_array().unwrap().clone();
    assert_eq!(crops.len(), 33);
    let counted = |crop: &Value| {
        crop["figures"].as_object().unwrap().values().map(|it| it.as_u64().unwrap()).sum::<u64>()
    };
    let book = config::crop_book().unwrap();
    for crop in &crops {
        let figures = book.crops[crop["crop"].as_str().unwrap()].figures.len();
        assert_eq!(counted(crop), figures as u64, "{crop}");
    }
}

#[test]
fn one_crop_is_printed_with_value_unit_standing_sources_and_name_of_every_figure() {
    let (exit, out, _) = told(Some("tomato"), false);
    assert_eq!(exit, 0);
    // Read by eye from the crop book, table [crop.tomato], and from the list of its sources.
    for line in [
        "Tomato (standard) (Solanum lycopersicum), warm fruiting",
        "Growth by warmth: method mean-capped, second method integral",
        "    growth counts from: 7 °C (published, S02) [gdd.t_base_c]",
        "    warmth from transplant to first ripe: 650 to 950 °C d by integral between 10 and 30 °C (derived) [gdd.milestone.transplant_to_first_ripe.dd_c]",
        "      reckoned from days to maturity at a mean of 20 to 22 °C; fit it to your cultivar",
        "    warmth from transplant to end initial stage: 325 °C d by mean-capped between 7 and 28 °C (published, S02) [gdd.milestone.transplant_to_end_initial_stage.dd_c]",
        "    upper threshold of growth: 28 °C (a day whose mean lies above it counts as if at it) (published, S02) [gdd.t_upper_c]",
        "      10 °C: up in 43 days, 82 % normal seedlings",
        "      40 °C: none came up",
        "    warmth from transplant to first flower ontario units: 322 heat units by ontario-units, which has limits of its own (published, S09) [gdd.milestone.transplant_to_first_flower_ontario_units.dd_c]",
        "  extreme, flowering, by hours above the line: three or more hours on two successive days can fail the set",
        "    heat rule acute, from: 40 °C (published, S14, S16) [heat_rule.acute.threshold]",
        "    heat rule mean moderate, days in a row: 3 days (practice) [heat_rule.mean_moderate.consecutive_days]",
        "    best soil for seed: 20 to 29.5 °C (published, S04, S06) [germination.t_opt_c]",
        "    best by day: 21 to 27 °C (memory) [air.day_opt_c]",
        "  practice: what growers commonly do; no trial stands behind the exact number",
    ] {
        assert!(out.lines().any(|it| it == line), "{line:?} is missing in\n{out}");
    }
    let source = out.lines().find(|line| line.starts_with("  S02: ")).unwrap();
    assert!(source.contains("Estimating the lengths of crop growth stages"), "{source}");
    assert!(source.ends_with("[read in somebody else's copy]"), "{source}");
    let book = config::crop_book().unwrap();
    for name in book.crops["tomato"].figures.keys() {
        assert_eq!(out.matches(&format!("[{name}]")).count(), 1, "{name}");
    }
}

#[test]
fn every_crop_is_printed_whole_and_nothing_remembered_looks_published() {
    let book = config::crop_book().unwrap();
    for (key, crop) in &book.crops {
        let (exit, out, _) = told(Some(key), false);
        assert_eq!(exit, 0, "{key}");
        let printed = out.lines().filter(|line| line.starts_with("    ") && line.ends_with(']')).count();
        assert_eq!(printed, crop.figures.len(), "{key}");
        assert_eq!(
            out.matches("(published").count(),
            {
                let published = |sources: &[String]| Standing::of_sources(sources) == Standing::Published;
                crop.figures.values().filter(|it| published(&it.figure.sources)).count()
                    + crop.disorders.iter().filter(|it| published(&it.sources)).count()
                    + usize::from(published(&crop.germination.table_sources))
            },
            "{key}"
        );
    }
}

#[test]
fn a_program_reads_figures_with_unit_standing_and_sources() {
    let tomato = json(Some("tomato"));
    let acute = &tomato["figures"]["heat_rule.acute.threshold"];
    assert_eq!((&acute["lo"], &acute["hi"], &acute["unit"]), (&40.0.into(), &40.0.into(), &"°C".into()));
    assert_eq!((&acute["standing"], &acute["sources"][1]), (&"published".into(), &"S16".into()));
    assert_eq!(tomato["figures"]["air.day_opt_c"]["standing"], "memory");
    assert_eq!(tomato["method"], "mean-capped");
    assert!(tomato["sources"]["S02"].as_str().unwrap().contains("Paredes"));
    assert_eq!(
        tomato["heat_rules"].as_array().unwrap().len(),
        config::crop_book().unwrap().crops["tomato"].heat_rules.len()
    );
}

#[test]
fn every_step_of_growth_says_by_which_method_and_limits_it_counts() {
    // Read by eye from the crop book: method, base and cap of the crop, or of its second method.
    for (crop, step, words, method, base, upper) in [
        ("pea", "sow_to_harvest_main", "by mean above 4.4 °C", "mean", 4.4, None),
        (
            "cucumber",
            "sow_to_first_harvest",
            "by maximum-reflected between 15.5 and 32 °C",
            "maximum-reflected",
            15.5,
            Some(32.0),
        ),
        ("tomato", "anthesis_to_ripe", "by integral between 10 and 30 °C", "integral", 10.0, Some(30.0)),
    ] {
        let name = format!("gdd.milestone.{step}.dd_c");
        let (_, out, _) = told(Some(crop), false);
        let line =
            out.lines().find(|line| line.contains(&format!("[{name}]"))).unwrap_or_else(|| panic!("{out}"));
        assert!(line.contains(words), "{line}");
        let rule = json(Some(crop))["figures"][&name]["rule"].clone();
        assert_eq!(
            (&rule["method"], rule["base_c"].as_f64(), rule["upper_c"].as_f64()),
            (&method.into(), Some(base), upper)
        );
    }
    let (_, out, _) = told(Some("pea"), false);
    assert!(out.contains("27 °C (not used: the method mean has none)"), "{out}");
    let (_, out, _) = told(Some("cucumber"), false);
    assert!(out.contains("32 °C (what the day’s highest has above it counts back)"), "{out}");
    let book = config::crop_book().unwrap();
    for (key, crop) in &book.crops {
        let (_, out, _) = told(Some(key), false);
        let steps: Vec<_> = out.lines().filter(|line| line.contains("[gdd.milestone.")).collect();
        assert_eq!(steps.len(), crop.gdd.milestones.len(), "{key}");
        assert!(steps.iter().all(|line| line.contains(" by ")), "{steps:?}");
    }
}

#[test]
fn a_crop_is_found_by_any_word_of_its_names() {
    for (word, key) in [
        ("courgette", "summer_squash"),
        ("eggplant", "aubergine"),
        ("Sweet pepper", "sweet_pepper"),
        ("tuberosum", "potato"),
    ] {
        assert_eq!(told(Some(word), false), told(Some(key), false), "{word}");
        assert_eq!(json(Some(word))["crop"], key);
    }
    let (exit, out, err) = told(Some("pepper"), false);
    assert_eq!((exit, err.as_str()), (0, ""));
    let keys: Vec<_> = out.lines().filter_map(|line| line.split_whitespace().next()).collect();
    assert_eq!(keys, ["2", "hot_pepper", "sweet_pepper", "`glasshour"]);
    assert_eq!(json(Some("pepper"))["crops"].as_array().unwrap().len(), 2);
    // The key comes before the words: cherry tomatoes are tomatoes too.
    assert_eq!(json(Some("tomato"))["crop"], "tomato");
    for nothing in ["", "-", "pep"] {
        assert_eq!(told(Some(nothing), false).0, 2, "{nothing}");
    }
}

#[test]
fn mildew_stands_no_better_than_the_source_of_it_that_was_recalled() {
    // S88 is marked [M] in the list of sources.
    let (_, out, _) = told(Some("summer_squash"), false);
    assert!(
        out.lines()
            .any(|line| line.starts_with("  powdery mildew: ") && line.ends_with("(memory, S89, S88)")),
        "{out}"
    );
}

#[test]
fn a_misspelt_crop_is_refused_with_the_right_name() {
    let (exit, out, err) = told(Some("tomatos"), false);
    assert_eq!((exit, out.as_str(), err.as_str()), (2, "", "unknown crop \"tomatos\"; write tomato\n"));
    let (exit, _, err) = told(Some("oak"), false);
    assert_eq!((exit, err.as_str()), (2, "unknown crop \"oak\"; write one that `glasshour crops` prints\n"));
}
