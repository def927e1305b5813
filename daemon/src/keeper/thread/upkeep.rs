//! What the keeper does beside taking in: pages made afresh, the glance, the daily work.

use std::sync::Arc;
use std::time::Duration;

use super::super::core::Moment;
use super::super::export::export;
use super::super::view::{glance, show_live};
use super::{Keeper, Setup};
use crate::calendar::date;
use crate::clock::Clock;
use crate::glance::Makeshift;
use crate::ledger::{free_bytes, growth};

/// How often the glance is made anew at most, real time.
pub(super) const GLANCE_EVERY: Duration = Duration::from_millis(250);
/// Batches older than this go into chunks, ms.
const COMPACT_AFTER_MS: i64 = 48 * 3_600_000;
/// Hour of standard time at which the daily work is done.
const QUIET_HOUR: f64 = 3.0;
/// Marked days made afresh in one round.
const REMADE_AT_ONCE: usize = 20;
/// How long after a day was marked it is made afresh, ms of the monotonic clock.
const REMADE_AFTER_MS: i64 = 500;
/// Pages waiting that make a commit due: what a stop without warning costs of a long reckoning.
const PAGES_DUE: usize = 200;

/// A ledger of this many bytes is looked through within a few hundredths of a second even from a card (reckoned).
const SMALL: u64 = 4_000_000;

/// What this start does without at present.
pub(super) fn does_without(setup: &Setup) -> Vec<Makeshift> {
    setup.makeshift.as_ref().map_or_else(Vec::new, |it| it.borrow().clone())
}

impl Keeper {
    /// Makes marked days afresh, some at a time. They are made from what is stored, so nothing may wait; and a little
    /// later, for what marks a day seldom comes alone. Another edition comes into service at a moment that somebody
    /// vouches for.
    pub(super) fn remake(&mut self, moment: Moment) {
        let core = &mut self.setup.core;
        if !core.engine().is_dirty() {
            self.remake_ms = None;
            return;
        }
        let renewing = core.engine().editions().renewing();
        if renewing && !moment.trusted {
            return;
        }
        let due = *self.remake_ms.get_or_insert(moment.mono_ms + REMADE_AFTER_MS);
        // The old edition is served meanwhile, and what waits is among what pages are made from: no need for quiet.
        if moment.mono_ms >= due && (renewing || core.waiting_readings() == 0) {
            if !core.remake(REMADE_AT_ONCE) {
                self.remake_ms = None;
            }
            self.stale = true;
            let renewed = renewing && !core.engine().editions().renewing();
            if renewed {
                tracing::info!(edition = core.engine().editions().current(), "all days are reckoned anew");
            }
            if (renewed || core.waiting_pages() >= PAGES_DUE) && self.refused.is_none() {
                self.commit(moment);
            }
        }
    }

    /// Answers who asked for everything, once no day is marked any more: some are made afresh at each turn, so that
    /// minders and notices go on beside an export of ten years.
    pub(super) fn answer_exports(&mut self, moment: Moment) {
        if self.exports.is_empty() {
            return;
        }
        let more = self.setup.core.remake(REMADE_AT_ONCE);
        if self.refused.is_none() && (!more || self.setup.core.waiting_pages() >= PAGES_DUE) {
            self.commit(moment);
        }
        if more {
            return;
        }
        self.name_damage(moment);
        // Whoever looks after the answer finds it.
        self.publish();
        let all = export(self.setup.core.engine());
        for answer in std::mem::take(&mut self.exports) {
            let _ = answer.send(all.clone());
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
            Ok(Some(done)) => {
                tracing::info!(readings = done.readings, chunks = done.chunks, "compacted");
                self.reckon_growth();
            }
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
        self.shell.board.away = self.away.values().map(|away| away.words.clone()).collect();
        self.shell.senders_clocks.clone_from(self.setup.core.senders_clocks());
        self.shell.board.mark = self.mark().to_string();
        self.shell.board.listening.clone_from(&self.setup.listening);
        match self.setup.core.deliveries() {
            Ok(deliveries) => self.shell.deliveries = deliveries,
            // A ledger that is closed since a refusal was told of then.
            Err(error) if self.refused.is_none() => tracing::warn!(%error, "the outbox cannot be read"),
            Err(_) => {}
        }
        self.shell.board.push_key.clone_from(&self.setup.push_key);
        self.shell.board.makeshift = does_without(&self.setup);
        self.shell.board.letter_by = self.setup.core.letter_by();
        let mut seen = glance(self.setup.core.engine(), &self.shell);
        if !self.clock.is_known() {
            show_live(&mut seen, &glance(self.setup.core.present(), &self.shell));
        }
        self.glance.send_replace(Arc::new(seen));
    }

    /// Damage that reading tripped over is entered, once.
    pub(super) fn name_damage(&mut self, moment: Moment) {
        let met = self.setup.core.ledger().fences();
        if met == self.fences || !moment.trusted || self.refused.is_some() {
            return;
        }
        match self.setup.core.name_fences(moment) {
            Ok(()) => {
                self.fences = met;
                self.stale = true;
            }
            Err(error) => self.refuse(&error, moment),
        }
    }

    /// Growth at the start, where looking costs nothing worth waiting for; a large ledger waits for the quiet hour.
    pub(super) fn reckon_growth_if_small(&mut self) {
        let folder = self.setup.core.ledger().folder();
        let length = folder.and_then(|folder| Some(std::fs::metadata(folder.join("ledger")).ok()?.len()));
        if length.is_some_and(|length| length < SMALL) {
            self.reckon_growth();
        }
    }

    /// How the ledger grows, and how long the disk will do.
    pub(super) fn reckon_growth(&mut self) {
        let ledger = self.setup.core.ledger();
        let rate = ledger.readings_per_day().ok().flatten();
        let sizes = ledger.sizes().ok().filter(|sizes| sizes.chunk_readings > 0);
        let free = ledger.folder().and_then(free_bytes);
        let grown =
            rate.zip(sizes).and_then(|(rate, sizes)| growth(sizes.bytes_per_archived_reading(), rate, free));
        let mut words: Vec<String> = grown.map(|growth| growth.words()).into_iter().collect();
        let now_ms = self.setup.core.engine().now_ms();
        if let Ok(Some(old)) = ledger.outlived(now_ms) {
            // Weeks begin in the site's own time; the command counts days from midnight UTC: not a week too few.
            let day = date((old.before_ms + 86_399_999).div_euclid(86_400_000));
            words.push(format!(
                "{} readings are older than you mean to keep them; “glasshour ledger forget --before {day}” \
                 throws them away",
                old.readings
            ));
        }
        self.shell.board.growth = (!words.is_empty()).then(|| words.join(". "));
    }

    /// Counts what bears no date. Every batch is read for it, so only when the answer may have changed.
    pub(super) fn count_undated(&mut self) {
        let (ledger, boot) = (self.setup.core.ledger(), self.setup.boot);
        self.shell.board.undated = ledger.undated().unwrap_or(0);
        self.shell.board.clock.undated_boots = ledger.undated_boots(boot).unwrap_or_default();
        self.shell.board.clock.dated_back_ms = self.setup.core.dated_back_ms();
    }
}
