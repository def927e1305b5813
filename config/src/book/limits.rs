//! A crop's cold, its air, its roots, its water and its light.

use agronomy::crop::{Cold, Figure, Light, RootZone, VpdBands, Water};

use super::figure::{CELSIUS, COUNT, KPA, SMALL, figure, figures, need_figure};
use crate::reader::Table;

/// Reads `[crop.X.cold]`.
pub(super) fn cold(table: &Table<'_, '_>) -> Option<Cold> {
    let chilling = figure(table, "chilling_c", &CELSIUS);
    let frost_damage = need_figure(table, "frost_damage_c", &CELSIUS);
    let lethal = need_figure(table, "lethal_c", &CELSIUS);
    let other = figures(table, &COUNT);
    rising(table, &[("lethal_c", &lethal), ("frost_damage_c", &frost_damage), ("chilling_c", &chilling)]);
    Some(Cold { chilling, frost_damage: frost_damage?, lethal: lethal?, other })
}

/// Reads `[crop.X.vpd_kpa]`.
pub(super) fn vpd(table: &Table<'_, '_>) -> Option<VpdBands> {
    let seedling = figure(table, "seedling", &KPA);
    let vegetative = need_figure(table, "vegetative", &KPA);
    let fruiting = figure(table, "fruiting", &KPA);
    // Crops that head instead of fruiting have their band under a name that fits both.
    let heading = figure(table, "heading_or_fruiting", &KPA);
    let damp_below = need_figure(table, "damp_below", &KPA);
    let drying_above = need_figure(table, "drying_above", &KPA);
    let harsh_above = need_figure(table, "harsh_above", &KPA);
    rising(
        table,
        &[("damp_below", &damp_below), ("drying_above", &drying_above), ("harsh_above", &harsh_above)],
    );
    Some(VpdBands {
        seedling,
        vegetative: vegetative?,
        fruiting: fruiting.or(heading),
        damp_below: damp_below?,
        drying_above: drying_above?,
        harsh_above: harsh_above?,
    })
}

/// Reads `[crop.X.root_zone]`.
pub(super) fn root_zone(table: &Table<'_, '_>) -> Option<RootZone> {
    let [min, opt, caution, injury] =
        ["min_c", "opt_c", "caution_c", "injury_c"].map(|key| need_figure(table, key, &CELSIUS));
    rising(table, &[("min_c", &min), ("opt_c", &opt), ("caution_c", &caution), ("injury_c", &injury)]);
    Some(RootZone { min: min?, opt: opt?, caution: caution?, injury: injury? })
}

/// Reads `[crop.X.water]`.
pub(super) fn water(table: &Table<'_, '_>) -> Option<Water> {
    let need = |key| need_figure(table, key, &SMALL);
    let [kc_ini, kc_mid, kc_end] = ["kc_ini", "kc_mid", "kc_end"].map(need);
    let [kcb_ini, kcb_mid, kcb_end] = ["kcb_ini", "kcb_mid", "kcb_end"].map(need);
    let [height_m, root_depth_m, depletion_p] = ["height_m", "root_depth_m", "depletion_p"].map(need);
    let canopy_m2_per_plant = figure(table, "typical_canopy_m2_per_plant", &SMALL);
    let heatwave = need_figure(table, "heatwave_l_per_plant_day", &COUNT);
    let note = table.line("note");
    if let Some(share) = depletion_p.as_ref().filter(|share| share.hi > 1.0) {
        table.fault("depletion_p", format!("depletion_p {} is out of range; write 0 to 1", share.hi));
    }
    Some(Water {
        kc_ini: kc_ini?,
        kc_mid: kc_mid?,
        kc_end: kc_end?,
        kcb_ini: kcb_ini?,
        kcb_mid: kcb_mid?,
        kcb_end: kcb_end?,
        height_m: height_m?,
        root_depth_m: root_depth_m?,
        depletion_p: depletion_p?,
        canopy_m2_per_plant,
        heatwave_l_per_plant_day: heatwave?,
        note,
    })
}

/// Reads `[crop.X.light]`.
pub(super) fn light(table: &Table<'_, '_>) -> Option<Light> {
    let dli_min = need_figure(table, "dli_min", &COUNT);
    let dli_target = need_figure(table, "dli_target", &COUNT);
    let dli_tipburn = figure(table, "dli_tipburn", &COUNT);
    Some(Light { dli_min: dli_min?, dli_target: dli_target?, dli_tipburn })
}

/// Notes neighbours that stand the wrong way round.
fn rising(table: &Table<'_, '_>, steps: &[(&str, &Option<Figure>)]) {
    let told: Vec<_> =
        steps.iter().filter_map(|(key, step)| step.as_ref().map(|figure| (*key, figure))).collect();
    for pair in told.windows(2) {
        if let [(below, low), (above, high)] = pair
            && low.lo > high.hi
        {
            table.fault(
                above,
                format!("{above} {} is below {below} {}; write {} or more", high.hi, low.lo, low.lo),
            );
        }
    }
}
