//! The ledger looked after: damage named and mended, backups and restores, other boards, old readings, room.

use std::path::Path;

use super::*;
use crate::entry::{Note, Step, fixtures};
use crate::ledger::{Copied, LedgerError, NewNote, OutboxState, Pour, Queued, StepRef, place, restore};

/// Both probes speak once an hour.
fn usual(ledger: &Ledger) {
    for probe in ["tunnel", "bed"] {
        ledger.set_usual_interval(probe, HOUR);
    }
}

/// A garden of three weeks on disk, most of it in chunks, with a note, a step that waits to be sent and a page.
fn garden(folder: &Path) -> Ledger {
    let mut ledger = Ledger::open(folder, &founding()).unwrap();
    usual(&ledger);
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    for hour in 0..504 {
        let at = JUNE + hour * HOUR;
        let value = 15.0 + (hour % 24) as f64 / 2.0;
        put(&mut ledger, boot, at, &[air("tunnel", at, value), air("bed", at, value - 3.0)]);
    }
    let step = Step {
        notice: "n1".into(),
        place: "long".into(),
        text: "38 °C".into(),
        ..fixtures::step(JUNE, agronomy::crop::Severity::Severe, "Shade it")
    };
    let note = |note| NewNote { at_ms: JUNE, from_ms: JUNE, note };
    let notes = [note(Note::Step(step)), note(Note::Remark { text: "dry".into() })];
    let queued = |courier: &str| Queued {
        step: StepRef::Note(0),
        courier: courier.into(),
        due_ms: JUNE,
        expires_ms: JUNE + DAY,
    };
    let queue = [queued("e-mail"), queued("notice topic")];
    let page = crate::ledger::PageRow { subject: "long", day: 20_605, edition: "e", body: "{}" };
    let commit =
        Commit { notes: &notes, queue: &queue, pages: &[page], ..Commit::empty(boot, JUNE + 504 * HOUR, 0) };
    ledger.commit(&commit).unwrap();
    ledger.compact(JUNE + 500 * HOUR).unwrap();
    ledger
}

fn spoil(ledger: &Ledger, sql: &str) {
    assert_eq!(ledger.conn.as_ref().unwrap().execute(sql, []).unwrap(), 1, "{sql}");
}

fn number(ledger: &Ledger, sql: &str) -> i64 {
    ledger.conn.as_ref().unwrap().query_row(sql, [], |row| row.get(0)).unwrap()
}

/// Puts a spoilt body in the place of the first chunk's.
fn spoil_chunk(ledger: &Ledger) -> i64 {
    let id = number(ledger, "SELECT min(id) FROM chunk");
    spoil(ledger, &format!("UPDATE chunk SET body = zeroblob(60) WHERE id = {id}"));
    id
}

fn backup(ledger: &Ledger, to: &Path) -> Copied {
    place(to, false, |part| ledger.reader()?.copy_to(part)).unwrap();
    Copied::open(to).unwrap()
}

fn fences(ledger: &Ledger) -> Vec<Note> {
    let entries = ledger.entries().unwrap().into_iter().map(|entry| entry.note);
    entries.filter(|note| note.kind() == "fence").collect()
}

#[test]
fn damage_is_named_once_with_probe_and_dates_and_a_backup_brings_it_back() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = garden(folder.path());
    let whole = all(&ledger, "tunnel");
    let saved = backup(&ledger, &folder.path().join("saved"));
    let id = spoil_chunk(&ledger);
    assert!(all(&ledger, "tunnel").len() < whole.len());
    for _ in 0..2 {
        ledger.name_fences(JUNE + 30 * DAY).unwrap();
    }
    drop(ledger);
    let mut ledger = Ledger::open(folder.path(), &founding()).unwrap();
    usual(&ledger);
    ledger.check().unwrap();
    ledger.name_fences(JUNE + 31 * DAY).unwrap();
    let [Note::Fence(fenced)] = &fences(&ledger)[..] else { panic!("{:?}", fences(&ledger)) };
    assert_eq!((fenced.table.as_str(), fenced.row), ("chunk", id));
    assert_eq!(
        (fenced.probe.as_deref(), fenced.quantity.as_deref()),
        (Some("tunnel"), Some("air_temperature"))
    );
    // JUNE is a Monday, and weeks begin on Thursdays at midnight of the standard offset, an hour east.
    let week = (Some(JUNE - 4 * DAY - HOUR), Some(JUNE + 3 * DAY - HOUR));
    assert_eq!((fenced.since_ms, fenced.until_ms), week);
    let mended = ledger.mend(&saved, JUNE + 32 * DAY).unwrap();
    assert_eq!((mended.rows, mended.left), (1, vec![]));
    assert_eq!(all(&ledger, "tunnel"), whole);
    assert!(matches!(fences(&ledger)[..], [Note::Fence(_), Note::Mended { readings: 71, .. }]));
    assert_eq!(ledger.check().unwrap(), []);
    assert!(ledger.inspect().unwrap().stale_hours.is_empty());
}

#[test]
fn a_chunk_that_was_moved_aside_is_merged_with_what_came_since() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = garden(folder.path());
    let saved = backup(&ledger, &folder.path().join("saved"));
    let before = all(&ledger, "tunnel");
    spoil_chunk(&ledger);
    let late = air("tunnel", JUNE + MINUTE, 33.0);
    put(&mut ledger, 1, JUNE + 505 * HOUR, std::slice::from_ref(&late));
    ledger.compact(i64::MAX).unwrap();
    ledger.mend(&saved, JUNE + 30 * DAY).unwrap();
    let mut expected = before;
    expected.insert(1, late);
    assert_eq!(all(&ledger, "tunnel"), expected);
    assert_eq!(number(&ledger, "SELECT count(*) FROM chunk WHERE id < 0"), 0);
    assert_eq!(ledger.check().unwrap(), []);
}

#[test]
fn a_batch_and_an_entry_come_back_as_they_were() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = garden(folder.path());
    let (whole, entries) = (all(&ledger, "bed"), ledger.entries().unwrap());
    let saved = backup(&ledger, &folder.path().join("saved"));
    spoil(&ledger, "UPDATE batch SET body = zeroblob(30) WHERE seq = 502");
    // A flipped bit that leaves good JSON: only the checksum can tell.
    spoil(&ledger, "UPDATE entry SET body = replace(body, 'dry', 'dri') WHERE id = 2");
    assert_eq!((all(&ledger, "bed").len(), ledger.entries().unwrap().len()), (whole.len() - 1, 1));
    let mended = ledger.mend(&saved, JUNE + 30 * DAY).unwrap();
    assert_eq!((mended.rows, mended.left), (2, vec![]));
    assert_eq!(all(&ledger, "bed"), whole);
    assert_eq!(ledger.entries().unwrap()[..2], entries);
    let named: Vec<_> = fences(&ledger);
    let spans: Vec<_> = named
        .iter()
        .filter_map(|note| {
            if let Note::Fence(it) = note {
                Some((it.table.as_str(), it.since_ms, it.until_ms))
            } else {
                None
            }
        })
        .collect();
    let hour = |hour: i64| Some(JUNE + hour * HOUR);
    assert_eq!(spans, [("batch", hour(500), hour(502)), ("entry", hour(0), hour(0))]);
}

#[test]
fn another_gardens_backup_mends_nothing_and_a_spoilt_one_only_what_it_has() {
    let (ours, theirs) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let mut ledger = garden(ours.path());
    let other = backup(&garden(theirs.path()), &theirs.path().join("saved"));
    spoil_chunk(&ledger);
    assert_eq!(ledger.mend(&other, JUNE).err(), Some(LedgerError::OtherLedger));
    let spoilt = backup(&ledger, &ours.path().join("spoilt"));
    let mended = ledger.mend(&spoilt, JUNE).unwrap();
    assert_eq!((mended.rows, mended.left.len()), (0, 1));
}

#[test]
fn roll_ups_that_are_spoilt_or_wrong_are_made_afresh_and_are_no_damage() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = garden(folder.path());
    let hours = || Quantity::AirTemperature;
    let before = ledger.hourly("tunnel", hours(), 0..i64::MAX).unwrap();
    let sound = ledger.inspect().unwrap();
    assert_eq!((sound.stale_hours.len(), sound.readings), (0, 1_008));
    assert_eq!((sound.first_ms, sound.last_ms), (Some(JUNE), Some(JUNE + 503 * HOUR)));
    let id = number(&ledger, "SELECT min(id) FROM chunk");
    spoil(&ledger, &format!("UPDATE chunk SET hours = zeroblob(40) WHERE id = {id}"));
    let found = ledger.inspect().unwrap();
    assert_eq!((found.stale_hours.clone(), found.fenced.len()), (vec![id], 0));
    assert_eq!(ledger.renew_hours(&found.stale_hours).unwrap(), 1);
    ledger.name_fences(JUNE).unwrap();
    assert_eq!((fences(&ledger).len(), ledger.check().unwrap().len()), (0, 0));
    assert_eq!(ledger.hourly("tunnel", hours(), 0..i64::MAX).unwrap(), before);
}

#[test]
fn a_backup_is_whole_though_the_ledger_is_written_to_and_never_overwrites_unasked() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = garden(folder.path());
    let reader = ledger.reader().unwrap();
    let to = folder.path().join("saved");
    place(&to, false, |part| {
        reader.copy_to(part)?;
        put(&mut ledger, 1, JUNE + 600 * HOUR, &[air("tunnel", JUNE + 600 * HOUR, 20.0)]);
        Ok::<_, LedgerError>(())
    })
    .unwrap();
    let saved = Copied::open(&to).unwrap();
    assert_eq!((saved.check().unwrap(), saved.lacks_log()), (vec![], false));
    assert_eq!(saved.view().inspect().unwrap().readings + 1, ledger.inspect().unwrap().readings);
    let bytes = std::fs::read(&to).unwrap();
    let refused = place(&to, false, |part| reader.copy_to(part));
    assert!(matches!(refused, Err(LedgerError::There { .. })), "{refused:?}");
    assert_eq!(std::fs::read(&to).unwrap(), bytes);
    place(&to, true, |part| reader.copy_to(part)).unwrap();
    let failed = place(&to, true, |part| {
        std::fs::write(part, b"half")?;
        Err(LedgerError::Full)
    });
    assert_eq!(failed, Err(LedgerError::Full));
    assert!(Copied::open(&to).unwrap().check().unwrap().is_empty());
    let left = std::fs::read_dir(folder.path()).unwrap().map(|item| item.unwrap().file_name());
    let left: Vec<_> = left.filter(|name| name.to_string_lossy().contains("part")).collect();
    assert_eq!(left, Vec::<std::ffi::OsString>::new());
}

#[test]
fn a_copy_made_from_under_a_running_service_shows_that_it_lacks_the_log() {
    let folder = tempfile::tempdir().unwrap();
    let ledger = garden(folder.path());
    let copy = folder.path().join("copy");
    std::fs::copy(folder.path().join("ledger"), &copy).unwrap();
    let copied = Copied::open(&copy).unwrap();
    assert!(copied.lacks_log());
    drop(copied);
    std::fs::copy(folder.path().join("ledger-wal"), folder.path().join("copy-wal")).unwrap();
    let copied = Copied::open(&copy).unwrap();
    assert!(!copied.lacks_log());
    assert_eq!(
        copied.view().readings("bed", Quantity::AirTemperature, 0..i64::MAX).unwrap(),
        all(&ledger, "bed")
    );
}

#[test]
fn a_restored_ledger_begins_a_new_epoch_and_sends_nothing_old() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = garden(folder.path());
    let epoch = ledger.epoch().unwrap();
    let saved = backup(&ledger, &folder.path().join("saved"));
    put(&mut ledger, 1, JUNE + 600 * HOUR, &[air("tunnel", JUNE + 600 * HOUR, 20.0)]);
    let (here, now) = (folder.path(), JUNE + 40 * DAY);
    let held = restore(here, &saved, now, "then", false).err();
    assert!(matches!(held, Some(LedgerError::Held { .. })), "{held:?}");
    drop(ledger);
    let done = restore(here, &saved, now, "then", false).unwrap();
    assert_eq!((done.to_ms, done.unsent, done.fenced.len()), (Some(JUNE + 503 * HOUR), 2, 0));
    let mut ledger = Ledger::open(here, &founding()).unwrap();
    assert_eq!(all(&ledger, "tunnel").len(), 504);
    assert_eq!((ledger.outbox().unwrap(), ledger.check().unwrap()), (vec![], vec![]));
    let left = format!(
        "SELECT count(*) FROM outbox WHERE state = {} AND why LIKE '%restored%'",
        OutboxState::LeftUnsent as u8
    );
    assert_eq!(number(&ledger, &left), 2);
    assert_eq!(ledger.epoch().unwrap(), epoch.replace("-1", "-2"));
    let last = ledger.entries().unwrap().pop().unwrap();
    let restored = Note::Restored { to_ms: JUNE + 503 * HOUR, unsent: 2, other_board: false };
    assert_eq!((last.at_ms, last.note), (now, restored));
    // What was there before is whole as well, the readings since the backup in it.
    let before = Copied::open(&done.aside.unwrap()).unwrap();
    assert_eq!(before.view().readings("tunnel", Quantity::AirTemperature, 0..i64::MAX).unwrap().len(), 505);
    assert_eq!(before.check().unwrap(), []);
    // The epochs go apart from here: a row of the old one does not mend a row of the new one.
    put(&mut ledger, 1, JUNE + 700 * HOUR, &[air("tunnel", JUNE + 700 * HOUR, 21.0)]);
    spoil(&ledger, "UPDATE batch SET body = zeroblob(30) WHERE seq = 505");
    assert_eq!(ledger.mend(&before, now).unwrap().left.len(), 1);
}

#[test]
fn two_restores_in_one_second_keep_what_each_of_them_found() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    let ledger = garden(here);
    let saved = backup(&ledger, &here.join("saved"));
    drop(ledger);
    // A log that lies alone has its name for itself as well.
    std::fs::write(here.join("ledger-before-then-2-wal"), b"log").unwrap();
    let aside = || restore(here, &saved, JUNE + 40 * DAY, "then", false).unwrap().aside.unwrap();
    let first = aside();
    let bytes = std::fs::read(&first).unwrap();
    assert_eq!((first, aside()), (here.join("ledger-before-then"), here.join("ledger-before-then-3")));
    assert!(std::fs::read(here.join("ledger-before-then")).unwrap() == bytes);
    assert_eq!(std::fs::read(here.join("ledger-before-then-2-wal")).unwrap(), b"log");
}

#[test]
fn a_damaged_ledger_makes_way_for_a_backup_and_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let ledger = garden(folder.path());
    let saved = backup(&ledger, &folder.path().join("saved"));
    drop(ledger);
    let file = folder.path().join("ledger");
    let bytes = vec![0x55; 5_000];
    std::fs::write(&file, &bytes).unwrap();
    std::fs::remove_file(folder.path().join("ledger-wal")).unwrap();
    let done = restore(folder.path(), &saved, JUNE + 40 * DAY, "then", false).unwrap();
    assert!(std::fs::read(done.aside.unwrap()).unwrap() == bytes, "the damaged file is kept as it was");
    let ledger = Ledger::open(folder.path(), &founding()).unwrap();
    assert_eq!((all(&ledger, "tunnel").len(), ledger.check().unwrap()), (504, vec![]));
}

#[test]
fn a_ledger_that_comes_to_another_board_begins_a_new_epoch_once() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = garden(folder.path());
    let epoch = ledger.epoch().unwrap();
    assert_eq!(ledger.settle("board a", JUNE).unwrap(), None);
    assert_eq!(ledger.settle("board a", JUNE).unwrap(), None);
    assert_eq!((ledger.outbox().unwrap().len(), ledger.epoch().unwrap()), (2, epoch.clone()));
    let said = ledger.settle("board b", JUNE + 50 * DAY).unwrap().unwrap();
    assert!(matches!(said.note, Note::Restored { unsent: 2, other_board: true, .. }), "{said:?}");
    assert_eq!((ledger.outbox().unwrap().len(), ledger.epoch().unwrap()), (0, epoch.replace("-1", "-2")));
    assert_eq!(ledger.settle("board b", JUNE + 51 * DAY).unwrap(), None);
}

#[test]
fn old_readings_go_only_when_asked_by_whole_weeks_and_nothing_else_goes() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = garden(folder.path());
    let entries = ledger.entries().unwrap();
    // Weeks end on Thursdays: the second ends ten days in, at 23:00 UTC of the tenth day.
    let would = ledger.forgettable(JUNE + 12 * DAY).unwrap();
    let edge = JUNE + 10 * DAY - HOUR;
    assert_eq!((would.chunks, would.before_ms, would.readings), (4, edge, 2 * 239));
    assert_eq!(all(&ledger, "tunnel").len(), 504);
    let (done, told) = ledger.forget(JUNE + 12 * DAY, JUNE + 40 * DAY).unwrap();
    assert_eq!((done, told.len()), (would, 1));
    let left = all(&ledger, "tunnel");
    assert_eq!((left.len(), left[0].at_ms), (265, edge));
    assert_eq!(ledger.entries().unwrap()[..entries.len()], entries);
    assert_eq!(ledger.pages("e").unwrap().len(), 1);
    let found = ledger.inspect().unwrap();
    assert_eq!((found.stale_hours, found.fenced, found.readings), (vec![], vec![], 2 * 265));
}

#[test]
fn readings_older_than_they_are_meant_to_be_kept_are_said_and_stay() {
    let folder = tempfile::tempdir().unwrap();
    let ledger = garden(folder.path());
    let year = 31_557_600_000;
    assert_eq!(ledger.outlived(JUNE + 10 * year).unwrap(), None);
    assert!(ledger.outlived(JUNE + 10 * year + 12 * DAY).unwrap().is_some());
    ledger.set_keep_years(11);
    assert_eq!(ledger.outlived(JUNE + 10 * year + 12 * DAY).unwrap(), None);
    assert_eq!(all(&ledger, "tunnel").len(), 504);
}

#[test]
fn readings_come_out_week_by_week_as_they_are_asked_for_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = garden(folder.path());
    let series = ledger.series().unwrap();
    for range in [0..i64::MAX, JUNE + 5 * HOUR..JUNE + 480 * HOUR, JUNE..JUNE, i64::MIN..JUNE + 1] {
        let mut pour = Pour::new(series.clone(), range.clone());
        let mut poured = Vec::new();
        while let Some(piece) = ledger.view().unwrap().pour(&mut pour).unwrap() {
            assert!(piece.len() <= 168, "a piece is a week of one series");
            poured.extend(piece);
        }
        let asked = |probe: &str| ledger.readings(probe, Quantity::AirTemperature, range.clone()).unwrap();
        let expected: Vec<Reading> = asked("bed").into_iter().chain(asked("tunnel")).collect();
        assert_eq!(poured, expected, "{range:?}");
    }
    // Compacted in the middle of it, nothing is missed and nothing comes twice.
    let mut pour = Pour::new(series, 0..i64::MAX);
    let mut poured = ledger.view().unwrap().pour(&mut pour).unwrap().unwrap();
    ledger.compact(i64::MAX).unwrap();
    while let Some(piece) = ledger.view().unwrap().pour(&mut pour).unwrap() {
        poured.extend(piece);
    }
    let expected: Vec<Reading> = all(&ledger, "bed").into_iter().chain(all(&ledger, "tunnel")).collect();
    assert_eq!(poured, expected);
}

#[test]
fn the_present_rate_is_that_of_the_last_commits() {
    let folder = tempfile::tempdir().unwrap();
    let ledger = garden(folder.path());
    // Two probes, one reading an hour each, in the four batches that are left.
    let rate = ledger.readings_per_day().unwrap().unwrap();
    assert!((48.0..=64.0).contains(&rate), "{rate}");
}
