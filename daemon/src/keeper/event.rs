//! Everything that happens to the program is one of these; the keeper receives them all, in order.

use crate::entry::Note;
use crate::ledger::LedgerError;
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

/// How an attempt to deliver a step went.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Delivery {
    /// The far end took it.
    Sent,
    /// It may work later.
    Later {
        /// What went wrong.
        why: String,
        /// The far end's own wish, ms.
        after_ms: Option<i64>,
    },
    /// It will never work.
    Never {
        /// What went wrong.
        why: String,
    },
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
    /// Somebody notes something.
    Note {
        /// What.
        note: Note,
        /// From when it holds, UTC ms; now where absent.
        from_ms: Option<i64>,
        /// Where the entry's number, or the refusal, goes.
        answer: tokio::sync::oneshot::Sender<Result<i64, Refusal>>,
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
    /// The mirror has everything up to and with this batch.
    Mirrored {
        /// Batch number.
        seq: i64,
    },
    /// A question that needs the keeper's own state.
    Ask(super::handle::Question),
}
