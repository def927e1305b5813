//! An authority's message as the ledger keeps it: enough to show it and to judge it again.

use agronomy::crop::Severity;
use serde::{Deserialize, Serialize};

pub use crate::warnings::cap::{Certainty, MessageKind, Reference, Urgency};

/// How long a warning holds from its beginning where it does not say until when, ms: a day (practice; the standard leaves
/// it to whoever reads, CAP 1.2, 3.2.2 `expires`).
const USUAL_MS: i64 = 86_400_000;

/// A message about heat or frost here, or about such a message.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PublicWarning {
    /// Sender, identifier and time of the message.
    pub name: Reference,
    /// Alert, Update or Cancel.
    pub kind: MessageKind,
    /// The earlier messages it is about.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub references: Vec<Reference>,
    /// Whether it says nothing but that: it has no block at all.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub bare: bool,
    /// What it says of heat and frost here; empty where it speaks of something else, or of elsewhere.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub says: Vec<Said>,
    /// Where it was read: an address, a topic.
    pub heard_from: String,
}

/// What the garden fears.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Hazard {
    /// Too hot.
    Heat,
    /// Frost.
    Frost,
}

/// One warning of a message, in one language: the authority's own words, unchanged but for their length.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Said {
    /// Which of what the garden fears, by the words and codes of the site file.
    pub hazard: Hazard,
    /// The event.
    pub event: String,
    /// How bad; none where the authority does not say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub severity: Option<Severity>,
    /// How soon.
    pub urgency: Urgency,
    /// How sure.
    pub certainty: Certainty,
    /// From when the message holds, UTC ms.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub effective_ms: Option<i64>,
    /// From when on the event is expected, UTC ms.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub onset_ms: Option<i64>,
    /// Until when it holds, UTC ms.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires_ms: Option<i64>,
    /// The language of the words.
    pub language: String,
    /// Who speaks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sender_name: Option<String>,
    /// The shortest way to say it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub headline: Option<String>,
    /// What is to be expected.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub description: Option<String>,
    /// What is to be done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instruction: Option<String>,
    /// Where more is said: shown, never opened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub web: Option<String>,
    /// The areas it is about, in words.
    pub area: String,
}

impl Said {
    /// From when it speaks: the event's beginning where it is told, else the message's. `sent_ms`: of its message.
    pub fn from_ms(&self, sent_ms: i64) -> i64 {
        self.onset_ms.or(self.effective_ms).unwrap_or(sent_ms)
    }

    /// Until when it speaks, UTC ms; a day from its beginning where it does not say.
    pub fn to_ms(&self, sent_ms: i64) -> i64 {
        self.expires_ms.unwrap_or_else(|| self.from_ms(sent_ms).saturating_add(USUAL_MS))
    }
}
