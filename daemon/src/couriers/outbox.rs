//! What to send now: pure decisions over the rows of one courier's outbox.
//!
//! Four rules. Of several steps of one notice that wait, only the newest is news, so the older ones collapse into it
//! once it may go; that, and one try of a notice at a time, keeps the order within a notice. A step whose life is over
//! is dropped and counted, not sent. A try that came to nothing is made again after 30 s, then twice as long each time
//! up to half an hour, unless the far end said when it wants to be asked. And what is severe does not wait long behind
//! a far end that is silent: the try that stands in its way is hurried.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use agronomy::crop::Severity;

use super::route::rises;
use crate::entry::{Step, Turn};

/// The first pause after a try that came to nothing, ms.
const FIRST_PAUSE_MS: i64 = 30_000;
/// The longest pause of our own making, ms.
const LONGEST_PAUSE_MS: i64 = 30 * 60_000;
/// The most errands of one courier that are under way at one time, each of another notice. At the limit the others wait
/// until one has ended, the worst first.
pub const MOST_AT_ONCE: usize = 8;

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

    /// Whether it is a later step of the same notice.
    fn follows(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Step(step), Self::Step(other)) => {
                step.notice == other.notice && step.number > other.number
            }
            _ => false,
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

impl Waiting {
    /// Whether it may not wait behind others: something severe that nobody was told by this courier yet.
    fn presses(&self) -> bool {
        let Errand::Step(step) = &self.errand else { return false };
        self.tries == 0 && step.weight() >= Severity::Severe && rises(step.turn)
    }
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
    /// When nothing is to be tried now: when something will be, UTC ms. What waits for a try to end is not in it.
    pub next_ms: Option<i64>,
    /// The threads whose try under way may not go on for long: something severe waits behind it for its first try.
    pub hurry: Vec<String>,
}

/// Decides over the waiting rows of one courier at `now_ms` (UTC ms), while the tries of `out` are under way.
///
/// While nobody vouches for the clock (`trusted` false) nothing expires: a board that starts years late must not throw
/// its warnings away.
///
/// Of a notice there is one try at a time, and until it has ended nothing else happens to its rows: so steps cannot
/// overtake each other, and none is given up that may just have arrived.
pub fn plan(rows: &[Waiting], out: &[&Waiting], now_ms: i64, trusted: bool) -> Plan {
    let ended =
        |row: &Waiting| if trusted && row.expires_ms <= now_ms { Some(EXPIRED) } else { row.needless };
    let carried = |row: &Waiting| out.iter().find(|it| it.errand.thread() == row.errand.thread());
    let free = |row: &&Waiting| carried(row).is_none();
    let alive: Vec<&Waiting> = rows.iter().filter(|row| ended(row).is_none()).collect();
    let (alive, mut held): (Vec<&Waiting>, Vec<&Waiting>) = alive.into_iter().partition(free);
    held.retain(|row| carried(row).is_some_and(|it| row.errand.follows(&it.errand)));
    let newest = newest(&alive);
    let is_due = |thread: &str| newest.get(thread).is_some_and(|(_, ready_ms)| *ready_ms <= now_ms);
    let mut plan = Plan::default();
    plan.drop.extend(rows.iter().filter(free).filter_map(|row| Some((row.entry, ended(row)?))));
    // Until the newer one may go, an older one neither goes nor is given up: it remembers when it was due.
    let newer =
        |row: &Waiting| newest.get(row.errand.thread()).is_some_and(|(last, _)| last.entry > row.entry);
    let collapsed = alive.iter().filter(|row| newer(row) && is_due(row.errand.thread()));
    plan.drop.extend(collapsed.map(|row| (row.entry, COLLAPSED)));
    plan.drop.sort_unstable();
    let due = newest.values().filter(|(_, ready_ms)| *ready_ms <= now_ms).map(|(row, _)| *row);
    // What presses goes before a retry that is as bad: the retry was tried already.
    let first = due.min_by_key(|row| (Reverse(row.presses()), Reverse(row.errand.urgency()), row.entry));
    let threads = |rows: &[&Waiting]| rows.iter().map(|row| row.errand.thread().to_owned()).collect();
    match first {
        Some(first) if out.len() < MOST_AT_ONCE => plan.send = Some(first.clone()),
        Some(first) if first.presses() => plan.hurry = threads(out),
        _ => {}
    }
    let pressing = self::newest(&held).into_values().filter(|(row, _)| row.presses());
    let pressing: Vec<(&Waiting, i64)> = pressing.collect();
    if plan.hurry.is_empty() {
        let due: Vec<&Waiting> = pressing.iter().filter(|it| it.1 <= now_ms).map(|it| it.0).collect();
        plan.hurry = threads(&due);
    }
    if plan.send.is_none() {
        plan.next_ms = newest.values().chain(&pressing).map(|(_, at)| *at).filter(|at| *at > now_ms).min();
    }
    plan
}

/// The newest row of each thread, and when it may go, UTC ms.
fn newest<'a>(alive: &[&'a Waiting]) -> BTreeMap<&'a str, (&'a Waiting, i64)> {
    let mut newest: BTreeMap<&str, &Waiting> = BTreeMap::new();
    for row in alive {
        let last = newest.entry(row.errand.thread()).or_insert(row);
        if row.entry > last.entry {
            *last = row;
        }
    }
    newest.into_iter().map(|(thread, row)| (thread, (row, ready_ms(row, alive)))).collect()
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
#[path = "outbox_tests.rs"]
mod tests;
