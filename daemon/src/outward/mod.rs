//! What goes out of the house by itself, besides notices: a sign of life, a picture of Now.
//!
//! Neither is told like a notice: there is nothing to be delivered late. What cannot be said now is said anew the next
//! time, and the page tells that it could not be said and why.
//!
//! - [`life_sign`] calls an address each hour, and tells the broker, for as long as the keeper lives and can store.
//! - [`picture`] puts a picture of Now where the grower looks from away.

pub mod life_sign;
pub mod picture;

use std::path::Path;
use std::time::Duration;

use axum::body::Bytes;
use axum::http::Request;

use crate::clock::Clock;
use crate::http_out::{Answer, Client, Unusable};
use crate::keeper::event::Event;
use crate::keeper::handle::Handle;

/// How long one call may take, from looking up the name to the last byte of the answer.
const CALL_LIMIT: Duration = Duration::from_secs(20);
/// Most of an answer that is read, bytes: nobody needs its words.
const MOST_READ: usize = 64 * 1024;
/// How long to wait for a clock that can be believed before certificates are read.
const NO_TIME_YET: Duration = Duration::from_secs(60);

/// One far end: its address, and whether it could last be reached.
struct FarEnd {
    name: &'static str,
    url: String,
    client: Client,
    keeper: Handle,
    away: Option<String>,
}

impl FarEnd {
    fn new(
        name: &'static str,
        url: String,
        authority: Option<&Path>,
        keeper: Handle,
    ) -> Result<Self, Unusable> {
        let client = Client::new(authority, CALL_LIMIT)?;
        Ok(Self { name, url, client, keeper, away: None })
    }

    /// Whether certificates have to be read while nobody knows the time.
    fn needs_the_time(&self, clock: &dyn Clock) -> bool {
        self.url.starts_with("https:") && clock.vouched_by().is_none()
    }

    /// Calls once; or why it was not taken.
    async fn call(&self, request: Request<Bytes>) -> Result<(), Refused> {
        match self.client.call(request, MOST_READ).await {
            Ok(answer) if answer.status.is_success() => Ok(()),
            Ok(answer) => Err(Refused::by(&answer)),
            Err(trouble) => Err(Refused { why: trouble.to_string(), after_ms: None }),
        }
    }

    /// Tells the page that this end is away, or back, when that is news. A keeper that is gone needs no telling.
    async fn say(&mut self, why: Option<String>) {
        if self.away != why {
            self.away.clone_from(&why);
            let event = Event::Away { source: self.name.to_owned(), why };
            if self.keeper.events.send(event).await.is_err() {
                tracing::debug!(self.name, "the keeper has stopped");
            }
        }
    }
}

/// Why a call was not taken, and when the far end wants to be asked again, ms.
struct Refused {
    why: String,
    after_ms: Option<i64>,
}

impl Refused {
    fn by(answer: &Answer) -> Self {
        let status = answer.status;
        let why = if status.is_redirection() {
            format!(
                "answered {status}: it points elsewhere, and that is not followed; write the address it leads to"
            )
        } else {
            format!("answered {status}")
        };
        Self { why, after_ms: answer.retry_after_ms }
    }
}
