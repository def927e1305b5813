//! What one day says to one line.

use serde::{Deserialize, Serialize};

use crate::units::Celsius;

/// How far short of a line a day must stay to be a clear miss, °C (common practice): a thermometer is no more exact.
pub(super) const CLEAR_MISS_C: f64 = 1.0;

/// A day, or its night, beside a line.
///
/// In order: the least says most surely that the line was not met. In files in lower case, `met`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DayAtLine {
    /// Clearly not met: short of it by more than 1 °C.
    Missed,
    /// Too little was measured to say.
    Unknown,
    /// Not met, but by no more than 1 °C, or for too few hours.
    Near,
    /// At it or beyond.
    Met,
}

impl DayAtLine {
    /// Judges what was measured, which meets the line by reaching it.
    pub fn measured(temperature: Option<Celsius>, line: Celsius) -> Self {
        temperature.map_or(Self::Unknown, |value| Self::at_least(value.get(), line.get()))
    }

    /// Judges a peak that is only expected, which must exceed the line.
    pub fn expected(temperature: Option<Celsius>, line: Celsius) -> Self {
        match temperature {
            Some(value) if value == line => Self::Near,
            other => Self::measured(other, line),
        }
    }

    /// Judges a value against a line, both in °C; what is no number says nothing.
    pub(super) fn at_least(value: f64, line: f64) -> Self {
        if value >= line {
            Self::Met
        } else if value >= line - CLEAR_MISS_C {
            Self::Near
        } else if value < line - CLEAR_MISS_C {
            Self::Missed
        } else {
            Self::Unknown
        }
    }

    /// The graver of two rules on one day: its heat, and its night's warmth. An unknown one might have been met, so it
    /// outweighs a miss.
    #[must_use]
    pub fn or(self, other: Self) -> Self {
        self.max(other)
    }

    /// Both conditions of one rule together: what is clearly missed in one is missed in both.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        self.min(other)
    }
}
