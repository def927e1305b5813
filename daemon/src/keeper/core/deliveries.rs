//! How far each notice has come on each way: what the page shows of it, read from the ledger.

use std::collections::BTreeMap;

use super::Core;
use crate::entry::{Entry, Note, Step};
use crate::glance::Delivered;
use crate::ledger::{LedgerError, OutboxRow, OutboxState};

/// How long after its last step a notice's deliveries are still shown, ms.
const SHOWN_MS: i64 = 26 * 3_600_000;
/// Steps of a notice that are looked at: whoever took an older one than that knows too little to count.
const NEWEST: usize = 8;

/// The entries of each notice's steps.
#[derive(Debug, Default)]
pub(super) struct StepEntries(BTreeMap<String, Vec<i64>>);

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
        if entries.last().is_none_or(|last| *last < entry) {
            entries.push(entry);
        }
    }
}

impl Core {
    /// The newest delivery of each notice that is open, or was lately, by each courier that has one.
    ///
    /// # Errors
    ///
    /// When the ledger cannot be read.
    pub fn deliveries(&self) -> Result<BTreeMap<String, Vec<Delivered>>, LedgerError> {
        let since_ms = self.engine.now_ms() - SHOWN_MS;
        let lately =
            self.engine.told().iter().rev().take_while(|step| step.at_ms >= since_ms || step.is_undated());
        let open = self.engine.open_notices().map(str::to_owned);
        let shown: std::collections::BTreeSet<String> =
            lately.map(|step| step.notice.clone()).chain(open).collect();
        let mut all = BTreeMap::new();
        for notice in shown {
            let Some(entries) = self.step_entries.0.get(&notice) else { continue };
            let mut newest: BTreeMap<String, OutboxRow> = BTreeMap::new();
            for entry in entries.iter().rev().take(NEWEST) {
                for row in self.ledger.deliveries(*entry)? {
                    newest.entry(row.courier.clone()).or_insert(row);
                }
            }
            all.insert(notice, newest.into_values().map(delivered).collect());
        }
        Ok(all)
    }
}

fn delivered(row: OutboxRow) -> Delivered {
    let waits = row.state == OutboxState::Waiting;
    Delivered {
        courier: row.courier,
        sent: row.state == OutboxState::Sent,
        waits,
        needless: row.state == OutboxState::NotNeeded,
        tries: row.tries,
        due_ms: waits.then_some(row.due_ms),
        why: row.why.or_else(|| (row.state == OutboxState::Expired).then(|| "its time ran out".to_owned())),
    }
}
