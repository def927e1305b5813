//! One message to one phone: the request to its push service (RFC 8030, 5), and what was answered.

use std::time::Duration;

use axum::body::Bytes;
use axum::http::Request;

use super::judge::{Outcome, judge};
use super::message::Message;
use super::phones::{self, Phone};
use super::vapid::Vapid;
use super::{Settings, encrypt};
use crate::http_out::{Client, Reach, Unusable};

/// The longest one call may take; shorter than a whole try, so that a service's own words reach the grower.
const CALL_LIMIT: Duration = Duration::from_secs(20);
/// The longest answer read, bytes. Nobody is shown it.
const ANSWER: usize = 64 * 1024;

/// Who sends.
pub(super) struct Post {
    vapid: Vapid,
    outside: Client,
    /// Which address inside may be called, and by what.
    inside: Option<(String, Client)>,
}

impl Post {
    /// Sends to push services outside, and to the one inside that the settings name.
    pub(super) fn new(settings: &Settings, vapid: Vapid) -> Result<Self, Unusable> {
        let inside = match &settings.own_service {
            Some(origin) => Some((origin.clone(), Client::new(None, CALL_LIMIT)?)),
            None => None,
        };
        Ok(Self { vapid, outside: Client::reaching(Reach::Outside, None, CALL_LIMIT)?, inside })
    }

    /// Sends one message to one phone.
    pub(super) async fn send(&self, phone: &Phone, message: &Message, life_s: i64, now_ms: i64) -> Outcome {
        let origin = match phones::origin(&phone.endpoint) {
            Ok(origin) => origin,
            Err(why) => return Outcome::Refused(why),
        };
        let client = match &self.inside {
            Some((inside, client)) if *inside == origin => client,
            _ => &self.outside,
        };
        let request = match self.request(phone, &origin, message, life_s, now_ms) {
            Ok(request) => request,
            Err(why) => return Outcome::Refused(why),
        };
        judge(client.call(request, ANSWER).await)
    }

    fn request(
        &self,
        phone: &Phone,
        origin: &str,
        message: &Message,
        life_s: i64,
        now_ms: i64,
    ) -> Result<Request<Bytes>, String> {
        let sealed = encrypt::seal(message.text.as_bytes(), &phone.receiver);
        let sealed = sealed.map_err(|error| error.to_string())?;
        let who = self.vapid.authorization(origin, now_ms).map_err(|error| error.to_string())?;
        Request::post(phone.endpoint.as_str())
            .header("TTL", life_s)
            .header("Urgency", message.urgency)
            .header("Topic", message.topic.as_str())
            .header("Content-Encoding", "aes128gcm")
            .header("Content-Type", "application/octet-stream")
            .header("Authorization", who)
            .body(sealed.into())
            .map_err(|error| error.to_string())
    }
}
