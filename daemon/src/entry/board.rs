//! What befalls the board and its sources and is no reading.

use serde::{Deserialize, Serialize};

use crate::clock::trust::span;

/// What befell the board or a source of readings: entered when it changes, so that whoever starts again, or looks back,
/// knows what was known.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "of", rename_all = "snake_case")]
pub enum BoardNews {
    /// A source of readings went away and stayed away, or is back.
    Source {
        /// In the grower's words: "broker", "post on /dev/i2c-1".
        source: String,
        /// Since when it is away, UTC ms; none: it is back.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        away_since_ms: Option<i64>,
    },
    /// One write to the ledger took long.
    SlowWrite {
        /// How long, s.
        seconds: i64,
    },
    /// The service did not run for a while, and runs again.
    Off {
        /// When it was last known to run, UTC ms: its goodbye, or what it stored last.
        since_ms: i64,
        /// When it ran again, UTC ms.
        until_ms: i64,
        /// The board itself was off, or started anew.
        board: bool,
        /// It had stopped in good order.
        goodbye: bool,
    },
    /// The ledger refused writes, and takes them again.
    Refused {
        /// Since when, UTC ms.
        since_ms: i64,
        /// Why, in words.
        why: String,
    },
    /// The clock is doubted, or believed again.
    Clock {
        /// Why, in words; none: it is believed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        doubt: Option<String>,
    },
}

impl BoardNews {
    /// In words, and what more there is to say.
    pub fn words(&self) -> (String, String) {
        match self {
            Self::Source { source, away_since_ms: Some(_) } => {
                (format!("The {source} is away"), String::new())
            }
            Self::Source { source, away_since_ms: None } => (format!("The {source} is back"), String::new()),
            Self::SlowWrite { seconds } => {
                (format!("The card took {seconds} s for one write"), String::new())
            }
            Self::Off { since_ms, until_ms, board, goodbye } => {
                let what = match (board, goodbye) {
                    (true, false) => "Power was off",
                    (true, true) => "The board was off",
                    (false, _) => "Glasshour was not running",
                };
                (what.to_owned(), format!("for {}", span(until_ms - since_ms)))
            }
            Self::Refused { why, .. } => {
                ("The disk refused writes, and takes them again".to_owned(), why.clone())
            }
            Self::Clock { doubt: Some(doubt) } => ("The clock is not believed".to_owned(), doubt.clone()),
            Self::Clock { doubt: None } => ("The clock is believed again".to_owned(), String::new()),
        }
    }
}
