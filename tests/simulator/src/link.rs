//! The board's side of one connection to the broker: the connection itself is simulated, what a message means and how
//! it is acknowledged is the program's own.

use std::collections::VecDeque;

use glasshour::keeper::event::Event;
use glasshour::keeper::handle::Handle;
use glasshour::sources::mqtt;
use glasshour::sources::payload::TopicRules;
use rumqttc::{AsyncClient, Publish, Request};

use crate::garden::OWN_PREFIX;

/// One of the two connections.
pub(crate) struct Link {
    rules: TopicRules,
    open: Option<Open>,
    /// Read from the connection and not yet in the keeper's queue, which is full: nothing more is read meanwhile.
    hand: VecDeque<Event>,
}

struct Open {
    connection: u64,
    client: AsyncClient,
    requests: flume::Receiver<Request>,
}

impl Link {
    pub(crate) fn new(rules: TopicRules) -> Self {
        Self { rules, open: None, hand: VecDeque::new() }
    }

    pub(crate) fn filters(&self) -> Vec<&str> {
        self.rules.filters()
    }

    pub(crate) fn connection(&self) -> Option<u64> {
        self.open.as_ref().map(|open| open.connection)
    }

    /// A new connection with a client of its own, as the program makes one.
    pub(crate) fn open(&mut self, connection: u64) {
        let (requests_in, requests) = flume::bounded(65_600);
        let client = AsyncClient::from_senders(requests_in);
        self.open = Some(Open { connection, client, requests });
    }

    /// The connection is gone, with all that was queued in it.
    pub(crate) fn close(&mut self) {
        self.open = None;
        self.hand.clear();
    }

    /// A message arrived at a moment of the board's monotonic clock.
    pub(crate) fn arrived(&mut self, connection: u64, publish: &Publish, mono_ms: i64) {
        let Some(open) = self.open.as_ref().filter(|open| open.connection == connection) else { return };
        self.hand.extend(mqtt::hear(&self.rules, OWN_PREFIX, &open.client, publish, mono_ms));
    }

    /// Hands on to the keeper what it has room for.
    pub(crate) fn hand_on(&mut self, keeper: &Handle) {
        while let Some(event) = self.hand.pop_front() {
            if let Err(tokio::sync::mpsc::error::TrySendError::Full(event)) = keeper.events.try_send(event) {
                self.hand.push_front(event);
                return;
            }
        }
    }

    /// Messages read that the keeper has no room for.
    pub(crate) fn in_hand(&self) -> usize {
        self.hand.len()
    }

    /// Acknowledgements that go out now: packet numbers.
    pub(crate) fn acknowledgements(&mut self) -> Vec<u16> {
        let Some(open) = &self.open else { return Vec::new() };
        let number = |request| match request {
            Request::PubAck(ack) => Some(ack.pkid),
            _ => None,
        };
        open.requests.drain().filter_map(number).collect()
    }
}
