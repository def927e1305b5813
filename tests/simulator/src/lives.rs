//! The board goes down and comes up, and in the end everything is healed.

use crate::far;
use crate::faults::{BootClock, FarFault, ProbeFault};
use crate::watch::Violation;
use crate::world::{Happening, World};

/// How long the system waits before it starts a process again that ended with an error, ms.
const RESTART_MS: i64 = 10_000;

impl World {
    /// The board comes up, if its disk lets it.
    pub(crate) fn boot(&mut self, clock: BootClock) -> Result<(), Violation> {
        if self.board.life.is_some() {
            return Ok(());
        }
        self.life += 1;
        let hands = &self.board.clock;
        let late_ms = self.watch.down_for(hands.true_ms());
        hands.boot(if clock == BootClock::Right { 0 } else { -late_ms }, clock == BootClock::Right);
        self.board.store.settle();
        for far in &self.board.far {
            far::at(far).busy = 0;
        }
        self.watch.told.look_at_far_ends(&self.board, self.life - 1, hands.true_ms(), &mut self.trace)?;
        if let Err(why) = self.board.boot() {
            self.counts.add("start refused by the disk");
            self.watch.start_refused(&why, self.board.store.is_troubled())?;
            self.board.die();
            self.board.store.settle();
            self.at(self.now_ms() + RESTART_MS, Happening::Boot(clock));
            return Ok(());
        }
        self.counts.add("boot");
        self.away_told = false;
        let now = self.now_ms();
        if let BootClock::LateFor(ms) = clock {
            self.at(now + ms, Happening::Trust(self.life));
        }
        for number in 0..2 {
            self.at(now + 500 + 100 * number as i64, Happening::Connect(number));
        }
        self.watch.booted(&self.board, &mut self.counts)
    }

    /// The process is gone; it comes up again after a while.
    pub(crate) fn down(&mut self, away_ms: i64, clock: BootClock) {
        self.board.die();
        self.watch.went_down(self.now_ms());
        for link in &mut self.links {
            link.close();
        }
        for number in 0..2 {
            self.broker.hang_up(number);
        }
        self.net.forget_order();
        self.board.stalled_until_ms = 0;
        self.at(self.now_ms() + away_ms, Happening::Boot(clock));
    }

    /// All is healed. What rot and lies have spoilt is not: a ledger whose own structure is gone waits for a backup, so
    /// no life is asked of it.
    pub(crate) fn heal_all(&mut self) -> Result<(), Violation> {
        self.healed_ms = Some(self.now_ms());
        self.board.store.heal();
        self.board.store.power_stays();
        self.board.stalled_until_ms = 0;
        if self.net.heal() {
            self.hang_up();
        }
        for (number, state) in self.states.iter_mut().enumerate() {
            state.set((number == self.plan.dead_probe).then_some(ProbeFault::Dead));
        }
        for (number, far) in self.board.far.iter().enumerate() {
            far::at(far).mood = (self.plan.dead_courier == Some(number)).then_some(FarFault::Gone);
        }
        if self.board.life.is_none() {
            self.boot(BootClock::Right)?;
        }
        self.board.clock.trust();
        if self.watch.excused.rot || (self.watch.excused.lied && self.board.life.is_none()) {
            self.counts.add("ended with rot in the ledger");
            self.over = true;
        }
        Ok(())
    }
}
