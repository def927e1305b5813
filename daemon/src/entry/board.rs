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
    /// The card lost what it had reported as stored: a page saw more than the ledger held at the start.
    Lost {
        /// How many readings; nought where it was something else.
        readings: u64,
        /// The newest commit that was seen.
        seq: i64,
        /// The newest commit that was there at the start; older entries do not say it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        began_seq: Option<i64>,
    },
    /// Another chip answers as a probe than before, or one does for the first time.
    Chip {
        /// As which.
        probe: String,
        /// The number that its maker gave it.
        serial: u32,
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
                // Whether its power failed or its kernel started anew is not known.
                let what =
                    if *board { "The board was off or started anew" } else { "Glasshour was not running" };
                let away_ms = until_ms - since_ms;
                // Where it said no goodbye it may have run for long after it stored last.
                let for_long = if *goodbye { span(away_ms) } else { format!("up to {}", at_most(away_ms)) };
                (what.to_owned(), format!("for {for_long}"))
            }
            Self::Refused { why, .. } => {
                ("The disk refused writes, and takes them again".to_owned(), why.clone())
            }
            Self::Lost { readings, .. } => (format!("The card lost {}", lost(*readings)), String::new()),
            Self::Chip { probe, serial } => {
                (format!("Chip number {serial} answers as {probe}"), String::new())
            }
            Self::Clock { doubt: Some(doubt) } => ("The clock is not believed".to_owned(), doubt.clone()),
            Self::Clock { doubt: None } => ("The clock is believed again".to_owned(), String::new()),
        }
    }
}

/// What a card lost, in words.
pub fn lost(readings: u64) -> String {
    match readings {
        0 => "what it had promised to keep".to_owned(),
        1 => "1 reading it had promised to keep".to_owned(),
        many => format!("{many} readings it had promised to keep"),
    }
}

/// A length of time (ms) in whole units, upwards.
fn at_most(ms: i64) -> String {
    let unit_ms = match ms {
        _ if ms <= 3_600_000 => 60_000,
        _ if ms <= 2 * 86_400_000 => 3_600_000,
        _ => 86_400_000,
    };
    span((ms + unit_ms - 1) / unit_ms * unit_ms)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_an_end_that_nobody_saw_only_the_longest_that_it_can_have_been_is_said() {
        const MINUTE: i64 = 60_000;
        let said = |away_ms, board, goodbye| {
            let (what, for_long) =
                BoardNews::Off { since_ms: 5, until_ms: 5 + away_ms, board, goodbye }.words();
            format!("{what} {for_long}")
        };
        assert_eq!(said(1, true, false), "The board was off or started anew for up to 1 min");
        assert_eq!(said(7 * MINUTE, true, false), "The board was off or started anew for up to 7 min");
        assert_eq!(said(7 * MINUTE + 1, false, false), "Glasshour was not running for up to 8 min");
        assert_eq!(said(839 * MINUTE, true, false), "The board was off or started anew for up to 14 h");
        assert_eq!(said(2_881 * MINUTE, false, false), "Glasshour was not running for up to 3 days");
        assert_eq!(said(7 * MINUTE + 1, false, true), "Glasshour was not running for 7 min");
    }
}
