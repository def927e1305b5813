//! A broker elsewhere, heard by MQTT 3.1.1, which every broker speaks. Of MQTT 5 only the countdown of a message's
//! expiry would tell us more: how long a number without a time had waited.
//!
//! Two connections, because messages are of two kinds. Those that carry their own time may wait: they come over
//! a session the broker keeps for us, at QoS 1, and are acknowledged only once the keeper has them on disk.
//! Those without a time are dated by their arrival, so they must not wait: they come at QoS 0 over a session
//! that is forgotten when the link breaks.
//!
//! Each connection gets a new client and a new event loop, and they go when it ends. Whatever was queued in them
//! goes too: messages that were read and not handed on, and acknowledgements, whose packet numbers mean
//! something else to the next session. An acknowledgement holds the client it belongs to and no other. What was
//! not acknowledged comes again.
//!
//! The bounded queue to the keeper is the brake. While it is full nothing is read; if that lasts longer than one
//! and a half keep-alives the broker hangs up, and everything comes again.
//!
//! # Source
//!
//! MQTT Version 3.1.1, OASIS Standard (2014); what brokers and the client really do was tried against Mosquitto.

mod intake;
mod standing;
mod trial;
mod way;

use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng as _;
use rumqttc::{AsyncClient, ConnectionError, Event as Wire, EventLoop, MqttOptions, Packet, Publish, QoS};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use self::intake::Intake;
pub(crate) use self::standing::why;
use self::standing::{Standing, State, TakeOvers, is_hang_up, oversize};
pub use self::trial::try_out;
use self::way::{Way, echoes, listen};
use super::pause::Pause;
use super::payload::{TopicRule, TopicRules};
use super::topic::is_under;
use super::{BROKER, message};
use crate::clock::Clock;
use crate::keeper::event::{Acknowledge, Event};
use crate::supervise::Outcome;

/// Far above the broker settings we ship (64 kB): one message over it would end the link again and again.
const MAX_PACKET: usize = 2_000_000;
/// Room for an acknowledgement of every packet number there is, and for subscribing: none is ever turned away.
const REQUESTS: usize = 65_535 + 64;
/// So many ends in a row by a message that is too large, and the broker's queue is given up to get past it.
const OVERSIZE_IN_A_ROW: u32 = 3;

/// Where the broker is and who we are there.
#[derive(Clone)]
pub struct BrokerSettings {
    /// Name or address.
    pub host: String,
    /// Port, usually 1883.
    pub port: u16,
    /// Our name there; must be ours alone and stay the same, since the broker keeps our messages under it.
    pub client_id: String,
    /// User name and password.
    pub login: Option<(String, String)>,
    /// What we ourselves publish lies under this topic and is not listened to; empty for nothing.
    pub own_prefix: String,
    /// How often a silent connection is tried; at least 1 s, 30 s is a good value.
    pub keep_alive: Duration,
    /// Pauses between tries.
    pub pause: Pause,
}

/// Hears the broker until told to stop.
///
/// # Errors
///
/// When the rules cannot be used together, or there is no client id. A broker that cannot be reached is no
/// error: it is told as [`Event::Away`] and tried again.
pub async fn run(
    settings: BrokerSettings,
    rules: Vec<TopicRule>,
    events: mpsc::Sender<Event>,
    clock: Arc<dyn Clock>,
    stop: CancellationToken,
) -> Outcome {
    let rules = TopicRules::new(rules).map_err(|fault| fault.to_string())?;
    if settings.client_id.is_empty() {
        return Err("a client id is needed, or the broker cannot keep messages for us".to_owned());
    }
    let kinds = [rules.stamped(true), rules.stamped(false)];
    let state = |rules: &TopicRules| if rules.is_empty() { State::Unused } else { State::Unknown };
    let standing = Mutex::new(Standing::new([state(&kinds[0]), state(&kinds[1])]));
    let [kept, passing] = kinds;
    let link = |number, rules| Link {
        number,
        rules,
        settings: &settings,
        standing: &standing,
        events: &events,
        clock: clock.as_ref(),
    };
    let intake = |rules: &TopicRules| Intake::new(rules.clone(), settings.own_prefix.clone());
    let mut intakes = [intake(&kept), intake(&passing)];
    let [of_kept, of_passing] = &mut intakes;
    let (kept, passing) = (link(0, kept), link(1, passing));
    tokio::select! {
        () = stop.cancelled() => {}
        ((), ()) = async { tokio::join!(kept.keep(of_kept), passing.keep(of_passing)) } => stop.cancelled().await,
    }
    // Nothing more comes on the heels of what waits. A keeper without room must not hold up the stop.
    for event in intakes.iter_mut().flat_map(|intake| intake.flood.told(i64::MAX)) {
        let _ = events.try_send(event);
    }
    Ok(())
}

/// What a message tells the keeper, with the way to acknowledge it on the connection it came by; what tells nothing is
/// acknowledged at once. `arrived_mono_ms` is by the monotonic clock, ms.
pub fn hear(
    rules: &TopicRules,
    own_prefix: &str,
    client: &AsyncClient,
    publish: &Publish,
    arrived_mono_ms: i64,
) -> Vec<Event> {
    let Publish { dup, retain, qos, ref topic, pkid, .. } = *publish;
    let own = (!own_prefix.is_empty() && is_under(own_prefix, topic)) || is_under(&echoes(own_prefix), topic);
    // What comes over the session that the broker keeps may have waited there: its stamp alone says when it was
    // measured, and where the stamp cannot be, nothing does.
    let may_have_waited = retain || dup || qos != QoS::AtMostOnce;
    let said = if own { Vec::new() } else { rules.hear(topic, &publish.payload, may_have_waited) };
    let receipt = Publish { pkid, ..Publish::new("", qos, Vec::new()) };
    let client = client.clone();
    // On a link that is gone this goes nowhere, and the message comes again.
    let acknowledge = move || _ = client.try_ack(&receipt);
    if said.is_empty() {
        // Our own, or of a topic that an older site file asked for: it would come for ever.
        acknowledge();
        return Vec::new();
    }
    let done = (qos != QoS::AtMostOnce).then(|| Box::new(acknowledge) as Acknowledge);
    message::events(said, &publish.payload, arrived_mono_ms, done)
}

/// A connection to the broker under a name; `forget` says whether the broker is to keep nothing for it.
fn options(broker: &BrokerSettings, client_id: &str, forget: bool) -> MqttOptions {
    let mut options = MqttOptions::new(client_id, broker.host.clone(), broker.port);
    options
        .set_keep_alive(broker.keep_alive.max(Duration::from_secs(1)))
        .set_manual_acks(true)
        .set_clean_session(forget)
        .set_max_packet_size(MAX_PACKET, MAX_PACKET);
    if let Some((name, password)) = &broker.login {
        options.set_credentials(name, password);
    }
    options
}

/// The keeper has gone: there is nobody to hear for.
struct KeeperGone;

/// How a connection ended.
enum End {
    KeeperGone,
    /// The broker has dropped what it held for us, as asked.
    Purged,
    Lost {
        welcomed: bool,
        error: ConnectionError,
    },
}

/// One of the two connections, over all its lives.
struct Link<'a> {
    /// 0 keeps its session, 1 does not.
    number: usize,
    rules: TopicRules,
    settings: &'a BrokerSettings,
    standing: &'a Mutex<Standing>,
    events: &'a mpsc::Sender<Event>,
    clock: &'a dyn Clock,
}

impl Link<'_> {
    /// Connects again and again. Returns when there is nothing to hear or nobody to tell.
    async fn keep(&self, intake: &mut Intake) {
        if self.rules.is_empty() {
            return;
        }
        let mut pause = self.settings.pause.clone();
        let mut take_overs = TakeOvers::default();
        let mut odds =
            Pcg32::new(self.clock.wall_ms() as u64, u64::from(crc32fast::hash(self.client_id().as_bytes())));
        let mut way = self.way();
        let mut too_large = 0;
        loop {
            let began_ms = self.clock.monotonic_ms();
            let purge = too_large >= OVERSIZE_IN_A_ROW;
            let end = self.connection(purge, &take_overs, &mut way, intake).await;
            way.ended();
            // Nothing more comes on the heels of what waits before there is another connection.
            if self.send_all(intake.flood.told(i64::MAX)).await.is_err() {
                return;
            }
            let now_ms = self.clock.monotonic_ms();
            let state = match end {
                End::KeeperGone => return,
                End::Purged => {
                    too_large = 0;
                    let why = "a message too large for us stood in the way; what the broker held for us went with it";
                    // Also where it is counted: the link itself is well again in a moment.
                    let lost = Event::Malformed { probe: BROKER.into(), sample: why.to_owned(), done: None };
                    if self.events.send(lost).await.is_err() {
                        return;
                    }
                    why.to_owned()
                }
                End::Lost { welcomed, error } => {
                    too_large = if oversize(&error).is_some() { too_large + 1 } else { 0 };
                    // A link that lasted ends the trouble; one that breaks at once does not.
                    if !welcomed || now_ms - began_ms > pause.longest().as_millis() as i64 {
                        take_overs.reset();
                        if welcomed {
                            pause.reset();
                        }
                    }
                    if welcomed && is_hang_up(&error) && take_overs.hung_up(now_ms) {
                        pause.slow_down();
                        "the broker hangs up again and again, as it does when another Glasshour uses this client id; \
                         give each its own"
                            .to_owned()
                    } else {
                        why(&error, self.settings, welcomed)
                    }
                }
            };
            if self.tell(State::Away(state)).await.is_err() {
                return;
            }
            let jitter = f64::from(odds.next_u32()) / f64::from(u32::MAX);
            tokio::time::sleep(pause.next(jitter)).await;
        }
    }

    /// One connection, from its client's first packet to its end.
    async fn connection(
        &self,
        purge: bool,
        take_overs: &TakeOvers,
        way: &mut Way,
        intake: &mut Intake,
    ) -> End {
        let (client, mut events) =
            AsyncClient::new(options(self.settings, &self.client_id(), purge || self.number != 0), REQUESTS);
        let began_ms = self.clock.monotonic_ms();
        let settled_ms =
            if take_overs.fighting() { self.settings.pause.longest().as_millis() as i64 } else { 0 };
        let mut welcomed = false;
        let mut subscribed = false;
        loop {
            let packet = match self.next(&mut events, intake).await {
                Err(KeeperGone) => return End::KeeperGone,
                Ok(polled) => polled,
            };
            let packet = match packet {
                Ok(Wire::Incoming(packet)) => packet,
                Ok(Wire::Outgoing(_)) => continue,
                Err(error) => return End::Lost { welcomed, error },
            };
            let passed_on = match packet {
                Packet::ConnAck(_) if purge => return End::Purged,
                Packet::ConnAck(_) => {
                    welcomed = true;
                    let qos = if self.number == 0 { QoS::AtLeastOnce } else { QoS::AtMostOnce };
                    listen(&client, self.rules.filters(), qos, way.topic());
                    Ok(())
                }
                Packet::SubAck(answer) => {
                    subscribed = true;
                    self.send_all(way.granted(&answer.return_codes, self.clock.monotonic_ms())).await
                }
                Packet::Publish(publish) => self.arrived(&client, &publish, way, intake).await,
                Packet::PingResp => {
                    way.pong();
                    Ok(())
                }
                _ => Ok(()),
            };
            // Told at the first packet after; pings see to it that there is one.
            let well = subscribed && self.clock.monotonic_ms() - began_ms >= settled_ms;
            if passed_on.is_err()
                || (well && self.tell(State::Well).await.is_err())
                || (subscribed && self.look(&client, way).await.is_err())
            {
                return End::KeeperGone;
            }
        }
    }

    fn client_id(&self) -> String {
        match self.number {
            0 => self.settings.client_id.clone(),
            _ => format!("{}-passing", self.settings.client_id),
        }
    }

    fn way(&self) -> Way {
        let BrokerSettings { own_prefix, login, .. } = self.settings;
        Way::new(&self.rules, own_prefix, &self.client_id(), login.as_ref())
    }

    /// Tells what has been silent for too long, after asking for the way.
    async fn look(&self, client: &AsyncClient, way: &mut Way) -> Result<(), KeeperGone> {
        let (ask, silent) = way.look(self.clock.monotonic_ms());
        if ask {
            // As for a subscription: there is room, and a link that is gone shows at the next poll.
            let _ = way::ask(client, way.topic());
        }
        self.send_all(silent).await
    }

    /// The next that the connection says. Meanwhile what has waited after a silence is handed on.
    async fn next(
        &self,
        events: &mut EventLoop,
        intake: &mut Intake,
    ) -> Result<Result<Wire, ConnectionError>, KeeperGone> {
        // Never dropped half way: an acknowledgement between the client's state and the socket would be lost.
        let mut polled = std::pin::pin!(events.poll());
        loop {
            tokio::select! {
                biased;
                polled = &mut polled => return Ok(polled),
                () = intake.flood.due(self.clock) => {}
            }
            self.send_all(intake.flood.told(self.clock.monotonic_ms())).await?;
        }
    }

    /// Hands a message on to the keeper, with the way to acknowledge it on this connection.
    async fn arrived(
        &self,
        client: &AsyncClient,
        publish: &Publish,
        way: &mut Way,
        intake: &mut Intake,
    ) -> Result<(), KeeperGone> {
        self.send_all(way.heard(&publish.topic)).await?;
        self.send_all(intake.came(client, publish, self.clock.monotonic_ms())).await
    }

    async fn send_all(&self, events: Vec<Event>) -> Result<(), KeeperGone> {
        for event in events {
            self.send(event).await?;
        }
        Ok(())
    }

    async fn tell(&self, state: State) -> Result<(), KeeperGone> {
        let news = self.standing.lock().unwrap_or_else(PoisonError::into_inner).note(self.number, state);
        match news {
            Some(event) => self.send(event).await,
            None => Ok(()),
        }
    }

    async fn send(&self, event: Event) -> Result<(), KeeperGone> {
        self.events.send(event).await.map_err(|_| KeeperGone)
    }
}
