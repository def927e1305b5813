//! Telling without a ledger.
//!
//! Being told in time goes before being told once. While nothing can be stored, a step that may buzz a phone goes out from
//! memory, marked "not recorded", under a number of its own below zero: no entry has such a number, and no two boots
//! share one. When the ledger is back the step is stored with the fact that it was sent, and is not sent again by the
//! couriers whose far end took it. If the program ends before that, it is decided again and comes twice; so it says.

use std::collections::BTreeMap;

use super::{Core, Moment};
use crate::couriers::outbox::Delivery;
use crate::couriers::outbox::{self, Row};
use crate::entry::{Note, Step};
use crate::glance::Unrecorded;
use crate::ledger::{NewNote, Queued};

/// Numbers of one boot lie together, in order.
const PER_BOOT: i64 = 1 << 20;
/// Steps lent at most; minders tell a handful a day.
const MOST: usize = 200;

/// Which step of which notice.
type Key = (String, u32);

fn key(step: &Step) -> Key {
    (step.notice.clone(), step.number)
}

/// One step that is told from memory.
struct Loan {
    number: i64,
    step: Step,
    waits_for: Vec<(String, i64, u32)>,
    taken_by: Vec<String>,
}

/// The steps that are told from memory, and what became of earlier ones.
pub(super) struct Lent {
    next: i64,
    loans: Vec<Loan>,
    /// Entry numbers of those that were stored since.
    entries: BTreeMap<i64, i64>,
}

impl Lent {
    pub(super) fn new(boot: i64) -> Self {
        Self { next: i64::MIN / 2 + boot * PER_BOOT, loans: Vec::new(), entries: BTreeMap::new() }
    }

    fn of(&self, step: &Step) -> Option<&Loan> {
        self.loans.iter().find(|loan| key(&loan.step) == key(step))
    }

    /// The deliveries of a step that are still to be made when it is stored.
    pub(super) fn not_taken(&self, step: &Step, routes: Vec<Queued>) -> Vec<Queued> {
        let Some(loan) = self.of(step) else { return routes };
        routes.into_iter().filter(|route| !loan.taken_by.contains(&route.courier)).collect()
    }

    /// What is to be stored of it: which steps were taken by whom while nothing could be stored.
    pub(super) fn facts(&self, at_ms: i64) -> Vec<NewNote> {
        let sent = self.loans.iter().filter(|loan| !loan.taken_by.is_empty());
        let fact = |loan: &Loan| Note::SentUnrecorded {
            notice: loan.step.notice.clone(),
            step: loan.step.number,
            couriers: loan.taken_by.clone(),
        };
        sent.map(|loan| NewNote { at_ms, from_ms: at_ms, note: fact(loan) }).collect()
    }

    /// A step that was refused turned up in the ledger under this number: the couriers that took it meanwhile.
    pub(super) fn turned_up(&mut self, step: &Step, entry: i64) -> Vec<String> {
        let Some((number, taken_by)) = self.of(step).map(|loan| (loan.number, loan.taken_by.clone())) else {
            return Vec::new();
        };
        self.entries.insert(number, entry);
        taken_by
    }

    /// The steps were stored under these numbers.
    pub(super) fn stored(&mut self, steps: &[Step], entries: &[i64]) {
        for (step, entry) in steps.iter().zip(entries) {
            if let Some(loan) = self.of(step) {
                self.entries.insert(loan.number, *entry);
            }
        }
        self.loans.clear();
    }
}

impl Core {
    /// Lends the couriers what may buzz a phone and waits for a ledger that refuses; whether there was anything new.
    /// `mark` says since when.
    pub fn lend(&mut self, mark: &str) -> bool {
        let before = self.lent.loans.len();
        for step in &self.pending.steps {
            if !step.push || self.lent.of(step).is_some() || self.lent.loans.len() >= MOST {
                continue;
            }
            let routes = self.routes_of(step, 0).into_iter();
            let waits_for = routes.map(|route| (route.courier, route.due_ms, 0)).collect();
            let mut marked = step.clone();
            marked.text = format!("{} {mark}", step.text);
            self.lent.loans.push(Loan {
                number: self.lent.next,
                step: marked,
                waits_for,
                taken_by: Vec::new(),
            });
            self.lent.next += 1;
        }
        self.lent.loans.len() > before
    }

    /// What is told from memory now.
    pub fn unrecorded(&self) -> Vec<Unrecorded> {
        let shown = |loan: &Loan| Unrecorded {
            number: loan.number,
            step: loan.step.clone(),
            waits_for: loan.waits_for.clone(),
        };
        self.lent.loans.iter().map(shown).collect()
    }

    /// Notes how an attempt went that was made from memory. Where the step was stored meanwhile, its entry's number comes
    /// back: the attempt counts for that.
    pub fn tried_unrecorded(
        &mut self,
        number: i64,
        courier: &str,
        delivery: &Delivery,
        moment: Moment,
    ) -> Option<i64> {
        if let Some(entry) = self.lent.entries.get(&number) {
            return Some(*entry);
        }
        let loan = self.lent.loans.iter_mut().find(|loan| loan.number == number)?;
        let place = loan.waits_for.iter().position(|(name, ..)| name == courier)?;
        match outbox::after(number, loan.waits_for[place].2, delivery, moment.wall_ms) {
            Row::Waits { due_ms, tries } => {
                let row = &mut loan.waits_for[place];
                (row.1, row.2) = (due_ms, tries);
            }
            Row::Sent => {
                loan.waits_for.remove(place);
                loan.taken_by.push(courier.to_owned());
            }
            // It will never go this way; when it is stored, the outbox says so for good.
            Row::Dropped => _ = loan.waits_for.remove(place),
        }
        None
    }
}
