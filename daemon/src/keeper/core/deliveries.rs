//! How far each notice has come on each way: what the page shows of it, read from the ledger.

use std::collections::{BTreeMap, BTreeSet};

use super::Core;
use crate::couriers::outbox::{COLLAPSED, EXPIRED, in_words};
use crate::entry::{Entry, Note, Step};
use crate::glance::Delivered;
use crate::ledger::{LedgerError, OutboxRow, OutboxState};

/// How long after its last step a notice's deliveries are still looked at, ms: who was away for days is told what did not
/// go meanwhile.
const SHOWN_MS: i64 = 7 * 86_400_000;
/// Steps of a notice that are looked at: three days of one that goes up and down each hour.
const NEWEST: usize = 64;

/// The entries of each notice's steps, with the steps' numbers.
#[derive(Debug, Default)]
pub(super) struct StepEntries(BTreeMap<String, Vec<(i64, u32)>>);

impl StepEntries {
    pub(super) fn of(entries: &[Entry]) -> Self {
        let mut all = Self::default();
        for entry in entries {
            if let Note::Step(step) = &entry.note {
                all.take(step, entry.id);
            }
        }
        all
    }

    pub(super) fn take(&mut self, step: &Step, entry: i64) {
        let entries = self.0.entry(step.notice.clone()).or_default();
        if entries.last().is_none_or(|(last, _)| *last < entry) {
            entries.push((entry, step.number));
        }
    }
}

/// What became of what was told lately.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Deliveries {
    /// The newest delivery of each notice that is open, or was lately, by each courier that has one.
    pub of_notices: BTreeMap<String, Vec<Delivered>>,
    /// By notice, the numbers of the steps that nobody was given because their time ran out.
    pub late: BTreeMap<String, Vec<u32>>,
    /// By courier, how many steps were never sent: their time ran out, or a newer one took their place.
    pub unsent: BTreeMap<String, usize>,
    /// The notices of which a step rang in somebody's quiet hours, because it was severe.
    pub rang_in_quiet: BTreeSet<String>,
}

impl Core {
    /// How far what was told in the last week has come.
    ///
    /// # Errors
    ///
    /// When the ledger cannot be read.
    pub fn deliveries(&self) -> Result<Deliveries, LedgerError> {
        let since_ms = self.engine.now_ms() - SHOWN_MS;
        let lately: Vec<&Step> = self
            .engine
            .told()
            .iter()
            .rev()
            .take_while(|step| step.at_ms >= since_ms || step.is_undated())
            .collect();
        let calendar = &self.engine.site().calendar;
        let rang = |step: &&&Step| self.routes.iter().any(|route| route.rang_in_quiet(step, calendar));
        let rang_in_quiet = lately.iter().filter(rang).map(|step| step.notice.clone()).collect();
        let open = self.engine.open_notices().map(str::to_owned);
        let shown: BTreeSet<String> = lately.iter().map(|step| step.notice.clone()).chain(open).collect();
        let newest =
            |entries: &Vec<(i64, u32)>| entries.iter().rev().take(NEWEST).copied().collect::<Vec<_>>();
        let shown: Vec<(String, Vec<(i64, u32)>)> = shown
            .into_iter()
            .filter_map(|notice| {
                self.step_entries.0.get(&notice).map(newest).map(|entries| (notice, entries))
            })
            .collect();
        // One question for all of them: the glance is made each second.
        let asked: Vec<i64> =
            shown.iter().flat_map(|(_, entries)| entries).map(|(entry, _)| *entry).collect();
        let mut rows: BTreeMap<i64, Vec<OutboxRow>> = BTreeMap::new();
        for row in self.ledger.deliveries_of(&asked)? {
            rows.entry(row.step).or_default().push(row);
        }
        let mut all = Deliveries { rang_in_quiet, ..Deliveries::default() };
        for (notice, entries) in shown {
            let steps =
                entries.iter().map(|(entry, number)| (*number, rows.remove(entry).unwrap_or_default()));
            all.take(notice, steps.collect());
        }
        Ok(all)
    }
}

impl Deliveries {
    /// Takes in a notice: its steps by number, the newest first, with their rows.
    fn take(&mut self, notice: String, steps: Vec<(u32, Vec<OutboxRow>)>) {
        let late = late(&steps);
        if !late.is_empty() {
            self.late.insert(notice.clone(), late);
        }
        let mut ways: BTreeMap<String, Delivered> = BTreeMap::new();
        for row in steps.into_iter().flat_map(|(_, rows)| rows) {
            let unsent = usize::from(never_sent(&row));
            if unsent > 0 {
                *self.unsent.entry(row.courier.clone()).or_default() += unsent;
            }
            match ways.get_mut(&row.courier) {
                Some(newest) => newest.old_unsent += unsent,
                None => _ = ways.insert(row.courier.clone(), delivered(row)),
            }
        }
        self.of_notices.insert(notice, ways.into_values().collect());
    }
}

/// Whether a step was not sent though it was to be: it grew too old, or a newer one took its place.
fn never_sent(row: &OutboxRow) -> bool {
    row.state == OutboxState::Expired || is_collapsed(row)
}

fn is_collapsed(row: &OutboxRow) -> bool {
    row.state == OutboxState::GivenUp && row.why.as_deref() == Some(COLLAPSED)
}

/// The numbers of the steps that nobody was given, because their time ran out. One that collapsed has the fate of the
/// step that took its place. `steps`: the newest first.
fn late(steps: &[(u32, Vec<OutboxRow>)]) -> Vec<u32> {
    // By courier: whether the step last looked at ran out of time there.
    let mut ran_out: BTreeMap<&str, bool> = BTreeMap::new();
    let mut late = Vec::new();
    for (number, rows) in steps {
        let fates: Vec<bool> = rows
            .iter()
            .filter_map(|row| {
                let fate = match row.state {
                    OutboxState::Sent | OutboxState::Waiting => false,
                    OutboxState::Expired => true,
                    OutboxState::GivenUp if is_collapsed(row) => *ran_out.get(row.courier.as_str())?,
                    // Refused, left unsent or needless: of those the page tells by itself.
                    _ => return None,
                };
                ran_out.insert(&row.courier, fate);
                Some(fate)
            })
            .collect();
        if !fates.is_empty() && fates.iter().all(|ran_out| *ran_out) {
            late.push(*number);
        }
    }
    late
}

fn delivered(row: OutboxRow) -> Delivered {
    let waits = row.state == OutboxState::Waiting;
    let why = row.why.or_else(|| (row.state == OutboxState::Expired).then(|| EXPIRED.to_owned()));
    Delivered {
        courier: row.courier,
        sent: row.state == OutboxState::Sent,
        waits,
        needless: row.state == OutboxState::NotNeeded,
        tries: row.tries,
        due_ms: waits.then_some(row.due_ms),
        why: why.map(|why| in_words(&why).to_owned()),
        old_unsent: 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(courier: &str, state: OutboxState, why: Option<&str>) -> OutboxRow {
        let why = why.map(str::to_owned);
        OutboxRow { step: 1, courier: courier.to_owned(), due_ms: 0, expires_ms: 9, tries: 2, state, why }
    }

    fn sent(courier: &str) -> OutboxRow {
        row(courier, OutboxState::Sent, None)
    }

    fn expired(courier: &str) -> OutboxRow {
        row(courier, OutboxState::Expired, Some(EXPIRED))
    }

    fn collapsed(courier: &str) -> OutboxRow {
        row(courier, OutboxState::GivenUp, Some(COLLAPSED))
    }

    #[test]
    fn k7_old_steps_that_never_went_are_counted_by_notice_and_by_courier() {
        let mut all = Deliveries::default();
        // The newest went; 37 before it collapsed, and the first ran out of time.
        let mut steps = vec![(39, vec![sent("e-mail"), sent("web push")])];
        steps.extend((2..39).rev().map(|number| (number, vec![collapsed("e-mail"), sent("web push")])));
        steps.push((1, vec![expired("e-mail"), row("web push", OutboxState::GivenUp, Some("410 gone"))]));
        all.take("a".to_owned(), steps);
        all.take("b".to_owned(), vec![(1, vec![expired("e-mail")])]);
        let counts = |notice: &str| {
            let ways = all.of_notices[notice].iter();
            ways.map(|it| (it.courier.as_str(), it.sent, it.old_unsent)).collect::<Vec<_>>()
        };
        assert_eq!(counts("a"), [("e-mail", true, 38), ("web push", true, 0)]);
        assert_eq!(counts("b"), [("e-mail", false, 0)], "its newest says itself why it did not go");
        assert_eq!(all.unsent, BTreeMap::from([("e-mail".to_owned(), 39)]));
    }

    #[test]
    fn a_step_is_late_when_its_time_ran_out_on_every_way_that_it_was_to_go() {
        let refused = || row("web push", OutboxState::GivenUp, Some("410 gone"));
        let waits = || row("web push", OutboxState::Waiting, None);
        let needless = || row("e-mail, next", OutboxState::NotNeeded, Some("somebody has seen it"));
        for (rows, is_late) in [
            (vec![expired("e-mail")], true),
            (vec![expired("e-mail"), refused()], true),
            (vec![expired("e-mail"), needless()], true),
            (vec![expired("e-mail"), waits()], false),
            (vec![expired("e-mail"), sent("web push")], false),
            (vec![refused()], false),
            (vec![], false),
        ] {
            assert_eq!(late(&[(1, rows.clone())]).len(), usize::from(is_late), "{rows:?}");
        }
        // What collapsed shares the fate of what took its place, courier by courier.
        let quiet = || (4, vec![sent("notice topic")]);
        let steps = [
            (5, vec![expired("e-mail")]),
            quiet(),
            (3, vec![collapsed("e-mail")]),
            (2, vec![sent("e-mail")]),
        ];
        assert_eq!(late(&steps), [5, 3]);
        assert_eq!(late(&[(2, vec![sent("e-mail")]), (1, vec![collapsed("e-mail")])]), [0_u32; 0]);
    }

    #[test]
    fn why_a_step_did_not_go_is_said_in_the_growers_words() {
        let why = |row: OutboxRow| delivered(row).why.unwrap();
        assert_eq!(why(expired("e-mail")), "its time ran out before it could be sent");
        assert_eq!(
            why(row("e-mail", OutboxState::Expired, None)),
            "its time ran out before it could be sent"
        );
        assert_eq!(why(collapsed("e-mail")), "a newer word of the same notice went in its place");
        assert_eq!(why(row("e-mail", OutboxState::GivenUp, Some("550 no"))), "550 no");
    }
}
