//! What an open heat notice says by now, and what is said inside it. Its steps keep what was said when they were told.

use agronomy::crop::Severity;
use serde::{Deserialize, Serialize};

use super::NoticeView;
use crate::minders::word::Spoken;

/// A heat notice's words of now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SaidNow {
    /// The order.
    pub title: String,
    /// The reason, without what is said inside it.
    pub text: String,
    /// What is said inside it: what buzzes first, then what is worse.
    pub inside: Vec<InsideNow>,
}

/// What another minder says inside a heat notice.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InsideNow {
    /// Which minder.
    pub minder: String,
    /// How bad.
    pub severity: Severity,
    /// The order, without the place's name.
    pub title: String,
    /// The reason, without the place's name.
    pub text: String,
}

impl SaidNow {
    /// As it is spoken by now.
    pub fn of(spoken: &Spoken) -> Self {
        let inside = spoken.inside.iter().map(|(minder, word)| {
            let (title, text) = word.beside(&spoken.own.title);
            InsideNow { minder: (*minder).to_owned(), severity: word.severity, title, text }
        });
        Self { title: spoken.own.title.clone(), text: spoken.own.text.clone(), inside: inside.collect() }
    }
}

impl NoticeView {
    /// Its order by now.
    pub fn order(&self) -> &str {
        let told = || self.steps.last().map_or(self.minder.as_str(), |step| step.title.as_str());
        self.now.as_ref().map_or_else(told, |now| now.title.as_str())
    }

    /// Its reason by now, without what is said inside it where that is known apart.
    pub fn reason(&self) -> &str {
        let told = || self.steps.last().map_or("", |step| step.text.as_str());
        self.now.as_ref().map_or_else(told, |now| now.text.as_str())
    }

    /// The caution that stands beside it; empty where none is needed.
    pub fn caution(&self) -> &str {
        self.steps.last().map_or("", |step| step.caution.as_str())
    }

    /// What is said inside it by now.
    pub fn inside(&self) -> &[InsideNow] {
        self.now.as_ref().map_or(&[], |now| &now.inside)
    }
}
