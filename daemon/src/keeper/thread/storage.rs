//! What the keeper does with the ledger: when it commits, what it does when refused, what it tells without it.

use std::time::Duration;

use super::super::core::Moment;
use super::Keeper;
use crate::clock::Clock;
use crate::couriers::outbox::Delivery;
use crate::couriers::shelf;
use crate::entry::BoardNews;
use crate::ledger::LedgerError;

/// Stamped messages waiting for their acknowledgement that make a commit due: half of what the shipped broker
/// settings are sure to keep in flight for us even when a grower left them as they came (20).
const ACKS_DUE: usize = 10;
/// Readings waiting that make a commit due at once.
const READINGS_DUE: usize = 500;
/// After how long a refusing ledger is tried again, ms of the monotonic clock. Where it must be opened anew each time,
/// which reads and checks all of it, the wait doubles from one to the other.
pub(super) const RETRY_MS: i64 = 5_000;
const REOPEN_AT_MOST_MS: i64 = 60_000;
/// A write that takes this long is told, ms.
const SLOW_MS: i64 = 5_000;

impl Keeper {
    pub(super) fn is_commit_due(&self, moment: Moment) -> bool {
        if self.refused.is_some() {
            return moment.mono_ms >= self.retry_ms;
        }
        let core = &self.setup.core;
        let waited = self
            .waiting_since_ms
            .is_some_and(|since| moment.mono_ms - since >= self.setup.commit_every.as_millis() as i64);
        let many = core.waiting_readings() >= READINGS_DUE || self.acks.len() >= ACKS_DUE;
        core.is_urgent() || many || waited
    }

    /// Commits what waits; on refusal holds everything and says so.
    pub(super) fn commit(&mut self, moment: Moment) {
        if self.reopen {
            // Never commit again on a file that gave an I/O error before it was closed, forgotten and checked.
            let core = &mut self.setup.core;
            match core.ledger_mut().reopen().and_then(|()| core.forget_what_turned_up()) {
                Ok(()) => self.reopen = false,
                Err(error) => return self.refuse(&error, moment),
            }
        }
        let began_ms = self.clock.monotonic_ms();
        let done = self.setup.core.flush(moment);
        // A card does not run faster because the demo's clock does.
        let took = Duration::from_millis((self.clock.monotonic_ms() - began_ms).unsigned_abs());
        self.note_slow_write(self.clock.real(took).as_millis() as i64, moment);
        match done {
            Ok(()) => {
                self.retry_after_ms = RETRY_MS;
                let refused = self.refused.take();
                if refused.is_some() {
                    tracing::info!("the ledger takes readings again");
                    self.shell.board.storage_refused = None;
                    self.shell.board.unrecorded = self.setup.core.unrecorded();
                    self.publish();
                }
                self.acknowledge();
                if let Some((why, _)) = refused {
                    let since_ms = moment.wall_ms - (moment.mono_ms - self.refused_mono_ms);
                    self.befell(moment, BoardNews::Refused { since_ms, why });
                }
                if !self.clock.is_known() {
                    self.count_undated();
                    self.stale = true;
                }
                match self.setup.core.ledger_mut().checkpoint() {
                    // What was committed is safe in the log, but memory and disk may disagree from here on.
                    Err(error) if error.needs_reopening() => self.refuse(&error, moment),
                    Err(error) => tracing::warn!(%error, "the log could not be folded into the file yet"),
                    Ok(()) => {}
                }
            }
            Err(error) => self.refuse(&error, moment),
        }
    }

    pub(super) fn refuse(&mut self, error: &LedgerError, moment: Moment) {
        let since = self.refused.as_ref().map_or(moment.wall_ms, |(_, since)| *since);
        let first = self.refused.is_none();
        if first {
            self.refused_mono_ms = moment.mono_ms;
        }
        self.reopen |= error.needs_reopening();
        self.refused = Some((error.to_string(), since));
        self.shell.board.storage_refused = Some((error.to_string(), since));
        self.retry_ms = moment.mono_ms + self.retry_after_ms;
        if self.reopen {
            self.retry_after_ms = (2 * self.retry_after_ms).min(REOPEN_AT_MOST_MS);
        }
        if first {
            tracing::error!(%error, "nothing can be stored; messages stay unacknowledged");
            self.publish();
        }
    }

    pub(super) fn acknowledge(&mut self) {
        self.waiting_since_ms = None;
        for done in self.acks.drain(..) {
            done();
        }
    }

    /// Lends the couriers what waits for a ledger that refuses and may not wait.
    pub(super) fn lend(&mut self) {
        let Some((_, since_ms)) = &self.refused else { return };
        let since = self.setup.core.engine().site().calendar.clock(*since_ms);
        let mark = format!("Not recorded: nothing can be stored since {since}; this may come twice.");
        if self.setup.core.lend(&mark) {
            self.shell.board.unrecorded = self.setup.core.unrecorded();
            tracing::warn!("a step is told from memory, not recorded");
            self.publish();
        }
    }

    /// A card that takes long says what it is: worn, or about to fail.
    fn note_slow_write(&mut self, took_ms: i64, moment: Moment) {
        let worst_s = self.shell.board.slow_write.map_or(0, |(worst_s, _)| worst_s);
        if took_ms >= SLOW_MS {
            tracing::warn!(seconds = took_ms / 1000, "one write took long");
            if took_ms / 1000 >= worst_s {
                self.shell.board.slow_write = Some((took_ms / 1000, moment.wall_ms));
            }
            self.stale = true;
            self.befell(moment, BoardNews::SlowWrite { seconds: took_ms / 1000 });
        }
    }

    pub(super) fn tried(&mut self, step: i64, courier: &str, delivery: &Delivery, moment: Moment) {
        let step = if step < 0 {
            let stored = self.setup.core.tried_unrecorded(step, courier, delivery, moment);
            self.shell.board.unrecorded = self.setup.core.unrecorded();
            self.publish();
            match stored {
                Some(entry) => entry,
                None => return,
            }
        } else {
            step
        };
        let rows = self.setup.core.ledger().outbox().unwrap_or_default();
        let Some(row) = rows.iter().find(|row| row.step == step && row.courier == courier) else { return };
        self.setup.core.tried(shelf::tried(row, delivery, moment.wall_ms));
        if let Delivery::Never { why } | Delivery::Later { why, .. } = delivery {
            tracing::warn!(step, %courier, %why, "not delivered");
        }
    }
}
