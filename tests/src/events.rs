//! The keeper's end of a source, as a test holds it.

use std::collections::VecDeque;
use std::time::Duration;

use glasshour::keeper::event::{Acknowledge, Counted, Event};
use glasshour::reading::Heard;
use tokio::sync::mpsc::Receiver;
use tokio::time::timeout;

/// The longest anything is waited for. A test that gets there fails.
pub const DEADLINE: Duration = Duration::from_secs(60);

/// What one message said, with the way to acknowledge it.
pub struct Message {
    /// Its readings.
    pub readings: Vec<Heard>,
    /// How to acknowledge it.
    pub done: Option<Acknowledge>,
}

impl Message {
    /// The value of its first reading.
    ///
    /// # Panics
    ///
    /// When it has none.
    pub fn value(&self) -> f64 {
        self.readings[0].value.expect("a value")
    }

    /// Acknowledges it.
    pub fn acknowledge(self) {
        if let Some(done) = self.done {
            done();
        }
    }
}

/// Events as they come, with those that were passed over kept for later.
pub struct Inbox {
    events: Receiver<Event>,
    passed: VecDeque<Event>,
}

impl Inbox {
    /// The keeper's end of a queue.
    pub fn new(events: Receiver<Event>) -> Self {
        Self { events, passed: VecDeque::new() }
    }

    /// The next event that is wanted; the others wait, in order.
    async fn next(&mut self, wanted: impl Fn(&Event) -> bool) -> Event {
        if let Some(found) = self.passed.iter().position(&wanted) {
            return self.passed.remove(found).expect("the position just found");
        }
        loop {
            let event = timeout(DEADLINE, self.events.recv()).await.expect("an event in time");
            let event = event.expect("a source that lives");
            if wanted(&event) {
                return event;
            }
            self.passed.push_back(event);
        }
    }

    /// The next message that could be read.
    ///
    /// # Panics
    ///
    /// When none comes in time or the source has ended.
    pub async fn message(&mut self) -> Message {
        match self.next(|event| matches!(event, Event::Heard { .. })).await {
            Event::Heard { readings, done, .. } => Message { readings, done },
            _ => unreachable!("it was asked for"),
        }
    }

    /// The next word on whether the source called `source` is away.
    ///
    /// # Panics
    ///
    /// When none comes in time or the source has ended.
    pub async fn away(&mut self, source: &str) -> Option<String> {
        let about = |event: &Event| matches!(event, Event::Away { source: named, .. } if named == source);
        match self.next(about).await {
            Event::Away { why, .. } => why,
            _ => unreachable!("it was asked for"),
        }
    }

    /// The next that is counted of a probe's messages.
    ///
    /// # Panics
    ///
    /// When none comes in time or the source has ended.
    pub async fn counted(&mut self) -> (String, Counted, i64) {
        match self.next(|event| matches!(event, Event::Counted { .. })).await {
            Event::Counted { probe, what, more } => (probe.to_string(), what, more),
            _ => unreachable!("it was asked for"),
        }
    }

    /// So many late readings of a probe are told, in however many events, and no more.
    ///
    /// # Panics
    ///
    /// When they do not come in time, or others do.
    pub async fn late(&mut self, probe: &str, many: usize) {
        let mut told = 0;
        while told < many as i64 {
            let (whose, what, more) = self.counted().await;
            assert_eq!((&*whose, what), (probe, Counted::Late));
            told += more;
        }
        assert_eq!(told, many as i64);
    }

    /// The next message that could not be read: whose, and what is shown of it. It is acknowledged.
    ///
    /// # Panics
    ///
    /// When none comes in time or the source has ended.
    pub async fn malformed(&mut self) -> (String, String) {
        match self.next(|event| matches!(event, Event::Malformed { .. })).await {
            Event::Malformed { probe, sample, done } => {
                if let Some(done) = done {
                    done();
                }
                (probe.to_string(), sample)
            }
            _ => unreachable!("it was asked for"),
        }
    }

    /// Whether nothing waits here.
    pub fn is_empty(&mut self) -> bool {
        self.passed.extend(std::iter::from_fn(|| self.events.try_recv().ok()));
        self.passed.is_empty()
    }
}
