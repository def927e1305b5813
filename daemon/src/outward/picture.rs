//! A picture of Now, put where the grower looks from away: an HTTP PUT (RFC 9110, 9.3.4) of the file that the letter
//! encloses. Each takes the place of the one before, so that nothing has to be kept in order, and what failed is made
//! anew rather than sent late.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use axum::body::Bytes;
use axum::http::{HeaderValue, Request, header};
use tokio_util::sync::CancellationToken;

use super::{FarEnd, NO_TIME_YET, Refused};
use crate::clock::Clock;
use crate::glance::Glance;
use crate::http_out::Unusable;
use crate::keeper::handle::Handle;
use crate::supervise::Outcome;

/// The first pause after a try that came to nothing; it doubles up to the usual one.
const AGAIN: Duration = Duration::from_secs(60);
/// The first picture waits until something was heard.
const SETTLE: Duration = Duration::from_secs(60);

/// Where it goes.
#[derive(Clone)]
pub struct Settings {
    /// The whole address.
    pub put: String,
    /// Sent as a bearer token (RFC 6750, 2.1).
    pub token: Option<String>,
    /// A PEM file to be trusted beside the system's authorities.
    pub authority: Option<PathBuf>,
    /// From one picture to the next.
    pub every: Duration,
}

/// Why no picture can be put.
#[derive(Debug, thiserror::Error)]
pub enum Unfit {
    /// The token has signs that no header can hold.
    #[error("the picture's token has signs that no header holds")]
    Token,
    /// The encryption cannot be set up.
    #[error(transparent)]
    Client(#[from] Unusable),
}

/// Who puts it.
pub struct Picture {
    far_end: FarEnd,
    bearer: Option<HeaderValue>,
    every: Duration,
    draw: fn(&Glance) -> String,
    clock: Arc<dyn Clock>,
    /// Tries in a row that came to nothing.
    failed: u32,
}

impl Picture {
    /// Sets it up; nothing is sent yet. `draw` makes the file.
    ///
    /// # Errors
    ///
    /// [`Unfit`].
    pub fn new(
        settings: Settings,
        draw: fn(&Glance) -> String,
        keeper: Handle,
        clock: Arc<dyn Clock>,
    ) -> Result<Self, Unfit> {
        let bearer = settings.token.map(|token| HeaderValue::from_str(&format!("Bearer {token}")));
        let mut bearer = bearer.transpose().map_err(|_invalid| Unfit::Token)?;
        if let Some(bearer) = &mut bearer {
            bearer.set_sensitive(true);
        }
        let far_end = FarEnd::new("picture", settings.put, settings.authority.as_deref(), keeper)?;
        Ok(Self { far_end, bearer, every: settings.every, draw, clock, failed: 0 })
    }

    /// Puts pictures until `stop`.
    ///
    /// # Errors
    ///
    /// None: an address that cannot be reached is not the end of the program.
    pub async fn run(mut self, stop: CancellationToken) -> Outcome {
        let mut nap = SETTLE.min(self.every);
        while stop.run_until_cancelled(tokio::time::sleep(self.clock.real(nap))).await.is_some() {
            match stop.run_until_cancelled(self.turn()).await {
                Some(next) => nap = next,
                None => break,
            }
        }
        Ok(())
    }

    /// One picture; how long until the next.
    async fn turn(&mut self) -> Duration {
        if self.far_end.needs_the_time(self.clock.as_ref()) {
            self.far_end.say(Some("waits until somebody vouches for the time".to_owned())).await;
            return NO_TIME_YET;
        }
        let put = match self.request() {
            Ok(request) => self.far_end.call(request).await,
            Err(error) => Err(Refused { why: error.to_string(), after_ms: None }),
        };
        match put {
            Ok(()) => {
                self.failed = 0;
                self.far_end.say(None).await;
                self.every
            }
            Err(refused) => {
                let nap = pause(self.failed, refused.after_ms, self.every);
                self.failed = self.failed.saturating_add(1);
                self.far_end.say(Some(refused.why)).await;
                nap
            }
        }
    }

    fn request(&self) -> Result<Request<Bytes>, axum::http::Error> {
        let glance = self.far_end.keeper.now();
        let mut request =
            Request::put(&self.far_end.url).header(header::CONTENT_TYPE, "text/html; charset=utf-8");
        if let Some(bearer) = &self.bearer {
            request = request.header(header::AUTHORIZATION, bearer.clone());
        }
        request.body(Bytes::from((self.draw)(&glance)))
    }
}

/// The pause after a try that came to nothing, when `failed` before it did: what the far end wants, else a minute that
/// doubles; never longer than a day, never longer than the usual pause unless it is wanted.
fn pause(failed: u32, wanted_ms: Option<i64>, every: Duration) -> Duration {
    const LONGEST: Duration = Duration::from_secs(86_400);
    match wanted_ms {
        Some(ms) => Duration::from_millis(ms.max(0) as u64).clamp(AGAIN, LONGEST),
        None => AGAIN.saturating_mul(1 << failed.min(12)).min(every),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_double_up_to_the_usual_one_and_the_far_ends_wish_is_obeyed() {
        let every = Duration::from_secs(3600);
        let minutes: Vec<u64> = (0..8).map(|failed| pause(failed, None, every).as_secs() / 60).collect();
        assert_eq!(minutes, [1, 2, 4, 8, 16, 32, 60, 60]);
        assert_eq!(pause(0, Some(7_200_000), every), Duration::from_secs(7200));
        assert_eq!(pause(0, Some(0), every), AGAIN, "no hammering");
        assert_eq!(pause(u32::MAX, Some(i64::MAX), every), Duration::from_secs(86_400));
    }
}
