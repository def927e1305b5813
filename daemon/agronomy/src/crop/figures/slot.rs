//! Where a figure of a dotted name lies in a crop.

use std::collections::BTreeMap;

use crate::crop::{Crop, Figure, HeatRule, Milestone};

/// Whether the crop's rules take one number there and no span.
pub(super) fn is_one_number(crop: &Crop, name: &str) -> bool {
    match name.split_once('.') {
        Some(("gdd", rest)) => !rest.starts_with("milestone."),
        Some(("heat_rule", _)) => true,
        // The shipped book says no more of these than one number in each.
        _ => crop.figures.get(name).is_some_and(|listed| listed.kind.is_whole()),
    }
}

/// Puts a figure where the crop's own parts read it. Its name and number have been checked.
pub(super) fn put(crop: &mut Crop, name: &str, figure: &Figure) {
    let Some((part, rest)) = name.split_once('.') else { return };
    match part {
        "gdd" => gdd(crop, rest, figure),
        "heat_rule" => heat_rule(&mut crop.heat_rules, rest, figure),
        "days" => replace(&mut crop.days, rest, figure),
        "air" => replace(&mut crop.air, rest, figure),
        "chill" => chill(crop, rest, figure),
        "cold" => match one(crop, name) {
            Some(slot) => figure.clone_into(slot),
            None => replace(&mut crop.cold.other, rest, figure),
        },
        _ => {
            if let Some(slot) = one(crop, name) {
                figure.clone_into(slot);
            }
        }
    }
}

fn replace(figures: &mut BTreeMap<String, Figure>, name: &str, figure: &Figure) {
    if let Some(slot) = figures.get_mut(name) {
        figure.clone_into(slot);
    }
}

/// The parts that are figures under a name of their own.
fn one<'c>(crop: &'c mut Crop, name: &str) -> Option<&'c mut Figure> {
    let (germination, cold, vpd) = (&mut crop.germination, &mut crop.cold, &mut crop.vpd);
    let (roots, water, light) = (&mut crop.root_zone, &mut crop.water, &mut crop.light);
    match name {
        "germination.t_min_c" => Some(&mut germination.min),
        "germination.t_opt_c" => Some(&mut germination.opt),
        "germination.t_max_c" => Some(&mut germination.max),
        "germination.emerge_t_base_c" => germination.emerge_base.as_mut(),
        "germination.emerge_dd" => germination.emerge_sum.as_mut(),
        "cold.chilling_c" => cold.chilling.as_mut(),
        "cold.frost_damage_c" => Some(&mut cold.frost_damage),
        "cold.lethal_c" => Some(&mut cold.lethal),
        "vpd_kpa.seedling" => vpd.seedling.as_mut(),
        "vpd_kpa.vegetative" => Some(&mut vpd.vegetative),
        "vpd_kpa.fruiting" | "vpd_kpa.heading_or_fruiting" => vpd.fruiting.as_mut(),
        "vpd_kpa.damp_below" => Some(&mut vpd.damp_below),
        "vpd_kpa.drying_above" => Some(&mut vpd.drying_above),
        "vpd_kpa.harsh_above" => Some(&mut vpd.harsh_above),
        "root_zone.min_c" => Some(&mut roots.min),
        "root_zone.opt_c" => Some(&mut roots.opt),
        "root_zone.caution_c" => Some(&mut roots.caution),
        "root_zone.injury_c" => Some(&mut roots.injury),
        "water.kc_ini" => Some(&mut water.kc_ini),
        "water.kc_mid" => Some(&mut water.kc_mid),
        "water.kc_end" => Some(&mut water.kc_end),
        "water.kcb_ini" => Some(&mut water.kcb_ini),
        "water.kcb_mid" => Some(&mut water.kcb_mid),
        "water.kcb_end" => Some(&mut water.kcb_end),
        "water.height_m" => Some(&mut water.height_m),
        "water.root_depth_m" => Some(&mut water.root_depth_m),
        "water.depletion_p" => Some(&mut water.depletion_p),
        "water.typical_canopy_m2_per_plant" => water.canopy_m2_per_plant.as_mut(),
        "water.heatwave_l_per_plant_day" => Some(&mut water.heatwave_l_per_plant_day),
        "light.dli_min" => Some(&mut light.dli_min),
        "light.dli_target" => Some(&mut light.dli_target),
        "light.dli_tipburn" => light.dli_tipburn.as_mut(),
        _ => None,
    }
}

fn gdd(crop: &mut Crop, name: &str, figure: &Figure) {
    // A second method without a base of its own goes by the limits of the first.
    let shares = !crop.figures.contains_key("gdd.alt_t_base_c");
    let gdd = &mut crop.gdd;
    match name {
        "t_base_c" => gdd.base = figure.lo,
        "t_upper_c" => gdd.upper = Some(figure.lo),
        _ => {}
    }
    if let Some(alt) = &mut gdd.alt {
        match name {
            "t_base_c" if shares => alt.base = figure.lo,
            "t_upper_c" if shares => alt.upper = Some(figure.lo),
            "alt_t_base_c" => alt.base = figure.lo,
            "alt_t_upper_c" => alt.upper = Some(figure.lo),
            _ => {}
        }
    }
    let step = name.strip_prefix("milestone.").and_then(|rest| rest.strip_suffix(".dd_c"));
    if let Some(step) = step.and_then(|step| gdd.milestones.iter_mut().find(|it| it.step() == step)) {
        (step.lo, step.hi) = (figure.lo, figure.hi);
        step.sources.clone_from(&figure.sources);
    }
}

impl Milestone {
    /// The name of the step within its crop, `transplant_to_first_ripe`.
    pub fn step(&self) -> String {
        format!("{}_to_{}", self.from, self.to)
    }
}

fn heat_rule(rules: &mut [HeatRule], name: &str, figure: &Figure) {
    let Some((id, what)) = name.rsplit_once('.') else { return };
    let Some(rule) = rules.iter_mut().find(|rule| rule.id == id) else { return };
    match what {
        "threshold" => {
            rule.threshold = figure.lo;
            rule.sources.clone_from(&figure.sources);
        }
        "night_threshold" => rule.night_threshold = Some(figure.lo),
        "min_hours_per_day" => rule.min_hours_per_day = Some(figure.lo),
        "consecutive_days" => rule.consecutive_days = Some(figure.lo as u32),
        _ => {}
    }
}

fn chill(crop: &mut Crop, name: &str, figure: &Figure) {
    let Some(chill) = &mut crop.chill else { return };
    match (name, &mut chill.required_h) {
        ("required_h", Some(slot)) => figure.clone_into(slot),
        _ => replace(&mut chill.other, name, figure),
    }
}
