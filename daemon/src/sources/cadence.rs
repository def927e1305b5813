//! Numbers without a time that come in a flood: a sender or another broker that was cut off had kept them, and sends hours
//! of them in a second. Dated by their arrival they would all be of now.
//!
//! So after a silence what comes waits until nothing has followed on its heels for half a second. Up to three may: a probe
//! may say in several messages what it measured, and a radio repeats itself. With the fourth all are late, and so is what
//! comes after, until the sender's cadence is back.

use std::collections::BTreeMap;

/// How long after a silence others are waited for, and the gap below which a sender is faster than any that measures, ms
/// (own choice: what was kept comes as fast as the line carries it).
pub(super) const HEELS_MS: i64 = 500;
/// So many on each other's heels after a silence are a flood (own choice).
const FLOOD: u32 = 4;
/// So many in a row that keep their distance, though a shorter one than the site file says: that is their cadence.
const IN_A_ROW: u32 = 20;
/// The most topics that are remembered; past them all are met anew.
const TOPICS: usize = 1000;

/// How a number without a time comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Comes {
    /// As it was measured.
    Live,
    /// After a silence: more on its heels would show that it is late.
    Waits,
    /// In a flood; so did those that wait.
    Late,
}

/// How fast a topic's messages come.
#[derive(Clone, Copy, Debug)]
enum Pace {
    /// As their sender measures.
    Own,
    /// After a silence, so many on each other's heels.
    Again(u32),
    /// In a flood, so many in a row with their distance kept.
    Flood(u32),
}

#[derive(Clone, Copy, Debug)]
struct Seen {
    last_ms: i64,
    pace: Pace,
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
            self.topics.insert(topic.to_owned(), Seen { last_ms: now_ms, pace: Pace::Again(1) });
            return Comes::Waits;
        };
        let gap_ms = now_ms - seen.last_ms;
        seen.last_ms = now_ms;
        let on_its_heels = gap_ms < HEELS_MS.min(usual_ms / 4);
        let (pace, comes) = match seen.pace {
            _ if gap_ms > 2 * usual_ms => (Pace::Again(1), Comes::Waits),
            Pace::Again(many) if on_its_heels && many + 1 < FLOOD => (Pace::Again(many + 1), Comes::Waits),
            Pace::Again(_) | Pace::Flood(_) if on_its_heels => (Pace::Flood(0), Comes::Late),
            Pace::Flood(kept) if gap_ms < usual_ms / 4 && kept + 1 < IN_A_ROW => {
                (Pace::Flood(kept + 1), Comes::Late)
            }
            Pace::Flood(_) if gap_ms < usual_ms / 4 => (Pace::Own, Comes::Late),
            Pace::Own | Pace::Again(_) | Pace::Flood(_) => (Pace::Own, Comes::Live),
        };
        seen.pace = pace;
        comes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTE: i64 = 60_000;

    /// How each of these arrivals comes, ms, on a topic of a reading a minute: `.` live, `w` waits, `L` late.
    fn come(arrivals: impl IntoIterator<Item = i64>) -> String {
        come_each(MINUTE, arrivals)
    }

    /// The same on a topic of a reading each `usual_ms`.
    fn come_each(usual_ms: i64, arrivals: impl IntoIterator<Item = i64>) -> String {
        let mut cadence = Cadence::default();
        let one = |now_ms| match cadence.came("garden/bed", usual_ms, now_ms) {
            Comes::Live => '.',
            Comes::Waits => 'w',
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
        // Two minutes of the last one's number, then 180, the first three of which wait for the fourth.
        assert_eq!(told, format!("w.www{}..", "L".repeat(177)));
    }

    #[test]
    fn m4_a_line_that_pauses_within_a_flood_does_not_end_it() {
        assert_eq!(come([0, 5, 10, 15, 2_000, 2_005, 9_000, 9_005, 69_000]), "wwwLLLLL.");
    }

    #[test]
    fn what_comes_alone_is_live_however_long_after() {
        assert_eq!(come([0, MINUTE, 3 * MINUTE, 60 * MINUTE, 61 * MINUTE]), "w..w.");
        // A pair within the cadence is no flood: nothing was kept while nothing was missing.
        assert_eq!(come([0, MINUTE, MINUTE + 5, 2 * MINUTE]), "w...");
    }

    #[test]
    fn a_sender_that_is_faster_than_the_site_file_says_is_heard_after_a_while() {
        // One each second never comes on the heels of another.
        assert_eq!(come((0..40).map(|second| second * 1000)), format!("w{}", ".".repeat(39)));
        // One that began with four at once is late for twenty seconds and live from then on.
        let seconds = [0, 100, 200, 300].into_iter().chain((1..40).map(|second| 300 + second * 1000));
        assert_eq!(come(seconds), format!("wwwL{}{}", "L".repeat(20), ".".repeat(19)));
    }

    #[test]
    fn a_probe_that_speaks_in_pairs_and_a_radio_that_repeats_itself_are_no_flood() {
        let each = |minutes: i64, many: i64| {
            (0..9).flat_map(move |turn| (0..many).map(move |number| turn * minutes * MINUTE + number * 5))
        };
        assert_eq!(come(each(5, 2)), "ww".repeat(9), "rarer than the site file says");
        assert_eq!(come(each(3, 3)), "www".repeat(9));
        let rare = come_each(5 * MINUTE, each(1, 2));
        assert_eq!(rare, format!("ww{}", ".".repeat(16)), "more often than the site file says");
    }

    #[test]
    fn topics_are_told_apart_and_not_remembered_without_end() {
        let mut cadence = Cadence::default();
        for number in 0..5 * TOPICS {
            assert_eq!(cadence.came(&format!("garden/{number}"), MINUTE, 0), Comes::Waits);
            assert!(cadence.topics.len() <= TOPICS);
        }
    }
}
