//! The mirror: a copy of readings, day pages and notices in a time-series database somewhere else. Off unless the site
//! file has one.
//!
//! It follows the ledger by cursors: the number of the last batch that the other side has taken, and the like for day
//! pages and steps of notices. They move only after the other side said so, and then ride in the keeper's next commit;
//! after a crash the last points are sent again, which overwrites them with themselves. The copy can be late, never the
//! cause of a loss here.
//!
//! Batches older than two days are gone into chunks. Where the cursor stands before them, the chunks written since are
//! sent, one after another, each in pieces: a copy of ten years needs no more memory than one of a week.
//!
//! - [`points`]: what one point holds, and what may stand in it.
//! - [`source`]: what comes next, from the ledger; [`place`]: how far that is.
//! - [`server`]: the call, and what an answer means; [`halving`] finds what it cannot read; [`pipe`] encrypts.
//! - [`copy`] is the task.
//! - [`days`], [`shown`], [`compare`]: a day as the ledger has it, as the other side shows it, and what differs.

pub mod compare;
pub mod copy;
pub mod days;
pub mod halving;
pub mod pipe;
pub mod place;
pub mod points;
pub mod server;
pub mod shown;
pub mod source;
mod words;

use place::Place;
use points::Point;

/// The next piece of work.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Slice {
    /// What to send.
    pub points: Vec<Point>,
    /// How far the copy is once the other side has taken it.
    pub after: Place,
    /// Marks to take away then: the cursor's name, and minus the number that was seen.
    pub marks: Vec<(String, i64)>,
    /// Readings passed over because they never learnt their date.
    pub undated: u64,
    /// What could not be made a point of, and why (the last of it).
    pub left_out: (u64, Option<String>),
}

/// Where the mirror reads.
pub trait Source: Send {
    /// How far the copy is, as the ledger keeps it.
    ///
    /// # Errors
    ///
    /// Why the ledger cannot be read, in words.
    fn place(&mut self) -> Result<Place, String>;

    /// What comes after `place`; none when there is nothing (yet).
    ///
    /// # Errors
    ///
    /// Why the ledger cannot be read, in words.
    fn next(&mut self, place: &Place) -> Result<Option<Slice>, String>;

    /// The highest batch number there is.
    ///
    /// # Errors
    ///
    /// Why the ledger cannot be read, in words.
    fn newest(&mut self) -> Result<i64, String>;
}
