//! Web push: a notice on the grower's phone, also while no page is open (RFC 8030).
//!
//! A browser that subscribed has a push service of its maker, which holds messages for it and wakes it. We send each
//! step there once for each phone, encrypted for that phone ([`encrypt`]) and signed by us ([`vapid`]), under a topic
//! of its notice, so that a newer step replaces an older one that was not fetched yet, and a repeat is no second
//! message. Which phones there are stands in the ledger ([`phones`]).
//!
//! One errand goes to all phones at once, so that none waits for another. Who took it is kept in memory from the moment
//! of the answer, so that another try, also after one that was broken off, goes to the others only; after a kill it goes
//! to all again, under the same topic and tag, and shows once. A phone whose service says that it is gone is dropped,
//! and an entry says so.

pub mod base64url;
pub mod encrypt;
mod judge;
mod message;
pub mod own_key;
pub mod phones;
mod post;
pub mod vapid;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

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
pub type Read = Box<dyn FnMut(i64) -> Result<Vec<Entry>, String> + Send>;

/// The web push courier.
pub struct WebPush {
    post: Post,
    keeper: Handle,
    clock: Arc<dyn Clock>,
    epoch: String,
    memory: Mutex<Memory>,
}

/// What all tries under way share. It is held for a look or a word, never while anybody is waited for.
struct Memory {
    read: Read,
    /// The number of the last entry learnt.
    seen: i64,
    phones: Phones,
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
            keeper,
            clock,
            epoch,
            memory: Mutex::new(Memory {
                read,
                seen: 0,
                phones: Phones::default(),
                took: BTreeMap::new(),
                not_before: BTreeMap::new(),
            }),
        })
    }

    fn memory(&self) -> MutexGuard<'_, Memory> {
        // Whole after each statement, so a panic elsewhere leaves nothing half done here.
        self.memory.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Sends to one phone, unless it is to be left alone, and remembers how it went.
    async fn send(&self, phone: &Phone, errand: &Sending<'_>) -> Outcome {
        if let Some(until_ms) = self.memory().not_before.get(&phone.phone) {
            return Outcome::wait(until_ms - errand.now_ms);
        }
        let outcome = self.post.send(phone, &errand.message, errand.life_s, errand.now_ms).await;
        match &outcome {
            Outcome::Took => {
                let mut memory = self.memory();
                let taken = memory.taken(errand.notice, errand.waiting, errand.now_ms);
                taken.phones.insert(phone.phone.clone());
            }
            Outcome::Gone(why) => self.drop_phone(phone, why).await,
            Outcome::Later { after_ms: Some(after_ms), .. } => {
                let until_ms = errand.now_ms.saturating_add(*after_ms);
                self.memory().not_before.insert(phone.phone.clone(), until_ms);
            }
            Outcome::Later { .. } | Outcome::Refused(_) => {}
        }
        outcome
    }

    /// Drops a phone; an entry says so.
    async fn drop_phone(&self, phone: &Phone, why: &str) {
        let note = Note::PhoneGone { phone: phone.phone.clone(), why: why.to_owned() };
        // Not noted is not dropped: it is met again with the next errand.
        if let Err(refusal) = self.keeper.note(note, None).await {
            tracing::warn!(phone = %phone.name, %refusal, "a phone is gone, which was not noted");
        }
    }
}

/// One try of one errand.
struct Sending<'a> {
    waiting: &'a Waiting,
    notice: &'a str,
    message: Message,
    life_s: i64,
    now_ms: i64,
}

impl Memory {
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
}

impl Courier for WebPush {
    fn name(&self) -> &'static str {
        NAME
    }

    fn needs_the_time(&self) -> bool {
        true
    }

    async fn carry(&self, waiting: &Waiting) -> Delivery {
        let Errand::Step(step) = &waiting.errand else {
            return Delivery::Never { why: "letters travel by mail only".to_owned() };
        };
        let now_ms = self.clock.wall_ms();
        let (others, took_before) = {
            let mut memory = self.memory();
            if let Err(why) = memory.learn() {
                return Delivery::Later { why: format!("the phones cannot be read: {why}"), after_ms: None };
            }
            let taken = memory.taken(&step.notice, waiting, now_ms).phones.clone();
            let others = memory.phones.here.iter().filter(|phone| !taken.contains(&phone.phone));
            (others.cloned().collect::<Vec<Phone>>(), taken.len())
        };
        let errand = Sending {
            waiting,
            notice: &step.notice,
            message: Message::of(step, &public_id(waiting.entry, &self.epoch), &self.epoch),
            life_s: life_s(waiting.expires_ms, now_ms),
            now_ms,
        };
        let sent = join_all(others.iter().map(|phone| self.send(phone, &errand))).await;
        delivery(took_before, others.iter().map(|phone| phone.name.as_str()).zip(sent).collect())
    }
}
