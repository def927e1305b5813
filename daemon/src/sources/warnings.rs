//! Public warnings on their way in: from an address that serves them, or from a topic of the broker.
//!
//! Both ways end here: a document is read, what concerns the garden is kept of it, and it is told to the keeper, who
//! stores each message once. A document that is refused is told as a trouble of its source, on the page, and the rest is
//! read all the same.

mod feed;
mod topic;

use std::collections::VecDeque;
use std::sync::Arc;

pub use feed::FeedSettings;
pub use topic::TopicSettings;

use crate::clock::Clock;
use crate::entry::Note;
use crate::keeper::handle::{Handle, Stopped};
use crate::warnings::cap::{self, Alert, CapFault};
use crate::warnings::standing::Admission;
use crate::warnings::taken::{Listening, concerning};

/// Hears an address until told to stop; see [`feed`].
pub use feed::run as run_feed;
/// Hears a topic until told to stop; see [`topic`].
pub use topic::run as run_topic;

/// The most documents taken in of one source in an hour: a flood must not fill the ledger.
const MOST_AN_HOUR: usize = 50;
const HOUR_MS: i64 = 3_600_000;

/// What every source of warnings needs.
#[derive(Clone)]
pub struct Intake {
    /// What is listened for.
    pub listening: Arc<Listening>,
    /// The way to the keeper.
    pub handle: Handle,
    /// The clock.
    pub clock: Arc<dyn Clock>,
}

/// What became of a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Taken {
    /// All that is to be done with it was done.
    Done,
    /// Nothing can be noted now; it is to be offered again.
    Later,
}

impl Intake {
    /// Reads a document.
    fn read(bytes: &[u8]) -> Result<Alert, CapFault> {
        cap::read(bytes)
    }

    /// Has the keeper note what of a message concerns the garden.
    async fn take(&self, alert: &Alert, heard_from: &str) -> Result<Taken, Stopped> {
        let Some(warning) = concerning(alert, &self.listening, heard_from) else { return Ok(Taken::Done) };
        // Without the time nobody knows whether it is over.
        if self.clock.vouched_by().is_none() {
            return Ok(Taken::Later);
        }
        let asked = warning.clone();
        let admission = self.handle.tend(move |core, _| core.engine().admission(&asked)).await?;
        if admission != Admission::New {
            return Ok(Taken::Done);
        }
        match self.handle.note(Note::PublicWarning(warning), None).await {
            Ok(_) => Ok(Taken::Done),
            Err(why) => {
                tracing::warn!(%why, "a public warning could not be noted");
                Ok(Taken::Later)
            }
        }
    }
}

/// Documents read in the last hour, by the monotonic clock.
#[derive(Debug, Default)]
struct Hourly {
    at_ms: VecDeque<i64>,
}

impl Hourly {
    /// How many more may be read now.
    fn left(&mut self, now_ms: i64) -> usize {
        while self.at_ms.front().is_some_and(|at| now_ms - at >= HOUR_MS) {
            self.at_ms.pop_front();
        }
        MOST_AN_HOUR.saturating_sub(self.at_ms.len())
    }

    /// One was read.
    fn spend(&mut self, now_ms: i64) {
        self.at_ms.push_back(now_ms);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fifty_documents_are_read_in_any_hour_and_no_more() {
        let mut hourly = Hourly::default();
        for minute in 0..50 {
            assert_eq!(hourly.left(minute * 60_000), 50 - minute as usize);
            hourly.spend(minute * 60_000);
        }
        assert_eq!((hourly.left(HOUR_MS - 1), hourly.left(HOUR_MS), hourly.left(2 * HOUR_MS)), (0, 1, 50));
    }
}
