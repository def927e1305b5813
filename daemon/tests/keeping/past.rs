//! Records taken in straight into the ledger: what comes of them is what would have come of the readings live.

use std::path::Path;

use glasshour::entry::Note;
use glasshour::keeper::core::Message;
use glasshour::keeper::past::{TakingIn, Tally};
use glasshour::reading::Heard;
use serde_json::Value;

use super::garden::*;

/// Three days of a second probe: some humidity among them, one reading that cannot be, one without a value, one twice.
fn record() -> Vec<Heard> {
    let mut record = Vec::new();
    for minute in 0..3 * 96 {
        let at_ms = june() + minute * 15 * MINUTE;
        record.push(heard("beam", AIR, at_ms, curve(14.0, 31.0, minute as f64 / 4.0)));
        record.push(heard("beam", HUMIDITY, at_ms, 60.0 + (minute % 40) as f64));
    }
    record[80].value = Some(90.0);
    record[100].value = None;
    record.push(record[120].clone());
    record
}

fn notes() -> Vec<Note> {
    let mut notes = tomato_house();
    notes.push(hang("beam", "house", 900));
    notes
}

/// A ledger with four days of the first probe, whose pages are made and kept.
fn four_days(folder: &Path) {
    let mut core = again(folder, &notes(), june());
    days(&mut core, "post", june(), 10 * MINUTE, &[(16.0, 30.0), (18.0, 33.0), (17.0, 29.0), (15.0, 28.0)]);
    let now = moment(june() + 4 * DAY);
    core.flush(now).unwrap();
    everything(&mut core);
    core.flush(now).unwrap();
    assert!(core.snapshot(now, 1).unwrap());
}

/// Takes the record in; the process ends with it, and no page was made.
fn take_in(folder: &Path, readings: &[Heard]) -> Tally {
    let now = moment(june() + 4 * DAY);
    let series = [("beam".into(), AIR), ("beam".into(), HUMIDITY)];
    let mut taking = TakingIn::begin(again(folder, &[], now.wall_ms), now);
    for (probe, quantity) in &series {
        taking.series(probe, *quantity);
    }
    for heard in readings {
        let at = usize::from(heard.quantity == HUMIDITY);
        taking.take(at, heard.measured_ms.unwrap(), heard.value).unwrap();
    }
    taking.finish().unwrap()
}

fn exported(folder: &Path) -> Value {
    everything(&mut again(folder, &[], june() + 4 * DAY))
}

#[test]
fn a_record_taken_in_gives_the_pages_and_counts_of_one_that_was_heard() {
    let (taken, live) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    four_days(taken.path());
    four_days(live.path());
    let before = exported(taken.path());
    let record = record();

    let tally = take_in(taken.path(), &record);
    assert_eq!((tally.new, tally.held), (record.len() as u64 - 1, 1));
    assert_eq!(tally.days.len(), 3);

    let now = june() + 4 * DAY;
    let mut core = again(live.path(), &[], now);
    core.hear(moment(now), &[Message { readings: record.clone(), arrived_ms: now }]);
    core.flush(moment(now)).unwrap();
    drop(core);

    // Pages of the days it touches had been made and kept: nobody but the ledger knows that they are out of date.
    let (taken_in, heard) = (exported(taken.path()), exported(live.path()));
    assert_ne!(before["day_pages"], taken_in["day_pages"]);
    for key in ["day_pages", "planting_pages", "readings"] {
        assert_eq!(taken_in[key], heard[key], "{key}");
    }

    let tally = take_in(taken.path(), &record);
    assert_eq!((tally.new, tally.held, tally.days.len()), (0, record.len() as u64, 0));
    assert_eq!(exported(taken.path())["day_pages"], taken_in["day_pages"]);
}

#[test]
fn a_record_cut_short_is_taken_in_whole_by_the_next_attempt() {
    let (cut, whole) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    four_days(cut.path());
    four_days(whole.path());
    let record = record();
    let first = take_in(cut.path(), &record[..200]);
    let second = take_in(cut.path(), &record);
    take_in(whole.path(), &record);
    assert_eq!((first.new, second.new, second.held), (200, record.len() as u64 - 201, 201));
    assert_eq!(exported(cut.path())["day_pages"], exported(whole.path())["day_pages"]);
}
