//! Everything that happens to the program is one of these; the keeper receives them all, in order.

use serde::{Deserialize, Serialize};

use crate::couriers::outbox::Delivery;
use crate::entry::Note;
use crate::ledger::LedgerError;
use crate::outlook::parse::Hours;
use crate::reading::{Heard, ProbeName};

/// Called once, after what came with it is durable (or is to be dropped for good), in order of arrival.
pub type Acknowledge = Box<dyn FnOnce() + Send>;

/// Why a note was not taken: a sentence for the person who wrote it.
pub type Refusal = String;

/// Why a note was not taken.
#[derive(Debug, thiserror::Error)]
pub enum NotNoted {
    /// It makes no sense here and now: a sentence for whoever wrote it.
    #[error("{0}")]
    Refused(Refusal),
    /// The ledger refuses.
    #[error("not noted, nothing can be stored: {0}")]
    Storage(#[from] LedgerError),
}

impl From<Refusal> for NotNoted {
    fn from(why: Refusal) -> Self {
        Self::Refused(why)
    }
}

/// Somebody's word on the time.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "snake_case", deny_unknown_fields)]
pub enum ClockWord {
    /// What time it is now.
    Now {
        /// UTC ms.
        at_ms: i64,
        /// Who says so: "a phone", "the grower".
        by: String,
        /// Said again after the difference was shown.
        #[serde(default)]
        sure: bool,
    },
    /// The machine's own clock is right, also where it jumped.
    AsShown {
        /// Who says so.
        by: String,
    },
    /// A boot that never learned the time had its first reading then.
    Boot {
        /// Its number.
        boot: i64,
        /// UTC ms.
        first_ms: i64,
        /// Who says so.
        by: String,
    },
}

/// What is counted of a probe's messages.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Counted {
    /// Readings without a time that came late: they are kept undated.
    Late,
    /// Messages that never came, by the sender's own count.
    Missing,
}

/// What happens to the program.
pub enum Event {
    /// A source heard something.
    Heard {
        /// All readings of one message or one sample.
        readings: Vec<Heard>,
        /// Arrival, by the daemon's monotonic clock, ms: the wall clock may be set while it waits for the keeper.
        arrived_mono_ms: i64,
        /// How to acknowledge it to its sender, where the sender waits for that.
        done: Option<Acknowledge>,
    },
    /// A message or sample that could not be read.
    Malformed {
        /// Whose, as far as known.
        probe: ProbeName,
        /// What was wrong with it and the beginning of it, escaped.
        sample: String,
        /// How to acknowledge it: it will not become readable by waiting.
        done: Option<Acknowledge>,
    },
    /// A source went away (`why` says so) or is back (`None`).
    Away {
        /// In the grower's words: "broker", "bus /dev/i2c-1".
        source: String,
        /// What is wrong.
        why: Option<String>,
    },
    /// More answers of an instrument came damaged within an hour than chance would have it, or no longer.
    Cable {
        /// Whose.
        probe: ProbeName,
        /// How many, %; nought where it is well again.
        damaged_pct: u32,
    },
    /// Something came of a probe's messages otherwise than it should.
    Counted {
        /// Whose.
        probe: ProbeName,
        /// What is counted.
        what: Counted,
        /// How many more; fewer where what was missing came late.
        more: i64,
    },
    /// A page that was open before says how far it saw the ledger.
    Witness {
        /// The mark of the newest glance that it had.
        mark: String,
    },
    /// Which chip answers as a probe: at the first answer, and when it is another.
    Chip {
        /// As which.
        probe: ProbeName,
        /// The number that its maker gave it.
        serial: u32,
    },
    /// Somebody notes something.
    Note {
        /// What.
        note: Note,
        /// From when it holds, UTC ms; now where absent.
        from_ms: Option<i64>,
        /// Where the entry's number, or the refusal, goes.
        answer: tokio::sync::oneshot::Sender<Result<i64, Refusal>>,
    },
    /// A forecast came in.
    Outlook {
        /// What it says.
        read: Hours,
        /// Where it goes whether it was written down, or why not. One that is no news is not, and that is no fault.
        answer: tokio::sync::oneshot::Sender<Result<bool, Refusal>>,
    },
    /// A courier tried.
    Tried {
        /// The step's entry number.
        step: i64,
        /// Which courier.
        courier: String,
        /// How it went.
        delivery: Delivery,
    },
    /// The mirror has come further, or stands otherwise.
    Mirrored {
        /// Its cursors that moved: name, number.
        cursors: Vec<(String, i64)>,
        /// How it stands.
        standing: crate::glance::MirrorGlance,
    },
    /// Somebody says what time it is, or was.
    Clock {
        /// What.
        word: ClockWord,
        /// Where the entry's number, or the refusal, goes.
        answer: tokio::sync::oneshot::Sender<Result<i64, crate::clock::trust::Refusal>>,
    },
    /// A question that needs the keeper's own state.
    Ask(super::handle::Question),
}
