//! Crops.
use serde::{Deserialize, Serialize};
/// How bad, in the words of CAP 1.2.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// Minor.
    Minor,
    /// Moderate.
    Moderate,
    /// Severe.
    Severe,
    /// Extreme.
    Extreme,
}
impl Severity {
    /// The word.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Minor => "minor",
            Self::Moderate => "moderate",
            Self::Severe => "severe",
            Self::Extreme => "extreme",
        }
    }
}
