//! Numbers without a time on their way to the keeper: after a silence they wait for a moment, and in a flood all lose their
//! date (see [`cadence`](super::cadence)).

use std::collections::BTreeMap;
use std::time::Duration;

use super::cadence::{Cadence, Comes, HEELS_MS};
use super::payload::TopicRules;
use crate::clock::Clock;
use crate::keeper::event::{Counted, Event};
use crate::reading::ProbeName;

/// The most topics that wait for others on their heels; what comes beyond is dated by its arrival.
const HELD: usize = 1000;

/// What came on a topic after a silence, for now.
struct Held {
    topic: String,
    last_mono_ms: i64,
    events: Vec<Event>,
}

/// What is known of the numbers that one line brings.
#[derive(Default)]
pub(super) struct Flood {
    cadence: Cadence,
    held: Vec<Held>,
    /// Late readings that are not told yet; since when, by the monotonic clock, ms.
    late: BTreeMap<ProbeName, i64>,
    late_since_ms: i64,
}

impl Flood {
    /// A message came on a topic and would tell the keeper `events`: what the keeper hears now, in order.
    pub(super) fn pass(
        &mut self,
        rules: &TopicRules,
        topic: &str,
        mut events: Vec<Event>,
        now_ms: i64,
    ) -> Vec<Event> {
        // What has a time of its own may come as it likes; what is undated anyhow, or says nothing, keeps no cadence.
        let rule = rules.meeting(topic).find(|rule| !rule.is_stamped());
        let Some(rule) = rule.filter(|_| events.iter().any(is_dated_by_arrival)) else { return events };
        let mut all = self.told(now_ms);
        match self.cadence.came(topic, 1000 * i64::from(rule.usual_interval_s), now_ms) {
            Comes::Waits => self.hold(topic, events, now_ms, &mut all),
            Comes::Live => {
                all.append(&mut self.take(topic));
                all.append(&mut events);
            }
            Comes::Late => {
                let mut late = self.take(topic);
                if !late.is_empty() {
                    tracing::warn!(topic, "numbers without a time come in a flood; they are kept undated");
                }
                late.append(&mut events);
                self.undate(&mut late, now_ms);
                all.append(&mut late);
            }
        }
        all
    }

    /// Waits until something has waited long enough to be [`told`](Self::told); for ever where nothing waits.
    pub(super) fn due(&self, clock: &dyn Clock) -> impl Future<Output = ()> + use<> {
        let late_ms = (!self.late.is_empty()).then_some(self.late_since_ms);
        let since_ms = self.held.iter().map(|held| held.last_mono_ms).chain(late_ms).min();
        let wait_ms = since_ms.map(|since_ms| (since_ms + HEELS_MS - clock.monotonic_ms()).max(0));
        let wait = wait_ms.map(|ms| clock.real(Duration::from_millis(ms.unsigned_abs())));
        async move {
            match wait {
                Some(wait) => tokio::time::sleep(wait).await,
                None => std::future::pending().await,
            }
        }
    }

    /// What waited long enough at a moment of the monotonic clock: numbers on whose heels no more came, dated by when they
    /// came, and how many came late.
    pub(super) fn told(&mut self, now_ms: i64) -> Vec<Event> {
        let due = self.held.extract_if(.., |held| held.last_mono_ms + HEELS_MS <= now_ms);
        let mut told: Vec<Event> = due.flat_map(|held| held.events).collect();
        // Not one by one: the keeper takes a flood in together.
        if self.late_since_ms + HEELS_MS <= now_ms {
            let late = std::mem::take(&mut self.late).into_iter();
            told.extend(late.map(|(probe, more)| Event::Counted { probe, what: Counted::Late, more }));
        }
        told
    }

    /// Has events wait, or hands them on in `all` where too many do.
    fn hold(&mut self, topic: &str, mut events: Vec<Event>, now_ms: i64, all: &mut Vec<Event>) {
        if let Some(held) = self.held.iter_mut().find(|held| held.topic == topic) {
            held.last_mono_ms = now_ms;
            held.events.append(&mut events);
        } else if self.held.len() < HELD {
            self.held.push(Held { topic: topic.to_owned(), last_mono_ms: now_ms, events });
        } else {
            all.append(&mut events);
        }
    }

    /// What waits on a topic, which then waits no longer.
    fn take(&mut self, topic: &str) -> Vec<Event> {
        let at = self.held.iter().position(|held| held.topic == topic);
        at.map_or_else(Vec::new, |at| self.held.remove(at).events)
    }

    /// Takes the date from readings, and counts them.
    fn undate(&mut self, events: &mut [Event], now_ms: i64) {
        if self.late.is_empty() {
            self.late_since_ms = now_ms;
        }
        for event in events {
            let Event::Heard { readings, .. } = event else { continue };
            for reading in readings {
                reading.stale = true;
                *self.late.entry(reading.probe.clone()).or_default() += 1;
            }
        }
    }
}

/// Whether an event brings a reading that its arrival dates.
fn is_dated_by_arrival(event: &Event) -> bool {
    matches!(event, Event::Heard { readings, .. } if readings.iter().any(|reading| !reading.stale))
}

#[cfg(test)]
mod tests {
    use agronomy::quantity::Quantity;

    use super::*;
    use crate::sources::message;
    use crate::sources::payload::{Shape, TopicRule};

    const TOPIC: &str = "garden/bed";

    fn rules() -> TopicRules {
        let rule = TopicRule {
            filter: TOPIC.to_owned(),
            probe: "bed".into(),
            shape: Shape::Bare { quantity: Quantity::AirTemperature, unit: "°C".to_owned() },
            usual_interval_s: 60,
        };
        TopicRules::new(vec![rule]).unwrap()
    }

    /// What the keeper hears when these payloads come, each at its moment and once more (`true`) or not: `23` dated by its
    /// arrival, `(23)` undated, `?` unreadable, `2 late`. After the bar what had waited to the end.
    fn heard(messages: &[(i64, &str, bool)]) -> String {
        let (rules, mut flood) = (rules(), Flood::default());
        let mut told = Vec::new();
        for &(now_ms, payload, again) in messages {
            let said = rules.hear(TOPIC, payload.as_bytes(), again);
            let events = message::events(said, payload.as_bytes(), now_ms, None);
            told.extend(flood.pass(&rules, TOPIC, events, now_ms).iter().map(word));
        }
        told.push("|".to_owned());
        told.extend(flood.told(i64::MAX).iter().map(word));
        told.join(" ")
    }

    fn word(event: &Event) -> String {
        match event {
            Event::Heard { readings, .. } if readings[0].stale => format!("({})", readings[0].value.unwrap()),
            Event::Heard { readings, .. } => readings[0].value.unwrap().to_string(),
            Event::Malformed { .. } => "?".to_owned(),
            Event::Counted { what: Counted::Late, more, .. } => format!("{more} late"),
            _ => unreachable!("nothing else comes of a message"),
        }
    }

    #[test]
    fn up_to_three_wait_and_are_live_and_with_the_fourth_all_are_late() {
        let three = [(0, "1", false), (5, "2", false), (10, "3", false)];
        assert_eq!(heard(&three), "| 1 2 3");
        assert_eq!(heard(&[&three[..], &[(60_010, "4", false)]].concat()), "1 2 3 4 |");
        // Told together, so that the keeper can take in the flood together.
        let flood = [&three[..], &[(15, "4", false), (15, "5", false)]].concat();
        assert_eq!(heard(&flood), "(1) (2) (3) (4) (5) | 5 late");
    }

    #[test]
    fn what_waits_does_so_from_the_last_one_on() {
        let slowly = [(0, "1", false), (400, "2", false), (800, "3", false), (1200, "4", false)];
        assert_eq!(heard(&slowly), "(1) (2) (3) (4) | 4 late");
    }

    #[test]
    fn what_comes_once_more_and_what_cannot_be_read_make_no_flood() {
        let again = [(0, "1", true), (0, "2", true), (0, "3", true), (5, "4", false)];
        assert_eq!(heard(&again), "(1) (2) (3) | 4");
        let status = [(0, "on", false), (5, "on", false), (10, "on", false), (15, "1", false)];
        assert_eq!(heard(&status), "? ? ? | 1");
    }
}
