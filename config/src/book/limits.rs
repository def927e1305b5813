//! A crop's cold, its air, its roots, its water and its light.

use agronomy::crop::figures::Kind;
use agronomy::crop::{Cold, Light, RootZone, VpdBands, Water};

use super::figure::{figure, figures, need_figure};
use crate::reader::Table;

/// Reads `[crop.X.cold]`.
pub(super) fn cold(table: &Table<'_, '_>) -> Option<Cold> {
    let chilling = figure(table, "chilling_c", Kind::Celsius);
    let frost_damage = need_figure(table, "frost_damage_c", Kind::Celsius);
    let lethal = need_figure(table, "lethal_c", Kind::Celsius);
    let other = figures(table, Kind::Days);
    Some(Cold { chilling, frost_damage: frost_damage?, lethal: lethal?, other })
}

/// Reads `[crop.X.vpd_kpa]`.
pub(super) fn vpd(table: &Table<'_, '_>) -> Option<VpdBands> {
    let seedling = figure(table, "seedling", Kind::Kilopascal);
    let vegetative = need_figure(table, "vegetative", Kind::Kilopascal);
    let fruiting = figure(table, "fruiting", Kind::Kilopascal);
    // Crops that head instead of fruiting have their band under a name that fits both.
    let heading = figure(table, "heading_or_fruiting", Kind::Kilopascal);
    let damp_below = need_figure(table, "damp_below", Kind::Kilopascal);
    let drying_above = need_figure(table, "drying_above", Kind::Kilopascal);
    let harsh_above = need_figure(table, "harsh_above", Kind::Kilopascal);
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
        ["min_c", "opt_c", "caution_c", "injury_c"].map(|key| need_figure(table, key, Kind::Celsius));
    Some(RootZone { min: min?, opt: opt?, caution: caution?, injury: injury? })
}

/// Reads `[crop.X.water]`.
pub(super) fn water(table: &Table<'_, '_>) -> Option<Water> {
    let need = |key| need_figure(table, key, Kind::Coefficient);
    let [kc_ini, kc_mid, kc_end] = ["kc_ini", "kc_mid", "kc_end"].map(need);
    let [kcb_ini, kcb_mid, kcb_end] = ["kcb_ini", "kcb_mid", "kcb_end"].map(need);
    let [height_m, root_depth_m] =
        ["height_m", "root_depth_m"].map(|key| need_figure(table, key, Kind::Metres));
    let depletion_p = need_figure(table, "depletion_p", Kind::Share);
    let canopy_m2_per_plant = figure(table, "typical_canopy_m2_per_plant", Kind::SquareMetres);
    let heatwave = need_figure(table, "heatwave_l_per_plant_day", Kind::Litres);
    let note = table.line("note");
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
    let dli_min = need_figure(table, "dli_min", Kind::Light);
    let dli_target = need_figure(table, "dli_target", Kind::Light);
    let dli_tipburn = figure(table, "dli_tipburn", Kind::Light);
    Some(Light { dli_min: dli_min?, dli_target: dli_target?, dli_tipburn })
}
