//! The clock: the only place where the time of day is read. Everything else gets the time as data.

use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// Where times come from.
pub trait Clock: Send + Sync {
    /// Wall time, UTC ms since 1970. May be wrong until somebody vouches for it.
    fn wall_ms(&self) -> i64;
    /// Time since an arbitrary start, ms; never steps.
    fn monotonic_ms(&self) -> i64;
    /// Who vouches for the wall time; none while nobody does.
    fn vouched_by(&self) -> Option<String>;
    /// How long to really wait so that `span` passes on this clock.
    fn real(&self, span: Duration) -> Duration {
        span
    }
}

/// The machine's own clock.
#[derive(Debug)]
pub struct SystemClock {
    start: Instant,
    declared: Option<String>,
}

/// Where the time service of common Linux systems leaves its mark once the kernel's clock is synchronised.
const SYNCHRONISED: &str = "/run/systemd/timesync/synchronized";

impl SystemClock {
    /// The machine's clock; `declared` names the voucher a site file declares (`[clock] vouched_by`).
    #[expect(clippy::disallowed_methods, reason = "the one real clock")]
    pub fn new(declared: Option<String>) -> Self {
        Self { start: Instant::now(), declared }
    }
}

impl Clock for SystemClock {
    #[expect(clippy::disallowed_methods, reason = "the one real clock")]
    fn wall_ms(&self) -> i64 {
        SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_millis() as i64)
    }

    fn monotonic_ms(&self) -> i64 {
        self.start.elapsed().as_millis() as i64
    }

    fn vouched_by(&self) -> Option<String> {
        self.declared
            .clone()
            .or_else(|| std::path::Path::new(SYNCHRONISED).exists().then(|| "the time service".to_owned()))
    }
}

/// A clock that starts at a chosen moment and runs a chosen number of times faster: for the demo.
#[derive(Debug)]
pub struct FastClock {
    clock: SystemClock,
    start_ms: i64,
    speed: f64,
}

impl FastClock {
    /// Starts at `start_ms` (UTC ms) and runs `speed` times as fast as the machine's clock.
    pub fn new(start_ms: i64, speed: f64) -> Self {
        Self { clock: SystemClock::new(Some("the demo".to_owned())), start_ms, speed }
    }
}

impl Clock for FastClock {
    fn wall_ms(&self) -> i64 {
        self.start_ms + self.monotonic_ms()
    }

    fn monotonic_ms(&self) -> i64 {
        (self.clock.start.elapsed().as_secs_f64() * self.speed * 1000.0) as i64
    }

    fn vouched_by(&self) -> Option<String> {
        self.clock.vouched_by()
    }

    fn real(&self, span: Duration) -> Duration {
        span.div_f64(self.speed)
    }
}
