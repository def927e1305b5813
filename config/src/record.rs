//! Field maps: what the columns of a CSV record mean.
//!
//! Nobody's loggers write files alike. A field map says for each column worth reading which probe and
//! quantity it is, in which unit, and how the row tells its time. It is one TOML file with a `[[series]]`
//! per column; what all series share stands once in `[usual]`.
//!
//! Files are plain text. Packed ones (`.gz`) are unpacked before they are handed in.

use std::collections::BTreeSet;

use agronomy::quantity::Quantity;

use crate::faults::Faults;
use crate::quantity::{Measured, measured, unit_for};
use crate::reader::{Named, Notebook, Table};
use crate::zone::Zones;

mod each_row;
mod stamp;

pub use each_row::EachRow;
pub use stamp::Stamps;

/// A checked field map.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// One per column or pair of columns, in the order of the file.
    pub series: Vec<Series>,
    /// Files in which each row names what it is; they are read by this and by no series.
    pub each_row: Option<EachRow>,
}

/// What one column (or a pair, for daily extremes) means.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// Which files it is found in.
    pub file: FileMatch,
    /// What stands between the fields.
    pub delimiter: Delimiter,
    /// Whether the first row holds the names of the columns.
    pub header: bool,
    /// The probe's name.
    pub probe: String,
    /// What it is, and in which unit the column is written.
    pub measured: Measured,
    /// The column or columns.
    pub values: Values,
    /// How a row tells its time.
    pub stamps: Stamps,
    /// Time between readings when all is well \[s\].
    pub usual_interval_s: f64,
    /// Texts that stand for "no value", compared after trimming.
    pub missing: Vec<String>,
    /// What the probe can measure at all, in the unit of the column; values outside are refused.
    pub limits: Option<Limits>,
    /// What became different at some moment, earliest first.
    pub changes: Vec<Change>,
}

/// Which files a series is found in.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum FileMatch {
    /// Those whose name ends so.
    Ending(String),
    /// The one at this position of the command, from 1.
    Position(usize),
}

/// What stands between the fields of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Delimiter {
    /// One character, with quotation as RFC 4180 has it.
    Sign(char),
    /// One or more blanks.
    Blanks,
}

/// Which column.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Column {
    /// The `nth` (from 1) of those headed so after trimming.
    Named {
        /// The heading.
        name: String,
        /// Which of several with that heading.
        nth: usize,
    },
    /// By its position, from 1.
    Numbered(usize),
}

/// What a row gives.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Values {
    /// One reading.
    Reading(Column),
    /// The lowest and the highest of a day, as a thermometer read by hand gives them.
    Daily {
        /// The column of the lowest.
        min: Column,
        /// The column of the highest.
        max: Column,
    },
}

/// Lowest and highest value a probe can give.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Lowest.
    pub low: f64,
    /// Highest.
    pub high: f64,
}

/// From a moment on, the column is written differently.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// The first stamp it holds for, as the file writes it (its own clock).
    pub from: chrono::NaiveDateTime,
    /// The unit from there on.
    pub unit: Option<String>,
    /// Added to each stamp from there on, in place of the usual shift \[s\].
    pub shift_s: Option<i64>,
}

impl FileMatch {
    /// Whether the file of this name, at this position (from 1) of the command, is meant.
    pub fn fits(&self, name: &str, position: usize) -> bool {
        match self {
            Self::Ending(ending) => name.ends_with(ending.as_str()),
            Self::Position(meant) => *meant == position,
        }
    }
}

impl Column {
    /// The index of the column under these headings (from 0), if it is there.
    pub fn find<'h>(&self, headings: impl IntoIterator<Item = &'h str>) -> Option<usize> {
        match self {
            Self::Numbered(number) => headings.into_iter().nth(number.checked_sub(1)?).map(|_| number - 1),
            Self::Named { name, nth } => headings
                .into_iter()
                .enumerate()
                .filter(|(_, heading)| heading.trim() == name)
                .nth(nth.checked_sub(1)?)
                .map(|(index, _)| index),
        }
    }
}

/// Reads a field map.
///
/// # Errors
///
/// Everything that is wrong with it.
pub fn read_record(text: &str, zones: &Zones) -> Result<Record, Faults> {
    let (book, tree) = Notebook::open(text);
    let value = {
        let root = Table::root(&book, &tree);
        let usual =
            root.table("usual", "[usual]").map(|table| Shared::read(&table, zones)).unwrap_or_default();
        let mut told = BTreeSet::new();
        let tables = root.tables("series", "a [[series]]");
        let each_row = root.table("each_row", "[each_row]");
        if tables.is_empty() && each_row.is_none() {
            root.need::<()>("series", "one [[series]] for each column", None);
        }
        let series = tables.iter().filter_map(|table| read_series(table, &usual, zones, &mut told)).collect();
        match each_row {
            None => Some(Record { series, each_row: None }),
            Some(table) => each_row::read(&table, zones).map(|it| Record { series, each_row: Some(it) }),
        }
    };
    book.close("record.toml", value)
}

/// Which files are meant.
fn file_match(table: &Table<'_, '_>) -> Option<FileMatch> {
    let file = table.named_or_numbered("file", "the end of a file name, or its position in the command")?;
    Some(match file {
        Named::Text(ending) => FileMatch::Ending(ending),
        Named::Number(position) => FileMatch::Position(position),
    })
}

/// Texts for "no value", where they are told.
fn missing(table: &Table<'_, '_>) -> Option<Vec<String>> {
    let list = table.texts("missing")?;
    Some(list.into_iter().map(|text| text.value.trim().to_owned()).collect())
}

/// The usual texts for "no value".
fn no_value() -> Vec<String> {
    vec![String::new(), "NaN".to_owned()]
}

/// What may stand in `[usual]` and in each series.
#[derive(Default)]
struct Shared {
    file: Option<FileMatch>,
    delimiter: Option<Delimiter>,
    header: Option<bool>,
    probe: Option<String>,
    time: Option<stamp::Parts>,
    usual_interval_s: Option<f64>,
    missing: Option<Vec<String>>,
}

impl Shared {
    fn read(table: &Table<'_, '_>, zones: &Zones) -> Self {
        Self {
            file: file_match(table),
            delimiter: delimiter(table),
            header: table.word("header", &[("names", true), ("none", false)]),
            probe: table.id("probe"),
            time: table.table("time", "time").map(|time| stamp::Parts::read(&time, zones)),
            usual_interval_s: table.number("usual_interval_s", "s", 1.0..=86_400.0),
            missing: missing(table),
        }
    }
}

fn delimiter(table: &Table<'_, '_>) -> Option<Delimiter> {
    let words = [
        (",", Delimiter::Sign(',')),
        (";", Delimiter::Sign(';')),
        ("\t", Delimiter::Sign('\t')),
        ("|", Delimiter::Sign('|')),
        ("blanks", Delimiter::Blanks),
    ];
    let written = table.text("delimiter")?;
    let found = words.into_iter().find(|(word, _)| *word == written);
    if found.is_none() {
        table.fault(
            "delimiter",
            format!("unknown delimiter {written:?}; write \",\", \";\", \"\\t\", \"|\" or \"blanks\""),
        );
    }
    found.map(|(_, delimiter)| delimiter)
}

fn read_series(
    table: &Table<'_, '_>,
    usual: &Shared,
    zones: &Zones,
    told: &mut BTreeSet<(FileMatch, String, Quantity, bool)>,
) -> Option<Series> {
    let own = Shared::read(table, zones);
    let inherit = |key: &str, there: bool| there || table.has(key);
    let daily = table.word("kind", &[("reading", false), ("daily", true)]).unwrap_or(false);
    let file = own.file.or_else(|| usual.file.clone());
    if !inherit("file", file.is_some()) {
        table.need::<()>(
            "file",
            "file = \"Air.csv\", the end of its name, or file = 1, the first one given",
            None,
        );
    }
    let probe = own.probe.or_else(|| usual.probe.clone());
    if !inherit("probe", probe.is_some()) {
        table.need::<()>("probe", "probe = \"post\"", None);
    }
    let measured = measured(table);
    let header = own.header.or(usual.header).unwrap_or(true);
    let values = values(table, daily, header);
    let time = stamp::Parts::over(own.time, usual.time.clone());
    let stamps = time.complete(table, daily);
    let limits = limits(table);
    let changes = measured.as_ref().map(|measured| changes(table, measured.quantity));
    let (file, probe, measured) = (file?, probe?, measured?);
    if !told.insert((file.clone(), probe.clone(), measured.quantity, daily)) {
        let quantity = measured.quantity;
        table.fault(
            "probe",
            format!("{quantity} of probe {probe} is told twice from one file; write another probe"),
        );
    }
    Some(Series {
        file,
        delimiter: own.delimiter.or(usual.delimiter).unwrap_or(Delimiter::Sign(',')),
        header,
        probe,
        measured,
        values: values?,
        stamps: stamps?,
        usual_interval_s: own.usual_interval_s.or(usual.usual_interval_s).unwrap_or(if daily {
            86_400.0
        } else {
            60.0
        }),
        missing: own.missing.or_else(|| usual.missing.clone()).unwrap_or_else(no_value),
        limits,
        changes: changes?,
    })
}

const COLUMN: &str = "the heading of a column, or its number";

fn values(table: &Table<'_, '_>, daily: bool, header: bool) -> Option<Values> {
    let nth = table.whole("nth", 1..=1000).unwrap_or(1) as usize;
    let read = |key: &str| {
        let column = table.named_or_numbered(key, COLUMN);
        if !header && matches!(column, Some(Named::Text(_))) {
            table.fault(
                key,
                format!("the file has no headings to find {key} by; write the number of the column"),
            );
        }
        column.map(|column| named(column, nth))
    };
    if daily {
        let min = table.need("min", "min = \"Tn\", the column of the day's lowest", read("min"));
        let max = table.need("max", "max = \"Tx\", the column of the day's highest", read("max"));
        return Some(Values::Daily { min: min?, max: max? });
    }
    let column = table.need("column", "column = \"Temperature\"", read("column"));
    column.map(Values::Reading)
}

fn named(column: Named, nth: usize) -> Column {
    match column {
        Named::Text(name) => Column::Named { name, nth },
        Named::Number(number) => Column::Numbered(number),
    }
}

fn limits(table: &Table<'_, '_>) -> Option<Limits> {
    let inner = table.table("limits", "limits")?;
    let low = inner.need("low", "low = -40", inner.number("low", "", ..));
    let high = inner.need("high", "high = 80", inner.number("high", "", ..));
    let (low, high) = (low?, high?);
    if low >= high {
        inner.fault("high", format!("high {high} is not above low {low}; write more than {low}"));
        return None;
    }
    Some(Limits { low, high })
}

fn changes(table: &Table<'_, '_>, quantity: Quantity) -> Vec<Change> {
    let mut changes: Vec<Change> = Vec::new();
    for entry in table.tables("change", "a [[series.change]]") {
        let from = entry.need("from", "from = \"2022-05-04T06:15\"", entry.moment("from"));
        let unit = if entry.has("unit") { unit_for(&entry, "unit", quantity) } else { None };
        let shift_s = entry.whole("shift_s", -86_400..=86_400);
        if !entry.has("unit") && !entry.has("shift_s") {
            entry.need::<()>("unit", "unit = \"lx\", or shift_s = 3600", None);
        }
        let Some(from) = from else { continue };
        if changes.last().is_some_and(|before| before.from >= from) {
            entry.fault(
                "from",
                format!("from {from} is not after the change before it; write the earlier one first"),
            );
        }
        changes.push(Change { from, unit, shift_s });
    }
    changes
}
