//! From what a message says to what the keeper hears: one acknowledgement for all of it.

use super::payload::{Said, sample};
use crate::keeper::event::{Acknowledge, Event};

/// The events of one message, in order. The last carries the acknowledgement, so that it is not given before
/// everything the message said has reached the keeper.
///
/// `said` is not empty: a message that no rule meets is not the keeper's business.
pub(super) fn events(
    said: Vec<Said>,
    payload: &[u8],
    arrived_mono_ms: i64,
    mut done: Option<Acknowledge>,
) -> Vec<Event> {
    let mut readings = Vec::new();
    let mut events = Vec::new();
    for (probe, outcome) in said {
        match outcome {
            Ok(heard) => readings.extend(heard),
            Err(fault) => {
                let sample = format!("{fault}: {}", sample(payload));
                events.push(Event::Malformed { probe, sample, done: None });
            }
        }
    }
    if !readings.is_empty() {
        events.push(Event::Heard { readings, arrived_mono_ms, done: done.take() });
    } else if let Some(Event::Malformed { done: last, .. }) = events.last_mut() {
        *last = done.take();
    }
    events
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Heard;
    use crate::sources::payload::Malformed;
    use agronomy::quantity::Quantity;

    fn spoken(probe: &str) -> Said {
        let heard = Heard {
            probe: probe.into(),
            quantity: Quantity::AirTemperature,
            value: Some(20.0),
            measured_ms: None,
            stale: false,
        };
        (probe.into(), Ok(vec![heard]))
    }

    fn carries_it(event: &Event) -> bool {
        matches!(event, Event::Heard { done: Some(_), .. } | Event::Malformed { done: Some(_), .. })
    }

    #[test]
    fn only_the_last_event_of_a_message_acknowledges_it() {
        let garbled = || ("b".into(), Err(Malformed::Empty));
        for said in [
            vec![spoken("a")],
            vec![garbled(), spoken("a")],
            vec![spoken("a"), garbled()],
            vec![garbled(), garbled()],
        ] {
            let events = events(said, b"x", 0, Some(Box::new(|| {})));
            let (last, before) = events.split_last().unwrap();
            assert!(carries_it(last));
            assert!(!before.iter().any(carries_it));
        }
    }
}
