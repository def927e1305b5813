//! The outbox of the real ledger, as a courier reads it, and what the keeper writes into it after a try.

use super::index::{Index, Row};
use super::outbox::{self, Delivery, Waiting};
use super::runner::Outbox;
use crate::ledger::{LedgerError, OutboxRow, OutboxState, Reader, TriedRow};

/// Reads one courier's rows through a reader of the ledger. Each courier has its own: it forgets steps that do not wait
/// for the courier it was asked for.
#[derive(Debug)]
pub struct Shelf {
    reader: Reader,
    index: Index,
    /// Only what nobody has seen goes by this courier.
    unseen_only: bool,
}

impl Shelf {
    /// Over this reader; nothing is read yet.
    pub fn new(reader: Reader) -> Self {
        Self { reader, index: Index::default(), unseen_only: false }
    }

    /// The shelf of a courier by which only that goes which nobody has seen.
    pub fn of_unseen(reader: Reader) -> Self {
        Self { unseen_only: true, ..Self::new(reader) }
    }

    fn rows(&mut self, courier: &str) -> Result<Vec<Waiting>, LedgerError> {
        self.index.learn(self.reader.entries_after(self.index.seen())?);
        let rows = self.reader.outbox()?.into_iter().filter(|row| row.courier == courier).map(|row| Row {
            entry: row.step,
            due_ms: row.due_ms,
            expires_ms: row.expires_ms,
            tries: row.tries,
        });
        let mut waiting = self.index.waiting(&rows.collect::<Vec<_>>());
        if self.unseen_only {
            let told = |entry| -> Result<bool, LedgerError> {
                let rows = self.reader.deliveries(entry)?;
                Ok(rows.iter().any(|row| row.courier == courier && row.state == OutboxState::Sent))
            };
            self.index.only_unseen(&mut waiting, told)?;
        }
        Ok(waiting)
    }
}

impl Outbox for Shelf {
    fn waiting(&mut self, courier: &str) -> Result<Vec<Waiting>, String> {
        self.rows(courier).map_err(|error| error.to_string())
    }
}

/// What to commit for a row when a try ended at `now_ms` (UTC ms).
pub fn tried(row: &OutboxRow, delivery: &Delivery, now_ms: i64) -> TriedRow {
    let (state, due_ms, tries) = match outbox::after(row.step, row.tries, delivery, now_ms) {
        outbox::Row::Sent => (OutboxState::Sent, row.due_ms, row.tries.saturating_add(1)),
        outbox::Row::Waits { due_ms, tries } => (OutboxState::Waiting, due_ms, tries),
        outbox::Row::Dropped => (dropped(delivery), row.due_ms, row.tries),
    };
    let why = match delivery {
        Delivery::Sent => None,
        Delivery::Later { why, .. } | Delivery::Never { why } => Some(why.clone()),
    };
    TriedRow { step: row.step, courier: row.courier.clone(), due_ms, tries, state, why }
}

/// Reasons for which it is well that something was not sent.
const NEEDLESS: [&str; 3] = [outbox::SEEN, outbox::OVER, outbox::BEGAN_AGAIN];

fn dropped(delivery: &Delivery) -> OutboxState {
    match delivery {
        Delivery::Never { why } if why == outbox::EXPIRED => OutboxState::Expired,
        Delivery::Never { why } if NEEDLESS.contains(&why.as_str()) => OutboxState::NotNeeded,
        _ => OutboxState::GivenUp,
    }
}

#[cfg(test)]
mod tests {
    use agronomy::crop::Severity;

    use super::*;
    use crate::entry::{Note, Step, Turn, fixtures};
    use crate::ledger::{Commit, Founding, Ledger, NewNote, Queued, StepRef};

    fn note(number: u32) -> NewNote {
        let step = Step { number, turn: Turn::Worsened, ..fixtures::step(5, Severity::Severe, "Net on") };
        NewNote { at_ms: 5, from_ms: 5, note: Note::Step(step) }
    }

    fn tell(ledger: &mut Ledger, boot: i64, number: u32) {
        let queued = |courier: &str| Queued {
            step: StepRef::Note(0),
            courier: courier.to_owned(),
            due_ms: 5,
            expires_ms: 900_000,
        };
        let (notes, queue) = ([note(number)], [queued("e-mail"), queued("notice topic")]);
        ledger.commit(&Commit { notes: &notes, queue: &queue, ..Commit::empty(boot, 5, 5) }).unwrap();
    }

    fn settle(ledger: &mut Ledger, boot: i64, step: i64, delivery: &Delivery) -> TriedRow {
        let rows = ledger.outbox().unwrap();
        let row = rows.iter().find(|row| row.step == step && row.courier == "e-mail").unwrap();
        let tried = tried(row, delivery, 100_000);
        ledger.commit(&Commit { tried: std::slice::from_ref(&tried), ..Commit::empty(boot, 6, 6) }).unwrap();
        tried
    }

    #[test]
    fn a_step_waits_for_each_courier_by_itself_until_the_ledger_says_it_was_sent() {
        let founding = Founding { offset_ms: 0, program: "test".to_owned() };
        let mut ledger = Ledger::in_memory(&founding).unwrap();
        let boot = ledger.begin_boot(0, Some((0, "test"))).unwrap();
        let mut shelf = Shelf::new(ledger.reader().unwrap());
        assert_eq!(shelf.waiting("e-mail").unwrap(), []);
        tell(&mut ledger, boot, 1);
        tell(&mut ledger, boot, 2);
        let waiting = shelf.waiting("e-mail").unwrap();
        let numbers: Vec<_> = waiting.iter().map(|w| (w.entry, w.first, w.tries, w.due_ms)).collect();
        assert_eq!(numbers, [(1, 1, 0, 5), (2, 1, 0, 5)]);

        settle(&mut ledger, boot, 1, &Delivery::Sent);
        settle(&mut ledger, boot, 2, &Delivery::Later { why: "451".to_owned(), after_ms: Some(60_000) });
        let waiting = shelf.waiting("e-mail").unwrap();
        let numbers: Vec<_> = waiting.iter().map(|w| (w.entry, w.first, w.tries, w.due_ms)).collect();
        assert_eq!(numbers, [(2, 1, 1, 160_000)]);
        let mut other = Shelf::new(ledger.reader().unwrap());
        assert_eq!(other.waiting("notice topic").unwrap().len(), 2);
    }

    #[test]
    fn what_ran_out_is_told_apart_from_what_was_refused() {
        let founding = Founding { offset_ms: 0, program: "test".to_owned() };
        let mut ledger = Ledger::in_memory(&founding).unwrap();
        let boot = ledger.begin_boot(0, Some((0, "test"))).unwrap();
        tell(&mut ledger, boot, 1);
        tell(&mut ledger, boot, 2);
        let never = |why: &str| Delivery::Never { why: why.to_owned() };
        assert_eq!(settle(&mut ledger, boot, 1, &never(outbox::EXPIRED)).state, OutboxState::Expired);
        assert_eq!(settle(&mut ledger, boot, 2, &never("550 no")).state, OutboxState::GivenUp);
        tell(&mut ledger, boot, 3);
        assert_eq!(settle(&mut ledger, boot, 3, &never(outbox::BEGAN_AGAIN)).state, OutboxState::NotNeeded);
    }
}
