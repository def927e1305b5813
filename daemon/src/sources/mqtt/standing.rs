//! How the broker stands with us, and why it hung up.

use std::collections::VecDeque;

use rumqttc::{ConnectReturnCode, ConnectionError, StateError, mqttbytes};

use super::BrokerSettings;
use crate::keeper::event::Event;
use crate::sources::BROKER;
use crate::sources::told::Told;

/// How one connection stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum State {
    /// There is nothing to hear on it.
    Unused,
    /// Not tried to the end yet.
    Unknown,
    /// Connected and subscribed.
    Well,
    /// Not connected, and why.
    Away(String),
}

/// How all connections to the broker stand, as one thing: the grower has one broker.
#[derive(Debug)]
pub(super) struct Standing {
    links: [State; 2],
    told: Told,
}

impl Standing {
    pub(super) fn new(links: [State; 2]) -> Self {
        Self { links, told: Told::nothing(BROKER.to_owned()) }
    }

    /// Notes how a connection stands; gives the event when that is news.
    pub(super) fn note(&mut self, link: usize, state: State) -> Option<Event> {
        self.links[link] = state;
        let away = self.links.iter().find_map(|link| match link {
            State::Away(why) => Some(why.clone()),
            _ => None,
        });
        if away.is_none() && self.links.contains(&State::Unknown) {
            return None;
        }
        self.told.news(away)
    }
}

/// More hang-ups in a minute than this, each after a good welcome, and somebody else uses our name.
const TAKE_OVERS: usize = 3;
const MINUTE_MS: i64 = 60_000;

/// Hang-ups that look like another client with our name.
///
/// A broker gives a name to the newest client and hangs up on the older one without a word. A broker that is
/// down does not welcome us in between, so that is told apart.
#[derive(Debug, Default)]
pub(super) struct TakeOvers {
    at_ms: VecDeque<i64>,
    fighting: bool,
}

impl TakeOvers {
    /// The broker hung up after it had welcomed us; says whether somebody else uses our name.
    pub(super) fn hung_up(&mut self, now_ms: i64) -> bool {
        self.at_ms.push_back(now_ms);
        while self.at_ms.front().is_some_and(|at| now_ms - at > MINUTE_MS) {
            self.at_ms.pop_front();
        }
        self.fighting |= self.at_ms.len() > TAKE_OVERS;
        self.fighting
    }

    /// Whether somebody else uses our name.
    pub(super) fn fighting(&self) -> bool {
        self.fighting
    }

    /// A connection lasted, or the broker was not there at all.
    pub(super) fn reset(&mut self) {
        *self = Self::default();
    }
}

/// Whether the link ended as it does when the broker hangs up.
pub(super) fn is_hang_up(error: &ConnectionError) -> bool {
    matches!(
        error,
        ConnectionError::MqttState(
            StateError::ConnectionAborted
                | StateError::Io(_)
                | StateError::Deserialization(mqttbytes::Error::Io(_))
        )
    )
}

/// The size of the message that was too large for us, where that ended the link.
pub(super) fn oversize(error: &ConnectionError) -> Option<usize> {
    match error {
        ConnectionError::MqttState(StateError::Deserialization(
            mqttbytes::Error::PayloadSizeLimitExceeded(size),
        )) => Some(*size),
        _ => None,
    }
}

/// Why there is no connection to the broker, in words, and what to do where it refuses us; `welcomed` says whether there
/// was one.
pub(crate) fn why(error: &ConnectionError, broker: &BrokerSettings, welcomed: bool) -> String {
    let address = format!("{}:{}", broker.host, broker.port);
    match error {
        ConnectionError::ConnectionRefused(code) => refusal(*code, broker),
        ConnectionError::NetworkTimeout | ConnectionError::FlushTimeout => {
            format!("no answer from {address}")
        }
        ConnectionError::MqttState(StateError::AwaitPingResp) => "the broker stopped answering".to_owned(),
        ConnectionError::Io(error) if error.kind() == std::io::ErrorKind::ConnectionRefused => {
            format!("nothing listens at {address}")
        }
        ConnectionError::Io(error) => format!("{address} cannot be reached: {error}"),
        ConnectionError::MqttState(_) if !welcomed => format!(
            "what listens at {address} does not answer as a broker does: is it another program, or a port for an \
             encrypted way (TLS)? Write the broker's plain port in your own network"
        ),
        error if is_hang_up(error) => "the broker hung up".to_owned(),
        error => match oversize(error) {
            Some(size) => format!("a message of {size} bytes is over our limit"),
            None => error.to_string(),
        },
    }
}

/// Why a broker turned us away, by the code of its answer (MQTT 3.1.1, 3.2.2.3), and what to do.
fn refusal(code: ConnectReturnCode, broker: &BrokerSettings) -> String {
    use ConnectReturnCode as Code;
    match (code, &broker.login) {
        (Code::BadUserNamePassword | Code::NotAuthorized, None) => {
            "the broker lets nobody in without a name and password, or not us: write user and password_file under \
             [broker]"
                .to_owned()
        }
        (Code::BadUserNamePassword, Some((name, _))) => {
            format!("the broker does not take the name {name} with our password: compare both with the broker's list")
        }
        // What some brokers say of a wrong password too.
        (Code::NotAuthorized, Some((name, _))) => format!(
            "the broker does not let {name} in: a wrong password, or not allowed; compare both with the broker's lists"
        ),
        (Code::BadClientId, _) => {
            let id = &broker.client_id;
            format!("the broker refuses our client id {id}: write another client_id under [broker]")
        }
        (Code::RefusedProtocolVersion, _) => "the broker does not speak MQTT 3.1.1".to_owned(),
        _ => "the broker says that it is not ready".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is told when the connection of this number stands so: "" for nothing, "well", or the reason.
    fn told(standing: &mut Standing, link: usize, state: State) -> String {
        match standing.note(link, state) {
            None => String::new(),
            Some(Event::Away { why, .. }) => why.unwrap_or_else(|| "well".to_owned()),
            Some(_) => "something else".to_owned(),
        }
    }

    #[test]
    fn only_changes_are_told_and_well_only_when_all_are_well() {
        let mut standing = Standing::new([State::Unknown, State::Unknown]);
        let gone = || State::Away("gone".to_owned());
        for (link, state, expected) in [
            (0, State::Well, ""),
            (1, State::Well, "well"),
            (1, State::Well, ""),
            (0, gone(), "gone"),
            (1, gone(), ""),
            (0, State::Well, ""),
            (1, State::Well, "well"),
        ] {
            assert_eq!(told(&mut standing, link, state), expected);
        }
    }

    #[test]
    fn a_connection_that_is_not_used_is_not_waited_for() {
        let mut standing = Standing::new([State::Unknown, State::Unused]);
        assert_eq!(told(&mut standing, 0, State::Well), "well");
    }

    #[test]
    fn the_fourth_hang_up_in_a_minute_is_somebody_with_our_name() {
        let mut take_overs = TakeOvers::default();
        assert!(![0, 5_000, 15_000].into_iter().any(|at| take_overs.hung_up(at)));
        assert!(take_overs.hung_up(60_000));
        // Trying once a minute from then on does not make it look settled.
        assert!(take_overs.hung_up(200_000));
        take_overs.reset();
        assert!(![300_000, 340_000, 380_000, 420_000].into_iter().any(|at| take_overs.hung_up(at)));
    }
}
