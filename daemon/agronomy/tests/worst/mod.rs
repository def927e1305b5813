//! The greatest error over a golden table, held against its tolerance and printed.

/// Greatest error so far.
pub(crate) struct Worst {
    what: &'static str,
    tolerance: f64,
    error: f64,
    at: String,
    rows: usize,
}

impl Worst {
    pub(crate) fn new(what: &'static str, tolerance: f64) -> Self {
        Self { what, tolerance, error: 0.0, at: String::new(), rows: 0 }
    }

    /// Takes one row: a difference in the tolerance's own unit, and where it was found.
    pub(crate) fn take(&mut self, difference: f64, at: impl std::fmt::Display) {
        self.rows += 1;
        // NaN is worse than any number.
        let error = if difference.is_nan() { f64::INFINITY } else { difference.abs() };
        if error > self.error {
            self.error = error;
            self.at = at.to_string();
        }
    }

    /// Prints, and asserts that so many rows were compared and none is beyond the tolerance.
    #[track_caller]
    pub(crate) fn tell(&self, rows: usize) {
        let Self { what, tolerance, error, at, .. } = self;
        println!("{what}: {} rows, worst {error:.3e} of {tolerance:e} ({at})", self.rows);
        assert_eq!(self.rows, rows, "{what}: rows compared");
        assert!(error <= tolerance, "{what}: {error} at {at}, tolerance {tolerance}");
    }
}
