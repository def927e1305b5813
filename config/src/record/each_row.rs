//! Long tables: each row is one reading.

use super::{
    COLUMN, Column, Delimiter, FileMatch, Stamps, delimiter, file_match, missing, named, no_value, stamp,
};
use crate::reader::Table;
use crate::zone::Zones;

/// Files in which each row is one reading and names its probe, quantity and unit.
#[derive(Clone, Debug, PartialEq)]
pub struct EachRow {
    /// Which files.
    pub file: FileMatch,
    /// What stands between the fields.
    pub delimiter: Delimiter,
    /// The column that names the probe.
    pub probe: Column,
    /// The one that names the quantity, in the words of the ledger.
    pub quantity: Column,
    /// The one that names the unit.
    pub unit: Column,
    /// The value.
    pub value: Column,
    /// How a row tells its time.
    pub stamps: Stamps,
    /// Time between readings when all is well \[s\].
    pub usual_interval_s: f64,
    /// Texts that stand for "no value".
    pub missing: Vec<String>,
}

/// Reads `[each_row]`.
pub(super) fn read(table: &Table<'_, '_>, zones: &Zones) -> Option<EachRow> {
    let column = |key: &str, example: &str| {
        let column = table.named_or_numbered(key, COLUMN).map(|column| named(column, 1));
        table.need(key, example, column)
    };
    let (probe, quantity) =
        (column("probe", "probe = \"probe\""), column("quantity", "quantity = \"quantity\""));
    let (unit, value) = (column("unit", "unit = \"unit\""), column("value", "value = \"value\""));
    let file = file_match(table);
    let file = table.need("file", "file = \".csv\", the end of its name", file);
    let time = table.table("time", "time").map(|time| stamp::Parts::read(&time, zones));
    let stamps = stamp::Parts::over(time, None).complete(table, false);
    Some(EachRow {
        delimiter: delimiter(table).unwrap_or(Delimiter::Sign(',')),
        usual_interval_s: table.number("usual_interval_s", "s", 1.0..=86_400.0).unwrap_or(60.0),
        missing: missing(table).unwrap_or_else(no_value),
        file: file?,
        probe: probe?,
        quantity: quantity?,
        unit: unit?,
        value: value?,
        stamps: stamps?,
    })
}
