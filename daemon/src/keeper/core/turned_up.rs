//! A commit that the disk refused may have become durable all the same: what it held is kept and told once.

use super::{Core, Pending};
use crate::entry::Note;
use crate::ledger::{LedgerError, OutboxState, TriedRow};

impl Core {
    /// To be called once the ledger was opened again: a commit that was refused may have become durable all the same.
    /// What it told is told, and is neither stored nor sent again; its readings are kept once.
    ///
    /// # Errors
    ///
    /// When the ledger cannot be read.
    pub fn forget_what_turned_up(&mut self) -> Result<(), LedgerError> {
        self.forget_readings_that_turned_up()?;
        let Pending { steps, letters, news, tried, digest, .. } = &mut self.pending;
        if steps.is_empty() && letters.is_empty() && news.is_empty() && digest.is_none() {
            return Ok(());
        }
        for entry in self.ledger.entries()? {
            match entry.note {
                Note::Step(told) => {
                    self.step_entries.take(&told, entry.id);
                    let before = steps.len();
                    steps.retain(|step| (&step.notice, step.number) != (&told.notice, told.number));
                    if steps.len() < before {
                        let taken_by = self.lent.turned_up(&told, entry.id).into_iter();
                        let (step, due_ms, state) = (entry.id, told.at_ms, OutboxState::Sent);
                        tried.extend(taken_by.map(|courier| TriedRow {
                            step,
                            courier,
                            due_ms,
                            tries: 1,
                            state,
                            why: None,
                        }));
                    }
                }
                Note::Digest { .. } => {
                    digest.take_if(|(at_ms, note)| *at_ms == entry.at_ms && *note == entry.note);
                }
                Note::Board(told) => news.retain(|(at_ms, news)| *at_ms != entry.at_ms || *news != told),
                Note::Letter { date: written } => letters.retain(|(_, date)| *date != written),
                _ => {}
            }
        }
        Ok(())
    }

    /// Nobody else writes: batches after the newest that was acknowledged are of commits that were refused.
    fn forget_readings_that_turned_up(&mut self) -> Result<(), LedgerError> {
        for batch in self.ledger.batches_after(self.seq, usize::MAX)? {
            let waiting = if batch.dated { &mut self.pending.dated } else { &mut self.pending.undated };
            if waiting.starts_with(&batch.readings) {
                waiting.drain(..batch.readings.len());
                tracing::info!(readings = batch.readings.len(), "a refused commit was kept after all");
            }
            self.undated.extend((!batch.dated).then_some(batch.seq));
            self.seq = batch.seq;
        }
        Ok(())
    }
}
