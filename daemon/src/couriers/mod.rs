//! Couriers: the ways a notice travels out of the house.
//!
//! What is to be told lies in the ledger's outbox, one row for each step and courier, written in the same commit as
//! the step. A courier's task takes the row that is due, tries once, and tells the keeper how it went; only the keeper
//! writes. So nothing counts as sent before the far end took it, a try that was cut off is made again under the same
//! id, and whoever receives it twice can tell.
//!
//! - [`outbox`] decides what to send now, what to drop, and when to try again. No clock, no file, no socket.
//! - [`runner`] is the task around one courier.
//! - [`shelf`] reads the rows in the ledger; [`index`] says which step a row is about.
//! - [`email`], [`notice_topic`], [`web_push`] and [`webhook`] are the couriers.
//! - [`letter`] says when the morning letter is due.
//! - [`route`] says which step goes by which courier, and when.

pub mod email;
pub mod index;
pub mod letter;
pub mod notice_topic;
pub mod outbox;
pub mod route;
pub mod runner;
pub mod shelf;
mod subject;
pub mod web_push;
pub mod webhook;

/// The life of a step that may buzz a phone: after six hours it is no news any more, ms.
pub const STEP_LIFE_MS: i64 = 6 * 3_600_000;

/// Bytes in hexadecimal, small letters.
pub(crate) fn hexadecimal(bytes: &[u8]) -> String {
    const SIGNS: &[u8; 16] = b"0123456789abcdef";
    let signs = bytes.iter().flat_map(|byte| [SIGNS[usize::from(byte >> 4)], SIGNS[usize::from(byte & 15)]]);
    signs.map(char::from).collect()
}

/// The id under which everybody outside knows an errand: the same at each try, and never again for anything else.
///
/// `entry` is its number in the ledger; `epoch` names the ledger, so that a restored copy does not speak in the name of
/// the one it was copied from.
///
/// A step that is told from memory, because nothing can be stored, has a number below zero and so an id of its own.
pub fn public_id(entry: i64, epoch: &str) -> String {
    if entry < 0 {
        return format!("unrecorded-{}.{epoch}", entry - i64::MIN / 2);
    }
    format!("step-{entry}.{epoch}")
}
