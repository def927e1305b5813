//! Webhook: each step as one HTTP POST to an address of the site file, for whatever the grower runs there.
//!
//! The body is the JSON of the [notice topic](super::notice_topic), the same bytes at each try. Beside it:
//!
//! | field | says |
//! | --- | --- |
//! | `Idempotency-Key` | the errand's public id: drop what you have seen |
//! | `Glasshour-Time` | when this try was made, s since 1970 UTC; 0 while the board does not know the time |
//! | `Glasshour-Signature` | `sha256=` and, in hexadecimal, the HMAC (RFC 2104) of that time, a full stop and the body |
//!
//! Whoever checks the signature knows that the step comes from here, and by the time that it is no old one sent again.
//! Redirects are not followed; the answer's text is read and shown to nobody, so that an address in the house cannot be
//! read through us. A name may not lead to this machine itself: where that is meant, the site file says `127.0.0.1`.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use axum::body::Bytes;
use axum::http::{Request, Uri};
use ring::hmac;

use super::notice_topic::payload;
use super::outbox::{Delivery, Errand, Waiting};
use super::runner::Courier;
use super::{hexadecimal, public_id};
use crate::clock::Clock;
use crate::http_out::{Client, Trouble, Unusable};

/// The courier's name in the outbox.
pub const NAME: &str = "webhook";

/// The longest one call may take; shorter than a whole try.
const CALL_LIMIT: Duration = Duration::from_secs(20);
/// The longest answer read, bytes.
const ANSWER: usize = 64 * 1024;

/// What the site file says of the webhook.
#[derive(Clone)]
pub struct Settings {
    /// Where to.
    pub url: String,
    /// What the signature is made with.
    pub secret: String,
    /// PEM file with a further authority to trust.
    pub authority: Option<PathBuf>,
    /// The site's name.
    pub site: String,
}

/// Why there can be no webhook.
#[derive(Debug, thiserror::Error)]
pub enum Unset {
    /// The address is none.
    #[error("webhook to {0}: write http:// or https:// and a host")]
    Address(String),
    /// No connection can be made.
    #[error("webhook: {0}")]
    Client(#[from] Unusable),
}

/// The webhook courier.
pub struct Webhook {
    client: Client,
    uri: Uri,
    key: hmac::Key,
    site: String,
    epoch: String,
    clock: Arc<dyn Clock>,
}

impl Webhook {
    /// Sets the courier up; nothing is sent yet. `epoch` names the ledger.
    ///
    /// # Errors
    ///
    /// [`Unset`], in words for the grower.
    pub fn new(settings: &Settings, epoch: String, clock: Arc<dyn Clock>) -> Result<Self, Unset> {
        let uri: Uri = settings.url.parse().map_err(|_| Unset::Address(settings.url.clone()))?;
        let host = uri.host().filter(|_| matches!(uri.scheme_str(), Some("http" | "https")));
        if host.is_none() {
            return Err(Unset::Address(settings.url.clone()));
        }
        Ok(Self {
            client: Client::new(settings.authority.as_deref(), CALL_LIMIT)?,
            key: hmac::Key::new(hmac::HMAC_SHA256, settings.secret.as_bytes()),
            uri,
            site: settings.site.clone(),
            epoch,
            clock,
        })
    }

    fn request(&self, body: String, id: &str) -> Result<Request<Bytes>, String> {
        let known = self.clock.vouched_by().is_some();
        let time_s = if known { self.clock.wall_ms().div_euclid(1000) } else { 0 };
        Request::post(self.uri.clone())
            .header("Content-Type", "application/json")
            .header("Idempotency-Key", id)
            .header("Glasshour-Time", time_s)
            .header("Glasshour-Signature", signature(&self.key, time_s, body.as_bytes()))
            .body(body.into())
            .map_err(|error| error.to_string())
    }
}

impl Courier for Webhook {
    fn name(&self) -> &'static str {
        NAME
    }

    fn needs_the_time(&self) -> bool {
        self.uri.scheme_str() == Some("https")
    }

    async fn carry(&self, waiting: &Waiting) -> Delivery {
        let Errand::Step(step) = &waiting.errand else {
            return Delivery::Never { why: "letters travel by mail only".to_owned() };
        };
        let id = public_id(waiting.entry, &self.epoch);
        let request = match self.request(payload(step, &self.site, &id), &id) {
            Ok(request) => request,
            Err(why) => return Delivery::Never { why },
        };
        match self.client.call(request, ANSWER).await {
            Ok(answer) => judge(answer.status.as_u16(), answer.retry_after_ms),
            // It was taken or not: the far end knows it by its key.
            Err(trouble @ Trouble::TooLong { .. }) => {
                Delivery::Later { why: format!("{trouble}; it may have arrived"), after_ms: None }
            }
            Err(trouble) => Delivery::Later { why: trouble.to_string(), after_ms: None },
        }
    }
}

fn signature(key: &hmac::Key, time_s: i64, body: &[u8]) -> String {
    let mut context = hmac::Context::with_key(key);
    context.update(time_s.to_string().as_bytes());
    context.update(b".");
    context.update(body);
    format!("sha256={}", hexadecimal(context.sign().as_ref()))
}

/// What an answer means (RFC 9110, 15): a 2xx is taken; a 5xx, a time-out and "too many" may be so later; the rest is
/// for somebody to put right.
fn judge(status: u16, retry_after_ms: Option<i64>) -> Delivery {
    match status {
        200..300 => Delivery::Sent,
        408 | 429 | 500.. => Delivery::Later {
            why: format!("the webhook's far end wants to be asked later ({status})"),
            after_ms: retry_after_ms,
        },
        300..400 => Delivery::Never {
            why: format!(
                "the webhook's far end points elsewhere ({status}): write the new address into the site file"
            ),
        },
        _ => Delivery::Never { why: format!("the webhook's far end refuses it ({status})") },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::FastClock;

    #[test]
    fn the_signature_is_the_standards_own() {
        // RFC 4231, test case 2: key "Jefe", data "what do ya want for nothing?", here cut where time and body meet.
        let key = hmac::Key::new(hmac::HMAC_SHA256, b"Jefe");
        let wanted = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843";
        let said = hmac::sign(&key, b"what do ya want for nothing?");
        assert_eq!(hexadecimal(said.as_ref()), wanted);
        // Ours over time and body, by `printf '1940760000.{"id":1}' | openssl dgst -sha256 -hmac Jefe`.
        let ours = "sha256=7ac4648ba8f9d57f3d0c551b548256e5dcbda1690955da45b69b02d8d5a1134b";
        assert_eq!(signature(&key, 1_940_760_000, b"{\"id\":1}"), ours);
    }

    #[test]
    fn an_answer_decides_whether_it_is_asked_again() {
        for status in [200, 202, 204] {
            assert_eq!(judge(status, None), Delivery::Sent, "{status}");
        }
        for status in [408, 429, 500, 503, 599] {
            assert!(matches!(judge(status, Some(7)), Delivery::Later { after_ms: Some(7), .. }), "{status}");
        }
        for status in [301, 308, 400, 401, 404, 410, 413, 422] {
            assert!(matches!(judge(status, None), Delivery::Never { .. }), "{status}");
        }
    }

    #[test]
    fn only_an_encrypted_way_needs_the_time_and_what_is_no_address_is_refused() {
        let hook = |url: &str| {
            let settings = Settings {
                url: url.to_owned(),
                secret: "seven lean cabbages".to_owned(),
                authority: None,
                site: "garden".to_owned(),
            };
            Webhook::new(&settings, "e5".to_owned(), Arc::new(FastClock::new(0, 1.0)))
        };
        assert!(hook("https://hook.garden.example/in").unwrap().needs_the_time());
        assert!(!hook("http://192.168.1.9/in").unwrap().needs_the_time());
        for wrong in ["hook.garden.example", "/in", "ftp://hook.garden.example", ""] {
            assert!(matches!(hook(wrong), Err(Unset::Address(_))), "{wrong}");
        }
    }
}
