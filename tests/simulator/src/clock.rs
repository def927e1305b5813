//! The board's two clocks, as far as the board can see them, beside the true time, which only the simulator knows.

use std::sync::Mutex;
use std::sync::PoisonError;
use std::time::Duration;

use glasshour::clock::Clock;

/// What the clocks show.
#[derive(Clone, Copy, Debug, Default)]
struct Hands {
    true_ms: i64,
    /// When this boot began, true time.
    started_ms: i64,
    /// Wall time less true time.
    wrong_ms: i64,
    vouched: bool,
}

/// The board's clocks.
#[derive(Debug, Default)]
pub(crate) struct SimClock(Mutex<Hands>);

impl SimClock {
    fn hands(&self) -> Hands {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn set(&self, change: impl FnOnce(&mut Hands)) {
        change(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner));
    }

    /// The true time, UTC ms.
    pub(crate) fn true_ms(&self) -> i64 {
        self.hands().true_ms
    }

    /// Lets true time pass up to a moment.
    pub(crate) fn pass_to(&self, true_ms: i64) {
        self.set(|hands| hands.true_ms = hands.true_ms.max(true_ms));
    }

    /// A boot begins now; its wall clock is wrong by so much and vouched for or not.
    pub(crate) fn boot(&self, wrong_ms: i64, vouched: bool) {
        self.set(|hands| {
            hands.started_ms = hands.true_ms - 2_000;
            hands.wrong_ms = wrong_ms;
            hands.vouched = vouched;
        });
    }

    /// Somebody tells the board the time and vouches for it.
    pub(crate) fn trust(&self) {
        self.set(|hands| (hands.wrong_ms, hands.vouched) = (0, true));
    }

    /// The wall clock steps while nobody vouches for it.
    pub(crate) fn step(&self, by_ms: i64) {
        self.set(|hands| {
            if !hands.vouched {
                hands.wrong_ms += by_ms;
            }
        });
    }
}

impl Clock for SimClock {
    fn wall_ms(&self) -> i64 {
        let hands = self.hands();
        hands.true_ms + hands.wrong_ms
    }

    fn monotonic_ms(&self) -> i64 {
        let hands = self.hands();
        hands.true_ms - hands.started_ms
    }

    fn vouched_by(&self) -> Option<String> {
        self.hands().vouched.then(|| "the time service".to_owned())
    }
}

/// The same clock for the keeper, which spares glances on a clock that runs faster than the machine's: nobody looks more
/// often than each 100 s here, but when something is told. (A glance costs more than all the rest of the keeper.)
#[derive(Debug)]
pub(crate) struct Hurried(pub(crate) std::sync::Arc<SimClock>);

/// How many times faster.
pub(crate) const HURRY: u32 = 400;

impl Clock for Hurried {
    fn wall_ms(&self) -> i64 {
        self.0.wall_ms()
    }

    fn monotonic_ms(&self) -> i64 {
        self.0.monotonic_ms()
    }

    fn vouched_by(&self) -> Option<String> {
        self.0.vouched_by()
    }

    fn real(&self, span: Duration) -> Duration {
        span / HURRY
    }
}
