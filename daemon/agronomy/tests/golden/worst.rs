//! Keeps the worst error of a column of a golden table, and prints it beside its tolerance.

/// The worst error of one quantity against one table.
pub(crate) struct Worst {
    what: &'static str,
    rows: usize,
    error: f64,
    tolerance: f64,
    row: String,
}

impl Worst {
    /// Nothing compared yet.
    pub(crate) fn of(what: &'static str) -> Self {
        Self { what, rows: 0, error: 0.0, tolerance: f64::INFINITY, row: String::new() }
    }

    /// Compares one figure; the error that takes up the greatest share of its tolerance is kept.
    pub(crate) fn compare(&mut self, got: f64, expected: f64, tolerance: f64, row: impl std::fmt::Display) {
        let error = (got - expected).abs();
        self.rows += 1;
        let share = error / tolerance;
        // NaN is the worst there is, and nothing is worse than it.
        if self.rows == 1 || share.is_nan() || share > self.error / self.tolerance {
            (self.error, self.tolerance) = (error, tolerance);
            self.row = format!("{row}: got {got}, table says {expected}");
        }
    }

    /// Prints the worst and asserts that it is within its tolerance and that all rows were compared.
    #[track_caller]
    pub(crate) fn assert(self, rows: usize) {
        let Self { what, error, tolerance, row, .. } = &self;
        println!("{what}: {} rows, worst error {error:.3e}, tolerance {tolerance:.3e} ({row})", self.rows);
        assert_eq!(self.rows, rows, "{what}: rows compared");
        assert!(error <= tolerance, "{what}: {error} over {tolerance} at {row}");
    }
}
