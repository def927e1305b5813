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
        "    warmth from transplant to first ripe: 650 to 950 °C d (derived) [gdd.milestone.transplant_to_first_ripe.dd_c]",
        "      alt method base 10; derived from days to maturity at 20-22 C mean; refit per cultivar",
        "    warmth from transplant to first flower ontario units: 322 heat units (published, S09) [gdd.milestone.transplant_to_first_flower_ontario_units.dd_c]",
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
fn a_misspelt_crop_is_refused_with_the_right_name() {
    let (exit, out, err) = told(Some("tomatos"), false);
    assert_eq!((exit, out.as_str(), err.as_str()), (2, "", "unknown crop \"tomatos\"; write tomato\n"));
    let (exit, _, err) = told(Some("oak"), false);
    assert_eq!((exit, err.as_str()), (2, "unknown crop \"oak\"; write one that `glasshour crops` prints\n"));
}
