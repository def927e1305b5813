//! The keeper's end of a source, as a test holds it.

use std::time::Duration;

use glasshour::keeper::event::{Acknowledge, Event};
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

/// The next event.
///
/// # Panics
///
/// When none comes in time or the source has ended.
pub async fn next(events: &mut Receiver<Event>) -> Event {
    timeout(DEADLINE, events.recv()).await.expect("an event in time").expect("a source that lives")
}

/// The next message that could be read; everything else is passed over.
///
/// # Panics
///
/// As [`next`].
pub async fn message(events: &mut Receiver<Event>) -> Message {
    loop {
        if let Event::Heard { readings, done, .. } = next(events).await {
            return Message { readings, done };
        }
    }
}

/// The next word on whether the source called `source` is away.
///
/// # Panics
///
/// As [`next`].
pub async fn away(events: &mut Receiver<Event>, source: &str) -> Option<String> {
    loop {
        match next(events).await {
            Event::Away { source: named, why } if named == source => return why,
            _ => {}
        }
    }
}

/// The next message that could not be read: whose, and what is shown of it. It is acknowledged.
///
/// # Panics
///
/// As [`next`].
pub async fn malformed(events: &mut Receiver<Event>) -> (String, String) {
    loop {
        if let Event::Malformed { probe, sample, done } = next(events).await {
            if let Some(done) = done {
                done();
            }
            return (probe.to_string(), sample);
        }
    }
}
