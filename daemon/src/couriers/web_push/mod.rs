//! Web push: a notice on the grower's phone, also while no page is open (RFC 8030).
//!
//! A browser that subscribed has a push service of its maker, which holds messages for it and wakes it. We send each
//! step there once for each phone, encrypted for that phone ([`encrypt`]) and signed by us ([`vapid`]), under a topic
//! of its notice, so that a newer step replaces an older one that was not fetched yet, and a repeat is no second
//! message. Which phones there are stands in the ledger ([`phones`]).
//!
//! One errand goes to all phones. Who took it is kept in memory, so that another try goes to the others only; after a
//! kill it goes to all again, under the same topic and tag, and shows once. A phone whose service says that it is gone
//! is dropped, and an entry says so.

pub mod base64url;
pub mod encrypt;
mod judge;
mod message;
pub mod own_key;
pub mod phones;
mod post;
pub mod vapid;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use futures_util::future::join_all;

use self::judge::{Outcome, delivery};
use self::message::{Message, life_s};
use self::phones::{Phone, Phones};
use self::post::Post;
use self::vapid::Vapid;
use super::outbox::{Delivery, Errand, Waiting};
use super::public_id;
use super::runner::Courier;
use crate::clock::Clock;
use crate::entry::{Entry, Note};
use crate::http_out::Unusable;
use crate::keeper::handle::Handle;

/// The courier's name in the outbox.
pub const NAME: &str = "web push";

/// What the site file says of web push.
#[derive(Clone, Debug)]
pub struct Settings {
    /// Whom the people of a push service may write to: `mailto:` or `https:`.
    pub contact: String,
    /// A push service inside the house: scheme, host and port. Any other address inside is not called.
    pub own_service: Option<String>,
}

/// Reads the entries after a number, in order.
pub type Read = Box<dyn FnMut(i64) -> Result<Vec<Entry>, String> + Send + Sync>;

/// The web push courier.
pub struct WebPush {
    post: Post,
    read: Read,
    /// The number of the last entry learnt.
    seen: i64,
    phones: Phones,
    keeper: Handle,
    clock: Arc<dyn Clock>,
    epoch: String,
    /// By notice: who took its newest errand.
    took: BTreeMap<String, Taken>,
    /// By phone: not to be asked before, UTC ms, because its service said so.
    not_before: BTreeMap<String, i64>,
}

/// Who took an errand.
#[derive(Default)]
struct Taken {
    entry: i64,
    phones: BTreeSet<String>,
    expires_ms: i64,
}

impl WebPush {
    /// Sets the courier up; nothing is sent or read yet. `epoch` names the ledger; `read` reads its entries.
    ///
    /// # Errors
    ///
    /// When the encryption cannot be set up.
    pub fn new(
        settings: &Settings,
        vapid: Vapid,
        epoch: String,
        read: Read,
        keeper: Handle,
        clock: Arc<dyn Clock>,
    ) -> Result<Self, Unusable> {
        Ok(Self {
            post: Post::new(settings, vapid)?,
            read,
            seen: 0,
            phones: Phones::default(),
            keeper,
            clock,
            epoch,
            took: BTreeMap::new(),
            not_before: BTreeMap::new(),
        })
    }

    /// Learns which phones came and went.
    fn learn(&mut self) -> Result<(), String> {
        for entry in (self.read)(self.seen)? {
            self.seen = self.seen.max(entry.id);
            self.phones.learn(&entry);
        }
        Ok(())
    }

    /// What is remembered of this errand; what is over is forgotten.
    fn taken(&mut self, notice: &str, waiting: &Waiting, now_ms: i64) -> &mut Taken {
        self.took.retain(|it, taken| it == notice || taken.expires_ms > now_ms);
        self.not_before.retain(|_, until_ms| *until_ms > now_ms);
        let taken = self.took.entry(notice.to_owned()).or_default();
        if taken.entry != waiting.entry {
            *taken = Taken { entry: waiting.entry, expires_ms: waiting.expires_ms, ..Taken::default() };
        }
        taken
    }

    /// Drops a phone; an entry says so.
    async fn drop_phone(&mut self, phone: &Phone, why: &str) {
        let note = Note::PhoneGone { phone: phone.phone.clone(), why: why.to_owned() };
        // Not noted is not dropped: it is met again with the next errand.
        if let Err(refusal) = self.keeper.note(note, None).await {
            tracing::warn!(phone = %phone.name, %refusal, "a phone is gone, which was not noted");
        }
    }
}

impl Courier for WebPush {
    fn name(&self) -> &'static str {
        NAME
    }

    fn needs_the_time(&self) -> bool {
        true
    }

    async fn carry(&mut self, waiting: &Waiting) -> Delivery {
        let Errand::Step(step) = &waiting.errand else {
            return Delivery::Never { why: "letters travel by mail only".to_owned() };
        };
        if let Err(why) = self.learn() {
            return Delivery::Later { why: format!("the phones cannot be read: {why}"), after_ms: None };
        }
        let now_ms = self.clock.wall_ms();
        let message = &Message::of(step, &public_id(waiting.entry, &self.epoch), &self.epoch);
        let life_s = life_s(waiting.expires_ms, now_ms);
        let taken = self.taken(&step.notice, waiting, now_ms).phones.clone();
        let others: Vec<Phone> =
            self.phones.here.iter().filter(|phone| !taken.contains(&phone.phone)).cloned().collect();
        let post = &self.post;
        let waits: Vec<Option<i64>> =
            others.iter().map(|phone| self.not_before.get(&phone.phone).copied()).collect();
        let sendings = others.iter().zip(waits).map(|(phone, until_ms)| async move {
            match until_ms {
                Some(until_ms) => Outcome::wait(until_ms - now_ms),
                None => post.send(phone, message, life_s, now_ms).await,
            }
        });
        let sent = join_all(sendings).await;
        for (phone, outcome) in others.iter().zip(&sent) {
            match outcome {
                Outcome::Took => {
                    self.taken(&step.notice, waiting, now_ms).phones.insert(phone.phone.clone());
                }
                Outcome::Gone(why) => self.drop_phone(phone, why).await,
                Outcome::Later { after_ms: Some(after_ms), .. } => {
                    self.not_before.insert(phone.phone.clone(), now_ms.saturating_add(*after_ms));
                }
                Outcome::Later { .. } | Outcome::Refused(_) => {}
            }
        }
        let named = others.iter().map(|phone| phone.name.as_str()).zip(sent);
        delivery(taken.len(), named.collect())
    }
}
