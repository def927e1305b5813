//! The crop book: reads and checks `crops.toml`, the one that is shipped or one that a grower edited.
//!
//! A book is taken whole or not at all. Every figure must name its sources, lie where a plant can live,
//! and stand in order with its neighbours (base below cap, frost damage above death, damp below drying
//! below harsh), because a slip of one digit in it would become wrong advice on the hottest day.

use std::collections::BTreeMap;
use std::sync::Arc;

use agronomy::crop::figures::{Figures, Kind, out_of_order};
use agronomy::crop::{Chill, Crop, CropBook, Disorder, Figure, Global, HeatRule, Soil};

use crate::faults::Faults;
use crate::reader::{Notebook, Table};

mod clock;
mod figure;
mod limits;
mod own;
mod rules;
mod sources;

use figure::{figures, need_figure, sources, span};
pub(crate) use own::own_figures;
pub use own::refusal;
pub use sources::{Source, sources_of_book};

/// The book that is shipped.
const SHIPPED: &str = include_str!("../crops.toml");

/// The schema this program reads.
const SCHEMA: i64 = 1;

/// The shipped crop book.
///
/// # Errors
///
/// Those of [`read_crop_book`]; a test proves that the shipped text has none.
pub fn crop_book() -> Result<CropBook, Faults> {
    read_crop_book(SHIPPED)
}

/// Reads and checks a crop book.
///
/// # Errors
///
/// Everything that is wrong with the text: syntax, unknown or missing keys, wrong types, figures without
/// sources or out of range or out of order, unknown words for stages, measures, severities and methods.
pub fn read_crop_book(text: &str) -> Result<CropBook, Faults> {
    let (book, tree) = Notebook::open(text);
    let value = read(&Table::root(&book, &tree), text);
    book.close("crops.toml", value)
}

fn read(root: &Table<'_, '_>, text: &str) -> Option<CropBook> {
    let schema = root.need("schema", "schema = 1", root.whole("schema", SCHEMA..=SCHEMA));
    let status = root.text("status").unwrap_or_default();
    let global = root.need("global", "a table [global]", root.table("global", "[global]"));
    let (global, soils) = global.map(|table| read_global(&table.of("global"))).unzip();
    let crops = root.need("crop", "a table [crop.tomato]", root.table("crop", "[crop]"));
    let crops = crops.map(|table| read_crops(&table));
    let edition = format!("{}-{:08x}", schema?, crc32fast::hash(text.as_bytes()));
    Some(CropBook { edition, status, global: global??, soils: soils?, crops: crops? })
}

fn read_global(table: &Table<'_, '_>) -> (Option<Global>, BTreeMap<String, Soil>) {
    let celsius = |key: &str| need_figure(table, key, Kind::Celsius);
    let kpa = |key: &str| need_figure(table, key, Kind::Kilopascal);
    // Each is read before any is missed, so that all faults are told.
    let place = (
        celsius("place_heat_c"),
        need_figure(table, "place_heat_minutes", Kind::Minutes),
        celsius("heat_hour_default_c"),
    );
    let air = (
        need_figure(table, "canopy_wet_rh_pct", Kind::Percent),
        kpa("disease_low_vpd_kpa"),
        kpa("excess_vpd_kpa"),
    );
    let people =
        ["screen", "moderate", "high", "extreme"].map(|step| celsius(&format!("human_heat_index_{step}_c")));
    let compost = (celsius("compost_kill_c"), celsius("compost_max_c"));
    let turning = [
        ("invessel_days", Kind::DaysInARow),
        ("windrow_days", Kind::DaysInARow),
        ("windrow_turns", Kind::Times),
    ]
    .map(|(key, kind)| need_figure(table, &format!("compost_{key}"), kind));
    let soils = table.table("soil", "[global.soil]").map(|soils| read_soils(&soils)).unwrap_or_default();
    let global = (|| {
        let [screen, moderate, high, extreme] = people;
        let [invessel, windrow, turns] = turning;
        Some(Global {
            place_heat_c: place.0?,
            place_heat_minutes: place.1?,
            heat_hour_default_c: place.2?,
            canopy_wet_rh_pct: air.0?,
            disease_low_vpd_kpa: air.1?,
            excess_vpd_kpa: air.2?,
            human_heat_index_screen_c: screen?,
            human_heat_index_moderate_c: moderate?,
            human_heat_index_high_c: high?,
            human_heat_index_extreme_c: extreme?,
            compost_kill_c: compost.0?,
            compost_invessel_days: invessel?,
            compost_windrow_days: windrow?,
            compost_windrow_turns: turns?,
            compost_max_c: compost.1?,
        })
    })();
    (global, soils)
}

fn read_soils(table: &Table<'_, '_>) -> BTreeMap<String, Soil> {
    let mut soils = BTreeMap::new();
    for key in table.keys() {
        let Some(soil) = table.table(&key.value, format!("[global.soil] {}", key.value)) else { continue };
        let read = Soil {
            field_capacity: span(&soil, "fc", 0.0..=1.0),
            wilting_point: span(&soil, "wp", 0.0..=1.0),
            readily_evaporable_mm: span(&soil, "rew", 0.0..=100.0),
            totally_evaporable_mm: span(&soil, "tew", 0.0..=100.0),
            available_fraction: span(&soil, "available_fraction", 0.0..=1.0),
            sources: sources(&soil).unwrap_or_default(),
        };
        soils.insert(key.value, read);
    }
    soils
}

fn read_crops(table: &Table<'_, '_>) -> BTreeMap<String, Crop> {
    let mut crops = BTreeMap::new();
    for key in table.keys() {
        let Some(crop) = table.table(&key.value, format!("[crop.{}]", key.value)) else { continue };
        let crop = crop.of(&key.value);
        let _ = crop.book.take_figures();
        let rules = rules::heat_rules(&crop, &key.value);
        let read = read_crop(&crop, &key.value, rules.clone());
        let figures = listed(&crop, &rules);
        crops.extend(read.map(|read| (key.value, Crop { figures: figures.into(), ..read })));
    }
    crops
}

/// All figures of the crop that was just read, by dotted name; those out of order are told.
fn listed(crop: &Table<'_, '_>, rules: &[HeatRule]) -> Figures {
    let found = crop.book.take_figures();
    let places: BTreeMap<_, _> = found.iter().map(|found| (found.name.clone(), found.at)).collect();
    let figures: Figures = found.into_iter().map(|found| (found.name, found.listed)).collect();
    for wrong in out_of_order(&figures, rules) {
        crop.note(places.get(&wrong.above).copied().unwrap_or_default(), wrong.to_string());
    }
    figures
}

fn read_crop(table: &Table<'_, '_>, key: &str, heat_rules: Vec<HeatRule>) -> Option<Crop> {
    let text = |name: &str| table.need(name, &format!("{name} = \"...\""), table.line(name));
    let (name, latin, group) = (text("name"), text("latin"), text("group"));
    let notes = table.line("notes");
    let part = |name: &str| {
        table.need(
            name,
            &format!("a table [crop.{key}.{name}]"),
            table.table(name, format!("[crop.{key}.{name}]")),
        )
    };
    let gdd = part("gdd").and_then(|part| clock::gdd(&part));
    let days = part("days").map(|part| figures(&part, Kind::Days));
    let germination = part("germination").and_then(|part| clock::germination(&part));
    let air = part("air").map(|part| figures(&part, Kind::Celsius));
    let cold = part("cold").and_then(|part| limits::cold(&part));
    let vpd = part("vpd_kpa").and_then(|part| limits::vpd(&part));
    let root_zone = part("root_zone").and_then(|part| limits::root_zone(&part));
    let water = part("water").and_then(|part| limits::water(&part));
    let light = part("light").and_then(|part| limits::light(&part));
    let chill = table.table("chill", format!("[crop.{key}.chill]")).and_then(|part| read_chill(&part));
    let disorders = read_disorders(table, key);
    Some(Crop {
        key: key.to_owned(),
        name: name?,
        latin: latin?,
        group: group?,
        notes,
        gdd: gdd?,
        days: days?,
        germination: germination?,
        air: air?,
        heat_rules,
        cold: cold?,
        vpd: vpd?,
        root_zone: root_zone?,
        water: water?,
        light: light?,
        chill,
        disorders,
        figures: Arc::default(),
    })
}

fn read_chill(table: &Table<'_, '_>) -> Option<Chill> {
    let model = table.need("model", "model = \"hours_0_to_7.2C\"", table.line("model"));
    let note = table.line("note");
    let mut other: BTreeMap<String, Figure> = figures(table, Kind::Days);
    let required_h = other.remove("required_h");
    Some(Chill { model: model?, required_h, other, note })
}

fn read_disorders(table: &Table<'_, '_>, key: &str) -> Vec<Disorder> {
    let mut disorders = Vec::new();
    for disorder in table.tables("disorder", &format!("a [[crop.{key}.disorder]]")) {
        let name = disorder.need("name", "name = \"sunscald\"", disorder.line("name"));
        let rule = disorder.need("rule", "rule = \"...\"", disorder.line("rule"));
        let sources = sources(&disorder);
        if let (Some(name), Some(rule), Some(sources)) = (name, rule, sources) {
            disorders.push(Disorder { name, rule, sources });
        }
    }
    disorders
}
