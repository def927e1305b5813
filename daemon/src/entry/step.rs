//! One step in the life of a notice, as it was told.

use std::collections::BTreeMap;

use agronomy::crop::Severity;
use serde::{Deserialize, Serialize};

use crate::figure_words::capital;

/// What happened to a notice in one step.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Turn {
    /// The notice opened.
    Opened,
    /// It worsened: a higher severity, it may push from now on, or something new is said inside it.
    Worsened,
    /// It eased to a lower severity.
    Eased,
    /// It stands as it did, and the grower's answer has run out.
    Again,
    /// It closed.
    Closed,
}

/// One step in the life of a notice, as told.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// The notice's id: the same for its whole life.
    pub notice: String,
    /// The step's number within the notice, from 1.
    pub number: u32,
    /// Which minder: `too-hot`, `on-course`, `air`, `warm-night`, `probe-silent`, `heat-dome`.
    pub minder: String,
    /// Which place.
    pub place: String,
    /// Which planting, where the step is about one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub planting: Option<String>,
    /// When it was decided, UTC ms.
    pub at_ms: i64,
    /// What happened.
    pub turn: Turn,
    /// How bad.
    pub severity: Severity,
    /// Whether this step may buzz a phone.
    pub push: bool,
    /// It would have buzzed, but too much had buzzed that day already: it goes into the evening's digest.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub held: bool,
    /// Minders whose pushing words are said inside this step; in a last step, those whose words go on standing.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub joined: Vec<String>,
    /// Every minder whose word is said inside this step, and how bad that word is; of a minder that speaks of several
    /// plantings in one word, the plantings; of a probe that is in doubt, why its air temperature is.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub inside: BTreeMap<String, Severity>,
    /// The order first, ten words or so.
    pub title: String,
    /// Which planting, the number, the limit, since when, what to do.
    pub text: String,
    /// What stands beside advice that could send somebody into danger; empty where none is needed.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub caution: String,
}

/// 1 January 2000, 00:00 UTC, ms. What happened before is no time: it is counted from when the board was switched on.
pub const UNDATED_BELOW_MS: i64 = 946_684_800_000;

impl Step {
    /// Whether it was told while nobody vouched for the clock: `at_ms` is monotonic ms of its boot then.
    pub fn is_undated(&self) -> bool {
        self.at_ms < UNDATED_BELOW_MS
    }

    /// How urgent it is on its way: as bad as the step, or as the worst word inside it that buzzes by itself.
    pub fn weight(&self) -> Severity {
        let buzzing = self.joined.iter().filter_map(|minder| self.inside.get(minder));
        buzzing.copied().fold(self.severity, Severity::max)
    }

    /// Reason and caution together, for ways that carry nothing else.
    pub fn whole_text(&self) -> String {
        self.with_caution(&self.text)
    }

    /// The same for where the order stands right above it: without the place's name at its head where the order has
    /// named it.
    pub fn text_under_title(&self) -> String {
        let named = |(name, _): &(&str, &str)| format!(" {}", self.title).contains(&format!(" {name}: "));
        match self.text.split_once(": ").filter(named) {
            Some((_, reason)) => self.with_caution(&capital(reason)),
            None => self.whole_text(),
        }
    }

    fn with_caution(&self, text: &str) -> String {
        if self.caution.is_empty() { text.to_owned() } else { format!("{text} {}", self.caution) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::fixtures;

    fn step(title: &str, text: &str) -> Step {
        Step {
            text: text.to_owned(),
            caution: "Drink first.".to_owned(),
            ..fixtures::step(UNDATED_BELOW_MS, Severity::Moderate, title)
        }
    }

    #[test]
    fn under_its_order_a_reason_does_not_name_the_place_again() {
        for (title, text, shown) in [
            ("Long House: lift the pots.", "Long House: tomatoes in pots.", "Tomatoes in pots. Drink first."),
            ("Stay out of Long House: too hot.", "Long House: feels like 44.", "Feels like 44. Drink first."),
            // The order names no place, or another one.
            ("Open the far door.", "Long House: 36.1 °C.", "Long House: 36.1 °C. Drink first."),
            ("Seedbed: water.", "Bed: dry.", "Bed: dry. Drink first."),
            ("Lift the pots.", "All is dry.", "All is dry. Drink first."),
        ] {
            let step = step(title, text);
            assert_eq!(step.text_under_title(), shown, "{title}");
            assert_eq!(step.whole_text(), format!("{text} Drink first."), "alone it names the place");
        }
    }
}
