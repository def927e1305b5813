//! Which step or letter a row of the outbox is about, and where its notice began.
//!
//! The outbox holds numbers only; what they mean stands in the entries. A courier reads each entry once, in order, and
//! keeps the errands that still wait and the first step of each notice.

use std::collections::BTreeMap;

use super::outbox::{Errand, Waiting};
use crate::entry::{Entry, Note};

/// A row as the outbox holds it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Row {
    /// The step's entry number.
    pub entry: i64,
    /// Not before, UTC ms.
    pub due_ms: i64,
    /// Of no use from then on, UTC ms.
    pub expires_ms: i64,
    /// Tries that came to nothing so far.
    pub tries: u32,
}

/// What was learnt from the entries.
#[derive(Clone, Debug, Default)]
pub struct Index {
    seen: i64,
    first: BTreeMap<String, i64>,
    errands: BTreeMap<i64, Errand>,
}

impl Index {
    /// The number of the last entry learnt; 0 before the first. Read on after it.
    pub fn seen(&self) -> i64 {
        self.seen
    }

    /// Learns further entries, in the order of their numbers.
    pub fn learn(&mut self, entries: Vec<Entry>) {
        for Entry { id, note, .. } in entries {
            self.seen = self.seen.max(id);
            match note {
                Note::Step(step) => {
                    self.first.entry(step.notice.clone()).or_insert(id);
                    self.errands.insert(id, Errand::Step(step));
                }
                Note::Letter { date } => _ = self.errands.insert(id, Errand::Letter { date }),
                _ => {}
            }
        }
    }

    /// The rows with their steps. `rows` are all rows of the courier that wait, read after the entries were.
    ///
    /// A row whose step is not learnt yet (it was committed between the two readings) is left out until the next time.
    /// Steps without a row are forgotten: rows are written with their step or never.
    pub fn waiting(&mut self, rows: &[Row]) -> Vec<Waiting> {
        let waiting = rows.iter().filter_map(|row| {
            let errand = self.errands.get(&row.entry)?.clone();
            Some(Waiting {
                entry: row.entry,
                first: self.first.get(errand.thread()).copied().unwrap_or(row.entry),
                errand,
                due_ms: row.due_ms,
                expires_ms: row.expires_ms,
                tries: row.tries,
            })
        });
        let waiting: Vec<Waiting> = waiting.collect();
        let rows: std::collections::BTreeSet<i64> = rows.iter().map(|row| row.entry).collect();
        self.errands.retain(|entry, _| rows.contains(entry));
        waiting
    }
}

#[cfg(test)]
mod tests {
    use agronomy::crop::Severity;

    use super::*;
    use crate::entry::Step;
    use crate::entry::Turn;

    fn step(id: i64, notice: &str, number: u32) -> Entry {
        let step = Step {
            notice: notice.to_owned(),
            number,
            minder: "too-hot".to_owned(),
            place: "house".to_owned(),
            planting: None,
            at_ms: id,
            turn: Turn::Worsened,
            severity: Severity::Severe,
            push: true,
            title: "Net on".to_owned(),
            text: String::new(),
            caution: String::new(),
            joined: Vec::new(),
        };
        Entry { id, at_ms: id, from_ms: id, note: Note::Step(step) }
    }

    fn row(entry: i64) -> Row {
        Row { entry, due_ms: 1, expires_ms: 2, tries: 3 }
    }

    fn firsts(waiting: &[Waiting]) -> Vec<(i64, i64)> {
        waiting.iter().map(|waiting| (waiting.entry, waiting.first)).collect()
    }

    #[test]
    fn each_row_finds_its_step_and_where_its_notice_began() {
        let mut index = Index::default();
        let remark = Entry { id: 3, at_ms: 3, from_ms: 3, note: Note::Remark { text: "hot".to_owned() } };
        index.learn(vec![step(1, "a", 1), step(2, "b", 1), remark, step(4, "a", 2)]);
        assert_eq!(index.seen(), 4);
        let waiting = index.waiting(&[row(2), row(4)]);
        assert_eq!(firsts(&waiting), [(2, 2), (4, 1)]);
        assert_eq!((waiting[0].due_ms, waiting[0].expires_ms, waiting[0].tries), (1, 2, 3));
    }

    #[test]
    fn a_notice_keeps_its_beginning_after_its_first_step_was_sent() {
        let mut index = Index::default();
        index.learn(vec![step(1, "a", 1)]);
        assert_eq!(firsts(&index.waiting(&[])), []);
        index.learn(vec![step(9, "a", 2)]);
        assert_eq!(firsts(&index.waiting(&[row(9)])), [(9, 1)]);
    }

    #[test]
    fn a_row_that_is_newer_than_the_entries_read_waits_for_the_next_time() {
        let mut index = Index::default();
        index.learn(vec![step(1, "a", 1)]);
        assert_eq!(firsts(&index.waiting(&[row(1), row(5)])), [(1, 1)]);
        index.learn(vec![step(5, "b", 1)]);
        assert_eq!(firsts(&index.waiting(&[row(1), row(5)])), [(1, 1), (5, 5)]);
    }
}
