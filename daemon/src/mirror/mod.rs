//! The mirror: a copy of the readings in a time-series database somewhere else. Off unless the site file has one.
//!
//! It follows the ledger by a cursor, the number of the last batch that the other side has taken. The cursor moves only
//! after the other side said so, and then rides in the keeper's next commit; after a crash the last batches are sent
//! again, which overwrites them with themselves. The copy can be late, never the cause of a loss here.
//!
//! - [`points`] turns a reading into a line: measurement `reading`; tags `probe`, `quantity`, `grade`; field `value` in
//!   the canonical unit; time in milliseconds.
//! - [`server`] makes the call and says what an answer means.
//! - [`batches`] reads the ledger; [`copy`] is the task.

pub mod batches;
pub mod copy;
pub mod points;
pub mod server;

use crate::reading::Reading;

/// Whether the readings of a batch bear their date.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dating {
    /// They do.
    Dated,
    /// Not yet: the board has no trusted time since its start. Nothing after them is sent before they are dated.
    Waits,
    /// They never will: that boot ended without learning the time. They are passed over.
    Never,
}

/// One batch of the ledger, as far as the mirror cares.
#[derive(Clone, Debug, PartialEq)]
pub struct Portion {
    /// The batch's number.
    pub seq: i64,
    /// Whether its readings bear their date.
    pub dating: Dating,
    /// Its readings.
    pub readings: Vec<Reading>,
}

/// Where the mirror reads.
pub trait Source: Send {
    /// The last batch that the other side has; 0 where nothing was sent yet.
    ///
    /// # Errors
    ///
    /// Why the ledger cannot be read, in words.
    fn cursor(&mut self) -> Result<i64, String>;

    /// At most `limit` batches after `seq`, ascending.
    ///
    /// # Errors
    ///
    /// Why the ledger cannot be read, in words.
    fn after(&mut self, seq: i64, limit: usize) -> Result<Vec<Portion>, String>;
}
