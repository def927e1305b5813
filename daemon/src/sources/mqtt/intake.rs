//! What came on a connection, on its way to the keeper: what a sender's own count misses is counted, and what may have been
//! kept somewhere is told from what was measured now.

use rumqttc::{AsyncClient, Publish};

use super::hear;
use crate::keeper::event::Event;
use crate::sources::flood::Flood;
use crate::sources::numbers::Missing;
use crate::sources::payload::TopicRules;

/// What is known of the messages of one of our connections, over all its lives.
pub(super) struct Intake {
    rules: TopicRules,
    own_prefix: String,
    pub(super) flood: Flood,
    missing: Missing,
}

impl Intake {
    /// Nothing has come yet.
    pub(super) fn new(rules: TopicRules, own_prefix: String) -> Self {
        Self { rules, own_prefix, flood: Flood::default(), missing: Missing::default() }
    }

    /// A message came: what the keeper hears now, in order.
    pub(super) fn came(&mut self, client: &AsyncClient, publish: &Publish, now_ms: i64) -> Vec<Event> {
        let heard = hear(&self.rules, &self.own_prefix, client, publish, now_ms);
        // Of no rule, or what the broker had retained: undated anyhow, and no news.
        if heard.is_empty() || publish.retain {
            return heard;
        }
        let topic = &publish.topic;
        let mut events = self.missing.count(&self.rules, topic, &publish.payload, None);
        events.extend(heard);
        self.flood.pass(&self.rules, topic, events, now_ms)
    }
}
