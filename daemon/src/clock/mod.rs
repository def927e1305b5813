//! The clock: the only place where the time of day is read. Everything else gets the time as data.
//!
//! A small board often has no clock chip: it wakes at the last saved time, which is plausible and late. So being
//! plausible never counts. `vouchers` says who vouches for the machine's clock; [`trust`] decides what is believed,
//! and goes on by the monotonic clock when the wall clock jumps; [`believed`] is the clock that everybody reads.

use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

pub mod believed;
pub mod kernel;
#[cfg(test)]
pub(crate) mod paused;
pub mod trust;
mod vouchers;

pub use vouchers::EARLIEST_MS;
use vouchers::Vouchers;

/// Where times come from.
pub trait Clock: Send + Sync {
    /// Wall time, UTC ms since 1970. May be wrong until somebody vouches for it.
    fn wall_ms(&self) -> i64;
    /// Time since an arbitrary start, ms; never steps, and runs on while the board is suspended.
    fn monotonic_ms(&self) -> i64;
    /// Both at one moment, as far as can be: wall, then monotonic.
    fn both_ms(&self) -> (i64, i64) {
        // The wall clock first: what passes between the two makes it seem a moment late, never early.
        (self.wall_ms(), self.monotonic_ms())
    }
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
    vouchers: Vouchers,
}

/// Time since the machine was switched on, ns, suspension included (`CLOCK_BOOTTIME`, clock_gettime(2)).
fn running_ns() -> i64 {
    let time = rustix::time::clock_gettime(rustix::time::ClockId::Boottime);
    time.tv_sec * 1_000_000_000 + time.tv_nsec as i64
}

impl SystemClock {
    /// The machine's clock; `declared` names the voucher a site file declares (`[clock] vouched_by`).
    pub fn new(declared: Option<String>) -> Self {
        Self { vouchers: Vouchers::of_system(declared, None) }
    }

    /// The machine's clock as a site file describes it: `declared` as in [`new`](Self::new), and the clock chip the
    /// grower relies on (`[clock] chip = "rtc0"`).
    pub fn of_site(declared: Option<String>, chip: Option<&str>) -> Self {
        Self { vouchers: Vouchers::of_system(declared, chip) }
    }

    /// Where the kernel's word is kept for this clock; [`kernel::ask`] fills it.
    pub fn kernel(&self) -> kernel::Word {
        Arc::clone(&self.vouchers.kernel)
    }
}

impl Clock for SystemClock {
    #[expect(clippy::disallowed_methods, reason = "the one real clock")]
    fn wall_ms(&self) -> i64 {
        SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_millis() as i64)
    }

    fn monotonic_ms(&self) -> i64 {
        running_ns() / 1_000_000
    }

    fn vouched_by(&self) -> Option<String> {
        self.vouchers.voucher(self.wall_ms(), self.monotonic_ms())
    }
}

/// How much slower a fast clock runs while somebody it waits for is late. It never stands: what is late may be waiting
/// for the clock.
const CRAWL: f64 = 50.0;

/// A clock that starts at a chosen moment and runs a chosen number of times faster: for the demo.
///
/// At such a speed a busy machine is late by a quarter of an hour in half a second. So it waits for whoever asks it to.
#[derive(Debug)]
pub struct FastClock {
    run: Mutex<Run>,
    start_ms: i64,
    speed: f64,
}

/// How far a fast clock has come.
#[derive(Debug, Default)]
struct Run {
    /// When it was looked at last, ns since the machine was switched on; none while it is held.
    looked_ns: Option<i64>,
    /// How far it had come then, ms.
    come_ms: f64,
    /// Moments up to which it runs at its speed, UTC ms.
    until: Vec<Arc<AtomicI64>>,
}

/// Where a fast clock stands that stood at `come_ms` and would run on by `span_ms`, but only crawls from `until_ms` on.
fn goes_on(come_ms: f64, span_ms: f64, until_ms: f64) -> f64 {
    let runs = span_ms.min((until_ms - come_ms).max(0.0));
    come_ms + runs + (span_ms - runs) / CRAWL
}

impl FastClock {
    /// Starts at `start_ms` (UTC ms) and runs `speed` times as fast as the machine's clock.
    pub fn new(start_ms: i64, speed: f64) -> Self {
        let clock = Self::held(start_ms, speed);
        clock.go();
        clock
    }

    /// The same, but it stands at `start_ms` until [`go`](Self::go): at such a speed an hour goes by while a program
    /// puts on its shoes.
    pub fn held(start_ms: i64, speed: f64) -> Self {
        Self { run: Mutex::default(), start_ms, speed }
    }

    /// Lets it run; for good.
    pub fn go(&self) {
        self.run().looked_ns.get_or_insert_with(running_ns);
    }

    /// Somebody to wait for: past the moment in it, UTC ms, the clock only crawls. Whoever gets it moves it on.
    pub fn waits(&self, until_ms: i64) -> Arc<AtomicI64> {
        let until = Arc::new(AtomicI64::new(until_ms));
        self.run().until.push(Arc::clone(&until));
        until
    }

    fn run(&self) -> MutexGuard<'_, Run> {
        self.run.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Clock for FastClock {
    fn wall_ms(&self) -> i64 {
        self.start_ms + self.monotonic_ms()
    }

    fn both_ms(&self) -> (i64, i64) {
        // Read once: between two readings minutes of this clock may go by.
        let mono_ms = self.monotonic_ms();
        (self.start_ms + mono_ms, mono_ms)
    }

    fn monotonic_ms(&self) -> i64 {
        let mut run = self.run();
        if let Some(looked_ns) = run.looked_ns {
            let now_ns = running_ns();
            let until_ms = run.until.iter().map(|until| until.load(Ordering::Relaxed)).min();
            let until_ms = until_ms.map_or(f64::INFINITY, |until_ms| (until_ms - self.start_ms) as f64);
            run.come_ms = goes_on(run.come_ms, (now_ns - looked_ns) as f64 * self.speed / 1e6, until_ms);
            run.looked_ns = Some(now_ns);
        }
        run.come_ms as i64
    }

    fn vouched_by(&self) -> Option<String> {
        Some("the demo".to_owned())
    }

    fn real(&self, span: Duration) -> Duration {
        span.div_f64(self.speed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fast_clock_stands_still_until_it_is_let_go_and_its_spans_are_shorter_than_they_seem() {
        let clock = FastClock::held(7_000, 20_000.0);
        let before_ns = running_ns();
        while running_ns() - before_ns < 1_000_000 {}
        assert_eq!(clock.both_ms(), (7_000, 0), "a millisecond here would be twenty seconds there");
        clock.go();
        while clock.monotonic_ms() == 0 {}
        assert_eq!(clock.real(Duration::from_secs(40)), Duration::from_millis(2));
    }

    #[test]
    fn a_fast_clock_runs_up_to_what_it_waits_for_and_crawls_from_there() {
        // By hand: half a second at 1800 is a quarter of an hour; nine minutes are left, and a fiftieth of the other six.
        let (minute, stall_ms) = (60_000.0, 15.0 * 60_000.0);
        assert_eq!(goes_on(0.0, stall_ms, 9.0 * minute), 9.12 * minute);
        assert_eq!(goes_on(0.0, stall_ms, f64::INFINITY), stall_ms);
        assert_eq!(goes_on(10.0 * minute, stall_ms, 9.0 * minute), 10.3 * minute, "never back");
        let clock = FastClock::held(7_000, 20_000.0);
        let (first, second) = (clock.waits(9_000), clock.waits(8_000));
        clock.go();
        // A moment of this clock is 50 ns, and 2.5 µs once it crawls: it is seen to come there, not how soon.
        while clock.wall_ms() < 8_000 {}
        second.store(9_000_000_000, Ordering::Relaxed);
        first.store(9_000_000_000, Ordering::Relaxed);
        while clock.wall_ms() < 9_000 {}
    }

    #[test]
    fn c6_the_monotonic_clock_counts_from_when_the_machine_was_switched_on() {
        // /proc/uptime is the same count of the kernel's, suspension included (proc_uptime(5)), printed to 0.01 s.
        let uptime = || -> f64 {
            let text = std::fs::read_to_string("/proc/uptime").unwrap();
            text.split(' ').next().unwrap().parse().unwrap()
        };
        let before = uptime();
        let ours = SystemClock::new(None).monotonic_ms() as f64 / 1000.0;
        assert!(before - 0.02 <= ours && ours <= uptime() + 0.02, "{before} {ours}");
    }
}
