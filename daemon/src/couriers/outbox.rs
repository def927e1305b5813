//! What to send now: pure decisions over the rows of one courier's outbox.
//!
//! Three rules. Of several steps of one notice that wait, only the newest is news, so the older ones collapse into it;
//! that alone keeps the order within a notice. A step whose life is over is dropped and counted, not sent. A try that
//! came to nothing is made again after 30 s, then twice as long each time up to half an hour, unless the far end said
//! when it wants to be asked.

use std::collections::BTreeMap;

use agronomy::crop::Severity;

use crate::entry::Step;
use crate::keeper::event::Delivery;

/// The first pause after a try that came to nothing, ms.
const FIRST_PAUSE_MS: i64 = 30_000;
/// The longest pause of our own making, ms.
const LONGEST_PAUSE_MS: i64 = 30 * 60_000;

/// Why a step was not sent: its life was over.
pub const EXPIRED: &str = "expired";
/// Why a step was not sent: a newer one of the same notice says more.
pub const COLLAPSED: &str = "a newer step took its place";

/// What is to be carried.
#[derive(Clone, Debug, PartialEq)]
pub enum Errand {
    /// A step of a notice.
    Step(Step),
    /// The morning letter of a day, `YYYY-MM-DD` in civil time.
    Letter {
        /// Which day.
        date: String,
    },
}

impl Errand {
    /// What the errand belongs to: within it, a newer errand replaces an older one.
    pub(super) fn thread(&self) -> &str {
        match self {
            Self::Step(step) => &step.notice,
            Self::Letter { .. } => "",
        }
    }

    /// Worst first; the letter has time.
    fn urgency(&self) -> Option<Severity> {
        match self {
            Self::Step(step) => Some(step.severity),
            Self::Letter { .. } => None,
        }
    }
}

/// One row that waits, with what it is about.
#[derive(Clone, Debug, PartialEq)]
pub struct Waiting {
    /// The entry's number: grows in the order in which things were decided.
    pub entry: i64,
    /// What is to be carried.
    pub errand: Errand,
    /// The entry of the notice's first step (its own where it is the first): what mail threads hang from.
    pub first: i64,
    /// Not before, UTC ms.
    pub due_ms: i64,
    /// Of no use from then on, UTC ms.
    pub expires_ms: i64,
    /// Tries that came to nothing so far.
    pub tries: u32,
}

/// What to do now.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    /// Entries that will never be sent, and why, in the order of the entries.
    pub drop: Vec<(i64, &'static str)>,
    /// What to try now: the worst first, then the oldest.
    pub send: Option<Waiting>,
    /// When nothing is to be tried now: when something will be, UTC ms.
    pub next_ms: Option<i64>,
}

/// Decides over the waiting rows of one courier at `now_ms` (UTC ms).
///
/// While nobody vouches for the clock (`trusted` false) nothing expires: a board that starts years late must not throw
/// its warnings away.
pub fn plan(rows: &[Waiting], now_ms: i64, trusted: bool) -> Plan {
    let mut newest: BTreeMap<&str, i64> = BTreeMap::new();
    for row in rows {
        let entry = newest.entry(row.errand.thread()).or_insert(row.entry);
        *entry = row.entry.max(*entry);
    }
    let mut plan = Plan::default();
    let mut alive: Vec<&Waiting> = Vec::new();
    for row in rows {
        if trusted && row.expires_ms <= now_ms {
            plan.drop.push((row.entry, EXPIRED));
        } else if newest.get(row.errand.thread()) != Some(&row.entry) {
            plan.drop.push((row.entry, COLLAPSED));
        } else {
            alive.push(row);
        }
    }
    plan.drop.sort_unstable();
    plan.send = alive
        .iter()
        .filter(|row| row.due_ms <= now_ms)
        .min_by_key(|row| (std::cmp::Reverse(row.errand.urgency()), row.entry))
        .map(|row| (*row).clone());
    if plan.send.is_none() {
        plan.next_ms = alive.iter().map(|row| row.due_ms).min();
    }
    plan
}

/// What becomes of a row after a try.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Row {
    /// The far end took it.
    Sent,
    /// It waits again.
    Waits {
        /// Until when, UTC ms.
        due_ms: i64,
        /// Tries that came to nothing so far.
        tries: u32,
    },
    /// It will not be sent.
    Dropped,
}

/// What the keeper writes into a row that had `tries` fruitless tries, when a try of `entry` ended at `now_ms`.
pub fn after(entry: i64, tries: u32, delivery: &Delivery, now_ms: i64) -> Row {
    match delivery {
        Delivery::Sent => Row::Sent,
        Delivery::Never { .. } => Row::Dropped,
        Delivery::Later { after_ms, .. } => {
            let pause = after_ms.map_or_else(|| pause_ms(entry, tries), |wish| wish.max(FIRST_PAUSE_MS));
            Row::Waits { due_ms: now_ms.saturating_add(pause), tries: tries.saturating_add(1) }
        }
    }
}

/// The pause after a fruitless try, ms: 30 s doubling to 30 min, shortened by up to a tenth so that rows which failed
/// together do not come back together. The share depends on row and try only: a replay reckons the same.
fn pause_ms(entry: i64, tries: u32) -> i64 {
    let full = FIRST_PAUSE_MS.saturating_mul(1 << tries.min(16)).min(LONGEST_PAUSE_MS);
    // Knuth's multiplicative hash: neighbouring entries land far apart.
    let mixed = (entry as u32).wrapping_add(tries).wrapping_mul(2_654_435_761) >> 16;
    full - full / 10 * i64::from(mixed) / 65_536
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::Turn;

    const HOUR: i64 = 3_600_000;

    fn step(notice: &str, number: u32, severity: Severity) -> Errand {
        Errand::Step(Step {
            notice: notice.to_owned(),
            number,
            minder: "too-hot".to_owned(),
            place: "house".to_owned(),
            planting: None,
            at_ms: 0,
            turn: Turn::Opened,
            severity,
            push: true,
            title: "Open the far door".to_owned(),
            text: "The house is at 36.1.".to_owned(),
            caution: String::new(),
            joined: Vec::new(),
        })
    }

    fn row(entry: i64, notice: &str, severity: Severity, due_ms: i64) -> Waiting {
        let errand = step(notice, entry as u32, severity);
        Waiting { entry, errand, first: entry, due_ms, expires_ms: 6 * HOUR, tries: 0 }
    }

    fn later(after_ms: Option<i64>) -> Delivery {
        Delivery::Later { why: "451".to_owned(), after_ms }
    }

    #[test]
    fn of_several_steps_of_a_notice_only_the_newest_is_sent() {
        let rows: Vec<_> = (1..=40).map(|n| row(n, "a", Severity::Severe, 0)).collect();
        let plan = plan(&rows, HOUR, true);
        assert_eq!(plan.drop.len(), 39);
        assert!(plan.drop.iter().all(|(_, why)| *why == COLLAPSED));
        assert_eq!(plan.send.unwrap().entry, 40);
    }

    #[test]
    fn an_older_step_cannot_overtake_even_when_the_newer_must_wait() {
        let rows = [row(1, "a", Severity::Severe, 0), row(2, "a", Severity::Minor, 500)];
        let plan = plan(&rows, 100, true);
        assert_eq!(plan.drop, [(1, COLLAPSED)]);
        assert_eq!((plan.send, plan.next_ms), (None, Some(500)));
    }

    #[test]
    fn a_step_whose_life_is_over_is_dropped_as_expired() {
        let rows = [row(1, "a", Severity::Severe, 0)];
        assert_eq!(plan(&rows, 6 * HOUR - 1, true).drop, []);
        assert_eq!(plan(&rows, 6 * HOUR, true).drop, [(1, EXPIRED)]);
    }

    #[test]
    fn nothing_expires_while_nobody_vouches_for_the_clock() {
        let rows = [row(1, "a", Severity::Severe, 0)];
        let plan = plan(&rows, 1000 * HOUR, false);
        assert_eq!(plan.drop, []);
        assert_eq!(plan.send.unwrap().entry, 1);
    }

    #[test]
    fn the_worst_notice_goes_first_then_the_oldest_and_the_letter_last() {
        let letter = Waiting {
            errand: Errand::Letter { date: "2031-07-02".to_owned() },
            ..row(1, "", Severity::Minor, 0)
        };
        let mut rows = vec![
            letter,
            row(2, "a", Severity::Minor, 0),
            row(3, "b", Severity::Extreme, 0),
            row(4, "c", Severity::Extreme, 0),
        ];
        let mut order = Vec::new();
        while let Some(next) = plan(&rows, 1, true).send {
            rows.retain(|row| row.entry != next.entry);
            order.push(next.entry);
        }
        assert_eq!(order, [3, 4, 2, 1]);
    }

    #[test]
    fn pauses_double_from_half_a_minute_to_half_an_hour() {
        // The ladder of FIRST_PAUSE doubling is the promise of the design; a tenth may be missing from each.
        let ladder = [30, 60, 120, 240, 480, 960, 1800, 1800, 1800];
        for entry in 1..200 {
            for (tries, seconds) in ladder.iter().enumerate() {
                let Row::Waits { due_ms, tries: counted } = after(entry, tries as u32, &later(None), 7)
                else {
                    panic!("it waits")
                };
                let full = seconds * 1000;
                assert!((full - full / 10..=full).contains(&(due_ms - 7)), "{entry} {tries}: {due_ms}");
                assert_eq!(counted as usize, tries + 1);
            }
        }
    }

    #[test]
    fn the_far_ends_own_wish_is_obeyed_but_never_sooner_than_half_a_minute() {
        assert_eq!(after(1, 5, &later(Some(7_200_000)), 10), Row::Waits { due_ms: 7_200_010, tries: 6 });
        assert_eq!(after(1, 0, &later(Some(0)), 10), Row::Waits { due_ms: 30_010, tries: 1 });
    }

    #[test]
    fn absurd_counts_and_wishes_do_not_overflow() {
        assert!(matches!(after(i64::MAX, u32::MAX, &later(None), 0), Row::Waits { tries: u32::MAX, .. }));
        assert_eq!(after(1, 0, &later(Some(i64::MAX)), 9), Row::Waits { due_ms: i64::MAX, tries: 1 });
    }
}
