//! Whether what is sent to a broker reaches us: a broker may grant a subscription and give nothing by it, as Mosquitto does
//! where its access list does not name us. Nothing tells that from probes that do not send.
//!
//! So a topic on which nothing has come for two of its intervals is told. Before that a message of our own goes to a topic
//! of ours, and its coming back, or not, says where to look. It is sent only then: a broker may answer a message that it
//! does not want by hanging up (MQTT 3.1.1, 3.3.5), and where it did, none is sent again.

use rumqttc::{AsyncClient, QoS, SubscribeFilter, SubscribeReasonCode};

use crate::keeper::event::Event;
use crate::sources::payload::TopicRules;
use crate::sources::topic::{matches, one_level};

/// How long nothing is said beyond two intervals, ms: as for a probe that fell silent.
const GRACE_MS: i64 = 60_000;
/// A broker answers in order, so our message comes before the answer to a ping that followed it. The first answer may
/// belong to a ping before it.
const PONGS: u8 = 2;

/// The topic under which the messages lie that we send to ourselves; `own_prefix` may be empty.
pub(super) fn echoes(own_prefix: &str) -> String {
    let prefix = if own_prefix.is_empty() { "glasshour" } else { own_prefix.trim_end_matches('/') };
    format!("{prefix}/echo")
}

/// Where the message to ourselves goes, by our name there.
pub(super) fn echo(own_prefix: &str, client_id: &str) -> String {
    format!("{}/{}", echoes(own_prefix), one_level(client_id))
}

/// Asks to hear filters, and ourselves on `echo`. The queue of a new client has room; a link that is gone already shows
/// at the next poll.
pub(super) fn listen<'a>(
    client: &AsyncClient,
    filters: impl IntoIterator<Item = &'a str>,
    qos: QoS,
    echo: &str,
) {
    let heard = filters.into_iter().map(|filter| (filter, qos)).chain([(echo, QoS::AtMostOnce)]);
    let all = heard.map(|(filter, qos)| SubscribeFilter::new(filter.to_owned(), qos));
    let _ = client.try_subscribe_many(all);
}

/// Sends the message to ourselves; says whether there was room for it.
pub(super) fn ask(client: &AsyncClient, echo: &str) -> bool {
    client.try_publish(echo, QoS::AtMostOnce, false, "is this heard?").is_ok()
}

/// Who we are there, in words, by name and password where there are some.
pub(super) fn account(login: Option<&(String, String)>) -> String {
    login.map_or_else(|| "a client without a name".to_owned(), |(name, _)| format!("the user {name}"))
}

/// What has come on a filter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Come {
    /// The broker refused the subscription, which was told.
    Refused,
    /// Nothing yet.
    Nothing,
    /// Nothing yet, which was told.
    Told,
    /// Something.
    Something,
}

/// The message to ourselves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Echo {
    Unsent,
    Sent {
        pongs: u8,
    },
    Back,
    Lost,
    /// The link broke when it was sent.
    Barred,
}

/// A filter with what has come on it.
#[derive(Debug)]
struct Path {
    filter: String,
    patience_ms: i64,
    come: Come,
}

/// The ways from a broker to us on one of our connections.
#[derive(Debug)]
pub(super) struct Way {
    paths: Vec<Path>,
    /// Since when the broker lets us listen, ms of the monotonic clock.
    since_ms: i64,
    echo: Echo,
    topic: String,
    /// Who we are there, in words.
    account: String,
}

impl Way {
    /// Nothing has come yet. `login` is name and password, where there are some.
    pub(super) fn new(
        rules: &TopicRules,
        own_prefix: &str,
        client_id: &str,
        login: Option<&(String, String)>,
    ) -> Self {
        let path = |filter: &str| Path {
            filter: filter.to_owned(),
            patience_ms: 2000 * i64::from(rules.usual_interval_s(filter)) + GRACE_MS,
            come: Come::Nothing,
        };
        Self {
            paths: rules.filters().into_iter().map(path).collect(),
            since_ms: 0,
            echo: Echo::Unsent,
            topic: echo(own_prefix, client_id),
            account: account(login),
        }
    }

    /// Where the message to ourselves goes.
    pub(super) fn topic(&self) -> &str {
        &self.topic
    }

    /// The broker answered our subscriptions, in the order of the filters: which it does not let us hear, and which it
    /// does again.
    pub(super) fn granted(&mut self, codes: &[SubscribeReasonCode], now_ms: i64) -> Vec<Event> {
        self.since_ms = now_ms;
        let refused = |code: &SubscribeReasonCode| *code == SubscribeReasonCode::Failure;
        let answered = self.paths.iter_mut().zip(codes);
        answered
            .filter_map(|(path, code)| match (path.come, refused(code)) {
                (Come::Refused, true) | (Come::Nothing | Come::Told | Come::Something, false) => None,
                (_, true) => {
                    path.come = Come::Refused;
                    Some(path.away(Some("the broker does not let us hear it".to_owned())))
                }
                (_, false) => {
                    path.come = Come::Nothing;
                    Some(path.away(None))
                }
            })
            .collect()
    }

    /// Something came on a topic: which filters are silent no longer.
    pub(super) fn heard(&mut self, topic: &str) -> Vec<Event> {
        if topic == self.topic {
            self.echo = Echo::Back;
            return Vec::new();
        }
        let waiting = self.paths.iter_mut().filter(|path| path.come != Come::Something);
        let met = waiting.filter(|path| matches(&path.filter, topic));
        met.filter_map(|path| {
            let was = std::mem::replace(&mut path.come, Come::Something);
            (was != Come::Nothing).then(|| path.away(None))
        })
        .collect()
    }

    /// The broker answered a ping.
    pub(super) fn pong(&mut self) {
        if let Echo::Sent { pongs } = &mut self.echo {
            *pongs += 1;
            if *pongs >= PONGS {
                self.echo = Echo::Lost;
            }
        }
    }

    /// Whether to send the message to ourselves now, and which filters have been silent for too long.
    pub(super) fn look(&mut self, now_ms: i64) -> (bool, Vec<Event>) {
        let waited_ms = now_ms - self.since_ms;
        let is_due = |path: &Path| path.come == Come::Nothing && waited_ms >= path.patience_ms;
        if !self.paths.iter().any(is_due) {
            return (false, Vec::new());
        }
        match self.echo {
            Echo::Unsent => {
                self.echo = Echo::Sent { pongs: 0 };
                return (true, Vec::new());
            }
            Echo::Sent { .. } => return (false, Vec::new()),
            Echo::Back | Echo::Lost | Echo::Barred => {}
        }
        let (echo, topic, account) = (self.echo, &self.topic, &self.account);
        let due = self.paths.iter_mut().filter(|path| is_due(path));
        let told = due.map(|path| {
            path.come = Come::Told;
            path.away(Some(silence(&path.filter, echo, topic, account)))
        });
        (false, told.collect())
    }

    /// The connection has ended.
    pub(super) fn ended(&mut self) {
        self.echo = match self.echo {
            Echo::Sent { .. } | Echo::Barred => Echo::Barred,
            _ => Echo::Unsent,
        };
    }
}

impl Path {
    fn away(&self, why: Option<String>) -> Event {
        Event::Away { source: format!("topic {}", self.filter), why }
    }
}

/// That nothing comes on a filter, and where to look.
fn silence(filter: &str, echo: Echo, topic: &str, account: &str) -> String {
    let nothing = format!("connected, but nothing has ever come on {filter} since we listen");
    match echo {
        Echo::Back => format!(
            "{nothing}. Our own message on {topic} came back: see that the probe sends on {filter}, and that the \
             broker's access list lets {account} read it"
        ),
        Echo::Lost => format!(
            "{nothing}, and our own message on {topic} did not come back: the broker's access list seems to keep \
             everything from {account}; let it read {filter}"
        ),
        _ => format!(
            "{nothing}: see that the probe sends on it, and that the broker's access list lets {account} read it"
        ),
    }
}

#[cfg(test)]
#[path = "way_tests.rs"]
mod tests;
