//! What a page saw of the ledger, held against the ledger: a card may report a flush that it has not done.
//!
//! Whoever looks at a page is told with each glance how far the ledger is. A page that is still open when the board comes
//! back from a power cut says how far that was. Where it is further than the ledger reached when this run began, the card
//! lost what it had promised to keep, and the count of readings says how many.

use std::fmt;

use super::Keeper;
use crate::entry::BoardNews;

/// How far a ledger is, as a page keeps it. A restored ledger is of another epoch: it may well lie behind. An image of
/// the card that is put back keeps the epoch, and is not told from a card that lies.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Mark {
    /// Which ledger, in which epoch.
    epoch: String,
    /// Which run of the service.
    run: String,
    /// Newest commit with readings.
    seq: i64,
    /// Readings taken in by then.
    readings: u64,
}

impl fmt::Display for Mark {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{}.{}.{}.{}", self.epoch, self.run, self.seq, self.readings)
    }
}

impl Mark {
    /// Out of what a page says; none where that is no mark.
    fn read(text: &str) -> Option<Self> {
        let [epoch, run, seq, readings] = text.split('.').collect::<Vec<_>>().try_into().ok()?;
        Some(Self {
            epoch: epoch.to_owned(),
            run: run.to_owned(),
            seq: seq.parse().ok()?,
            readings: readings.parse().ok()?,
        })
    }

    /// What a ledger that began a run here lacks of what a page saw in an earlier one.
    fn lacks(&self, seen: &Self) -> Option<BoardNews> {
        let earlier = seen.epoch == self.epoch && seen.run != self.run && !self.epoch.is_empty();
        let readings = seen.readings.saturating_sub(self.readings);
        let began_seq = Some(self.seq);
        (earlier && seen.seq > self.seq).then_some(BoardNews::Lost { readings, seq: seen.seq, began_seq })
    }
}

impl Keeper {
    /// Remembers how far the ledger is as this run begins.
    pub(super) fn mark_beginning(&mut self) {
        let run = format!("{:x}-{:x}", self.clock.machine_ms(), self.began_mono_ms);
        match self.setup.core.ledger_mut().epoch() {
            Ok(epoch) => self.began_at = Mark { epoch, run, ..self.mark() },
            Err(error) => tracing::warn!(%error, "what a page saw cannot be held against the ledger"),
        }
    }

    /// How far the ledger is now.
    pub(super) fn mark(&self) -> Mark {
        let core = &self.setup.core;
        let judged = core.engine().counts().total();
        let waiting = core.waiting_readings() as u64 + self.shell.board.not_kept;
        let readings = judged.saturating_sub(waiting);
        Mark { seq: core.seq(), readings, ..self.began_at.clone() }
    }

    /// A page says how far it saw the ledger. What it saw and the ledger lacks is entered once the time is trusted: where
    /// there is no clock chip, the page is there first.
    pub(super) fn witnessed(&mut self, mark: &str) {
        let lost = Mark::read(mark).and_then(|seen| self.began_at.lacks(&seen));
        let Some(BoardNews::Lost { readings, seq, .. }) = lost else { return };
        let waits = matches!(self.untold.lost, Some(BoardNews::Lost { seq: known, .. }) if known >= seq);
        if !waits && self.setup.core.engine().news().is_unknown_loss(seq) {
            tracing::error!(readings, "the card lost what it had promised to keep");
            self.untold.lost = lost;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn s3_only_what_an_earlier_run_of_the_same_ledger_held_beyond_its_end_is_lost() {
        let mark = |epoch: &str, run: &str, seq, readings| Mark {
            epoch: epoch.into(),
            run: run.into(),
            seq,
            readings,
        };
        let began = mark("c0ffee-1", "b", 950, 4_000);
        let lacks = |seen: Mark| began.lacks(&Mark::read(&seen.to_string()).unwrap());
        assert_eq!(
            lacks(mark("c0ffee-1", "a", 957, 4_041)),
            Some(BoardNews::Lost { readings: 41, seq: 957, began_seq: Some(950) })
        );
        assert_eq!(lacks(mark("c0ffee-1", "a", 950, 4_000)), None, "nothing was lost");
        assert_eq!(lacks(mark("c0ffee-1", "b", 960, 4_050)), None, "this run's own");
        assert_eq!(lacks(mark("c0ffee-2", "a", 960, 4_050)), None, "before it was restored");
        assert_eq!(Mark::default().lacks(&mark("", "a", 960, 4_050)), None, "a ledger without a name");
        for text in ["", "1784000000000", "a.b.c.d", "a.b.1.-1", "a.b.1.2.3"] {
            assert_eq!(Mark::read(text), None, "{text}");
        }
    }
}
