//! The sign of life: for whoever watches from elsewhere, on other power and another line.
//!
//! A board that is down cannot say so; only its silence can. So the sign must never be given by a part that outlives the
//! keeper. Each is asked of the keeper itself: it commits what waits, and only when that is done, and the ledger takes
//! writes, is the sign given. A keeper that is dead, stuck, or cannot store is silent, and so is a board without power
//! or line. What is asked for is an alarm elsewhere that goes off when the calls stay away.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use axum::body::Bytes;
use axum::http::Request;
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

use super::{FarEnd, NO_TIME_YET};
use crate::clock::Clock;
use crate::http_out::Unusable;
use crate::keeper::handle::{Handle, Stopped};
use crate::supervise::Outcome;

/// From one sign to the next.
const EVERY: Duration = Duration::from_secs(3600);
/// When a sign that could not be given is tried again: well before whoever watches grows uneasy.
const AGAIN: Duration = Duration::from_secs(300);

/// That the keeper lived and could store.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Alive {
    /// Which sign of this run it is, from 1.
    pub number: u64,
    /// When, UTC ms; none while nobody vouches for the clock.
    pub at_ms: Option<i64>,
}

/// Who gives the sign.
pub struct LifeSign {
    keeper: Handle,
    clock: Arc<dyn Clock>,
    call: Option<FarEnd>,
    signs: watch::Sender<Option<Alive>>,
}

impl LifeSign {
    /// Calls `url` where there is one (`authority`: a PEM file to be trusted beside the system's), and gives the signs
    /// to whoever holds the receiver.
    ///
    /// # Errors
    ///
    /// When the authority cannot be read, or the encryption cannot be set up.
    pub fn new(
        url: Option<(String, Option<PathBuf>)>,
        keeper: Handle,
        clock: Arc<dyn Clock>,
    ) -> Result<(Self, watch::Receiver<Option<Alive>>), Unusable> {
        let (signs, seen) = watch::channel(None);
        let call =
            url.map(|(url, authority)| FarEnd::new("life sign", url, authority.as_deref(), keeper.clone()));
        Ok((Self { keeper, clock, call: call.transpose()?, signs }, seen))
    }

    /// Gives signs until `stop`.
    ///
    /// # Errors
    ///
    /// When the keeper is gone while nobody asked to stop.
    pub async fn run(mut self, stop: CancellationToken) -> Outcome {
        while let Some(turn) = stop.run_until_cancelled(self.turn()).await {
            let Ok(nap) = turn else {
                return if stop.is_cancelled() { Ok(()) } else { Err(Stopped.to_string()) };
            };
            let nap = self.clock.real(nap);
            if stop.run_until_cancelled(tokio::time::sleep(nap)).await.is_none() {
                break;
            }
        }
        Ok(())
    }

    /// One sign, if there is one to give; how long until the next try.
    async fn turn(&mut self) -> Result<Duration, Stopped> {
        let at_ms = self.keeper.tend(|_, moment| moment.trusted.then_some(moment.wall_ms)).await?;
        if self.keeper.now().board.storage_refused.is_some() {
            // The page says why; whoever watches from elsewhere sees it by the silence.
            return Ok(AGAIN);
        }
        self.signs.send_modify(|sign| {
            let number = sign.map_or(0, |sign| sign.number) + 1;
            *sign = Some(Alive { number, at_ms });
        });
        let Some(call) = &mut self.call else { return Ok(EVERY) };
        if call.needs_the_time(self.clock.as_ref()) {
            call.say(Some("waits until somebody vouches for the time".to_owned())).await;
            return Ok(NO_TIME_YET);
        }
        let called = match Request::get(&call.url).body(Bytes::new()) {
            Ok(request) => call.call(request).await.err(),
            Err(error) => Some(super::Refused { why: error.to_string(), after_ms: None }),
        };
        let nap = called.as_ref().map_or(EVERY, |refused| {
            refused.after_ms.map_or(AGAIN, |ms| Duration::from_millis(ms.max(0) as u64).clamp(AGAIN, EVERY))
        });
        call.say(called.map(|refused| refused.why)).await;
        Ok(nap)
    }
}
