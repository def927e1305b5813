//! What the keeper does beside taking in: pages made afresh, the glance, the daily work.

use std::sync::Arc;
use std::time::Duration;

use super::super::core::Moment;
use super::super::view::{glance, show_live};
use super::Keeper;
use crate::clock::Clock;

/// How often the glance is made anew at most, real time.
pub(super) const GLANCE_EVERY: Duration = Duration::from_millis(250);
/// Batches older than this go into chunks, ms.
const COMPACT_AFTER_MS: i64 = 48 * 3_600_000;
/// Hour of standard time at which the daily work is done.
const QUIET_HOUR: f64 = 3.0;
/// Marked days made afresh in one round.
pub(super) const REMADE_AT_ONCE: usize = 20;
/// How long after a day was marked it is made afresh, ms of the monotonic clock.
const REMADE_AFTER_MS: i64 = 500;

impl Keeper {
    /// Makes marked days afresh, some at a time. They are made from what is stored, so nothing may wait; and a little
    /// later, for what marks a day seldom comes alone.
    pub(super) fn remake(&mut self, moment: Moment) {
        let core = &mut self.setup.core;
        if !core.engine().is_dirty() {
            self.remake_ms = None;
            return;
        }
        let due = *self.remake_ms.get_or_insert(moment.mono_ms + REMADE_AFTER_MS);
        if moment.mono_ms >= due && core.waiting_readings() == 0 {
            if !core.remake(REMADE_AT_ONCE) {
                self.remake_ms = None;
            }
            self.stale = true;
        }
    }

    /// Once a day, in a quiet hour: old batches into chunks, and a snapshot for a quick start.
    pub(super) fn daily_work(&mut self, moment: Moment) {
        let calendar = &self.setup.core.engine().site().calendar;
        let (day, hour) = (calendar.day_of(moment.wall_ms), calendar.hour_of(moment.wall_ms));
        if !moment.trusted || day <= self.last_day_worked || hour < QUIET_HOUR {
            return;
        }
        if self.setup.core.engine().is_dirty() {
            // The days that are marked come first.
            return;
        }
        self.commit(moment);
        if self.refused.is_some() {
            return;
        }
        self.last_day_worked = day;
        let boot = self.setup.boot;
        let core = &mut self.setup.core;
        let done = core.snapshot(moment, boot).and_then(|kept| {
            // What no snapshot covers could not be counted again once it is compacted.
            if kept {
                core.ledger_mut().compact(moment.wall_ms - COMPACT_AFTER_MS).map(Some)
            } else {
                Ok(None)
            }
        });
        match done {
            Ok(Some(done)) => tracing::info!(readings = done.readings, chunks = done.chunks, "compacted"),
            Ok(None) => {}
            Err(error) => self.refuse(&error, moment),
        }
    }

    /// A glance costs more than a reading, and nobody looks more often than this.
    pub(super) fn publish_if_due(&mut self, moment: Moment) {
        let minute = self.setup.core.engine().now_ms() - self.glance.borrow().at_ms >= 60_000;
        let since = Duration::from_millis((moment.mono_ms - self.published_ms).unsigned_abs());
        if (self.stale || minute) && self.clock.real(since) >= GLANCE_EVERY {
            self.publish();
        }
    }

    pub(super) fn publish(&mut self) {
        self.stale = false;
        self.published_ms = self.clock.monotonic_ms();
        self.shell.board.away = self.away.values().cloned().collect();
        self.shell.senders_clocks.clone_from(self.setup.core.senders_clocks());
        self.shell.board.listening.clone_from(&self.setup.listening);
        let mut seen = glance(self.setup.core.engine(), &self.shell);
        if !self.clock.is_known() {
            show_live(&mut seen, &glance(self.setup.core.present(), &self.shell));
        }
        self.glance.send_replace(Arc::new(seen));
    }

    /// Counts what bears no date. Every batch is read for it, so only when the answer may have changed.
    pub(super) fn count_undated(&mut self) {
        let (ledger, boot) = (self.setup.core.ledger(), self.setup.boot);
        self.shell.board.undated = ledger.undated().unwrap_or(0);
        self.shell.board.clock.undated_boots = ledger.undated_boots(boot).unwrap_or_default();
        self.shell.board.clock.dated_back_ms = self.setup.core.dated_back_ms();
    }
}
