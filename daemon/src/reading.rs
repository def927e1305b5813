//! A reading: what one instrument said, when it measured it, and how far it is to be trusted.

use std::sync::Arc;

use agronomy::quantity::Quantity;
use serde::{Deserialize, Serialize};

/// The name of a probe: letters, digits, `_`, `-`, `.`.
pub type ProbeName = Arc<str>;

/// From this humidity on air is called saturated, %.
pub const SATURATED_PCT: f64 = 97.0;

/// How far a reading is to be trusted. What may use which grade is a table (see `almanac`).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Grade {
    /// Nothing speaks against it.
    Sound,
    /// Kept and shown; in no sum.
    Doubtful,
    /// Kept for the count only.
    Refused,
}

/// Why a reading is not simply sound. The number is its code in the ledger and never changes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[repr(u8)]
pub enum Reason {
    /// Sound: nothing to say.
    None = 0,
    /// Sound: humidity of 97 % or more, wet air or a wet film.
    Saturated = 1,
    /// Refused: the field was empty, `NaN` or one of the record's missing codes.
    Missing = 2,
    /// Refused: outside what the quantity can be, or outside the probe's own limits.
    OutOfRange = 3,
    /// Refused: the same probe, quantity, time and value were already there.
    Repeated = 4,
    /// Doubtful: the same probe, quantity and time were already there with another value.
    SameTimeOtherValue = 5,
    /// Doubtful: stamped more than two minutes after the trusted clock, and it did not arrive live.
    FromTheFuture = 6,
    /// Refused: no time of its own, and it did not arrive live (retained or repeated).
    NoTime = 7,
    /// Refused: the instrument says that it restarted or is another one.
    InstrumentRestarted = 8,
    /// Sound: the sender's clock is fast or was never set; it arrived live and is dated by its arrival.
    SendersClock = 9,
}

impl Reason {
    /// The reason with this code in the ledger.
    pub fn from_code(code: u8) -> Option<Self> {
        use Reason::{
            FromTheFuture, InstrumentRestarted, Missing, NoTime, None as Nothing, OutOfRange, Repeated,
            SameTimeOtherValue, Saturated, SendersClock,
        };
        [
            Nothing,
            Saturated,
            Missing,
            OutOfRange,
            Repeated,
            SameTimeOtherValue,
            FromTheFuture,
            NoTime,
            InstrumentRestarted,
            SendersClock,
        ]
        .into_iter()
        .find(|reason| *reason as u8 == code)
    }

    /// The grade that goes with the reason.
    pub fn grade(self) -> Grade {
        match self {
            Self::None | Self::Saturated | Self::SendersClock => Grade::Sound,
            Self::SameTimeOtherValue | Self::FromTheFuture => Grade::Doubtful,
            Self::Missing | Self::OutOfRange | Self::Repeated | Self::NoTime | Self::InstrumentRestarted => {
                Grade::Refused
            }
        }
    }

    /// The reason in a grower's words.
    pub fn words(self) -> &'static str {
        match self {
            Self::None => "nothing against it",
            Self::Saturated => "saturated air",
            Self::Missing => "no value",
            Self::OutOfRange => "outside what it can be",
            Self::Repeated => "heard before",
            Self::SameTimeOtherValue => "same time, other value",
            Self::FromTheFuture => "stamped in the future",
            Self::NoTime => "no time of its own",
            Self::InstrumentRestarted => "instrument restarted",
            Self::SendersClock => "sender's clock is wrong, dated by arrival",
        }
    }
}

/// A graded reading, as the ledger keeps it.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Which instrument.
    pub probe: ProbeName,
    /// What it measured.
    pub quantity: Quantity,
    /// The value in the quantity's canonical unit; 0 where the reason is [`Reason::Missing`].
    pub value: f64,
    /// When it was measured, UTC milliseconds; monotonic milliseconds of the boot while the batch is undated.
    pub at_ms: i64,
    /// Why it has its grade.
    pub reason: Reason,
}

impl Reading {
    /// How far it is to be trusted.
    pub fn grade(&self) -> Grade {
        self.reason.grade()
    }
}

/// What a source heard, before grading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Heard {
    /// Which instrument.
    pub probe: ProbeName,
    /// What it measured.
    pub quantity: Quantity,
    /// The value in the canonical unit; `None` where the field was empty or a missing code.
    pub value: Option<f64>,
    /// When the sender says it was measured, UTC milliseconds; `None` for a bare number.
    pub measured_ms: Option<i64>,
    /// Retained by a broker, repeated, or taken in from a record: it did not arrive live.
    pub stale: bool,
}
