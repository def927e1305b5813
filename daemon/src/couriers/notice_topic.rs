//! MQTT: each step is published on a topic of its notice, for people's displays and for records. Never for relays:
//! Glasshour advises and switches nothing.
//!
//! | topic | payload |
//! | --- | --- |
//! | `PREFIX/notice/NOTICE` | one step as JSON, QoS 1, not retained: who comes late asks the page |
//! | `PREFIX/alive` | `alive 2031-07-02T12:00:00Z`, anew each hour after a commit of the keeper; as last will `gone`; retained |
//!
//! No step is retained, neither the last of a notice: whoever subscribes after a day would take an old order for one of
//! now. A step that is tried again comes with the same bytes, and with the DUP flag only where the client library sends it
//! again on the same connection; so the `id` alone tells a repeat.
//!
//! `alive` without a time is said while nobody vouches for the clock. One that is older than two hours is as good as
//! `gone`: broker and line stand, the keeper does not.
//!
//! The JSON, described in `deploy/notice.schema.json`, has `id` (the same at each try: drop what you have seen), `site`, `notice`, `step`, `minder`, `place`,
//! `planting` (where the step is about one), `at` (RFC 3339, UTC; null while nobody
//! knows the time), `turn`, `severity`, `push`, `title` and `text`.
//!
//! A step counts as delivered when the broker's PUBACK has come, not when the client library has taken it. There is a
//! new client for each connection, so nothing of an old connection can be mistaken for an answer on a new one. MQTT
//! 3.1.1 has no word for "you may not publish here": a broker acknowledges and drops, which nobody can see from here.

use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use chrono::{DateTime, SecondsFormat};
use rumqttc::{AsyncClient, Event, EventLoop, Incoming, LastWill, MqttOptions, Outgoing, QoS};
use serde_json::json;
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

use super::outbox::{Delivery, Errand, MOST_AT_ONCE, Waiting};
use super::public_id;
use super::runner::Courier;
use crate::entry::Step;
use crate::outward::life_sign::Alive;
use crate::sources::topic::one_level;
use crate::supervise::Outcome;

/// The courier's name in the outbox.
pub const NAME: &str = "notice topic";

/// Requests the client may hold: as many steps as may be under way, and the word that the keeper lives.
const ROOM: usize = MOST_AT_ONCE + 4;
/// Silence after which broker and we ask whether the other still lives.
const KEEP_ALIVE: Duration = Duration::from_secs(30);
/// First and longest pause between two connections.
const PAUSES: (Duration, Duration) = (Duration::from_secs(1), Duration::from_secs(60));
/// How long a try waits for a connection.
const CONNECTION_LIMIT: Duration = Duration::from_secs(5);

/// What the site file says of the broker for notices.
#[derive(Clone)]
pub struct Settings {
    /// Name or address of the broker.
    pub host: String,
    /// Its port. The way there is not encrypted: keep it within the local network.
    pub port: u16,
    /// User and password, where the broker wants them.
    pub login: Option<(String, String)>,
    /// The site's name.
    pub site: String,
    /// What our topics begin with: `glasshour/garden`.
    pub prefix: String,
}

impl Settings {
    fn options(&self) -> MqttOptions {
        let client = format!("glasshour-{}-notices", one_level(&self.site));
        let mut options = MqttOptions::new(client, &self.host, self.port);
        options.set_keep_alive(KEEP_ALIVE).set_clean_session(true).set_last_will(LastWill::new(
            alive(&self.prefix),
            "gone",
            QoS::AtLeastOnce,
            true,
        ));
        if let Some((user, password)) = &self.login {
            options.set_credentials(user, password);
        }
        options
    }
}

/// A connection that stands.
#[derive(Clone)]
struct Link {
    /// Which one, counted from 1.
    number: u64,
    client: AsyncClient,
    /// What became of the QoS 1 messages of this connection.
    answers: watch::Receiver<Answers>,
}

/// The QoS 1 messages of a connection, numbered from 1 in the order in which they were given to the client.
#[derive(Default)]
struct Answers {
    /// How many have left.
    sent: u64,
    /// Those of them that the broker has not acknowledged, by packet identifier: no more than the protocol has.
    open: BTreeMap<u16, u64>,
}

impl Answers {
    fn has_come(&self, number: u64) -> bool {
        number <= self.sent && self.open.values().all(|open| *open != number)
    }
}

/// The link, or why there is none.
type Standing = Result<Link, String>;

/// Keeps the connection to the broker; a task of its own beside the courier's.
pub struct Connection {
    settings: Settings,
    standing: watch::Sender<Standing>,
    signs: watch::Receiver<Option<Alive>>,
}

/// The MQTT courier.
pub struct NoticeTopic {
    site: String,
    prefix: String,
    epoch: String,
    standing: watch::Receiver<Standing>,
    /// Messages published on which link so far.
    published: Mutex<(u64, u64)>,
}

/// The courier and its connection. `epoch` names the ledger; `signs` are those of the keeper's life.
pub fn open(
    settings: Settings,
    epoch: String,
    signs: watch::Receiver<Option<Alive>>,
) -> (NoticeTopic, Connection) {
    let (standing, seen) = watch::channel(Err("not connected yet".to_owned()));
    let (site, prefix) = (settings.site.clone(), settings.prefix.clone());
    let courier = NoticeTopic { site, prefix, epoch, standing: seen, published: Mutex::default() };
    (courier, Connection { settings, standing, signs })
}

impl Connection {
    /// Connects, and connects again, until `stop`. Dropping the connection then is what makes the broker say `gone`.
    ///
    /// # Errors
    ///
    /// None: a broker that is away is not the end of the program.
    pub async fn run(self, stop: CancellationToken) -> Outcome {
        let mut pause = PAUSES.0;
        for number in 1.. {
            let (client, events) = AsyncClient::new(self.settings.options(), ROOM);
            let ended = tokio::select! {
                ended = self.serve(number, client.clone(), events) => ended,
                ended = self.tell_alive(client) => ended,
                () = stop.cancelled() => break,
            };
            pause = if ended.connected { PAUSES.0 } else { PAUSES.1.min(pause * 2) };
            self.stands(Err(format!("no connection to the broker: {}", ended.why)));
            tokio::select! {
                () = tokio::time::sleep(pause) => {}
                () = stop.cancelled() => break,
            }
        }
        Ok(())
    }

    fn stands(&self, now: Standing) {
        self.standing.send_modify(|standing| *standing = now);
    }

    /// Says on a connection, once it stands, that the keeper lives, and again at each of its signs. Ends only with an
    /// error: it goes on beside the serving of the connection.
    async fn tell_alive(&self, client: AsyncClient) -> Ended {
        let (mut standing, mut signs) = (self.standing.subscribe(), self.signs.clone());
        let mut told = None;
        loop {
            let stands = standing.borrow_and_update().is_ok();
            let sign = *signs.borrow_and_update();
            if let Some(sign) = sign.filter(|_| stands && sign != told) {
                let topic = alive(&self.settings.prefix);
                if let Err(error) = client.publish(topic, QoS::AtMostOnce, true, sign_words(sign)).await {
                    return Ended { connected: true, why: error.to_string() };
                }
                told = Some(sign);
            }
            tokio::select! {
                changed = standing.changed() => if changed.is_err() { std::future::pending::<()>().await },
                changed = signs.changed() => if changed.is_err() { std::future::pending::<()>().await },
            }
        }
    }

    /// Serves one connection to its end.
    async fn serve(&self, number: u64, client: AsyncClient, mut events: EventLoop) -> Ended {
        let (answers, seen) = watch::channel(Answers::default());
        let mut connected = false;
        loop {
            match events.poll().await {
                Ok(Event::Incoming(Incoming::ConnAck(_))) => {
                    connected = true;
                    let link = Link { number, client: client.clone(), answers: seen.clone() };
                    self.stands(Ok(link));
                }
                // Messages of QoS 0 have the packet identifier 0.
                Ok(Event::Outgoing(Outgoing::Publish(identifier))) if identifier != 0 => {
                    answers.send_modify(|answers| {
                        answers.sent += 1;
                        answers.open.insert(identifier, answers.sent);
                    });
                }
                Ok(Event::Incoming(Incoming::PubAck(ack))) => {
                    answers.send_modify(|answers| _ = answers.open.remove(&ack.pkid));
                }
                Ok(_) => {}
                Err(error) => return Ended { connected, why: error.to_string() },
            }
        }
    }
}

/// How a connection ended.
struct Ended {
    connected: bool,
    why: String,
}

impl NoticeTopic {
    async fn publish(&self, step: &Step, entry: i64) -> Result<(), String> {
        let mut link = self.link().await?;
        let topic = format!("{}/notice/{}", self.prefix, one_level(&step.notice));
        let payload = payload(step, &self.site, &public_id(entry, &self.epoch));
        let mine = self.hand_over(&link, topic, payload)?;
        let answered = link.answers.wait_for(|answers| answers.has_come(mine)).await;
        answered
            .map(|_| ())
            .map_err(|_| "the connection was lost before the broker answered; it may have arrived".to_owned())
    }

    /// Gives a message to the client; its number on this link.
    fn hand_over(&self, link: &Link, topic: String, payload: String) -> Result<u64, String> {
        // Held over both, so that the numbers are in the client's order. A count that a panic left is whole.
        let mut published = self.published.lock().unwrap_or_else(PoisonError::into_inner);
        link.client
            .try_publish(topic, QoS::AtLeastOnce, false, payload)
            .map_err(|error| format!("the client is stuck: {error}"))?;
        let before = if published.0 == link.number { published.1 } else { 0 };
        *published = (link.number, before + 1);
        Ok(before + 1)
    }

    /// Waits a little for a connection.
    async fn link(&self) -> Result<Link, String> {
        let mut seen = self.standing.clone();
        let standing = seen.wait_for(Result::is_ok);
        if let Ok(standing) = tokio::time::timeout(CONNECTION_LIMIT, standing).await {
            return standing.map_err(|_| "the connection's task has stopped".to_owned())?.clone();
        }
        self.standing.borrow().clone()
    }
}

impl Courier for NoticeTopic {
    fn name(&self) -> &'static str {
        NAME
    }

    fn needs_the_time(&self) -> bool {
        false
    }

    async fn carry(&self, waiting: &Waiting) -> Delivery {
        let Errand::Step(step) = &waiting.errand else {
            return Delivery::Never { why: "letters travel by mail only".to_owned() };
        };
        match self.publish(step, waiting.entry).await {
            Ok(()) => Delivery::Sent,
            Err(why) => Delivery::Later { why, after_ms: None },
        }
    }
}

fn alive(prefix: &str) -> String {
    format!("{prefix}/alive")
}

fn sign_words(sign: Alive) -> String {
    let at = sign.at_ms.and_then(DateTime::from_timestamp_millis);
    at.map_or_else(
        || "alive".to_owned(),
        |at| format!("alive {}", at.to_rfc3339_opts(SecondsFormat::Secs, true)),
    )
}

/// A step as JSON, as the module says.
pub(super) fn payload(step: &Step, site: &str, id: &str) -> String {
    // Told before anybody knew the time: no time is said.
    let at = DateTime::from_timestamp_millis(step.at_ms).filter(|_| !step.is_undated());
    let at = at.map(|at| at.to_rfc3339_opts(SecondsFormat::Millis, true));
    let mut body = json!({
        "id": id, "site": site, "notice": step.notice, "step": step.number, "minder": step.minder,
        "place": step.place, "at": at, "turn": step.turn, "severity": step.severity, "push": step.push,
        "title": step.title, "text": step.text_under_title(),
    });
    if let Some(planting) = &step.planting {
        body["planting"] = json!(planting);
    }
    body.to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::Turn;

    #[test]
    fn the_published_schema_knows_each_turn() {
        let schema = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../deploy/notice.schema.json"));
        let schema: serde_json::Value = serde_json::from_str(schema).unwrap();
        let turns = [Turn::Opened, Turn::Worsened, Turn::Again, Turn::Eased, Turn::Closed];
        assert_eq!(schema["properties"]["turn"]["enum"], json!(turns));
    }
}
