//! Which ledger this is: what the far ends of couriers know its messages by.
//!
//! A ledger has a name that no other has, and counts epochs. A restored backup and a card that was cloned into another
//! board say the same name, but may not speak for it with the same numbers: each begins a new epoch, and what waited
//! to be sent is closed unsent, for it may have been sent already by the other.

use rusqlite::{Connection, OptionalExtension};

use super::commit::OutboxState;
use super::{Ledger, LedgerError, NewNote, commit, schema};
use crate::entry::{Entry, Note};

/// Why a new epoch begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Left {
    /// A backup was put in place; its newest moment, UTC ms.
    Restored { to_ms: i64 },
    /// The ledger came to another board.
    OtherBoard,
}

impl Ledger {
    /// A name that no other ledger has, made on first asking, with the number of the epoch: a restored copy speaks
    /// in another epoch.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn epoch(&mut self) -> Result<String, LedgerError> {
        self.write(|conn, _, _| {
            if name(conn)?.is_none() {
                give_name(conn)?;
            }
            Ok(format!("{}-{}", name(conn)?.unwrap_or_default(), epoch_number(conn)?))
        })
    }

    /// Learns on which board it is. On another than last time a new epoch begins; the entry that says so.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn settle(&mut self, machine: &str, at_ms: i64) -> Result<Option<Entry>, LedgerError> {
        let shared = std::sync::Arc::clone(&self.shared);
        self.write(|conn, seq, _| {
            let sql = "SELECT value FROM meta WHERE key = 'machine'";
            let known: Option<String> = conn.query_row(sql, [], |row| row.get(0)).optional()?;
            if known.as_deref() == Some(machine) {
                return Ok(None);
            }
            schema::set(conn, "machine", &machine)?;
            if known.is_none() {
                return Ok(None);
            }
            new_epoch(conn, *seq, at_ms, Left::OtherBoard)?;
            Ok(super::View { conn, shared: &shared }.entries()?.pop())
        })
    }
}

/// Gives the ledger a name, at its founding.
pub(super) fn give_name(conn: &Connection) -> Result<(), LedgerError> {
    conn.execute("INSERT INTO meta (key, value) VALUES ('name', lower(hex(randomblob(8))))", [])?;
    Ok(())
}

/// The ledger's name, where it has one.
pub(super) fn name(conn: &Connection) -> Result<Option<String>, LedgerError> {
    Ok(conn.query_row("SELECT value FROM meta WHERE key = 'name'", [], |row| row.get(0)).optional()?)
}

fn epoch_number(conn: &Connection) -> Result<i64, LedgerError> {
    Ok(schema::get(conn, "epoch")?.unwrap_or(1))
}

/// Begins a new epoch: what waits to be sent is closed, and an entry says so. How many messages that were.
pub(super) fn new_epoch(conn: &Connection, next_seq: i64, at_ms: i64, why: Left) -> Result<u64, LedgerError> {
    let reason = match why {
        Left::Restored { .. } => "the ledger was restored from a backup",
        Left::OtherBoard => "the ledger came to another board",
    };
    let sql = "UPDATE outbox SET state = ?1, why = ?2 WHERE state = ?3";
    let unsent =
        conn.execute(sql, (OutboxState::LeftUnsent as u8, reason, OutboxState::Waiting as u8))? as u64;
    schema::set(conn, "epoch", &(epoch_number(conn)? + 1))?;
    // How the run ended that the copy was made in, it cannot know.
    super::runs::forget(conn)?;
    let note = match why {
        Left::Restored { to_ms } => Note::Restored { to_ms, unsent, other_board: false },
        Left::OtherBoard => Note::Restored { to_ms: at_ms, unsent, other_board: true },
    };
    let entries = commit::enter(conn, &[NewNote { at_ms, from_ms: at_ms, note }], next_seq - 1)?;
    // Rows from these numbers on mean other things in backups of earlier epochs.
    schema::set(conn, "epoch_seq", &next_seq)?;
    schema::set(conn, "epoch_entry", &entries.first().copied().unwrap_or(0))?;
    Ok(unsent)
}
