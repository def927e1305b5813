//! Drives the core with the record's own moments.

use super::diary::Dated;
use super::stage::{Stage, first_ms};
use crate::calendar::iso;
use crate::cli::Trouble;
use crate::entry::Note;
use crate::keeper::core::{Core, Message, Moment};
use crate::keeper::start::seed;
use crate::ledger::{Founding, Ledger, LedgerError};
use crate::record::Recorded;

/// Readings that go into one commit.
const COMMIT_AT: usize = 2_000;

/// Replays readings on a stage. With the core come the notes of the diary that made no sense on it, and why.
///
/// # Errors
///
/// When the ledger in memory refuses.
pub(super) fn replay(stage: &Stage, recorded: &Recorded) -> Result<(Core, Vec<String>), Trouble> {
    let failed = |error: LedgerError| Trouble::Failed(error.to_string());
    let start_ms = stage.ground.iter().map(|(from_ms, _)| *from_ms).fold(first_ms(recorded), i64::min);
    let moment = |wall_ms: i64| Moment { wall_ms, mono_ms: wall_ms - start_ms, trusted: true };
    let founding = Founding { offset_ms: stage.site.calendar.offset_ms(), program: "replay".to_owned() };
    let mut ledger = Ledger::in_memory(&founding).map_err(failed)?;
    let boot = ledger.begin_boot(0, Some((start_ms, "the record"))).map_err(failed)?;
    seed(&mut ledger, boot, moment(start_ms), &stage.ground).map_err(failed)?;
    let core = Core::start(stage.site.clone(), ledger, boot, moment(start_ms), Vec::new()).map_err(failed)?;
    let mut diary = Diary { core, refused: Vec::new() };
    let mut notes = told(stage, recorded, &diary.core).into_iter().peekable();
    let mut rest = recorded.readings.as_slice();
    while let Some(at_ms) = rest.first().and_then(|heard| heard.measured_ms) {
        while let Some((from_ms, note)) = notes.next_if(|(from_ms, _)| *from_ms <= at_ms) {
            diary.note(moment(from_ms.max(start_ms)), note, from_ms);
        }
        let same = rest.iter().take_while(|heard| heard.measured_ms == Some(at_ms)).count();
        let (now, later) = rest.split_at(same);
        rest = later;
        let core = &mut diary.core;
        core.hear(moment(at_ms), &[Message { readings: now.to_vec(), arrived_ms: at_ms }]);
        if core.waiting_readings() >= COMMIT_AT {
            core.flush(moment(at_ms)).map_err(failed)?;
        }
    }
    for (from_ms, note) in notes {
        diary.note(moment(from_ms.max(start_ms)), note, from_ms);
    }
    let Diary { mut core, refused } = diary;
    let last = core.engine().now_ms();
    core.flush(moment(last)).map_err(failed)?;
    while core.remake(1000) {}
    Ok((core, refused))
}

/// Days read by hand and the diary, by time; of the same time those read by hand first.
fn told(stage: &Stage, recorded: &Recorded, core: &Core) -> Dated {
    let by_hand = recorded.by_hand.iter().map(|read| {
        let hang = core.engine().ground().hang_at(&read.probe, read.from_ms);
        let place = hang.map_or_else(|| read.probe.to_string(), |hang| hang.place.clone());
        (read.from_ms, read.note(&place))
    });
    let mut told: Vec<_> = by_hand.chain(stage.diary.iter().cloned()).collect();
    told.sort_by_key(|(from_ms, _)| *from_ms);
    told
}

struct Diary {
    core: Core,
    refused: Vec<String>,
}

impl Diary {
    fn note(&mut self, moment: Moment, note: Note, from_ms: i64) {
        let what = note.kind();
        if let Err(error) = self.core.note(moment, note, Some(from_ms)) {
            self.refused.push(format!("{what} of {}: {error}", iso(from_ms)));
        }
    }
}
