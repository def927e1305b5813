//! Reads the golden tables: CSV with comment lines, one row of column names, then figures.

use std::collections::BTreeMap;

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
}

/// All rows of `tests/reference/<table>`.
pub(crate) fn table(table: &'static str) -> Vec<Row> {
    let path = format!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/{}"), table);
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

/// Asserts that `got` lies within `tolerance` of the table's figure, naming the row.
#[track_caller]
pub(crate) fn close(got: f64, expected: f64, tolerance: f64, what: impl std::fmt::Display) {
    assert!((got - expected).abs() <= tolerance, "{what}: got {got}, table says {expected} ± {tolerance}");
}

/// The worst error seen, as a share of the tolerance it was held to.
#[derive(Default)]
#[allow(dead_code, reason = "each test file takes what it needs")]
pub(crate) struct Worst {
    error: f64,
    tolerance: f64,
}

#[allow(dead_code, reason = "each test file takes what it needs")]
impl Worst {
    /// Asserts like [`close`], and remembers the error.
    #[track_caller]
    pub(crate) fn close(&mut self, got: f64, expected: f64, tolerance: f64, what: impl std::fmt::Display) {
        close(got, expected, tolerance, what);
        let error = (got - expected).abs();
        if self.tolerance == 0.0 || error / tolerance > self.error / self.tolerance {
            (self.error, self.tolerance) = (error, tolerance);
        }
    }

    /// Prints the worst error beside its tolerance.
    pub(crate) fn print(&self, table: &str, cells: usize) {
        assert!(self.tolerance > 0.0, "{table}: nothing was compared");
        println!("{table}: {cells} cells, worst error {:.2e} of {:.1e}", self.error, self.tolerance);
    }
}
