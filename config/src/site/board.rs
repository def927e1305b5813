//! The board's own readings.

use crate::reader::Table;

/// The board as a probe of itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Board {
    /// Time between readings \[s\].
    pub every_s: f64,
}

/// Reads `[board]`.
pub(super) fn board(table: &Table<'_, '_>) -> Board {
    Board { every_s: table.number("every_s", "s", 60.0..=3600.0).unwrap_or(600.0) }
}
