//! Dating: what was heard and told before anybody knew the time gets its date once, by one event in the ledger.

use std::collections::BTreeSet;

use super::{Core, Moment};
use crate::clock::trust::{Word, span};
use crate::entry::{Entry, Note};
use crate::glance::UndatedBoot;
use crate::keeper::event::NotNoted;
use crate::ledger::{LedgerError, NewNote};
use crate::reading::Reading;

impl Core {
    /// Dates this boot's readings and what was told in it by one event in the ledger, and brings the engine to the
    /// present. `after_ms`: the voucher is a person, and their word is later than that commit (UTC ms).
    ///
    /// # Errors
    ///
    /// When the ledger refuses; the boot stays undated then.
    pub fn date_boot(
        &mut self,
        moment: Moment,
        boot: i64,
        voucher: &str,
        after_ms: Option<i64>,
    ) -> Result<(), LedgerError> {
        self.flush(moment)?;
        let offset_ms = moment.wall_ms - moment.mono_ms;
        let first = self.ledger.first_undated_ms(boot)?;
        let note = Note::Clock {
            by: voucher.to_owned(),
            boot,
            offset_ms,
            dated_back_ms: first.map(|first| first.saturating_add(offset_ms)),
            after_ms,
        };
        self.date(moment.wall_ms, boot, offset_ms, voucher, note)?;
        self.watch = None;
        self.engine.skip_to(moment.wall_ms);
        self.engine.retell(&self.ledger.entries()?);
        for reading in self.of_batches(&self.undated.clone())? {
            self.engine.take(&reading);
        }
        self.undated.clear();
        Ok(())
    }

    /// Dates a boot that ended without knowing the time, by hand: `first_ms` (UTC) is when its first reading was
    /// measured. The days it touches are made afresh; nothing is told. The entry's number comes back.
    ///
    /// # Errors
    ///
    /// When the boot does not wait for a date, when it does not fit between its dated neighbours, or when the ledger
    /// refuses.
    pub fn date_earlier(
        &mut self,
        moment: Moment,
        boot: i64,
        first_ms: i64,
        by: &str,
    ) -> Result<i64, NotNoted> {
        if !moment.trusted {
            return Err("the board does not know the time itself yet".to_owned().into());
        }
        self.flush(moment)?;
        let waiting = self.ledger.undated_boots(self.boot)?;
        let Some(found) = waiting.iter().find(|waiting| waiting.boot == boot) else {
            let boots: Vec<String> = waiting.iter().map(|it| it.boot.to_string()).collect();
            let these = if boots.is_empty() { "none does".to_owned() } else { boots.join(", ") };
            return Err(format!("boot {boot} does not wait for a date; of all boots, {these}").into());
        };
        fits(found, first_ms, moment.wall_ms)?;
        let began_ms = self.ledger.first_undated_ms(boot)?.unwrap_or(0);
        let offset_ms = first_ms - began_ms;
        let mut batches = self.batches_of(boot)?;
        let before = self.seq;
        let (by_whom, dated_back_ms) = (by.to_owned(), Some(first_ms));
        let note = Note::Clock { by: by_whom, boot, offset_ms, dated_back_ms, after_ms: None };
        let entry = self.date(moment.wall_ms, boot, offset_ms, by, note)?;
        // What was put away comes back as one batch more.
        batches.extend(self.ledger.batches_after(before, 500)?.iter().map(|batch| batch.seq));
        self.seq = batches.last().copied().unwrap_or(before).max(before);
        for reading in self.of_batches(&batches)? {
            self.engine.take(&reading);
        }
        self.engine.retell(&self.ledger.entries()?);
        Ok(entry)
    }

    fn date(
        &mut self,
        at_ms: i64,
        boot: i64,
        offset_ms: i64,
        by: &str,
        note: Note,
    ) -> Result<i64, LedgerError> {
        let new = NewNote { at_ms, from_ms: at_ms, note: note.clone() };
        let ids = self.ledger.date_boot_noting(boot, offset_ms, by, &[new])?;
        let id = ids.first().copied().unwrap_or_default();
        self.engine.keep(Entry { id, at_ms, from_ms: at_ms, note });
        Ok(id)
    }

    /// Keeps, durably, that somebody's word was taken on what time it is; `after_ms` is the commit it is later than. What
    /// waits must have been [flushed](Self::flush) by the time believed before.
    ///
    /// # Errors
    ///
    /// When the ledger refuses.
    pub fn note_word(&mut self, moment: Moment, by: &str, after_ms: i64) -> Result<i64, LedgerError> {
        let (by, boot, offset_ms) = (by.to_owned(), self.boot, moment.wall_ms - moment.mono_ms);
        let note = Note::Clock { by, boot, offset_ms, dated_back_ms: None, after_ms: Some(after_ms) };
        let at_ms = moment.wall_ms;
        let ids = self.commit(moment, &[NewNote { at_ms, from_ms: at_ms, note: note.clone() }])?;
        let id = ids.first().copied().unwrap_or_default();
        self.engine.keep(Entry { id, at_ms, from_ms: at_ms, note });
        Ok(id)
    }

    /// Every word that was taken on what time it is, oldest first.
    pub fn words_on_time(&self) -> Vec<Word> {
        let word = |entry: &Entry| match entry.note {
            Note::Clock { after_ms: Some(after_ms), .. } => Some(Word { at_ms: entry.at_ms, after_ms }),
            _ => None,
        };
        self.engine.entries().iter().filter_map(word).collect()
    }

    /// From when on the readings of this boot got their dates later, UTC ms.
    pub fn dated_back_ms(&self) -> Option<i64> {
        self.engine.entries().iter().rev().find_map(|entry| match &entry.note {
            Note::Clock { boot, dated_back_ms, .. } if *boot == self.boot => *dated_back_ms,
            _ => None,
        })
    }

    fn batches_of(&self, boot: i64) -> Result<BTreeSet<i64>, LedgerError> {
        let mut found = BTreeSet::new();
        let mut seq = 0;
        loop {
            let batches = self.ledger.batches_after(seq, 500)?;
            let Some(last) = batches.last() else { return Ok(found) };
            seq = last.seq;
            found.extend(batches.iter().filter(|it| it.boot == boot && !it.dated).map(|it| it.seq));
        }
    }

    /// The readings of these batches, in order.
    fn of_batches(&self, wanted: &BTreeSet<i64>) -> Result<Vec<Reading>, LedgerError> {
        let mut readings = Vec::new();
        let Some(first) = wanted.first() else { return Ok(readings) };
        let mut seq = first - 1;
        loop {
            let batches = self.ledger.batches_after(seq, 500)?;
            let Some(last) = batches.last() else { return Ok(readings) };
            seq = last.seq;
            let ours = batches.into_iter().filter(|batch| wanted.contains(&batch.seq));
            readings.extend(ours.flat_map(|batch| batch.readings));
        }
    }
}

/// Whether a boot can have begun then: after all that was stored before it, and over before the next one knew the time.
fn fits(boot: &UndatedBoot, first_ms: i64, now_ms: i64) -> Result<(), String> {
    if let Some(after_ms) = boot.after_ms.filter(|after| first_ms < *after) {
        return Err(format!(
            "what was stored before it is {} later than that; it cannot have begun so early",
            span(after_ms - first_ms)
        ));
    }
    let (last_ms, before_ms) = (first_ms + boot.span_ms, boot.before_ms.unwrap_or(now_ms));
    if last_ms > before_ms {
        return Err(format!(
            "it ran for {}, and would have ended {} after the next one began; it must have begun earlier",
            span(boot.span_ms),
            span(last_ms - before_ms)
        ));
    }
    Ok(())
}
