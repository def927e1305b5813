//! Field maps of outlooks: what stands where in a forecast's JSON.
//!
//! No two forecast services write alike, but all of them write one of two shapes: a list of *rows*, each an hour with
//! its values, or parallel *columns*, a list of times beside a list for each quantity. A map names the shape and says
//! by JSON pointers (RFC 6901) where times and values stand, and in which units. The times are stamps of ISO 8601, or
//! a start with a step between the values.
//!
//! Two maps are shipped, `rows` and `columns`, for whoever makes the JSON himself; for a service, copy the one of its
//! shape and write its own pointers.

use std::collections::BTreeSet;

use agronomy::quantity::Quantity;

use crate::duration::duration_ms;
use crate::faults::Faults;
use crate::pointer::pointer;
use crate::position::load;
use crate::quantity::{Measured, measured};
use crate::reader::{Notebook, Table, one_of};
use crate::zone::{Zone, Zones, parse_offset};

/// What an outlook may tell.
pub const QUANTITIES: [Quantity; 5] =
    [Quantity::AirTemperature, Quantity::RelativeHumidity, Quantity::Wind, Quantity::Light, Quantity::Rain];

/// Shipped maps by name.
const SHIPPED: [(&str, &str); 2] = [
    ("rows", include_str!("../examples/outlooks/rows.toml")),
    ("columns", include_str!("../examples/outlooks/columns.toml")),
];

/// A checked field map of an outlook. Pointers are those of RFC 6901.
#[derive(Clone, Debug, PartialEq)]
pub struct OutlookMap {
    /// How the hours lie in the document.
    pub layout: Layout,
    /// Where the document says when it was issued.
    pub issued: Option<String>,
    /// How the hours are dated.
    pub times: Times,
    /// The clock of stamps that bear no offset of their own; without it they are refused.
    pub clock: Option<Zone>,
    /// Where the document says which place it is for: pointers to latitude and longitude, degrees.
    pub place: Option<(String, String)>,
    /// The values; air temperature is among them.
    pub values: Vec<OutlookValue>,
}

/// How the hours lie in the document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Layout {
    /// A list at this pointer, one row for each hour; times and values are pointed to within a row.
    Rows(String),
    /// A list for each quantity, all of one length.
    Columns,
}

/// How the hours are dated.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Times {
    /// A stamp in each row, or a list of stamps.
    Stamps(String),
    /// The stamp of the first hour, and the step from one to the next.
    Even {
        /// Where the first stamp stands in the document.
        start: String,
        /// The step.
        step: Step,
    },
}

/// The step from one hour to the next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Step {
    /// Where the document says it, as ISO 8601 writes a duration.
    At(String),
    /// Always this \[ms\].
    Fixed(i64),
}

/// One quantity of an outlook.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OutlookValue {
    /// What it is, and in which unit it is written.
    pub measured: Measured,
    /// Where it stands: in a row, or the list.
    pub pointer: String,
}

/// The map that is shipped under a name.
pub fn shipped_outlook_map(name: &str) -> Option<&'static str> {
    SHIPPED.iter().find(|(known, _)| *known == name).map(|(_, text)| *text)
}

/// Reads a field map of an outlook.
///
/// # Errors
///
/// Everything that is wrong with it.
pub fn read_outlook_map(text: &str, zones: &Zones) -> Result<OutlookMap, Faults> {
    let (book, tree) = Notebook::open(text);
    let value = read(&Table::root(&book, &tree), zones);
    book.close("outlook.toml", value)
}

fn read(root: &Table<'_, '_>, zones: &Zones) -> Option<OutlookMap> {
    let layout = layout(root);
    let issued = pointer(root, "issued");
    let time = root.need("time", "a table [time] with at = \"/at\"", root.table("time", "[time]"));
    let (times, clock) = time.map(|time| (times(&time), clock(&time, zones))).unzip();
    let place = root.table("place", "[place]").map(|table| {
        let need = |key: &str| table.need(key, &format!("{key} = \"/{key}\""), pointer(&table, key));
        need("latitude").zip(need("longitude"))
    });
    let values = values(root);
    Some(OutlookMap {
        layout: layout?,
        issued,
        times: times??,
        clock: clock?,
        place: match place {
            Some(place) => Some(place?),
            None => None,
        },
        values: values?,
    })
}

fn layout(root: &Table<'_, '_>) -> Option<Layout> {
    let rows = pointer(root, "rows");
    let word = root.word("layout", &[("rows", true), ("columns", false)]);
    if root.need("layout", "layout = \"rows\", or \"columns\"", word)? {
        let rows = root.need("rows", "rows = \"/hours\", where the list of rows stands", rows);
        return rows.map(Layout::Rows);
    }
    if root.has("rows") {
        root.fault("rows", "columns have no list of rows; leave rows out, or write layout = \"rows\"");
    }
    Some(Layout::Columns)
}

fn times(time: &Table<'_, '_>) -> Option<Times> {
    let (at, start, step) = (pointer(time, "at"), pointer(time, "start"), pointer(time, "step"));
    let every = time.text("every").and_then(|text| {
        let every = duration_ms(&text);
        if every.is_none() {
            time.fault("every", format!("every {text:?} is no length of time; write it as \"PT1H\""));
        }
        every
    });
    if time.has("at") {
        for key in ["start", "step", "every"] {
            if time.has(key) {
                time.fault(
                    key,
                    format!("at and {key} are both there; write at, or start with step or every"),
                );
            }
        }
        return at.map(Times::Stamps);
    }
    if !time.has("start") {
        time.need::<()>("at", "at = \"/at\", or start = \"/start\" with every = \"PT1H\"", None);
        return None;
    }
    if time.has("step") && time.has("every") {
        time.fault("every", "step and every are both there; write one of them");
    }
    let step = step.map(Step::At).or(every.map(Step::Fixed));
    let step = time.need("every", "every = \"PT1H\", or step = \"/step\"", step);
    if step.is_none() && time.has("step") {
        return None;
    }
    Some(Times::Even { start: start?, step: step? })
}

/// The clock of stamps without an offset: named, or none.
fn clock(time: &Table<'_, '_>, zones: &Zones) -> Option<Zone> {
    let (zone, offset) = (time.text("zone"), time.text("offset"));
    if time.has("zone") && time.has("offset") {
        time.fault("offset", "zone and offset are both there; write one of them");
    }
    if let Some(name) = zone {
        return load(time, "zone", zones, &name);
    }
    let text = offset?;
    let offset = parse_offset(&text);
    if offset.is_none() {
        time.fault("offset", format!("offset {text} is no offset; write it as \"+01:00\""));
    }
    offset.map(Zone::fixed)
}

fn values(root: &Table<'_, '_>) -> Option<Vec<OutlookValue>> {
    let tables = root.tables("value", "a [[value]]");
    if tables.is_empty() {
        root.need::<()>("value", "one [[value]] for each quantity", None);
    }
    let mut told = BTreeSet::new();
    let mut values = Vec::with_capacity(tables.len());
    for table in &tables {
        let (measured, pointer) =
            (measured(table), table.need("pointer", "pointer = \"/air\"", pointer(table, "pointer")));
        let (Some(measured), Some(pointer)) = (measured, pointer) else { continue };
        let quantity = measured.quantity;
        if !QUANTITIES.contains(&quantity) {
            let instead = one_of(QUANTITIES.iter().map(|known| known.as_str()));
            table.fault("quantity", format!("an outlook tells no {quantity}; write {instead}"));
        } else if !told.insert(quantity) {
            table.fault("quantity", format!("{quantity} is told twice; leave one of them out"));
        }
        values.push(OutlookValue { measured, pointer });
    }
    if values.len() == tables.len() && !tables.is_empty() && !told.contains(&Quantity::AirTemperature) {
        root.fault(
            "value",
            "no value tells the air temperature; write one with quantity = \"air_temperature\"",
        );
    }
    (values.len() == tables.len()).then_some(values)
}
