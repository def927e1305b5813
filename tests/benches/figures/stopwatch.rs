//! How long something took, and what was going on meanwhile.

use std::time::Instant;

use glasshour::calendar;
use glasshour::clock::{Clock, SystemClock};

/// Runs since it was made.
pub(crate) struct Stopwatch(Instant);

impl Stopwatch {
    /// Starts it.
    #[expect(
        clippy::disallowed_methods,
        reason = "a benchmark measures real time, finer than the clock tells"
    )]
    pub(crate) fn start() -> Self {
        Self(Instant::now())
    }

    /// Seconds since then.
    pub(crate) fn seconds(&self) -> f64 {
        self.0.elapsed().as_secs_f64()
    }

    /// Milliseconds since then.
    pub(crate) fn ms(&self) -> f64 {
        self.seconds() * 1000.0
    }
}

/// The time of day, UTC ms.
pub(crate) fn wall_ms() -> i64 {
    SystemClock::new(None).wall_ms()
}

/// Date, processors and load: figures are nothing without them.
pub(crate) fn conditions() -> String {
    let processors = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let load = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    let load = load.split(' ').next().unwrap_or("?").to_owned();
    let day = calendar::date(wall_ms().div_euclid(86_400_000));
    format!(
        "Figures of {day}, {processors} processors, load {load} at the beginning (0 if nobody shares the machine)."
    )
}
