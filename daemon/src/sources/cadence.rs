//! Numbers without a time that come in a flood: a sender or another broker that was cut off had kept them, and sends hours
//! of them in a second. Dated by their arrival they would all be of now.
//!
//! So after a silence the first waits for half a second. If others follow it on its heels, all are late, and so is what
//! comes after, until the sender's cadence is back. A number that comes alone is dated by when it came.

use std::collections::BTreeMap;

/// How long the first after a silence waits for others, and the gap below which a sender is faster than any that
/// measures, ms (own choice: what was kept comes as fast as the line carries it).
pub(super) const HEELS_MS: i64 = 500;
/// So many in a row that keep their distance, though a shorter one than the site file says: that is their cadence.
const IN_A_ROW: u32 = 20;
/// The most topics that are remembered; past them all are met anew.
const TOPICS: usize = 1000;

/// How a number without a time comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Comes {
    /// As it was measured.
    Live,
    /// After a silence: others on its heels would show that it is late.
    FirstAgain,
    /// In a flood; so was the one before, where that was the first again.
    Late,
}

#[derive(Clone, Copy, Debug)]
struct Seen {
    last_ms: i64,
    /// While a flood lasts: how many in a row have kept their distance.
    flood: Option<u32>,
    /// The last was the first after a silence.
    first: bool,
}

/// What has come on each topic.
#[derive(Debug, Default)]
pub(super) struct Cadence {
    topics: BTreeMap<String, Seen>,
}

impl Cadence {
    /// Something came on a topic at a moment of the monotonic clock, where it usually comes each `usual_ms`.
    pub(super) fn came(&mut self, topic: &str, usual_ms: i64, now_ms: i64) -> Comes {
        let Some(seen) = self.topics.get_mut(topic) else {
            if self.topics.len() >= TOPICS {
                self.topics.clear();
            }
            self.topics.insert(topic.to_owned(), Seen { last_ms: now_ms, flood: None, first: true });
            return Comes::FirstAgain;
        };
        let gap_ms = now_ms - seen.last_ms;
        seen.last_ms = now_ms;
        let first = std::mem::replace(&mut seen.first, false);
        let on_its_heels = gap_ms < HEELS_MS.min(usual_ms / 4);
        match seen.flood {
            Some(_) if gap_ms > 2 * usual_ms => {
                (seen.flood, seen.first) = (None, true);
                Comes::FirstAgain
            }
            Some(_) if gap_ms >= usual_ms / 4 => {
                seen.flood = None;
                Comes::Live
            }
            Some(kept) => {
                let kept = if on_its_heels { 0 } else { kept + 1 };
                seen.flood = (kept < IN_A_ROW).then_some(kept);
                Comes::Late
            }
            None if first && on_its_heels => {
                seen.flood = Some(0);
                Comes::Late
            }
            None if gap_ms > 2 * usual_ms => {
                seen.first = true;
                Comes::FirstAgain
            }
            None => Comes::Live,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTE: i64 = 60_000;

    /// How each of these arrivals comes, ms, on a topic of a reading a minute: `.` live, `1` first again, `L` late.
    fn come(arrivals: impl IntoIterator<Item = i64>) -> String {
        let mut cadence = Cadence::default();
        let one = |now_ms| match cadence.came("garden/bed", MINUTE, now_ms) {
            Comes::Live => '.',
            Comes::FirstAgain => '1',
            Comes::Late => 'L',
        };
        arrivals.into_iter().map(one).collect()
    }

    #[test]
    fn m4_three_hours_of_numbers_in_a_second_are_late_until_the_cadence_is_back() {
        let flood_ms = 3 * 60 * MINUTE;
        let flood = (0..180).map(|number| flood_ms + number * 5);
        let after = [flood_ms + 40_000, flood_ms + 100_000];
        let told = come([0, MINUTE].into_iter().chain(flood).chain(after));
        // Two minutes of the last one's number, then 180, the first of which waits to see whether it is alone.
        assert_eq!(told, format!("1.1{}..", "L".repeat(179)));
    }

    #[test]
    fn m4_a_line_that_pauses_within_a_flood_does_not_end_it() {
        assert_eq!(come([0, 5, 2_000, 2_005, 9_000, 9_005, 69_000]), "1LLLLL.");
    }

    #[test]
    fn what_comes_alone_is_live_however_long_after() {
        assert_eq!(come([0, MINUTE, 3 * MINUTE, 60 * MINUTE, 61 * MINUTE]), "1..1.");
        // A pair within the cadence is no flood: nothing was kept while nothing was missing.
        assert_eq!(come([0, MINUTE, MINUTE + 5, 2 * MINUTE]), "1...");
    }

    #[test]
    fn a_sender_that_is_faster_than_the_site_file_says_is_heard_after_a_while() {
        // One each second never comes on the heels of another.
        assert_eq!(come((0..40).map(|second| second * 1000)), format!("1{}", ".".repeat(39)));
        // One that began with a pair is late for twenty seconds and live from then on.
        let seconds = [0, 100].into_iter().chain((1..40).map(|second| 100 + second * 1000));
        assert_eq!(come(seconds), format!("1L{}{}", "L".repeat(20), ".".repeat(19)));
    }

    #[test]
    fn topics_are_told_apart_and_not_remembered_without_end() {
        let mut cadence = Cadence::default();
        for number in 0..5 * TOPICS {
            assert_eq!(cadence.came(&format!("garden/{number}"), MINUTE, 0), Comes::FirstAgain);
            assert!(cadence.topics.len() <= TOPICS);
        }
    }
}
