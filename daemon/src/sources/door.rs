//! The door: probes publish straight to the board, and its acknowledgement means durable.
//!
//! For growers without a broker. It is no broker: it takes PUBLISH at QoS 0 and 1 by MQTT 3.1.1 and gives
//! nothing out. A PUBACK is sent when the keeper has the message on disk, and not before, so a probe that keeps
//! what was not acknowledged loses nothing whatever happens to the board. Many may be in flight, and they may be
//! acknowledged in any order.
//!
//! Without passwords it opens on the board itself only, and any client may speak for any probe. With passwords
//! a probe logs in by its own name and speaks for itself alone. MQTT 3.1.1 cannot say "not allowed" to a message,
//! so what nobody asked for is acknowledged, dropped, counted and told.
//!
//! Everything has a limit: clients, the time to say hello, silence, the size of a packet, messages not yet
//! acknowledged. At the limit of clients the newest is turned away; at the limit of messages a client is not read.
//!
//! # Source
//!
//! MQTT Version 3.1.1, OASIS Standard (2014).

mod strangers;
mod visit;
mod wire;

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use rumqttc::mqttbytes::v4::{Connect, Publish};
use tokio::net::TcpListener;
use tokio::sync::mpsc;
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

use self::strangers::Strangers;
use self::wire::{Parting, Wire};
use super::flood::Flood;
use super::message;
use super::numbers::Missing;
use super::payload::{RuleFault, TopicRule, TopicRules};
use crate::clock::Clock;
use crate::keeper::event::{Acknowledge, Event};
use crate::reading::ProbeName;
use crate::supervise::Outcome;

/// Why the door does not open.
#[derive(Debug, thiserror::Error)]
pub enum DoorFault {
    /// Anybody in the network could speak for any probe.
    #[error("the door opens on {0} only with a password for each probe; without, only on 127.0.0.1 or ::1")]
    Open(std::net::SocketAddr),
    /// A password is empty.
    #[error("the password of probe {0} is empty")]
    NoPassword(ProbeName),
    /// The rules cannot be used together.
    #[error(transparent)]
    Rules(#[from] RuleFault),
    /// The listener has no address.
    #[error("where the door opens is unknown: {0}")]
    Listener(#[from] std::io::Error),
}

/// How much the door takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DoorLimits {
    /// Clients at a time.
    pub clients: usize,
    /// Time for a client's first packet.
    pub welcome: Duration,
    /// Messages of one client that are not acknowledged yet.
    pub unanswered: usize,
}

impl Default for DoorLimits {
    fn default() -> Self {
        Self { clients: 64, welcome: Duration::from_secs(10), unanswered: 1000 }
    }
}

/// The door, not yet open.
pub struct Door {
    listener: TcpListener,
    rules: TopicRules,
    passwords: BTreeMap<ProbeName, String>,
    limits: DoorLimits,
}

impl Door {
    /// A door at a listener. `passwords` by probe, which is also the user name; none for a door on the board
    /// itself.
    ///
    /// # Errors
    ///
    /// [`DoorFault`].
    pub fn new(
        listener: TcpListener,
        rules: Vec<TopicRule>,
        passwords: BTreeMap<ProbeName, String>,
        limits: DoorLimits,
    ) -> Result<Self, DoorFault> {
        let address = listener.local_addr()?;
        if passwords.is_empty() && !address.ip().is_loopback() {
            return Err(DoorFault::Open(address));
        }
        if let Some((probe, _)) = passwords.iter().find(|(_, password)| password.is_empty()) {
            return Err(DoorFault::NoPassword(probe.clone()));
        }
        // With none unanswered allowed nothing would ever be read.
        let limits = DoorLimits { unanswered: limits.unanswered.max(1), ..limits };
        Ok(Self { listener, rules: TopicRules::new(rules)?, passwords, limits })
    }

    /// Lets clients in until told to stop.
    ///
    /// # Errors
    ///
    /// None: what a client does wrong ends that client's visit.
    pub async fn run(
        self,
        events: mpsc::Sender<Event>,
        clock: Arc<dyn Clock>,
        stop: CancellationToken,
    ) -> Outcome {
        let hall = Arc::new(Hall {
            rules: self.rules,
            passwords: self.passwords,
            limits: self.limits,
            events,
            clock,
            strangers: Mutex::default(),
            seats: Mutex::default(),
            missing: Mutex::default(),
        });
        let mut visits = JoinSet::new();
        let mut full = false;
        loop {
            tokio::select! {
                biased;
                () = stop.cancelled() => break,
                Some(ended) = visits.join_next() => {
                    full = false;
                    if let Err(error) = ended {
                        tracing::error!(%error, "a visit at the door ended badly");
                    }
                }
                client = self.listener.accept() => match client {
                    Ok((stream, _)) if visits.len() < self.limits.clients => {
                        visits.spawn(visit::serve(hall.clone(), Wire::new(stream), stop.clone()));
                    }
                    Ok(_) => {
                        if !full {
                            tracing::warn!(clients = visits.len(), "the door is full; turning clients away");
                        }
                        full = true;
                    }
                    // Out of file descriptors, usually: to try again at once would spin.
                    Err(error) => {
                        tracing::warn!(%error, "the door could not let a client in");
                        tokio::time::sleep(Duration::from_secs(1)).await;
                    }
                },
            }
        }
        while visits.join_next().await.is_some() {}
        Ok(())
    }
}

/// A client's place, and the word that somebody else has taken it.
#[derive(Clone)]
struct Place {
    number: u64,
    replaced: CancellationToken,
}

/// A probe where it is known, and a client id.
type Seat = (Option<ProbeName>, String);

/// Nobody who may come in.
struct Unknown;

/// What all visits share.
struct Hall {
    rules: TopicRules,
    passwords: BTreeMap<ProbeName, String>,
    limits: DoorLimits,
    events: mpsc::Sender<Event>,
    clock: Arc<dyn Clock>,
    strangers: Mutex<Strangers>,
    seats: Mutex<(u64, BTreeMap<Seat, Place>)>,
    missing: Mutex<Missing>,
}

impl Hall {
    /// Who a client is: a probe by its password, or nobody in particular where there are no passwords.
    fn recognise(&self, connect: &Connect) -> Result<Option<ProbeName>, Unknown> {
        if self.passwords.is_empty() {
            return Ok(None);
        }
        let login = connect.login.as_ref().ok_or(Unknown)?;
        let (probe, password) = self.passwords.get_key_value(login.username.as_str()).ok_or(Unknown)?;
        if same(password.as_bytes(), login.password.as_bytes()) {
            Ok(Some(probe.clone()))
        } else {
            Err(Unknown)
        }
    }

    /// Gives a client its place; whoever came with the same id before has to leave (MQTT-3.1.4-2).
    fn seat(&self, seat: &Seat) -> Place {
        let (taken, seats) = &mut *locked(&self.seats);
        *taken += 1;
        let place = Place { number: *taken, replaced: CancellationToken::new() };
        // Clients without an id of their own are all different.
        if !seat.1.is_empty()
            && let Some(before) = seats.insert(seat.clone(), place.clone())
        {
            before.replaced.cancel();
        }
        place
    }

    /// Gives the place up, unless somebody else has it already.
    fn leave(&self, seat: &Seat, place: &Place) {
        let (_, seats) = &mut *locked(&self.seats);
        if seats.get(seat).is_some_and(|kept| kept.number == place.number) {
            seats.remove(seat);
        }
    }

    /// Hands a message to the keeper as far as `probe` may say it.
    async fn hear(
        &self,
        probe: Option<&ProbeName>,
        publish: &Publish,
        done: Option<Acknowledge>,
        flood: &mut Flood,
    ) -> Result<(), Parting> {
        let arrived_mono_ms = self.clock.monotonic_ms();
        // A publisher's "retain" asks the broker to keep it; only "dup" says that it comes once more.
        let mut said = self.rules.hear(&publish.topic, &publish.payload, publish.dup);
        let known = !said.is_empty();
        said.retain(|(whose, _)| probe.is_none_or(|probe| probe == whose));
        if !said.is_empty() {
            let topic = &publish.topic;
            let mut events = locked(&self.missing).count(&self.rules, topic, &publish.payload, probe);
            events.extend(message::events(said, &publish.payload, arrived_mono_ms, done));
            return self.send_all(flood.pass(&self.rules, topic, events, arrived_mono_ms)).await;
        }
        let complaint = if known { "may not speak on the topic" } else { "no rule names the topic" };
        let complaint = format!("{complaint} {}", super::payload::sample(publish.topic.as_bytes()));
        let news = locked(&self.strangers).met(complaint);
        if let Some(sample) = news {
            let probe = probe.cloned().unwrap_or_else(|| "door".into());
            self.send(Event::Malformed { probe, sample, done }).await?;
        } else if let Some(done) = done {
            done();
        }
        Ok(())
    }

    async fn send_all(&self, events: Vec<Event>) -> Result<(), Parting> {
        for event in events {
            self.send(event).await?;
        }
        Ok(())
    }

    async fn send(&self, event: Event) -> Result<(), Parting> {
        self.events.send(event).await.map_err(|_| Parting::Closing)
    }
}

/// Whether two passwords are the same, in a time that does not tell how much of them is.
fn same(one: &[u8], other: &[u8]) -> bool {
    one.len() == other.len() && one.iter().zip(other).fold(0, |differs, (a, b)| differs | (a ^ b)) == 0
}

/// Nothing that is done under these locks can leave what they guard half changed.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
