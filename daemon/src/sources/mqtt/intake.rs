//! What came on a connection, on its way to the keeper: numbers without a time that may have been kept somewhere wait for a
//! moment, late ones lose their date, and what a sender's own count misses is counted.

use std::collections::BTreeMap;

use rumqttc::{AsyncClient, Publish};

use super::cadence::{Cadence, Comes, HEELS_MS};
use super::hear;
use crate::keeper::event::{Counted, Event};
use crate::reading::ProbeName;
use crate::sources::numbers::Missing;
use crate::sources::payload::TopicRules;

/// The most that wait for others on their heels; what comes beyond is dated by its arrival.
const HELD: usize = 1000;

/// A number that came alone after a silence, for now.
struct Held {
    topic: String,
    arrived_mono_ms: i64,
    events: Vec<Event>,
}

/// What is known of the messages of one of our connections, over all its lives.
pub(super) struct Intake {
    rules: TopicRules,
    own_prefix: String,
    cadence: Cadence,
    missing: Missing,
    held: Vec<Held>,
    late: BTreeMap<ProbeName, u64>,
}

impl Intake {
    /// Nothing has come yet.
    pub(super) fn new(rules: TopicRules, own_prefix: String) -> Self {
        Self {
            rules,
            own_prefix,
            cadence: Cadence::default(),
            missing: Missing::default(),
            held: Vec::new(),
            late: BTreeMap::new(),
        }
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
        // What has a time of its own may come as it likes.
        let Some(rule) = self.rules.meeting(topic).find(|rule| !rule.is_stamped()) else { return events };
        match self.cadence.came(topic, 1000 * i64::from(rule.usual_interval_s), now_ms) {
            Comes::FirstAgain if self.held.len() < HELD => {
                self.held.push(Held { topic: topic.clone(), arrived_mono_ms: now_ms, events });
                Vec::new()
            }
            Comes::Live | Comes::FirstAgain => events,
            Comes::Late => {
                let first = self.held.iter().position(|held| held.topic == *topic);
                let mut all = first.map_or_else(Vec::new, |at| self.held.remove(at).events);
                if !all.is_empty() {
                    tracing::warn!(topic, "numbers without a time come in a flood; they are kept undated");
                }
                all.append(&mut events);
                self.undate(&mut all);
                all
            }
        }
    }

    /// When the next that waits has shown that it is alone, by the monotonic clock, ms.
    pub(super) fn due_ms(&self) -> Option<i64> {
        self.held.iter().map(|held| held.arrived_mono_ms + HEELS_MS).min()
    }

    /// What waited long enough to be dated by when it came.
    pub(super) fn alone(&mut self, now_ms: i64) -> Vec<Event> {
        let due = self.held.extract_if(.., |held| held.arrived_mono_ms + HEELS_MS <= now_ms);
        due.flat_map(|held| held.events).collect()
    }

    /// Takes the date from readings, and counts them.
    fn undate(&mut self, events: &mut Vec<Event>) {
        let mut counted = BTreeMap::new();
        for event in &mut *events {
            let Event::Heard { readings, .. } = event else { continue };
            for reading in readings {
                reading.stale = true;
                *self.late.entry(reading.probe.clone()).or_default() += 1;
                counted.insert(reading.probe.clone(), self.late[&reading.probe]);
            }
        }
        let told = counted.into_iter();
        events.extend(told.map(|(probe, count)| Event::Counted { probe, what: Counted::Late, count }));
    }
}
