//! What stands where at the start: places, plantings, probes.
//!
//! The `[start]` section of a site file is written to the ledger once, on the first run. A replay takes
//! the same section from a *ground file*, which holds `[site]` and `[start]` and nothing else, so that a
//! record of other people's data can be read with crops standing in it.

use std::collections::BTreeSet;

use agronomy::crop::figures::OwnFigures;
use agronomy::crop::{Crop, CropBook};
use chrono::NaiveDate;

use crate::book::own_figures;
use crate::faults::Faults;
use crate::position::{Position, position};
use crate::reader::{Notebook, Table};
use crate::zone::Zones;

/// What kind of place it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PlaceKind {
    /// Glass or film, with vents and shade.
    House,
    /// A bed in the open.
    Bed,
    /// A bed for raising seedlings.
    Seedbed,
    /// Pots and other containers.
    Pots,
    /// Compost.
    Heap,
    /// For curing and storing.
    Shed,
    /// The open air of the site.
    Outdoors,
}

impl PlaceKind {
    /// All kinds with their words.
    pub const WORDS: [(&'static str, Self); 7] = [
        ("house", Self::House),
        ("bed", Self::Bed),
        ("seedbed", Self::Seedbed),
        ("pots", Self::Pots),
        ("heap", Self::Heap),
        ("shed", Self::Shed),
        ("outdoors", Self::Outdoors),
    ];

    /// The word used in files and on the page.
    pub fn as_str(self) -> &'static str {
        Self::WORDS.iter().find(|(_, kind)| *kind == self).map_or("outdoors", |(word, _)| word)
    }
}

/// What keeps the sun off a probe. Without it the sun is measured together with the air.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Shelter {
    /// Nothing.
    Open,
    /// It hangs in shade all day.
    Shaded,
    /// A white screen through which the wind blows.
    Screened,
    /// A screen with a fan.
    Fanned,
}

impl Shelter {
    /// All shelters with their words.
    pub const WORDS: [(&'static str, Self); 4] = [
        ("open", Self::Open),
        ("shaded", Self::Shaded),
        ("screened", Self::Screened),
        ("fanned", Self::Fanned),
    ];

    /// The word used in files and on the page.
    pub fn as_str(self) -> &'static str {
        Self::WORDS.iter().find(|(_, shelter)| *shelter == self).map_or("open", |(word, _)| word)
    }
}

/// A place where crops stand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// Its short name, used in files and commands.
    pub id: String,
    /// What the grower calls it.
    pub name: String,
    /// What kind it is.
    pub kind: PlaceKind,
}

/// One crop in one place.
#[derive(Clone, Debug, PartialEq)]
pub struct Planting {
    /// Its short name, used in files and commands.
    pub id: String,
    /// The key of the crop in the book.
    pub crop: String,
    /// The id of the place.
    pub place: String,
    /// The cultivar, if told.
    pub variety: Option<String>,
    /// How many plants.
    pub count: u32,
    /// Volume of mix for each plant \[L\], where it stands in a container.
    pub container_l: Option<f64>,
    /// When it was sown.
    pub sown: Option<NaiveDate>,
    /// When it was planted out.
    pub planted_out: Option<NaiveDate>,
    /// When it was cleared.
    pub ended: Option<NaiveDate>,
    /// The grower's own figures in the place of the book's, by dotted name, lowest and highest.
    pub figures: OwnFigures,
}

/// Where a probe hangs.
#[derive(Clone, Debug, PartialEq)]
pub struct Hung {
    /// The probe's name.
    pub probe: String,
    /// The id of the place.
    pub place: String,
    /// Height above the ground, negative in soil \[m\].
    pub height_m: f64,
    /// What keeps the sun off it.
    pub shelter: Shelter,
    /// Time between its readings when all is well \[s\]; a reading holds for at most twice as long.
    pub usual_interval_s: f64,
    /// Of a soil moisture probe: what it says where plants begin to wilt, and a day or two after soaking
    /// \[% by volume\].
    pub marks: Option<(f64, f64)>,
}

/// Places, plantings and probes at the start.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Start {
    /// Places, in the order of the file.
    pub places: Vec<Place>,
    /// Plantings, in the order of the file.
    pub plantings: Vec<Planting>,
    /// Probes, in the order of the file.
    pub probes: Vec<Hung>,
}

/// A ground file: a position and what stood there.
#[derive(Clone, Debug, PartialEq)]
pub struct Ground {
    /// Where, and by which clock.
    pub site: Position,
    /// What stood there.
    pub start: Start,
}

/// Reads a ground file.
///
/// # Errors
///
/// Everything that is wrong with it.
pub fn read_ground(text: &str, crops: &CropBook, zones: &Zones) -> Result<Ground, Faults> {
    let (book, tree) = Notebook::open(text);
    let value = {
        let root = Table::root(&book, &tree);
        let site = position(&root, zones);
        let start = root.need("start", "a table [start]", root.table("start", "[start]"));
        let start = start.map(|table| read_start(&table, crops));
        site.zip(start).map(|(site, start)| Ground { site, start })
    };
    book.close("ground.toml", value)
}

/// Reads `[start]`.
pub(crate) fn read_start(table: &Table<'_, '_>, crops: &CropBook) -> Start {
    let mut places = Vec::new();
    let mut ids = BTreeSet::new();
    for entry in table.tables("place", "a [[start.place]]") {
        let id = entry.need("id", "id = \"house\"", entry.id("id"));
        once(&entry, "id", id.as_ref(), &mut ids);
        let kind = entry.need("kind", "kind = \"house\"", entry.word("kind", &PlaceKind::WORDS));
        let name = entry.line("name").or_else(|| id.clone());
        if let (Some(id), Some(name), Some(kind)) = (id, name, kind) {
            places.push(Place { id, name, kind });
        }
    }
    // A place with a fault of its own is still a place that others may name.
    let plantings = plantings(table, crops, &ids);
    let probes = probes(table, &ids);
    Start { places, plantings, probes }
}

fn plantings(table: &Table<'_, '_>, crops: &CropBook, places: &BTreeSet<String>) -> Vec<Planting> {
    let mut plantings = Vec::new();
    let mut ids = BTreeSet::new();
    for entry in table.tables("planting", "a [[start.planting]]") {
        let id = entry.need("id", "id = \"tomatoes\"", entry.id("id"));
        once(&entry, "id", id.as_ref(), &mut ids);
        let crop = entry.need("crop", "crop = \"tomato\"", entry.text("crop")).filter(|crop| {
            entry.choose("crop", entry.place("crop"), crop, crops.crops.keys().map(String::as_str)).is_some()
        });
        let place = known_place(&entry, places);
        let variety = entry.line("variety");
        let count = entry.whole("count", 1..=100_000).unwrap_or(1) as u32;
        let container_l = entry.number("container_l", "L", 0.1..=2_000.0);
        let (sown, planted_out, ended) = (entry.date("sown"), entry.date("planted_out"), entry.date("ended"));
        if !entry.has("sown") && !entry.has("planted_out") {
            entry.need("planted_out", "planted_out = 2026-05-04, or sown", planted_out);
        }
        for (before, key, after) in
            [(sown, "planted_out", planted_out), (sown, "ended", ended), (planted_out, "ended", ended)]
        {
            if let (Some(before), Some(after)) = (before, after)
                && after < before
            {
                entry.fault(key, format!("{key} {after} is before {before}; write a later date"));
            }
        }
        let known = crop.as_ref().and_then(|key| crops.crops.get(key));
        let figures = figures(&entry, known, id.as_deref());
        if let (Some(id), Some(crop), Some(place)) = (id, crop, place) {
            plantings.push(Planting {
                id,
                crop,
                place,
                variety,
                count,
                container_l,
                sown,
                planted_out,
                ended,
                figures,
            });
        }
    }
    plantings
}

/// Own figures of a planting; those of a crop that is not known cannot be checked and are passed over.
fn figures(entry: &Table<'_, '_>, crop: Option<&Crop>, planting: Option<&str>) -> OwnFigures {
    let Some(table) = entry.table("figures", "the planting's figures") else { return OwnFigures::new() };
    let table = table.of(planting.unwrap_or("planting"));
    match crop {
        Some(crop) => own_figures(&table, crop),
        None => {
            table.keys();
            OwnFigures::new()
        }
    }
}

fn probes(table: &Table<'_, '_>, places: &BTreeSet<String>) -> Vec<Hung> {
    let mut probes = Vec::new();
    let mut names = BTreeSet::new();
    for entry in table.tables("probe", "a [[start.probe]]") {
        let probe = entry.need("probe", "probe = \"post\"", entry.id("probe"));
        once(&entry, "probe", probe.as_ref(), &mut names);
        let place = known_place(&entry, places);
        let height_m = entry.number("height_m", "m", -3.0..=20.0).unwrap_or(1.5);
        let shelter = entry.word("shelter", &Shelter::WORDS).unwrap_or(Shelter::Open);
        let usual_interval_s = usual_interval(&entry);
        let marks = marks(&entry);
        if let (Some(probe), Some(place)) = (probe, place) {
            probes.push(Hung { probe, place, height_m, shelter, usual_interval_s, marks });
        }
    }
    probes
}

/// Reads `dry_mark` and `wet_mark`: both or none, the wet one at least 2 % above the dry one.
fn marks(entry: &Table<'_, '_>) -> Option<(f64, f64)> {
    let dry = entry.number("dry_mark", "%", 0.0..=60.0);
    let wet = entry.number("wet_mark", "%", 0.0..=60.0);
    for (there, key) in [("dry_mark", "wet_mark"), ("wet_mark", "dry_mark")] {
        if entry.has(there) && !entry.has(key) {
            entry.fault(there, format!("{there} is nothing without {key}; write both"));
        }
    }
    let (dry, wet) = (dry?, wet?);
    if wet - dry < 2.0 {
        entry.fault(
            "wet_mark",
            format!("wet_mark {wet} is not 2 % above dry_mark {dry}; write what it says after soaking"),
        );
    }
    Some((dry, wet))
}

/// Reads `usual_interval_s`; one minute if not told.
pub(crate) fn usual_interval(table: &Table<'_, '_>) -> f64 {
    table.number("usual_interval_s", "s", 1.0..=86_400.0).unwrap_or(60.0)
}

fn known_place(entry: &Table<'_, '_>, places: &BTreeSet<String>) -> Option<String> {
    let place = entry.need("place", "place = \"house\"", entry.id("place"))?;
    entry.choose("place", entry.place("place"), &place, places.iter().map(String::as_str))?;
    Some(place)
}

/// Notes a name that was used before.
pub(crate) fn once(entry: &Table<'_, '_>, key: &str, name: Option<&String>, seen: &mut BTreeSet<String>) {
    if let Some(name) = name
        && !seen.insert(name.clone())
    {
        entry.fault(key, format!("{key} {name} is used twice; write another"));
    }
}
