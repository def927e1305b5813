//! A flood of messages, taken in by the moment at which they arrived: judging once for each would cost more than all
//! the rest.

use super::super::event::{Acknowledge, Event};
use crate::reading::Heard;

/// Messages that arrived in the same millisecond, all of them to be acknowledged or none: in a flood they are taken in
/// together.
#[derive(Default)]
pub(super) struct Together {
    pub(super) readings: Vec<Vec<Heard>>,
    pub(super) arrived_mono_ms: i64,
    pub(super) dones: Vec<Acknowledge>,
}

impl Together {
    /// Takes an event that belongs to the others; any other comes back.
    pub(super) fn join(&mut self, event: Event) -> Option<Event> {
        match event {
            Event::Heard { readings, arrived_mono_ms, done }
                if self.readings.is_empty()
                    || (arrived_mono_ms == self.arrived_mono_ms
                        && done.is_some() != self.dones.is_empty()) =>
            {
                self.readings.push(readings);
                self.arrived_mono_ms = arrived_mono_ms;
                self.dones.extend(done);
                None
            }
            other => Some(other),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(arrived_mono_ms: i64, stamped: bool) -> Event {
        let done = stamped.then(|| Box::new(|| ()) as Acknowledge);
        Event::Heard { readings: Vec::new(), arrived_mono_ms, done }
    }

    #[test]
    fn only_messages_of_one_moment_and_one_kind_are_taken_together() {
        let mut together = Together::default();
        assert!(together.join(heard(5, true)).is_none());
        assert!(together.join(heard(5, true)).is_none());
        assert!(together.join(heard(6, true)).is_some());
        assert!(together.join(heard(5, false)).is_some());
        assert!(together.join(Event::Away { source: "broker".to_owned(), why: None }).is_some());
        assert_eq!((together.readings.len(), together.dones.len()), (2, 2));
        let mut bare = Together::default();
        assert!(bare.join(heard(5, false)).is_none());
        assert!(bare.join(heard(5, true)).is_some());
    }
}
