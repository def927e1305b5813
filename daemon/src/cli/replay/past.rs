//! One's own past: the readings of a ledger, and what was noted meanwhile.

use std::path::Path;

use super::diary::Dated;
use crate::cli::Trouble;
use crate::entry::{Entry, Fenced, Note, UNDATED_BELOW_MS};
use crate::ground::Ground;
use crate::ledger::{Copied, LedgerError};
use crate::reading::{Heard, Reading, Reason};
use crate::record::Recorded;

/// What a ledger holds of the past.
pub(super) struct Past {
    pub(super) recorded: Recorded,
    /// What stood where, each from its own moment on.
    pub(super) ground: Dated,
    /// Diary, forecasts and public warnings, by time.
    pub(super) diary: Dated,
    /// The standard offset of its days, ms east of UTC.
    pub(super) offset_ms: i64,
    /// Damaged rows with readings in them that are not among these.
    pub(super) lost: Vec<Fenced>,
}

impl Past {
    /// Reads the ledger of a data folder, or a backup of one. Nothing is written to it.
    pub(super) fn read(path: &Path) -> Result<Self, Trouble> {
        let file = if path.is_dir() { path.join("ledger") } else { path.to_owned() };
        let copied = Copied::open(&file).map_err(|error| match error {
            LedgerError::Held { by } => Trouble::Coded(4, held(&by, path)),
            error => error.into(),
        })?;
        let view = copied.view();
        let mut recorded = Recorded::default();
        let series = view.series()?;
        for (probe, quantity) in &series {
            let readings = view.readings(probe, *quantity, UNDATED_BELOW_MS..i64::MAX)?;
            recorded.readings.extend(readings.into_iter().filter_map(heard));
        }
        recorded.readings.sort_by_key(|heard| heard.measured_ms);
        let (ground, diary) = notes(&view.entries()?);
        let lost = view.lost(&series, UNDATED_BELOW_MS..i64::MAX)?;
        copied.refuse_without_log()?;
        Ok(Self { recorded, ground, diary, offset_ms: copied.offset_ms(), lost })
    }
}

/// What to do about a ledger that somebody holds: a replay reads a whole past, so no service is asked for it.
fn held(by: &str, path: &Path) -> String {
    let folder = path.display();
    format!(
        "the ledger is held by {by}; replay a backup of it: glasshour ledger backup FILE --folder {folder}, then \
         glasshour replay --folder FILE"
    )
}

/// A kept reading as it was heard; it is graded anew. What never had a time of its own is left out.
fn heard(reading: Reading) -> Option<Heard> {
    let Reading { probe, quantity, value, at_ms, reason } = reading;
    let value = match reason {
        Reason::NoTime | Reason::FromTheFuture | Reason::InstrumentRestarted | Reason::Repeated => {
            return None;
        }
        Reason::Missing => None,
        _ => Some(value),
    };
    Some(Heard { probe, quantity, value, measured_ms: Some(at_ms), stale: false })
}

/// Ground and diary of the entries that count. Notes hold from when they were dated; what came by itself, from when it
/// came. Answers to notices are left out: they were given to what was told then.
fn notes(entries: &[Entry]) -> (Dated, Dated) {
    let counting = Ground::of(entries).entries;
    let dated = counting.into_iter().filter(|entry| entry.from_ms >= UNDATED_BELOW_MS);
    let own = dated.filter(|entry| !matches!(entry.note, Note::Drill {}));
    let (ground, diary): (Vec<_>, Vec<_>) = own.partition(|entry| entry.note.kind() == "ground");
    let came = entries.iter().filter(|entry| {
        matches!(entry.note, Note::Outlook(_) | Note::PublicWarning(_)) && entry.at_ms >= UNDATED_BELOW_MS
    });
    let came = came.map(|entry| (entry.at_ms, entry.note.clone()));
    let mut diary: Vec<_> = diary.into_iter().map(|entry| (entry.from_ms, entry.note)).chain(came).collect();
    diary.sort_by_key(|(from_ms, _)| *from_ms);
    (ground.into_iter().map(|entry| (entry.from_ms, entry.note)).collect(), diary)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_a_ledger_that_is_held_only_the_backup_is_told_of() {
        let said = held("process 7", Path::new("/srv/garden"));
        assert!(
            said.contains("ledger backup FILE --folder /srv/garden, then glasshour replay --folder FILE"),
            "{said}"
        );
        assert!(!said.contains("--site"), "{said}");
    }

    #[test]
    fn what_was_undone_and_answers_are_left_out_and_ground_is_told_from_diary() {
        const SINCE: i64 = 1_780_000_000_000;
        let remark = |text: &str| Note::Remark { text: text.to_owned() };
        let line = Note::BatteryLine { probe: "post".to_owned(), low_v: 2.4 };
        let reply = Note::Reply { notice: "n".to_owned(), on_it: true, until_ms: None };
        let notes_in =
            [line.clone(), remark("late"), remark("wrong"), Note::Undo { entry: 3 }, reply, remark("early")];
        let entries: Vec<Entry> = (1..)
            .zip(notes_in)
            .map(|(id, note)| Entry { id, at_ms: SINCE + id, from_ms: SINCE - id, note })
            .collect();
        let (ground, diary) = notes(&entries);
        assert_eq!(ground, [(SINCE - 1, line)]);
        assert_eq!(diary, [(SINCE - 6, remark("early")), (SINCE - 2, remark("late"))]);
    }
}
