//! A grower's own figures for one planting: what a ground file may say, and what is said of mistakes in it.

use std::path::Path;

use agronomy::crop::figures::OwnFigures;
use agronomy::crop::{Severity, Stage, Stages, Standing, crop_line};
use config::zone::Zones;
use config::{crop_book, read_ground};

fn read(figures: &str) -> Result<OwnFigures, String> {
    let text = format!(
        "[site]\nname = \"Bindweed Yard\"\nlatitude = 52.1\nlongitude = 5.3\nzone = \"Europe/Rome\"\n\
         [[start.place]]\nid = \"house\"\nkind = \"house\"\n\
         [[start.planting]]\nid = \"reds\"\ncrop = \"tomato\"\nplace = \"house\"\nplanted_out = 2026-05-04\n\
         {figures}"
    );
    let zones = Zones::in_folder(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/zones"));
    let ground = read_ground(&text, &crop_book().unwrap(), &zones).map_err(|faults| faults.to_string())?;
    Ok(ground.start.plantings[0].figures.clone())
}

#[test]
fn an_own_figure_may_be_written_in_a_table_with_dots_or_in_quotation_marks() {
    let expected =
        OwnFigures::from([("gdd.t_base_c".to_owned(), [8.0, 8.0]), ("water.kc_mid".to_owned(), [1.0, 1.1])]);
    for written in [
        "figures.gdd.t_base_c = 8\nfigures.water.kc_mid = [1.0, 1.1]",
        "[start.planting.figures]\ngdd.t_base_c = 8.0\nwater.kc_mid = [1.0, 1.1]",
        "figures = { \"gdd.t_base_c\" = 8.0, water = { kc_mid = [1.0, 1.1] } }",
    ] {
        assert_eq!(read(written).as_ref(), Ok(&expected), "{written}");
    }
    assert_eq!(read(""), Ok(OwnFigures::new()));
}

#[test]
fn every_mistake_in_own_figures_is_told_with_planting_figure_and_what_to_write() {
    let told = read(
        "[start.planting.figures]\n\
         gdd.t_base_f = 46.0\n\
         gdd.t_upper_c = 5.0\n\
         heat_rule.day_severe.treshold = 36.0\n\
         heat_rule.day_moderate.threshold = \"33 °C\"\n\
         heat_rule.acute.threshold = 104.0\n\
         heat_rule.mean_severe.threshold = [28.0, 30.0]\n\
         heat_rule.mean_moderate.consecutive_days = 2.5\n\
         water.kc_mid = [1.2, 1.0]\n\
         water.depletion_p = 40\n\
         light.dli_min = [20.0]\n\
         nothing.of_the_kind = 1.0\n",
    )
    .unwrap_err();
    let expected = [
        "15:5: reds: tomato has no figure gdd.t_base_f; write gdd.t_base_c",
        "16:5: reds: gdd.t_upper_c 5 is not above gdd.t_base_c 7; write more than 7",
        "17:22: reds: tomato has no figure heat_rule.day_severe.treshold; write heat_rule.day_severe.threshold",
        "18:36: reds, heat_rule.day_moderate: threshold is text; write a number in °C",
        "19:17: reds: heat_rule.acute.threshold 104 is out of range; write -60 to 90 °C",
        "20:23: reds: heat_rule.mean_severe.threshold is one number and no span; write 28 or 30",
        "21:25: reds: heat_rule.mean_moderate.consecutive_days 2.5 is out of range; write a whole number from 1 to 366 days",
        "22:7: reds: water.kc_mid goes from 1.2 to 1; write the smaller first",
        "23:7: reds: water.depletion_p 40 is out of range; write 0 to 1",
        "24:17: reds, light: light.dli_min is no span; write [lowest, highest]",
        "25:9: reds: tomato has no figure nothing.of_the_kind; write one that `glasshour crops tomato` prints",
    ];
    let expected: Vec<_> = expected.iter().map(|line| format!("ground.toml:{line}")).collect();
    assert_eq!(told.lines().collect::<Vec<_>>(), expected);
}

#[test]
fn heat_rules_out_of_order_or_where_the_crop_hardly_grows_are_refused_and_moved_together_are_not() {
    // Crop book, tomato: moderate from 32, severe from 35 °C, both of the day's highest; growth counts from 7 °C.
    let told = read("figures.heat_rule.day_severe.threshold = -5.0").unwrap_err();
    for why in [
        "heat_rule.day_severe.threshold -5 is below heat_rule.day_moderate.threshold 32; write 32 or more",
        "heat_rule.day_severe.threshold -5 is not above gdd.t_base_c 7; write more than 7",
    ] {
        assert!(told.contains(why), "{told}");
    }
    let told = read("figures.heat_rule.day_moderate.threshold = 36.0").unwrap_err();
    assert!(
        told.contains("heat_rule.day_severe.threshold 35 is below heat_rule.day_moderate.threshold 36"),
        "{told}"
    );
    let both =
        "figures.heat_rule.day_moderate.threshold = 36.0\nfigures.heat_rule.day_severe.threshold = 38.0";
    assert!(read(both).is_ok(), "moved together they stay in order");
    let told = read("figures.heat_rule.chronic_32_26.night_threshold = 33.0").unwrap_err();
    assert!(
        told.contains("chronic_32_26.threshold 32 is below heat_rule.chronic_32_26.night_threshold 33"),
        "{told}"
    );
}

#[test]
fn figures_of_an_unknown_crop_are_not_held_against_the_planting_twice() {
    let text = "[site]\nname = \"Y\"\nlatitude = 52.1\nlongitude = 5.3\nzone = \"Europe/Rome\"\n\
         [[start.place]]\nid = \"house\"\nkind = \"house\"\n\
         [[start.planting]]\nid = \"reds\"\ncrop = \"tomatoe\"\nplace = \"house\"\nplanted_out = 2026-05-04\n\
         figures.gdd.t_base_c = 8\n";
    let zones = Zones::in_folder(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/zones"));
    let told = read_ground(text, &crop_book().unwrap(), &zones).unwrap_err().to_string();
    assert_eq!(told, "ground.toml:11:8: unknown crop tomatoe; write tomato");
}

#[test]
fn every_figure_of_every_crop_can_be_a_growers_own_and_reaches_the_part_that_is_read() {
    let book = crop_book().unwrap();
    let mut put = 0;
    for crop in book.crops.values() {
        for (name, listed) in crop.figures.iter() {
            // A half more than the book, or one more where only whole numbers are meant; kept in range.
            let more = if listed.kind.is_whole() { 1.0 } else { 0.5 };
            let (_, high) = listed.kind.range();
            let value = if listed.figure.lo + more > high {
                listed.figure.lo - more
            } else {
                listed.figure.lo + more
            };
            let (own, _) = crop.with_own(&OwnFigures::from([(name.clone(), [value, value])]));
            assert_eq!(own.figures[name].figure.lo, value, "{} {name}", crop.key);
            assert_eq!(own.figures[name].standing(), Standing::Own, "{} {name}", crop.key);
            // The optimum of a curve that is used with a flat cap is kept for the reader only.
            let read = agronomy::crop::Crop { figures: crop.figures.clone(), ..own };
            assert_eq!(&read != crop, name != "gdd.t_opt_cap_c", "{} {name}", crop.key);
            put += 1;
        }
    }
    assert!(put > 1_500, "{put}");
}

#[test]
fn an_own_threshold_moves_the_line_and_an_own_base_moves_both_methods_that_share_it() {
    let book = crop_book().unwrap();
    let own = |name: &str, value: f64| OwnFigures::from([(name.to_owned(), [value, value])]);
    let (tomato, faults) = book.crops["tomato"].with_own(&own("heat_rule.day_severe.threshold", 36.0));
    assert_eq!(faults, []);
    let flowering = Stages::certain([Stage::Flowering]);
    assert_eq!(crop_line(&tomato, Severity::Severe, &flowering).map(|line| line.celsius), Some(36.0));
    // Sweet corn's second method names no limits of its own.
    let (corn, _) = book.crops["sweet_corn"].with_own(&own("gdd.t_base_c", 9.0));
    assert_eq!((corn.gdd.base, corn.gdd.alt.map(|alt| alt.base)), (9.0, Some(9.0)));
    let (tomato, _) = book.crops["tomato"].with_own(&own("gdd.t_base_c", 9.0));
    assert_eq!((tomato.gdd.base, tomato.gdd.alt.map(|alt| alt.base)), (9.0, Some(10.0)));
}
