//! The clock that everybody reads: the machine's, as far as it is believed.

use std::sync::{Arc, Mutex, MutexGuard};
use std::time::Duration;

use super::Clock;
use super::trust::{Refusal, Said, Shown, Trust, Weighed, Word};

/// A clock with what is believed of it.
pub struct Believed {
    machine: Arc<dyn Clock>,
    trust: Mutex<Trust>,
}

impl Believed {
    /// Over the machine's clock; nothing is believed yet.
    pub fn new(machine: Arc<dyn Clock>) -> Self {
        Self { machine, trust: Mutex::new(Trust::default()) }
    }

    fn shown(&self) -> Shown {
        let (wall_ms, mono_ms) = self.machine.both_ms();
        Shown { wall_ms, mono_ms, voucher: self.machine.vouched_by() }
    }

    fn trust(&self) -> MutexGuard<'_, Trust> {
        // What is believed is whole after each statement, so a panic elsewhere leaves nothing half done here.
        self.trust.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    /// States the newest commit's time, UTC ms: it is later than that.
    pub fn not_before(&self, newest_ms: i64) {
        let mono_ms = self.machine.monotonic_ms();
        self.trust().not_before(newest_ms, mono_ms);
    }

    /// Whether any time is believed.
    pub fn is_known(&self) -> bool {
        self.trust().is_known()
    }

    /// What could be believed now if nothing is yet: wall less monotonic time, ms, and who vouches.
    pub fn candidate(&self) -> Option<(i64, String)> {
        let shown = self.shown();
        self.trust().candidate(&shown).map(|(offset_ms, by)| (offset_ms, by.to_owned()))
    }

    /// Believes from now on that wall time is monotonic time and `offset_ms`.
    pub fn believe(&self, offset_ms: i64, by: &str) {
        let shown = self.shown();
        self.trust().believe(&shown, offset_ms, by);
    }

    /// The machine's own wall time, UTC ms, believed or not.
    pub fn machine_ms(&self) -> i64 {
        self.machine.wall_ms()
    }

    /// Whether a word can be taken, and what it comes to: see [`Trust::weigh`].
    ///
    /// # Errors
    ///
    /// What stands against it.
    pub fn weigh(&self, said: &Said, newest_ms: Option<i64>, words: &[Word]) -> Result<Weighed, Refusal> {
        let shown = self.shown();
        self.trust().weigh(said, &shown, newest_ms, words)
    }

    /// Takes a word that was weighed.
    pub fn take(&self, said: &Said) {
        let shown = self.shown();
        self.trust().take(said, &shown);
    }

    /// The jump that is not believed, in words.
    pub fn doubt(&self) -> Option<String> {
        self.trust().doubt()
    }
}

impl Clock for Believed {
    fn wall_ms(&self) -> i64 {
        let shown = self.shown();
        let mut trust = self.trust();
        trust.look(&shown);
        trust.wall_ms(&shown)
    }

    fn monotonic_ms(&self) -> i64 {
        self.machine.monotonic_ms()
    }

    fn vouched_by(&self) -> Option<String> {
        let mono_ms = self.machine.monotonic_ms();
        self.trust().words(mono_ms)
    }

    fn real(&self, span: Duration) -> Duration {
        self.machine.real(span)
    }
}
