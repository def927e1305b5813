//! Which of a crop's figures anything is reckoned from, so that a grower who notes one learns whether it does something.
//!
//! The crop book says more of a crop than is looked at so far: its frost, its seed, its harvest. An own figure of those is
//! kept, and waits.

use agronomy::crop::{Crop, Measure};

use super::milestones::begins_ms;
use super::planting_page::rules_of;
use super::stages;
use crate::ground::Planting;

/// Whether anything of this planting is reckoned from the crop's figure of this name, now.
pub fn is_read(planting: &Planting, crop: &Crop, name: &str) -> bool {
    match name {
        "gdd.alt_t_base_c" | "gdd.alt_t_upper_c" => rules_of(crop).count() > 1,
        "gdd.t_base_c"
        | "gdd.t_upper_c"
        | "vpd_kpa.damp_below"
        | "vpd_kpa.drying_above"
        | "vpd_kpa.harsh_above"
        | "root_zone.caution_c"
        | "root_zone.injury_c"
        | "water.kc_ini"
        | "water.kc_mid"
        | "water.depletion_p"
        | "water.typical_canopy_m2_per_plant"
        | "light.dli_min"
        | "light.dli_tipburn" => true,
        // Where the book gives the ground that a plant shades, the band is not needed.
        "water.heatwave_l_per_plant_day" => crop.water.canopy_m2_per_plant.is_none(),
        _ => {
            milestone(planting, crop, name) || heat_rule(crop, name) || stages::is_read(planting, crop, name)
        }
    }
}

/// A milestone is dated when it is known when its days began; some others give a stage its window.
fn milestone(planting: &Planting, crop: &Crop, name: &str) -> bool {
    let step = name.strip_prefix("gdd.milestone.").and_then(|rest| rest.strip_suffix(".dd_c"));
    let of_name = crop.gdd.milestones.iter().find(|it| step.is_some_and(|step| it.step() == step));
    of_name.is_some_and(|it| begins_ms(planting, &it.from).is_some())
}

/// A rule of the air is judged each day; no probe in the soil is looked at yet.
fn heat_rule(crop: &Crop, name: &str) -> bool {
    let id = name.strip_prefix("heat_rule.").and_then(|rest| rest.rsplit_once('.')).map(|(id, _)| id);
    let rule = crop.heat_rules.iter().find(|rule| id.is_some_and(|id| rule.id == id));
    rule.is_some_and(|rule| match rule.measure {
        Measure::SoilMaxC | Measure::Soil10cmC | Measure::SoilSurfaceC => false,
        Measure::DayMaxC
        | Measure::NightMinC
        | Measure::NightMinBelowC
        | Measure::DailyMeanC
        | Measure::HoursAboveC
        | Measure::DayMaxAndNightMinC => true,
    })
}

#[cfg(test)]
mod tests {
    use agronomy::crop::Stages;
    use agronomy::crop::figures::OwnFigures;

    use super::super::day_page::DayPage;
    use super::*;
    use crate::entry::Began;
    use crate::ground::fixture::planted;
    use crate::minders::demand::Plant;
    use crate::minders::place_now::Standing;

    #[test]
    fn lines_bases_water_and_milestones_that_have_begun_are_read_and_the_rest_waits() {
        let book = config::crop_book().unwrap();
        let of = |key: &str, name: &str| {
            assert!(book.crops[key].figures.contains_key(name), "{key} {name}");
            is_read(&planted(key), &book.crops[key], name)
        };
        for name in [
            "gdd.t_base_c",
            "gdd.alt_t_base_c",
            "gdd.milestone.transplant_to_first_ripe.dd_c",
            "heat_rule.acute.consecutive_days",
            "heat_rule.chronic_32_26.night_threshold",
            "vpd_kpa.harsh_above",
            "water.kc_mid",
            "root_zone.caution_c",
            "light.dli_min",
        ] {
            assert!(of("tomato", name), "{name}");
        }
        for name in
            ["water.kc_end", "cold.lethal_c", "vpd_kpa.vegetative", "gdd.milestone.anthesis_to_ripe.dd_c"]
        {
            assert!(!of("tomato", name), "{name}");
        }
        assert!(!of("broccoli", "gdd.alt_t_base_c"), "no milestone of its goes by the second method");
        let flowered = Planting { first_flower_ms: Some(1), ..planted("tomato") };
        assert!(is_read(&flowered, &book.crops["tomato"], "gdd.milestone.anthesis_to_ripe.dd_c"));
    }

    /// Everything of a crop that pages, lines and minders look at, with what is said to be not read put beside it.
    #[test]
    fn a_figure_said_to_wait_is_in_no_part_that_is_looked_at() {
        let book = config::crop_book().unwrap();
        let page =
            DayPage { measured_share: 1.0, t_min_c: Some(15.0), t_max_c: Some(28.0), ..DayPage::default() };
        let pages = (0..150).map(|day| (day, &page)).collect();
        let mut waiting = 0;
        for crop in book.crops.values() {
            let flowered = Planting { first_flower_ms: Some(1), ..planted(&crop.key) };
            let sown = Planting { began: Began::Sown, ..flowered.clone() };
            let read = |name: &str| is_read(&flowered, crop, name) || is_read(&sown, crop, name);
            for (name, listed) in crop.figures.iter().filter(|(name, _)| !read(name)) {
                let value = listed.figure.lo + if listed.kind.is_whole() { 1.0 } else { 0.5 };
                let other = crop.with_own(&OwnFigures::from([(name.clone(), [value, value])])).0;
                let air = |crop: &Crop| -> Vec<_> {
                    let judged =
                        |rule: &&agronomy::crop::HeatRule| !rule.measure.as_str().starts_with("soil");
                    crop.heat_rules.iter().filter(judged).cloned().collect()
                };
                assert_eq!(air(&other), air(crop), "{} {name}", crop.key);
                assert!(rules_of(&other).eq(rules_of(crop)), "{} {name}", crop.key);
                let bands = |crop: &Crop| {
                    [&crop.vpd.damp_below, &crop.vpd.drying_above, &crop.vpd.harsh_above]
                        .map(|it| (it.lo, it.hi))
                };
                assert_eq!(bands(&other), bands(crop), "{} {name}", crop.key);
                let courses = |crop: &Crop| {
                    let calendar = crate::calendar::Calendar::fixed(0);
                    let warmth = stages::Warmth { pages: &pages, open: 150, goes_on: true };
                    [&flowered, &sown, &planted(&crop.key)].map(|it| {
                        [None, Some(&warmth)].map(|warm| stages::Course::of(it, crop, &calendar, warm))
                    })
                };
                assert_eq!(courses(&other), courses(crop), "{} {name}", crop.key);
                let draws = |crop: &Crop| {
                    let stages = Stages::default();
                    let standing = Standing::new(&flowered, std::borrow::Cow::Borrowed(crop), stages, 40.0);
                    let (roots, light) = (&crop.root_zone, &crop.light);
                    let tipburn = light.dli_tipburn.as_ref().map(|it| (it.lo, it.hi));
                    let lines = [&roots.caution, &roots.injury, &light.dli_min].map(|it| (it.lo, it.hi));
                    (Plant::of(&standing, 2, false), lines, tipburn, crop.water.kc_ini.middle())
                };
                assert_eq!(draws(&other), draws(crop), "{} {name}", crop.key);
                waiting += 1;
            }
        }
        assert!(waiting > 800, "{waiting}");
    }
}
