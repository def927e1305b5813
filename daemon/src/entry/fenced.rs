//! What is told of a damaged row of the ledger.

use serde::{Deserialize, Serialize};

/// A damaged row of the ledger, with what is known of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fenced {
    /// Its table.
    pub table: String,
    /// Its number there.
    pub row: i64,
    /// What is wrong with it.
    pub wrong: String,
    /// Whose readings it held, where it held those of one probe.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub probe: Option<String>,
    /// Of which quantity.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quantity: Option<String>,
    /// From when on what it held was measured or told, UTC ms, as far as known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub since_ms: Option<i64>,
    /// Until when.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until_ms: Option<i64>,
}
