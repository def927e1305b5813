//! What to send now: pure decisions over the rows of one courier's outbox.
//!
//! Three rules. Of several steps of one notice that wait, only the newest is news, so the older ones collapse into it
//! once it may go; that alone keeps the order within a notice. A step whose life is over is dropped and counted, not sent. A try that
//! came to nothing is made again after 30 s, then twice as long each time up to half an hour, unless the far end said
//! when it wants to be asked.

use std::collections::BTreeMap;

use agronomy::crop::Severity;

use crate::entry::{Step, Turn};

/// The first pause after a try that came to nothing, ms.
const FIRST_PAUSE_MS: i64 = 30_000;
/// The longest pause of our own making, ms.
const LONGEST_PAUSE_MS: i64 = 30 * 60_000;

/// Why a step was not sent: its life was over.
pub const EXPIRED: &str = "expired";
/// Why a step was not sent: a newer one of the same notice says more.
pub const COLLAPSED: &str = "a newer step took its place";
/// Why a step did not go to the next person: somebody has seen it.
pub const SEEN: &str = "somebody has seen it";
/// Why a step did not go to the next person: it was over before, or they were never told that it began.
pub const OVER: &str = "it was over before its turn came";
/// Why an all-clear that waited for the end of the quiet hours was not sent: by then it was not true any more.
pub const BEGAN_AGAIN: &str = "it began again before its turn came";

/// Why something was not sent, as the grower reads it: our own reasons in plain words, a far end's as it gave them.
pub fn in_words(why: &str) -> &str {
    match why {
        EXPIRED => "its time ran out before it could be sent",
        COLLAPSED => "a newer word of the same notice went in its place",
        other => other,
    }
}

/// What is to be carried.
#[derive(Clone, Debug, PartialEq)]
#[expect(clippy::large_enum_variant, reason = "few rows wait at a time, and most are steps")]
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
            Self::Step(step) => Some(step.weight()),
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
    /// Why it need not be carried any more, where it need not.
    pub needless: Option<&'static str>,
}

/// How an attempt to deliver a step went.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Delivery {
    /// The far end took it.
    Sent,
    /// It may work later.
    Later {
        /// What went wrong.
        why: String,
        /// The far end's own wish, ms.
        after_ms: Option<i64>,
    },
    /// It will never work.
    Never {
        /// What went wrong.
        why: String,
    },
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
    let ended =
        |row: &Waiting| if trusted && row.expires_ms <= now_ms { Some(EXPIRED) } else { row.needless };
    let alive: Vec<&Waiting> = rows.iter().filter(|row| ended(row).is_none()).collect();
    let mut newest: BTreeMap<&str, &Waiting> = BTreeMap::new();
    for row in &alive {
        let last = newest.entry(row.errand.thread()).or_insert(row);
        if row.entry > last.entry {
            *last = row;
        }
    }
    let ready: BTreeMap<&str, i64> =
        newest.iter().map(|(thread, row)| (*thread, ready_ms(row, &alive))).collect();
    let is_due = |thread: &str| ready.get(thread).is_some_and(|at| *at <= now_ms);
    let mut plan = Plan::default();
    plan.drop.extend(rows.iter().filter_map(|row| Some((row.entry, ended(row)?))));
    // Until the newer one may go, an older one neither goes nor is given up: it remembers when it was due.
    let newer = |row: &Waiting| newest.get(row.errand.thread()).is_some_and(|last| last.entry > row.entry);
    let collapsed = alive.iter().filter(|row| newer(row) && is_due(row.errand.thread()));
    plan.drop.extend(collapsed.map(|row| (row.entry, COLLAPSED)));
    plan.drop.sort_unstable();
    plan.send = newest
        .iter()
        .filter(|(thread, _)| is_due(thread))
        .map(|(_, row)| *row)
        .min_by_key(|row| (std::cmp::Reverse(row.errand.urgency()), row.entry))
        .cloned();
    if plan.send.is_none() {
        plan.next_ms = ready.into_values().min();
    }
    plan
}

/// When the newest step of a notice may go, UTC ms: when it is due; or, where it tells that something severe still
/// stands, when the alarm was due whose place it took before anybody was given it. So quiet hours, which hold back
/// what eases, never swallow the alarm before it.
fn ready_ms(newest: &Waiting, alive: &[&Waiting]) -> i64 {
    let severe = |row: &Waiting| row.errand.urgency() >= Some(Severity::Severe);
    let over = matches!(&newest.errand, Errand::Step(step) if step.turn == Turn::Closed);
    if over || newest.tries > 0 || !severe(newest) {
        return newest.due_ms;
    }
    let same = alive.iter().filter(|row| row.errand.thread() == newest.errand.thread() && severe(row));
    same.map(|row| row.due_ms).min().unwrap_or(newest.due_ms)
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
    use crate::entry::fixtures;

    const HOUR: i64 = 3_600_000;

    fn step(notice: &str, number: u32, severity: Severity) -> Errand {
        Errand::Step(Step {
            notice: notice.to_owned(),
            number,
            text: "The house is at 36.1.".to_owned(),
            ..fixtures::step(0, severity, "Open the far door")
        })
    }

    fn row(entry: i64, notice: &str, severity: Severity, due_ms: i64) -> Waiting {
        let errand = step(notice, entry as u32, severity);
        Waiting { entry, errand, first: entry, due_ms, expires_ms: 6 * HOUR, tries: 0, needless: None }
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
        let before = plan(&rows, 100, true);
        assert_eq!((before.drop, before.send, before.next_ms), (vec![], None, Some(500)));
        let then = plan(&rows, 500, true);
        assert_eq!((then.drop, then.send.map(|row| row.entry)), (vec![(1, COLLAPSED)], Some(2)));
    }

    fn turned(mut row: Waiting, turn: Turn) -> Waiting {
        if let Errand::Step(step) = &mut row.errand {
            step.turn = turn;
        }
        row
    }

    #[test]
    fn an_alarm_that_nobody_was_given_is_not_swallowed_by_a_step_that_waits_for_the_morning() {
        // It was due at 0 and is tried again at 100; what eases to severe is held until 500.
        let alarm = Waiting { tries: 2, ..row(1, "a", Severity::Extreme, 100) };
        let eased = turned(row(2, "a", Severity::Severe, 500), Turn::Eased);
        let rows = [alarm.clone(), eased.clone()];
        let before = plan(&rows, 50, true);
        assert_eq!((before.drop, before.send, before.next_ms), (vec![], None, Some(100)));
        let then = plan(&rows, 100, true);
        assert_eq!((then.drop, then.send.map(|row| row.entry)), (vec![(1, COLLAPSED)], Some(2)));
        // Once it was tried itself, its own hour counts.
        let tried = Waiting { tries: 1, due_ms: 160, ..eased };
        assert_eq!(plan(&[tried], 100, true).next_ms, Some(160));
        // What is over wakes nobody, whoever missed the alarm.
        let closed = turned(row(2, "a", Severity::Severe, 500), Turn::Closed);
        assert_eq!(plan(&[alarm, closed], 200, true).next_ms, Some(500));
    }

    #[test]
    fn a_step_that_need_not_go_takes_no_other_ones_place() {
        let needless = Waiting { needless: Some(OVER), ..row(2, "a", Severity::Severe, 0) };
        let plan = plan(&[row(1, "a", Severity::Extreme, 0), needless], 10, true);
        assert_eq!((plan.drop, plan.send.map(|row| row.entry)), (vec![(2, OVER)], Some(1)));
    }

    #[test]
    fn the_outboxs_own_reasons_are_said_in_plain_words_and_a_far_ends_as_it_gave_them() {
        assert_eq!(in_words(EXPIRED), "its time ran out before it could be sent");
        assert_eq!(in_words(COLLAPSED), "a newer word of the same notice went in its place");
        for why in [SEEN, OVER, BEGAN_AGAIN, "550 no such reader", ""] {
            assert_eq!(in_words(why), why);
        }
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
