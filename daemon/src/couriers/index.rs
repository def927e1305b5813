//! Which step or letter a row of the outbox is about, and where its notice began.
//!
//! The outbox holds numbers only; what they mean stands in the entries. A courier reads each entry once, in order, and
//! keeps the errands that still wait and the first step of each notice.

use std::collections::BTreeMap;

use agronomy::crop::Severity;

use super::outbox::{self, Errand, Waiting};
use super::route::rises;
use crate::entry::{Entry, Note, Step, Turn};

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
    /// Every step of each notice.
    steps: BTreeMap<String, Vec<i64>>,
    /// The entry that says last that somebody has seen a notice.
    seen_at: BTreeMap<String, i64>,
    /// The entry that closed it.
    closed_at: BTreeMap<String, i64>,
    /// The entry that last opened a notice of a place by a minder.
    opened_at: BTreeMap<(String, String), i64>,
    errands: BTreeMap<i64, Errand>,
}

impl Index {
    /// The number of the last entry learnt; 0 before the first. Read on after it.
    pub fn seen(&self) -> i64 {
        self.seen
    }

    /// Learns further entries, in the order of their numbers.
    pub fn learn(&mut self, entries: Vec<Entry>) {
        for Entry { id, at_ms, note, .. } in entries {
            self.seen = self.seen.max(id);
            match note {
                Note::Step(step) => {
                    self.first.entry(step.notice.clone()).or_insert(id);
                    self.steps.entry(step.notice.clone()).or_default().push(id);
                    match step.turn {
                        Turn::Closed => _ = self.closed_at.insert(step.notice.clone(), id),
                        Turn::Opened => _ = self.opened_at.insert(subject(&step), id),
                        _ => {}
                    }
                    self.errands.insert(id, Errand::Step(step));
                }
                Note::Letter { date } => _ = self.errands.insert(id, Errand::Letter { date }),
                Note::Digest { date, lines } => {
                    self.errands.insert(id, Errand::Step(digest(&date, at_ms, &lines)));
                }
                Note::Reply { notice, .. } | Note::Seen { notice } => _ = self.seen_at.insert(notice, id),
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
                needless: self.began_again(row, &errand).then_some(outbox::BEGAN_AGAIN),
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

    /// Whether an all-clear that is held back for the morning is belied by a new notice of the same place and minder. One
    /// that was tried, or never held back, goes all the same: the notice that it ends should end wherever it is shown.
    fn began_again(&self, row: &Row, errand: &Errand) -> bool {
        let Errand::Step(step) = errand else { return false };
        let held_back = step.turn == Turn::Closed && row.tries == 0 && row.due_ms > step.at_ms;
        held_back && self.opened_at.get(&subject(step)).is_some_and(|at| *at > row.entry)
    }

    /// For a courier by which only that goes which nobody has seen: what was seen or closed since is needless, and so is
    /// the end of a notice whose beginning never went this way (`told` knows). A newer step of a notice does not put
    /// off the hour at which somebody else must be told.
    ///
    /// # Errors
    ///
    /// When `told` cannot say.
    pub fn only_unseen<E>(
        &self,
        waiting: &mut [Waiting],
        mut told: impl FnMut(i64) -> Result<bool, E>,
    ) -> Result<(), E> {
        let mut earliest: BTreeMap<String, i64> = BTreeMap::new();
        for row in waiting.iter_mut() {
            let Errand::Step(step) = &row.errand else { continue };
            let later = |of: &BTreeMap<String, i64>| of.get(&step.notice).is_some_and(|at| *at > row.entry);
            if rises(step.turn) {
                row.needless = if later(&self.seen_at) {
                    Some(outbox::SEEN)
                } else {
                    later(&self.closed_at).then_some(outbox::OVER)
                };
            } else {
                let mut began = false;
                for entry in self.steps.get(&step.notice).into_iter().flatten().filter(|it| **it < row.entry)
                {
                    began |= told(*entry)?;
                }
                row.needless = (!began).then_some(outbox::OVER);
            }
            if row.needless.is_none() {
                let due = earliest.entry(step.notice.clone()).or_insert(row.due_ms);
                *due = row.due_ms.min(*due);
            }
        }
        for row in waiting.iter_mut().filter(|row| row.needless.is_none() && row.tries == 0) {
            row.due_ms = earliest.get(row.errand.thread()).copied().unwrap_or(row.due_ms);
        }
        Ok(())
    }
}

/// What a notice is about: its place and its minder.
fn subject(step: &Step) -> (String, String) {
    (step.place.clone(), step.minder.clone())
}

/// The digest of a day, as it travels: a step that belongs to no notice.
fn digest(date: &str, at_ms: i64, lines: &[String]) -> Step {
    Step {
        notice: format!("{date}.digest"),
        number: 1,
        minder: "digest".to_owned(),
        place: String::new(),
        planting: None,
        at_ms,
        turn: Turn::Closed,
        severity: Severity::Moderate,
        push: true,
        held: false,
        joined: Vec::new(),
        inside: BTreeMap::new(),
        title: "What did not buzz today".to_owned(),
        text: lines.join("\n"),
        caution: String::new(),
    }
}

#[cfg(test)]
mod tests {
    use agronomy::crop::Severity;

    use super::*;
    use crate::entry::fixtures;

    fn step(id: i64, notice: &str, number: u32) -> Entry {
        let step = Step {
            notice: notice.to_owned(),
            number,
            turn: Turn::Worsened,
            ..fixtures::step(id, Severity::Severe, "Net on")
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

    fn turn(mut entry: Entry, turn: Turn, minder: &str) -> Entry {
        if let Note::Step(step) = &mut entry.note {
            (step.turn, step.minder) = (turn, minder.to_owned());
        }
        entry
    }

    #[test]
    fn an_all_clear_that_waits_for_the_morning_is_needless_once_it_has_begun_again() {
        let closed = turn(step(2, "a", 2), Turn::Closed, "too-hot");
        let held = Row { due_ms: 9, tries: 0, ..row(2) };
        let needless = |entries: Vec<Entry>, row: Row| {
            let mut index = Index::default();
            index.learn(entries);
            index.waiting(&[row])[0].needless
        };
        let again = |minder: &str| turn(step(3, "a~2", 1), Turn::Opened, minder);
        assert_eq!(needless(vec![closed.clone()], held), None);
        assert_eq!(needless(vec![closed.clone(), again("frost")], held), None, "something else began");
        assert_eq!(needless(vec![closed.clone(), again("too-hot")], held), Some(outbox::BEGAN_AGAIN));
        for gone in [Row { due_ms: 2, ..held }, Row { tries: 1, ..held }] {
            assert_eq!(needless(vec![closed.clone(), again("too-hot")], gone), None, "{gone:?}");
        }
    }

    #[test]
    fn a_newer_step_puts_off_nobodys_half_hour_at_whichever_moment_the_outbox_is_read() {
        let mut index = Index::default();
        // Told at 1, due half an hour later; worsened at 20; eased at 25, though it is severe still.
        index.learn(vec![
            turn(step(1, "a", 1), Turn::Opened, "too-hot"),
            turn(step(20, "a", 2), Turn::Worsened, "too-hot"),
            turn(step(25, "a", 3), Turn::Eased, "too-hot"),
        ]);
        let row = |entry: i64, due_ms: i64| Row { entry, due_ms, expires_ms: 900, tries: 0 };
        let mut rows = vec![row(1, 31), row(20, 50), row(25, 25)];
        let mut sent = Vec::new();
        for now_ms in 25..60 {
            let mut waiting = index.waiting(&rows);
            index.only_unseen(&mut waiting, |_| Ok::<bool, ()>(false)).unwrap();
            let plan = outbox::plan(&waiting, &[], now_ms, true);
            rows.retain(|row| plan.drop.iter().all(|(entry, _)| *entry != row.entry));
            if let Some(send) = plan.send {
                rows.retain(|row| row.entry != send.entry);
                sent.push((now_ms, send.entry));
            }
        }
        assert_eq!(sent, [(31, 20)]);
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
