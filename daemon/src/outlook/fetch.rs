//! A forecast fetched from an address, again and again.
//!
//! The service is asked at the interval of the site file, with the mark (`ETag`, RFC 9110) of what it sent last, so that it
//! may answer "not changed". After a failure it is asked again sooner at first, then ever later up to the interval; where
//! it says itself when to come back, that is when.

use std::time::Duration;

use axum::body::Bytes;
use axum::http::{Request, StatusCode, Uri, header};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng as _;
use tokio_util::sync::CancellationToken;

use super::intake::{Intake, KeeperGone, Taken};
use super::parse::LARGEST;
use crate::http_out::{Answer, Client};
use crate::sources::pause::Pause;
use crate::supervise::Outcome;

/// First pause after a failure.
const FIRST: Duration = Duration::from_secs(30);
/// The longest that a service's own wish is followed.
const LONGEST: Duration = Duration::from_secs(24 * 3600);

/// Fetches until told to stop.
///
/// # Errors
///
/// Never: a service that cannot be reached is told to the keeper and asked again.
pub async fn run(url: Uri, client: Client, intake: Intake, stop: CancellationToken) -> Outcome {
    tokio::select! {
        () = stop.cancelled() => {}
        // Without a keeper the program is about to stop.
        KeeperGone = for_ever(url, client, intake) => stop.cancelled().await,
    }
    Ok(())
}

async fn for_ever(url: Uri, client: Client, mut intake: Intake) -> KeeperGone {
    intake = intake.asked();
    let mut pause = Pause::new(FIRST, intake.every().max(FIRST));
    let mut odds = Pcg32::new(intake.clock().wall_ms().unsigned_abs(), 2);
    let mut mark = None;
    loop {
        let wish = match once(&url, &client, &mut intake, &mut mark).await {
            Ok(next) => next,
            Err(gone) => return gone,
        };
        let jitter = f64::from(odds.next_u32()) / f64::from(u32::MAX);
        let wait = match wish {
            Next::AtTheInterval => {
                pause.reset();
                // Not all boards at the full hour.
                intake.every().mul_f64(0.95 + 0.05 * jitter)
            }
            Next::Sooner(None) => pause.next(jitter),
            Next::Sooner(Some(wish)) => wish,
        };
        tracing::debug!(seconds = wait.as_secs(), "the outlook is asked again");
        tokio::time::sleep(intake.clock().real(wait)).await;
    }
}

/// When to ask again.
#[derive(Debug, PartialEq, Eq)]
enum Next {
    AtTheInterval,
    /// After a pause, or when the service wishes, within [`FIRST`] and [`LONGEST`].
    Sooner(Option<Duration>),
}

async fn once(
    url: &Uri,
    client: &Client,
    intake: &mut Intake,
    mark: &mut Option<header::HeaderValue>,
) -> Result<Next, KeeperGone> {
    let mut request = Request::get(url.clone()).header(header::ACCEPT, "application/json");
    request = request.header(header::USER_AGENT, concat!("glasshour/", env!("CARGO_PKG_VERSION")));
    if let Some(mark) = mark.as_ref() {
        request = request.header(header::IF_NONE_MATCH, mark.clone());
    }
    let called = match request.body(Bytes::new()) {
        Ok(request) => client.call(request, LARGEST).await.map_err(|trouble| trouble.to_string()),
        Err(error) => Err(error.to_string()),
    };
    let answer = match called {
        Ok(answer) => answer,
        Err(why) => {
            let again = intake.again(intake.every());
            intake.trouble(why + &again).await?;
            return Ok(Next::Sooner(None));
        }
    };
    match answer.status {
        StatusCode::OK => {
            let taken = intake.take(&answer.body, false).await?;
            // What was not taken is to come again whole.
            *mark = answer.headers.get(header::ETAG).filter(|_| taken == Taken::Well).cloned();
            Ok(if taken == Taken::Later { Next::Sooner(None) } else { Next::AtTheInterval })
        }
        StatusCode::NOT_MODIFIED if mark.is_some() => {
            intake.well().await?;
            Ok(Next::AtTheInterval)
        }
        _ => {
            let wish = answer.retry_after_ms.and_then(|ms| u64::try_from(ms).ok());
            let wish = wish.map(|ms| Duration::from_millis(ms).max(FIRST).min(LONGEST));
            let again = intake.again(wish.unwrap_or(intake.every()));
            intake.trouble(said(&answer) + &again).await?;
            Ok(Next::Sooner(wish))
        }
    }
}

fn said(answer: &Answer) -> String {
    let status = answer.status.as_u16();
    if answer.status.is_redirection() {
        return format!("the service sends us elsewhere (status {status}), which is not followed");
    }
    format!("the service answers with status {status}")
}

#[cfg(test)]
#[path = "fetch_tests.rs"]
mod tests;
