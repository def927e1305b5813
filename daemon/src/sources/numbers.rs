//! Senders that number their messages: what is missing between two that came was lost on the way, by a broker or before
//! it, though somebody may have acknowledged it.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use super::payload::TopicRules;
use crate::keeper::event::{Counted, Event};
use crate::reading::ProbeName;

/// The most gaps of one sender that may still be filled by what comes late.
const GAPS: usize = 32;
/// A leap over more numbers than this is another count, not a loss: a year of one a minute.
const LEAP: u64 = 525_600;
/// So many in a row below the highest number, each one more than the last: the count has begun again. What a broker
/// sends once more is fewer, or runs up to the highest.
const AGAIN: u32 = 10;
/// The most senders that are remembered; past them all are met anew.
const SENDERS: usize = 1000;

/// The numbers of one sender.
#[derive(Debug)]
struct Count {
    highest: u64,
    gaps: Vec<RangeInclusive<u64>>,
    below: Option<Run>,
}

/// Numbers below the highest, each one more than the last.
#[derive(Clone, Copy, Debug)]
struct Run {
    last: u64,
    in_a_row: u32,
    /// How many of them were missing.
    filled: i64,
}

/// The numbers of all senders, by topic.
#[derive(Debug, Default)]
struct Numbers {
    senders: BTreeMap<String, Count>,
}

impl Numbers {
    /// A number came on a topic: by how many messages more, or fewer, are missing now.
    fn came(&mut self, topic: &str, number: u64) -> i64 {
        if let Some(count) = self.senders.get_mut(topic) {
            return count.came(number);
        }
        if self.senders.len() >= SENDERS {
            self.senders.clear();
        }
        self.senders.insert(topic.to_owned(), Count { highest: number, gaps: Vec::new(), below: None });
        0
    }
}

/// What is missing of each probe's messages, by the senders' own counts, since the start.
#[derive(Debug, Default)]
pub(super) struct Missing {
    numbers: Numbers,
    missing: BTreeMap<ProbeName, u64>,
}

impl Missing {
    /// A message came that is news, from `only` this probe where that is known: what is to be told of those that did not
    /// come, or that came late.
    pub(super) fn count(
        &mut self,
        rules: &TopicRules,
        topic: &str,
        payload: &[u8],
        only: Option<&ProbeName>,
    ) -> Vec<Event> {
        let numbers = rules.numbers(topic, payload).into_iter();
        let spoken = numbers.filter(|(probe, _)| only.is_none_or(|only| only == *probe));
        spoken.filter_map(|(probe, number)| self.one(topic, probe, number)).collect()
    }

    fn one(&mut self, topic: &str, probe: &ProbeName, number: u64) -> Option<Event> {
        // One message may speak for several probes, each with a count of its own. No topic has a NUL in it.
        let more = self.numbers.came(&format!("{topic}\0{probe}"), number);
        if more == 0 {
            return None;
        }
        let missing = self.missing.entry(probe.clone()).or_default();
        let before = *missing;
        *missing = missing.saturating_add_signed(more);
        // A line that loses all day is logged at each doubling.
        if *missing > 0 && before.checked_ilog2() < missing.checked_ilog2() {
            tracing::warn!(%probe, missing, "messages are missing by the sender's own count");
        }
        Some(Event::Counted { probe: probe.clone(), what: Counted::Missing, more })
    }
}

impl Count {
    fn came(&mut self, number: u64) -> i64 {
        if number > self.highest {
            let missing = self.highest + 1..=number - 1;
            self.highest = number;
            self.below = None;
            let many = number - missing.start();
            if many == 0 || many > LEAP {
                return 0;
            }
            if self.gaps.len() >= GAPS {
                self.gaps.remove(0);
            }
            self.gaps.push(missing);
            return many as i64;
        }
        let fills = self.fills(number);
        let before = self.below.filter(|run| number == run.last.saturating_add(1));
        let (in_a_row, filled) = before.map_or((0, 0), |run| (run.in_a_row, run.filled));
        let run = Run { last: number, in_a_row: in_a_row + 1, filled: filled + i64::from(fills) };
        // What comes late ends where the gap does; a count that began again goes on over it.
        if !fills && run.in_a_row >= AGAIN && number < self.highest {
            *self = Self { highest: number, gaps: Vec::new(), below: None };
            return run.filled;
        }
        self.below = Some(run);
        -i64::from(fills)
    }

    /// Whether a number lies in a gap, which it then leaves.
    fn fills(&mut self, number: u64) -> bool {
        let Some(at) = self.gaps.iter().position(|gap| gap.contains(&number)) else { return false };
        let gap = self.gaps.remove(at);
        let parts = [*gap.start()..=number.saturating_sub(1), number.saturating_add(1)..=*gap.end()];
        // Of the number nought nothing lies before, nor of a gap's ends beyond them.
        self.gaps.extend(parts.into_iter().filter(|part| !part.contains(&number) && !part.is_empty()));
        if self.gaps.len() > GAPS {
            self.gaps.remove(0);
        }
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// How many are missing after these numbers.
    fn missing(numbers: impl IntoIterator<Item = u64>) -> i64 {
        let mut all = Numbers::default();
        numbers.into_iter().map(|number| all.came("garden/house", number)).sum()
    }

    #[test]
    fn m3_what_lies_between_two_numbers_is_missing_until_it_comes() {
        assert_eq!(missing([5, 6, 7]), 0, "it may have begun before us");
        assert_eq!(missing([5, 23]), 17);
        assert_eq!(missing([5, 23, 24, 30]), 22);
        assert_eq!(missing([5, 23, 10, 6, 22]), 14, "late, in any order");
        assert_eq!(missing([0, 4, 1, 2, 3]), 0);
        assert_eq!(missing([5, 23, 10, 10, 10]), 16, "the same once more fills nothing");
    }

    #[test]
    fn m6_what_comes_again_is_not_missing_and_takes_nothing_away() {
        assert_eq!(missing([1, 2, 3, 4, 5, 2, 4, 5, 6, 7]), 0);
        let window = || 1..=50;
        assert_eq!(missing(window().chain(31..=50).chain([51])), 0);
    }

    #[test]
    fn a_count_that_begins_again_is_no_loss() {
        assert_eq!(missing((100..200).chain(0..50)), 0);
        assert_eq!(missing((100..200).chain(0..50).chain([60])), 10, "and is watched from there");
        assert_eq!(missing([0, 21].into_iter().chain(22..100).chain(0..40)), 20, "and fills no old gap");
        assert_eq!(
            missing([0, 21].into_iter().chain(22..40).chain(1..=20).chain(40..60)),
            0,
            "what is late does"
        );
        assert_eq!(missing([7, u64::MAX]), 0, "a leap that far is another count");
        assert_eq!(missing([u64::MAX, u64::MAX, 0]), 0);
    }

    #[test]
    fn senders_and_gaps_are_not_remembered_without_end() {
        let mut all = Numbers::default();
        for number in 0..3 * SENDERS as u64 {
            all.came(&number.to_string(), 1);
            all.came("garden/house", 2 * number);
            assert!(all.senders.len() <= SENDERS);
            assert!(all.senders.values().all(|count| count.gaps.len() <= GAPS));
        }
    }
}
