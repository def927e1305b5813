//! Numbers without a time on their way to the keeper: the first after a silence waits for a moment, and in a flood all lose
//! their date (see [`cadence`](super::cadence)).

use super::cadence::{Cadence, Comes, HEELS_MS};
use super::payload::TopicRules;
use crate::keeper::event::{Counted, Event};

/// The most that wait for others on their heels; what comes beyond is dated by its arrival.
const HELD: usize = 1000;

/// A number that came alone after a silence, for now.
struct Held {
    topic: String,
    arrived_mono_ms: i64,
    events: Vec<Event>,
}

/// What is known of the numbers that one line brings.
#[derive(Default)]
pub(super) struct Flood {
    cadence: Cadence,
    held: Vec<Held>,
}

impl Flood {
    /// A live message came on a topic and would tell the keeper `events`: what the keeper hears now, in order.
    pub(super) fn pass(
        &mut self,
        rules: &TopicRules,
        topic: &str,
        mut events: Vec<Event>,
        now_ms: i64,
    ) -> Vec<Event> {
        // What has a time of its own may come as it likes.
        let Some(rule) = rules.meeting(topic).find(|rule| !rule.is_stamped()) else { return events };
        match self.cadence.came(topic, 1000 * i64::from(rule.usual_interval_s), now_ms) {
            Comes::FirstAgain if self.held.len() < HELD => {
                self.held.push(Held { topic: topic.to_owned(), arrived_mono_ms: now_ms, events });
                Vec::new()
            }
            Comes::Live | Comes::FirstAgain => events,
            Comes::Late => {
                let first = self.held.iter().position(|held| held.topic == topic);
                let mut all = first.map_or_else(Vec::new, |at| self.held.remove(at).events);
                if !all.is_empty() {
                    tracing::warn!(topic, "numbers without a time come in a flood; they are kept undated");
                }
                all.append(&mut events);
                undate(&mut all);
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
}

/// Takes the date from readings, and has them counted.
fn undate(events: &mut Vec<Event>) {
    let mut counted = Vec::new();
    for event in &mut *events {
        let Event::Heard { readings, .. } = event else { continue };
        for reading in readings {
            reading.stale = true;
            counted.push(Event::Counted { probe: reading.probe.clone(), what: Counted::Late, more: 1 });
        }
    }
    // Before them: the last event of a message is the one that acknowledges it.
    events.splice(0..0, counted);
}
