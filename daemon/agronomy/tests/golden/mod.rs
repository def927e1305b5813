//! Reads the golden tables (CSV with comment lines, one row of column names, then figures), compares with them, and
//! says of every table in one form how near the worst figure came to its tolerance.
#![allow(dead_code, reason = "each file of tests takes what it needs")]

use std::collections::BTreeMap;
use std::fmt::Display;

/// One row of a table, by column name.
pub(crate) struct Row {
    cells: BTreeMap<String, String>,
    table: &'static str,
}

impl Row {
    /// The text of a cell.
    pub(crate) fn text(&self, column: &str) -> &str {
        self.cells.get(column).unwrap_or_else(|| panic!("{}: no column {column}", self.table))
    }

    /// The number in a cell.
    pub(crate) fn number(&self, column: &str) -> f64 {
        let text = self.text(column);
        text.parse().unwrap_or_else(|_| panic!("{}: {column} is {text:?}", self.table))
    }

    /// The yes or no in a cell.
    pub(crate) fn flag(&self, column: &str) -> bool {
        let text = self.text(column);
        text.parse().unwrap_or_else(|_| panic!("{}: {column} is {text:?}", self.table))
    }
}

fn path(table: &str) -> String {
    format!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/{}"), table)
}

/// All rows of `tests/reference/<table>`.
pub(crate) fn table(table: &'static str) -> Vec<Row> {
    let path = path(table);
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(&path).expect(&path);
    let names = reader.headers().unwrap().clone();
    let rows: Vec<_> = reader
        .records()
        .map(|record| {
            let record = record.unwrap();
            let cells = names.iter().map(str::to_owned).zip(record.iter().map(str::to_owned));
            Row { cells: cells.collect(), table }
        })
        .collect();
    assert!(!rows.is_empty(), "{table} has no rows");
    rows
}

/// Asserts that `got` lies within `tolerance` of one published figure, naming it.
#[track_caller]
pub(crate) fn close(got: f64, expected: f64, tolerance: f64, what: impl Display) {
    assert!((got - expected).abs() <= tolerance, "{what}: got {got}, published {expected} ± {tolerance}");
}

/// A tolerance with half of the last digit added, for tables that print ten.
pub(crate) fn printed(expected: f64, tolerance: f64) -> f64 {
    let digits = if expected == 0.0 { 0.0 } else { libm::floor(libm::log10(expected.abs())) + 1.0 };
    tolerance + 0.5 * libm::pow(10.0, digits - 10.0)
}

/// The figures of one golden table compared so far, and of them the one that came nearest to its tolerance.
pub(crate) struct Worst {
    what: &'static str,
    rows: usize,
    error: f64,
    tolerance: f64,
    at: String,
}

impl Worst {
    /// Nothing compared yet. `what` begins with the file's name; its quantity and unit may follow.
    #[track_caller]
    pub(crate) fn of(what: &'static str) -> Self {
        let file = what.split_whitespace().next().unwrap_or_default();
        assert!(std::path::Path::new(&path(file)).is_file(), "{what}: no such table");
        Self { what, rows: 0, error: 0.0, tolerance: f64::INFINITY, at: String::new() }
    }

    /// Compares one figure. A tolerance of nought asks for the very number.
    pub(crate) fn compare(&mut self, got: f64, expected: f64, tolerance: f64, at: impl Display) {
        let error = (got - expected).abs();
        self.rows += 1;
        if self.rows == 1 || share(error, tolerance) > share(self.error, self.tolerance) {
            (self.error, self.tolerance) = (error, tolerance);
            self.at = format!("{at}: got {got}, table says {expected}");
        }
    }

    /// Compares one yes or no.
    pub(crate) fn agree(&mut self, got: bool, expected: bool, at: impl Display) {
        self.compare(f64::from(u8::from(got)), f64::from(u8::from(expected)), 0.0, at);
    }

    /// How many figures were compared.
    pub(crate) fn rows(&self) -> usize {
        self.rows
    }

    /// Says the worst, and asserts that so many figures were compared and that none is beyond its tolerance.
    #[track_caller]
    pub(crate) fn end(self, rows: usize) {
        let Self { what, error, tolerance, at, .. } = &self;
        println!("{what}: {} figures, worst error {error:.2e}, tolerance {tolerance:.1e} ({at})", self.rows);
        assert!(rows > 0 && self.rows == rows, "{what}: {} figures compared of {rows}", self.rows);
        assert!(share(*error, *tolerance) <= 1.0, "{what}: {error} over {tolerance} at {at}");
    }
}

/// How much of the tolerance an error takes up: any at all of none is without bound, and no number the worst there is.
fn share(error: f64, tolerance: f64) -> f64 {
    if error == 0.0 {
        0.0
    } else if error.is_nan() {
        f64::INFINITY
    } else {
        error / tolerance
    }
}
