//! A broker by the rules of MQTT 3.1.1 and the limits of the one we ship settings for: 20 messages in flight, 1,000
//! queued (what comes after is dropped without a word), packet numbers used again, retained messages, a session that is
//! kept and one that is not.

use std::collections::{BTreeMap, VecDeque};

use glasshour::sources::topic::matches;
use rumqttc::{Publish, QoS};

/// Messages of one session that may wait for their acknowledgement.
const IN_FLIGHT: usize = 20;
/// Messages a kept session holds beside those.
const QUEUED: usize = 1_000;

/// A message of a probe. The number tells the simulator which one it is; nobody else sees it.
#[derive(Clone, Debug)]
pub(crate) struct Letter {
    pub(crate) number: u64,
    pub(crate) topic: String,
    pub(crate) payload: Vec<u8>,
    pub(crate) retain: bool,
}

/// A message on its way to the board.
#[derive(Clone, Debug)]
pub(crate) struct Packet {
    pub(crate) number: u64,
    pub(crate) publish: Publish,
}

#[derive(Debug, Default)]
struct Session {
    filters: Vec<String>,
    /// The connection it has, by its number.
    connection: Option<u64>,
    in_flight: BTreeMap<u16, Letter>,
    queue: VecDeque<Letter>,
    last_packet: u16,
}

impl Session {
    fn hears(&self, topic: &str) -> bool {
        self.filters.iter().any(|filter| matches(filter, topic))
    }
}

/// The broker: session 0 is kept and at QoS 1, session 1 is forgotten and at QoS 0.
#[derive(Debug, Default)]
pub(crate) struct Broker {
    sessions: [Session; 2],
    retained: BTreeMap<String, Letter>,
    /// Messages dropped because a queue was full, or with a state that was not kept.
    pub(crate) lost: u64,
}

impl Broker {
    /// A probe publishes. What may go out now comes back, by session and connection.
    pub(crate) fn publish(&mut self, letter: Letter) -> Vec<(usize, u64, Packet)> {
        if letter.retain {
            self.retained.insert(letter.topic.clone(), letter.clone());
        }
        let mut out = Vec::new();
        for number in 0..2 {
            let session = &mut self.sessions[number];
            if !session.hears(&letter.topic) {
                continue;
            }
            if number == 1 {
                if let Some(connection) = session.connection {
                    out.push((1, connection, packet(&letter, QoS::AtMostOnce, 0, false, false)));
                }
            } else if session.queue.len() < QUEUED {
                session.queue.push_back(letter.clone());
                out.extend(self.flow(number));
            } else {
                self.lost += 1;
            }
        }
        out
    }

    /// The board connects and subscribes; what goes out at once comes back.
    pub(crate) fn connect(
        &mut self,
        number: usize,
        connection: u64,
        filters: &[&str],
    ) -> Vec<(usize, u64, Packet)> {
        let session = &mut self.sessions[number];
        if number == 1 {
            *session = Session::default();
        }
        session.connection = Some(connection);
        session.filters = filters.iter().map(|filter| (*filter).to_owned()).collect();
        let again = session
            .in_flight
            .iter()
            .map(|(pkid, letter)| (number, connection, packet(letter, QoS::AtLeastOnce, *pkid, true, false)));
        let mut out: Vec<_> = again.collect();
        if number == 1 {
            let kept = self.retained.values().filter(|letter| session.hears(&letter.topic));
            out.extend(kept.map(|letter| (1, connection, packet(letter, QoS::AtMostOnce, 0, false, true))));
        }
        out.extend(self.flow(number));
        out
    }

    /// Sends of a kept session what the limit in flight allows.
    fn flow(&mut self, number: usize) -> Vec<(usize, u64, Packet)> {
        let session = &mut self.sessions[number];
        let Some(connection) = session.connection else { return Vec::new() };
        let mut out = Vec::new();
        while session.in_flight.len() < IN_FLIGHT
            && let Some(letter) = session.queue.pop_front()
        {
            session.last_packet = session.last_packet.checked_add(1).unwrap_or(1);
            out.push((
                number,
                connection,
                packet(&letter, QoS::AtLeastOnce, session.last_packet, false, false),
            ));
            session.in_flight.insert(session.last_packet, letter);
        }
        out
    }

    /// An acknowledgement arrives on a connection: which message the broker drops for it, and what goes out in its place.
    pub(crate) fn acknowledged(
        &mut self,
        number: usize,
        connection: u64,
        pkid: u16,
    ) -> (Option<u64>, Vec<(usize, u64, Packet)>) {
        let session = &mut self.sessions[number];
        if session.connection != Some(connection) {
            return (None, Vec::new());
        }
        let dropped = session.in_flight.remove(&pkid).map(|letter| letter.number);
        (dropped, self.flow(number))
    }

    /// The connection is gone.
    pub(crate) fn hang_up(&mut self, number: usize) {
        self.sessions[number].connection = None;
    }

    /// It starts again, with its state or without.
    pub(crate) fn restart(&mut self, keep: bool) {
        for session in &mut self.sessions {
            session.connection = None;
            if !keep {
                self.lost += (session.in_flight.len() + session.queue.len()) as u64;
                *session = Session::default();
            }
        }
        if !keep {
            self.retained.clear();
        }
    }

    /// Messages that wait for the board.
    pub(crate) fn waiting(&self) -> usize {
        self.sessions.iter().map(|session| session.in_flight.len() + session.queue.len()).sum()
    }
}

fn packet(letter: &Letter, qos: QoS, pkid: u16, dup: bool, retain: bool) -> Packet {
    let mut publish = Publish::new(letter.topic.clone(), qos, letter.payload.clone());
    (publish.pkid, publish.dup, publish.retain) = (pkid, dup, retain);
    Packet { number: letter.number, publish }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn letter(number: u64) -> Letter {
        Letter { number, topic: "garden/post/air".to_owned(), payload: b"1".to_vec(), retain: false }
    }

    #[test]
    fn twenty_go_out_a_thousand_wait_and_the_rest_is_dropped() {
        // The limits of Mosquitto 2.0.11 as shipped (mosquitto.conf(5): max_inflight_messages, max_queued_messages).
        let mut broker = Broker::default();
        let _ = broker.connect(0, 1, &["garden/#"]);
        let sent: usize = (0..1_500).map(|number| broker.publish(letter(number)).len()).sum();
        assert_eq!((sent, broker.waiting(), broker.lost), (20, 1_020, 480));
    }

    #[test]
    fn what_was_not_acknowledged_comes_again_under_its_number_and_marked() {
        // MQTT 3.1.1, section 4.4.
        let mut broker = Broker::default();
        let _ = broker.connect(0, 1, &["garden/#"]);
        let _ = broker.publish(letter(7));
        broker.hang_up(0);
        let again = broker.connect(0, 2, &["garden/#"]);
        assert_eq!((again[0].1, again[0].2.publish.pkid, again[0].2.publish.dup), (2, 1, true));
        assert_eq!(broker.acknowledged(0, 1, 1).0, None, "an old connection says nothing");
        assert_eq!(broker.acknowledged(0, 2, 1).0, Some(7));
    }
}
