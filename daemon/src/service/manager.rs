//! What the service manager hears: that the service is up, that its keeper lives, that it stops.
//!
//! The protocol is sd_notify(3): a datagram of `NAME=value` lines to the socket that the environment names. A manager that
//! was told a watchdog time kills and restarts what is silent for so long (sd_watchdog_enabled(3)). Fed by a timer, it
//! would watch the timer; so each sign is asked of the keeper itself, and a keeper that stands still gives none. A disk
//! that refuses is no reason to be killed: what waits in memory would be lost, and warnings still go out. Nor is work on
//! the ledger that somebody asked for, such as a mend: while it is under way signs are given all the same, for a while.

use std::os::linux::net::SocketAddrExt;
use std::os::unix::net::{SocketAddr, UnixDatagram};
use std::sync::Arc;
use std::time::Duration;

use tokio_util::sync::CancellationToken;

use crate::clock::Clock;
use crate::keeper::handle::{Handle, Stopped};
use crate::supervise::Outcome;

/// For how long work on the ledger may keep the keeper from answering, and signs be given all the same.
const TENDING_AT_MOST: Duration = Duration::from_secs(30 * 60);

/// The way to the service manager.
#[derive(Debug)]
pub struct Manager {
    socket: UnixDatagram,
    to: SocketAddr,
    /// How long it waits for a sign.
    watchdog: Option<Duration>,
}

impl Manager {
    /// The manager that started this process, if one did and wants to be told. What it says that cannot be used is
    /// logged and counts as nothing.
    pub fn of_environment() -> Option<Self> {
        let said = |name: &str| std::env::var(name).ok();
        let ours = said("WATCHDOG_PID").is_none_or(|pid| pid == std::process::id().to_string());
        let watchdog = said("WATCHDOG_USEC").filter(|_| ours);
        Self::at(&said("NOTIFY_SOCKET")?, watchdog.as_deref())
            .inspect_err(|error| tracing::warn!(%error, "the service manager cannot be told anything"))
            .ok()
    }

    /// The manager at a socket, as `NOTIFY_SOCKET` and `WATCHDOG_USEC` name it: a path, or `@` and an abstract name; and
    /// how long it waits for a sign, µs.
    ///
    /// # Errors
    ///
    /// When there can be no such socket.
    pub fn at(socket: &str, watchdog_us: Option<&str>) -> std::io::Result<Self> {
        let to = match socket.strip_prefix('@') {
            Some(name) => SocketAddr::from_abstract_name(name)?,
            None => SocketAddr::from_pathname(socket)?,
        };
        let us = watchdog_us.and_then(|us| us.parse().ok()).filter(|us| *us > 0);
        let socket = UnixDatagram::unbound()?;
        // A manager that does not read must not hold up the service.
        socket.set_nonblocking(true)?;
        Ok(Self { socket, to, watchdog: us.map(Duration::from_micros) })
    }

    /// The service is up.
    pub fn ready(&self) {
        self.say("READY=1");
    }

    fn say(&self, word: &str) {
        if let Err(error) = self.socket.send_to_addr(word.as_bytes(), &self.to) {
            tracing::warn!(%error, word, "the service manager was not told");
        }
    }

    /// Gives signs until `stop`, and says then that the service stops.
    ///
    /// # Errors
    ///
    /// When the keeper is gone while nobody asked to stop.
    pub async fn run(self, keeper: Handle, clock: Arc<dyn Clock>, stop: CancellationToken) -> Outcome {
        let told = match self.watchdog {
            Some(watchdog) => stop.run_until_cancelled(self.watch(watchdog, &keeper, clock.as_ref())).await,
            None => {
                stop.cancelled().await;
                None
            }
        };
        self.say("STOPPING=1");
        match told {
            Some(gone) if !stop.is_cancelled() => Err(gone.to_string()),
            _ => Ok(()),
        }
    }

    /// A sign each third of the time the manager waits, as long as the keeper answers.
    async fn watch(&self, watchdog: Duration, keeper: &Handle, clock: &dyn Clock) -> Stopped {
        let every = watchdog / 3;
        loop {
            if let Err(gone) = self.answer(every, keeper, clock).await {
                return gone;
            }
            self.say("WATCHDOG=1");
            tokio::time::sleep(every).await;
        }
    }

    /// Asks the keeper, and waits until it answers. A sign each `every` meanwhile where it tends the ledger.
    async fn answer(&self, every: Duration, keeper: &Handle, clock: &dyn Clock) -> Result<(), Stopped> {
        let asked_ms = clock.monotonic_ms();
        let mut answer = std::pin::pin!(keeper.breathe());
        let (mut waited, mut stuck) = (Duration::ZERO, false);
        loop {
            if let Ok(answered) = tokio::time::timeout(every, answer.as_mut()).await {
                if !waited.is_zero() {
                    let seconds = (clock.monotonic_ms() - asked_ms) / 1000;
                    tracing::warn!(seconds, "the keeper answers again");
                }
                return answered;
            }
            waited += every;
            if keeper.is_tending() && waited <= TENDING_AT_MOST {
                tracing::info!(
                    seconds = waited.as_secs(),
                    "the keeper is busy with the ledger, as it was asked"
                );
                self.say("WATCHDOG=1");
            } else if !std::mem::replace(&mut stuck, true) {
                tracing::error!(
                    seconds = waited.as_secs(),
                    "the keeper stands still; the service manager gets no sign of life until it answers"
                );
            }
        }
    }
}

#[cfg(test)]
#[path = "manager_tests.rs"]
mod tests;
