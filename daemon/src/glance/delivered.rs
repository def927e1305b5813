//! How far notices have come on the ways out of the house, and what was missed meanwhile.

use serde::{Deserialize, Serialize};

/// How far a notice has come on one way out of the house.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Delivered {
    /// The courier.
    pub courier: String,
    /// The far end took it.
    pub sent: bool,
    /// It waits to be tried, or tried again.
    pub waits: bool,
    /// Somebody had seen it, or it was over or not true any more, before its turn came.
    pub needless: bool,
    /// Tries that came to nothing so far.
    pub tries: u32,
    /// When it is tried next, UTC ms.
    pub due_ms: Option<i64>,
    /// Why it has not arrived, where it has not.
    pub why: Option<String>,
    /// Older steps of the notice that were never sent this way: their time ran out, or a newer one took their place.
    #[serde(default)]
    pub old_unsent: usize,
}

impl Delivered {
    /// What became of it, in words.
    pub fn outcome(&self) -> String {
        let why = self.why.as_deref().unwrap_or("no answer yet");
        match (self.sent, self.waits) {
            (true, _) => "sent, and taken by the far end".to_owned(),
            (false, true) => format!("waits, {why}"),
            (false, false) => format!("not sent: {why}"),
        }
    }

    /// Whether it has not arrived though it was tried.
    pub fn failed(&self) -> bool {
        !self.sent && !self.needless && (!self.waits || self.tries > 0)
    }

    /// How many older steps of the notice never went this way, in words; none where all did.
    pub fn old_words(&self) -> Option<String> {
        (self.old_unsent > 0).then(|| format!("{}: {}", self.courier, old_unsent(self.old_unsent)))
    }
}

/// "38 old steps not sent".
pub fn old_unsent(count: usize) -> String {
    format!("{count} old {} not sent", if count == 1 { "step" } else { "steps" })
}

/// What went by in the last day while nobody could be told, or nothing was read.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Missed {
    /// The longest stretch in which nothing sound was read, though it is read again: names of the places (none: all
    /// that are measured), from, until (UTC ms).
    pub unread: Option<(Vec<String>, i64, i64)>,
    /// Steps that were to buzz, whose time ran out before anybody was given them, of notices that nobody has seen
    /// since: when they were told (UTC ms), and their order.
    pub steps: Vec<(i64, String)>,
}

impl Missed {
    /// Whether nothing was missed.
    pub fn is_empty(&self) -> bool {
        self.unread.is_none() && self.steps.is_empty()
    }
}
