//! The service's runs: whether the last one took its leave, and what it stored last.
//!
//! Every command that opens the ledger begins a boot; only the service says here that it runs. So what a run left behind
//! is known by the next one, whatever was done in between. A restore or another board begins anew.

use rusqlite::Connection;

use super::{Ledger, LedgerError, View, dating, schema};

/// In `meta`: the boot of the service's newest run.
const BOOT: &str = "run_boot";
/// In `meta`: when that run ended as it was asked to, monotonic ms; absent while it runs.
const ENDED: &str = "run_ended_ms";

/// The run of the service before this one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LastRun {
    /// Its boot.
    pub boot: i64,
    /// When it ended as it was asked to, monotonic ms of its boot; none: without a goodbye.
    pub goodbye_mono_ms: Option<i64>,
    /// When readings were last stored, in it or before, monotonic ms; none where they are no longer by themselves.
    pub stored_mono_ms: Option<i64>,
    /// Wall time less monotonic time in the boot of its goodbye, or of what was stored last, ms; none where that boot
    /// never knew the time.
    pub offset_ms: Option<i64>,
}

impl Ledger {
    /// Says that the service runs from now on, under this boot; the run before, where there was one.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn begin_run(&mut self, boot: i64) -> Result<Option<LastRun>, LedgerError> {
        let shared = std::sync::Arc::clone(&self.shared);
        self.write(|conn, _, _| {
            let last = last(View { conn, shared: &shared })?;
            forget(conn)?;
            schema::set(conn, BOOT, &boot)?;
            Ok(last)
        })
    }

    /// Says that the service stops as it was asked to, at a moment of its boot's monotonic clock, ms.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn end_run(&mut self, mono_ms: i64) -> Result<(), LedgerError> {
        self.write(|conn, _, _| schema::set(conn, ENDED, &mono_ms))
    }
}

fn last(view: View<'_>) -> Result<Option<LastRun>, LedgerError> {
    let Some(boot) = schema::get(view.conn, BOOT)? else { return Ok(None) };
    let newest: i64 = view.conn.query_row("SELECT ifnull(max(seq), 0) FROM batch", [], |row| row.get(0))?;
    let mut stored = None;
    view.each_batch(newest - 1, 1, |_, batch| stored = Some((batch.boot, batch.mono_ms)))?;
    let goodbye_mono_ms = schema::get(view.conn, ENDED)?;
    let of = if goodbye_mono_ms.is_some() { boot } else { stored.map_or(boot, |(boot, _)| boot) };
    Ok(Some(LastRun {
        boot,
        goodbye_mono_ms,
        stored_mono_ms: stored.map(|(_, mono_ms)| mono_ms),
        offset_ms: dating::of_boot(view.conn, of)?.map(|(offset_ms, _)| offset_ms),
    }))
}

/// Forgets what run there was: for a ledger that is not what it was.
pub(super) fn forget(conn: &Connection) -> Result<(), LedgerError> {
    conn.execute("DELETE FROM meta WHERE key IN (?1, ?2)", (BOOT, ENDED))?;
    Ok(())
}
