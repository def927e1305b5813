//! A public warning at a glance.

use agronomy::crop::Severity;
use serde::{Deserialize, Serialize};

use crate::entry::{Certainty, Hazard, Urgency};

/// A public warning that is in force or to come: the authority's own words. Times UTC ms.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WarningGlance {
    /// Heat or frost.
    pub hazard: Hazard,
    /// How bad; none where the authority does not say.
    pub severity: Option<Severity>,
    /// How soon.
    pub urgency: Urgency,
    /// How sure.
    pub certainty: Certainty,
    /// From when.
    pub from_ms: i64,
    /// Until when.
    pub to_ms: i64,
    /// Whether the authority said until when; if not, it is a day by our own rule.
    pub end_told: bool,
    /// When it was sent.
    pub sent_ms: i64,
    /// Who sent it, as the message names them.
    pub sender: String,
    /// Who speaks, for people.
    pub sender_name: Option<String>,
    /// The event.
    pub event: String,
    /// The shortest way to say it.
    pub headline: Option<String>,
    /// What is to be expected.
    pub description: Option<String>,
    /// What is to be done.
    pub instruction: Option<String>,
    /// Where more is said; shown as text, never opened by us.
    pub web: Option<String>,
    /// Where, in words.
    pub area: String,
    /// The language of the words.
    pub language: String,
    /// Where we read it.
    pub heard_from: String,
}
