//! Whether the owner of a bus still comes back. A driver of the kernel may hold a thread for ever; nobody can free it but
//! a new start of the board, so somebody else must see it and say so.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::super::told::Told;
use crate::clock::Clock;
use crate::keeper::event::Event;
use crate::supervise::Outcome;

/// A read takes milliseconds: after so long without a turn the driver hangs, ms (practice).
const HANGS_MS: i64 = 60_000;
/// How often it is looked at.
const LOOK: Duration = Duration::from_secs(10);

/// When the owner of a bus last had a turn, by the monotonic clock, ms.
#[derive(Debug)]
pub struct Beat(AtomicI64);

impl Beat {
    /// It has one now.
    pub fn new(clock: &dyn Clock) -> Arc<Self> {
        Arc::new(Self(AtomicI64::new(clock.monotonic_ms())))
    }

    /// It had another.
    pub(super) fn turn(&self, clock: &dyn Clock) {
        self.0.store(clock.monotonic_ms(), Ordering::Relaxed);
    }

    /// How long ago that was, ms.
    pub(super) fn since_ms(&self, clock: &dyn Clock) -> i64 {
        clock.monotonic_ms() - self.0.load(Ordering::Relaxed)
    }
}

/// Looks after the owner of `bus` until told to stop.
///
/// # Errors
///
/// None: a bus that hangs is told as [`Event::Away`].
pub async fn watch(
    bus: String,
    beat: Arc<Beat>,
    events: mpsc::Sender<Event>,
    clock: Arc<dyn Clock>,
    stop: CancellationToken,
) -> Outcome {
    let mut told = Told::nothing(format!("instruments on {bus}"));
    let mut hung = false;
    while tokio::time::timeout(clock.real(LOOK), stop.cancelled()).await.is_err() {
        let hangs = beat.since_ms(clock.as_ref()) > HANGS_MS;
        if hangs == hung {
            continue;
        }
        hung = hangs;
        let why = "the bus hangs and does not come back: start the board anew".to_owned();
        if let Some(event) = told.news(hangs.then_some(why))
            && events.send(event).await.is_err()
        {
            break;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::paused::PausedClock;

    #[tokio::test(start_paused = true)]
    async fn b8_a_read_that_never_returns_is_told_once_and_so_is_its_end() {
        let clock: Arc<dyn Clock> = PausedClock::new();
        let beat = Beat::new(clock.as_ref());
        let (events, mut told) = mpsc::channel(9);
        let stop = CancellationToken::new();
        let watching =
            watch("/dev/i2c-1".to_owned(), Arc::clone(&beat), events, Arc::clone(&clock), stop.clone());
        let script = async {
            tokio::time::sleep(Duration::from_secs(300)).await;
            beat.turn(clock.as_ref());
            tokio::time::sleep(Duration::from_secs(30)).await;
            stop.cancel();
        };
        let (outcome, ()) = tokio::join!(watching, script);
        assert_eq!(outcome, Ok(()));
        let told: Vec<_> = std::iter::from_fn(|| told.try_recv().ok())
            .map(|event| match event {
                Event::Away { source, why } => {
                    (source, why.is_some_and(|why| why.contains("start the board anew")))
                }
                _ => panic!("something else"),
            })
            .collect();
        let source = || "instruments on /dev/i2c-1".to_owned();
        assert_eq!(told, [(source(), true), (source(), false)]);
    }
}
