//! A clock for tests of what waits.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use tokio::time::Instant;

use super::Clock;

/// The clock of the test runtime, which moves only when everybody waits.
pub(crate) struct PausedClock {
    start: Instant,
    pub(crate) vouched: AtomicBool,
}

impl PausedClock {
    #[expect(clippy::disallowed_methods, reason = "the paused time of the test runtime, not the machine's")]
    pub(crate) fn new() -> Arc<Self> {
        Arc::new(Self { start: Instant::now(), vouched: AtomicBool::new(true) })
    }
}

impl Clock for PausedClock {
    fn wall_ms(&self) -> i64 {
        self.monotonic_ms()
    }
    fn monotonic_ms(&self) -> i64 {
        self.start.elapsed().as_millis() as i64
    }
    fn vouched_by(&self) -> Option<String> {
        self.vouched.load(Ordering::Relaxed).then(|| "the test".to_owned())
    }
}
