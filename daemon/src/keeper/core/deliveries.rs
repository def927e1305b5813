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
        let newest = |entries: &Vec<i64>| entries.iter().rev().take(NEWEST).copied().collect::<Vec<i64>>();
        let shown: Vec<(String, Vec<i64>)> = shown
            .into_iter()
            .filter_map(|notice| {
                self.step_entries.0.get(&notice).map(newest).map(|entries| (notice, entries))
            })
            .collect();
        // One question for all of them: the glance is made each second.
        let first = shown.iter().flat_map(|(_, entries)| entries).min();
        let mut rows: BTreeMap<i64, Vec<OutboxRow>> = BTreeMap::new();
        for row in first.map_or_else(|| Ok(Vec::new()), |first| self.ledger.deliveries_since(*first))? {
            rows.entry(row.step).or_default().push(row);
        }
        let mut all = BTreeMap::new();
        for (notice, entries) in shown {
            let mut by_courier: BTreeMap<String, OutboxRow> = BTreeMap::new();
            for row in entries.iter().filter_map(|entry| rows.remove(entry)).flatten() {
                by_courier.entry(row.courier.clone()).or_insert(row);
            }
            all.insert(notice, by_courier.into_values().map(delivered).collect());
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
