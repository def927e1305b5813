//! A grower's own figures for one planting: the table `figures` of a planting in a ground or site file.
//!
//! ```toml
//! [start.planting.figures]
//! gdd.t_base_c = 8.0
//! heat_rule.day_severe.threshold = 36.0
//! water.kc_mid = [1.0, 1.1]
//! ```
//!
//! Names are those of the book, as `glasshour crops tomato` prints them; a value is a number, or lowest and highest.

use std::collections::BTreeMap;

use agronomy::crop::Crop;
use agronomy::crop::figures::{OwnFault, OwnFigures};

use crate::reader::Table;
use crate::words::nearest;

/// Reads own figures of a crop; everything wrong with them is told.
pub(crate) fn own_figures(table: &Table<'_, '_>, crop: &Crop) -> OwnFigures {
    let mut found = BTreeMap::new();
    gather(table, "", crop, &mut found);
    let own: OwnFigures = found.iter().map(|(name, (_, span))| (name.clone(), *span)).collect();
    for fault in crop.with_own(&own).1 {
        // Of two neighbours out of order the one that is told at is the grower's own, the later where both are.
        let places = found.iter().filter(|(name, _)| fault.concerns(name)).map(|(_, (at, _))| *at);
        table.note(places.max().unwrap_or_default(), refusal(crop, &fault));
    }
    own
}

/// Why an own figure is refused, with what to write instead.
pub fn refusal(crop: &Crop, fault: &OwnFault) -> String {
    match fault {
        OwnFault::Unknown { name, .. } => match nearest(name, crop.figures.keys().map(String::as_str)) {
            Some(meant) => format!("{fault}; write {meant}"),
            None => format!("{fault}; write one that `glasshour crops {}` prints", crop.key),
        },
        told => told.to_string(),
    }
}

/// Finds every value under its dotted name, whether dots were written as tables or within a name.
fn gather(table: &Table<'_, '_>, above: &str, crop: &Crop, found: &mut BTreeMap<String, (usize, [f64; 2])>) {
    for key in table.keys() {
        let name = if above.is_empty() { key.value.clone() } else { format!("{above}.{}", key.value) };
        if table.holds_table(&key.value) {
            if let Some(inner) = table.table(&key.value, &name) {
                gather(&inner, &name, crop, found);
            }
            continue;
        }
        let unit = crop.figures.get(&name).map_or("", |listed| listed.kind.unit());
        let span = if table.holds_list(&key.value) {
            let ends = table.numbers(&key.value);
            let two = ends.and_then(|ends| match ends.as_slice() {
                [lo, hi] => Some([lo.value, hi.value]),
                _ => None,
            });
            if two.is_none() {
                table.fault(&key.value, format!("{name} is no span; write [lowest, highest]"));
            }
            two
        } else {
            table.number(&key.value, unit, ..).map(|value| [value, value])
        };
        found.extend(span.map(|span| (name, (key.at, span))));
    }
}
