//! What is told when all days are reckoned anew: why, and what the sums were and came to.

use serde::{Deserialize, Serialize};

/// What made an edition another than the one before.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// The crop book.
    Book,
    /// The program's own rules.
    Rules,
    /// Where the site lies, or its standard offset.
    Position,
    /// The probes' own limits.
    Limits,
}

/// The sums of a planting's season.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Sums {
    /// Degree days by the crop's own rule, °C d.
    pub degree_days: f64,
    /// Hours at or above the severe line, h.
    pub stress_h: f64,
    /// Warm nights.
    pub warm_nights: u32,
}

/// A planting's sums over the same days by two editions.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Anew {
    /// By the edition before.
    pub was: Sums,
    /// By the edition that took its place.
    pub came_to: Sums,
}
