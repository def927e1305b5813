//! The world looks at the board after a turn of the keeper.

use std::sync::Arc;

use glasshour::clock::Clock as _;

use crate::watch::told::has_cause;
use crate::watch::{Violation, again, day};
use crate::weather::MINUTE;
use crate::world::World;

/// Steps between two looks at everything.
const EVERYTHING: u64 = 10_000;
/// Steps between two trials of a cut.
const CUT: u64 = 4_000;
/// Readings that may wait for a ledger that refuses.
const WAITING: usize = 100_000;
/// Events in the hand of a connection: what the broker has in flight, and bare numbers while the keeper stands still.
const IN_HAND: usize = 5_000;
/// How long a reading may wait for its commit before the page must say why, beside the usual wait, ms.
const UNSTORED_MS: i64 = 30_000;

impl World {
    /// What must hold after every step.
    pub(crate) fn look(&mut self) -> Result<(), Violation> {
        let now = self.now_ms();
        let Some(life) = &self.board.life else { return Ok(()) };
        let core = life.keeper.core();
        let vouched = self.board.clock.vouched_by().is_some();
        let glance = life.handle.now();
        let trusted = vouched && glance.board.clock_vouched_by.is_some();
        let news = core.seq() > self.watch.seen.seq || trusted != self.watch.seen.trusted;
        if news || !self.watch.kept.is_current() {
            (self.watch.seen.seq, self.watch.seen.trusted) = (core.seq(), trusted);
            self.watch.kept.read_on(core.ledger(), trusted, self.watch.excused, now, &mut self.counts)?;
        }
        let refuses = glance.board.storage_refused.is_some();
        let disturbed = refuses || self.board.store.is_troubled() || !trusted;
        let punctual = !disturbed && now - self.watch.seen.undisturbed_since_ms > MINUTE;
        if disturbed {
            self.watch.seen.undisturbed_since_ms = now;
        }
        if !Arc::ptr_eq(&glance, &self.watch.seen.glance) {
            self.watch.seen.glance = Arc::clone(&glance);
            self.counts.add("glance looked at");
            let news = self.watch.told.read_on(core.ledger(), punctual, now, &mut self.trace)?;
            for step in news {
                self.counts.add("step told");
                let hottest = self.watch.shown.hottest(&step.place, step.at_ms);
                if !step.is_undated() && !has_cause(&step, hottest) {
                    let what = format!("nothing that hot was said ({hottest:?}): {step:?}");
                    return Err(Violation::new("I8", now, what));
                }
            }
            if refuses {
                self.counts.add("refusal of the disk shown");
            }
            self.watch.shown.check(&glance, &self.weather, vouched, !self.watch.excused.rot, now)?;
        }
        let taken = self.watch.told.look_at_far_ends(&self.board, self.life, now, &mut self.trace)?;
        self.counts.add_many("step or letter taken by a far end", taken);
        self.watch.take_answers(&mut self.counts);
        self.check_limits(refuses)?;
        if self.steps.is_multiple_of(CUT) && !disturbed && !self.watch.damaged() {
            again::after_a_cut(&self.board, now, self.watch.told.newest_step())?;
            self.counts.add("ledger after a cut looked at");
        }
        if self.steps / EVERYTHING > self.watch.seen.everything {
            self.watch.seen.everything = self.steps / EVERYTHING;
            self.everything()?;
        }
        self.look_at_life()
    }

    /// I7 and I13: limits, and what is not stored without a word.
    fn check_limits(&mut self, refuses: bool) -> Result<(), Violation> {
        let now = self.now_ms();
        let Some(life) = &self.board.life else { return Ok(()) };
        let waiting = life.keeper.core().waiting_readings();
        let in_hand = self.links.iter().map(crate::link::Link::in_hand).max().unwrap_or(0);
        if waiting > WAITING || in_hand > IN_HAND {
            let what = format!("{waiting} readings wait, {in_hand} messages are in hand");
            return Err(Violation::new("I7", now, what));
        }
        let before = now - self.plan.commit_every_ms - UNSTORED_MS;
        // What rot has fenced cannot be told from what was never stored.
        if refuses || self.watch.damaged() || self.watch.seen.running_since_ms > before {
            return Ok(());
        }
        if let Some(letter) = self.watch.kept.unstored_before(before) {
            let what = format!("waits to be stored and nothing says why: {letter:?}");
            return Err(Violation::new("I13", now, what));
        }
        Ok(())
    }

    /// What is looked at now and then.
    pub(crate) fn everything(&mut self) -> Result<(), Violation> {
        let now = self.now_ms();
        let Some(life) = &self.board.life else { return Ok(()) };
        if self.board.store.is_troubled() {
            return Ok(());
        }
        let core = life.keeper.core();
        again::check_clean(core.ledger(), now, self.watch.excused, &mut self.counts)?;
        self.watch.told.check_outbox(&self.board, now)?;
        if self.watch.damaged() || core.engine().is_dirty() || core.waits() {
            return Ok(());
        }
        day::check(core.engine(), &self.watch.kept, &self.probes, now)?;
        again::rebuilt(&self.board, now, &mut self.counts)
    }
}
