//! Told and reckoned: what is reckoned comes back the same bytes when it is deleted, late things have only the days
//! made afresh that they touch, and nothing of it is told (faults P7, P11).

use std::collections::BTreeSet;

use glasshour::entry::Note;
use glasshour::keeper::core::{Core, Message};

use super::garden::*;
use super::week::*;

#[test]
fn deleted_pages_come_back_the_same_bytes_from_batches_and_chunks() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = hot_week(folder.path());
    snapshot(&mut core);
    compact(&mut core);
    let (rows, exported) = (kept(&core), pages(&core));
    assert!(rows.len() >= 7, "{} days", rows.len());
    drop(core);
    forget(folder.path());
    let mut core = open(folder.path(), site(), end());
    assert!(kept(&core).is_empty());
    settle(&mut core);
    assert_eq!(kept(&core), rows);
    assert_eq!(pages(&core), exported);
}

#[test]
fn where_commits_end_and_in_which_order_readings_come_changes_no_byte_of_the_kept_pages() {
    let readings: Vec<_> = (0..4 * 96)
        .flat_map(|slot: i64| {
            let at_ms = june() + slot * 15 * MINUTE;
            let t_c = curve(15.0, 37.0, (slot % 96) as f64 / 4.0);
            [heard("post", AIR, at_ms, t_c), heard("beam", HUMIDITY, at_ms, 90.0 - t_c)]
        })
        .collect();
    let run = |step: usize, a_commit: usize, compacting: bool| {
        let folder = tempfile::tempdir().unwrap();
        let mut core = open(folder.path(), site(), june());
        let now = june() + 6 * DAY;
        // Every `step`-th reading round and round: each comes once, as the step divides no power of their count.
        let order = (0..readings.len()).map(|index| readings[index * step % readings.len()].clone());
        for message in order.collect::<Vec<_>>().chunks(a_commit) {
            core.hear(moment(now), &[Message { readings: message.to_vec(), arrived_ms: now }]);
            core.flush(moment(now)).unwrap();
            core.remake(1);
        }
        settle(&mut core);
        if compacting {
            assert!(core.ledger_mut().compact(now + DAY).unwrap().readings > 700);
        }
        drop(core);
        forget(folder.path());
        let mut core = open(folder.path(), site(), now);
        settle(&mut core);
        kept(&core)
    };
    let in_order = run(1, 96, false);
    let whole = in_order.iter().filter(|page| page.body.contains("\"measured_share\":1.0"));
    assert_eq!(whole.count(), 4);
    for (step, a_commit, compacting) in [(1, 768, true), (5, 7, false), (767, 31, true)] {
        assert_eq!(run(step, a_commit, compacting), in_order, "step {step}, {a_commit} a commit");
    }
}

#[test]
fn minders_come_back_from_chunks_as_from_batches_and_go_on_alike() {
    let run = |from_chunks: bool| {
        let folder = tempfile::tempdir().unwrap();
        let mut core = hot_week(folder.path());
        let now = core.engine().now_ms();
        if from_chunks {
            snapshot(&mut core);
            // Everything, also what memory needs of the last two days.
            assert!(core.ledger_mut().compact(now + DAY).unwrap().batches > 6);
        }
        drop(core);
        if from_chunks {
            forget(folder.path());
        }
        let mut core = open(folder.path(), site(), now);
        settle(&mut core);
        let wake_ms = core.engine().wake_ms();
        walk(&mut core, "post", now, 15 * MINUTE, &[(0, 34.0), (4 * HOUR, 42.0), (14 * HOUR, 19.0)]);
        settle(&mut core);
        let told = ["too-hot", "on-course", "warm-night", "air"].map(|minder| told(&core, minder));
        assert!(told[0].len() > 2);
        (wake_ms, core.engine().wake_ms(), told, pages(&core))
    };
    assert_eq!(run(true), run(false));
}

/// The days that something marks to be made afresh, as days since the first of June at a place.
fn marked_by(core: &mut Core, change: impl FnOnce(&mut Core)) -> BTreeSet<(String, i64)> {
    settle(core);
    assert_eq!(core.engine().marked(), 0);
    change(core);
    let first = calendar().day_of(june());
    let marked = core.engine_mut().take_dirty();
    core.engine_mut().mark(marked.clone());
    marked.into_iter().map(|(place, day)| (place, day - first)).collect()
}

fn days_at(place: &str, days: impl IntoIterator<Item = i64>) -> BTreeSet<(String, i64)> {
    days.into_iter().map(|day| (place.to_owned(), day)).collect()
}

#[test]
fn late_readings_and_back_dated_entries_have_only_the_days_made_afresh_that_they_touch() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = hot_week(folder.path());
    let now = end();
    core.note(moment(now), place("bed", glasshour::entry::PlaceKind::Bed), Some(june() - 40 * DAY)).unwrap();
    let note = |core: &mut Core, note: Note, from_ms: i64| {
        let mut id = 0;
        let marked = marked_by(core, |core| id = core.note(moment(now), note, Some(from_ms)).unwrap());
        (id, marked)
    };
    let noon = |day: i64| june() + day * DAY + 12 * HOUR;
    let late = heard("beam", AIR, noon(2), 20.0);
    let marked = marked_by(&mut core, |core| {
        core.hear(moment(now), &[Message { readings: vec![late], arrived_ms: now }]);
    });
    assert_eq!(marked, days_at("house", 2..=3), "its day, and the next by what is carried over midnight");
    let yesterday = heard("beam", AIR, noon(5), 20.0);
    let marked = marked_by(&mut core, |core| {
        core.hear(moment(now), &[Message { readings: vec![yesterday], arrived_ms: now }]);
    });
    assert_eq!(marked, days_at("house", 5..=5), "today is not closed yet");

    // The probe was elsewhere for two days: out of the house, into the bed, and back.
    let (back, marked) = note(&mut core, hang("beam", "house", 900), noon(3));
    assert_eq!(marked, days_at("house", 3..=5));
    let both: BTreeSet<_> = days_at("bed", 1..=4).into_iter().chain(days_at("house", 1..=4)).collect();
    let (away, marked) = note(&mut core, hang("beam", "bed", 900), noon(1));
    assert_eq!(marked, both);
    let (_, marked) = note(&mut core, Note::Undo { entry: away }, now);
    assert_eq!(marked, both);
    let (_, marked) = note(&mut core, Note::Undo { entry: back }, now);
    assert_eq!(marked, days_at("house", 3..=5));

    let (_, marked) = note(&mut core, planting("green", "lettuce", "bed"), noon(2));
    assert_eq!(marked, days_at("bed", 2..=5));
    let (ended, marked) = note(&mut core, Note::End { planting: "green".into() }, noon(4));
    assert_eq!(marked, days_at("bed", 4..=5));
    let (_, marked) = note(&mut core, Note::Undo { entry: ended }, now);
    assert_eq!(marked, days_at("bed", 4..=5));
    let read = Note::Thermometer { place: "bed".into(), now_c: None, low_c: Some(9.0), high_c: Some(21.0) };
    let (_, marked) = note(&mut core, read, noon(3) - 4 * HOUR);
    assert_eq!(marked, days_at("bed", 2..=3), "in the morning the highest is that of the day before");
    let (_, marked) = note(&mut core, Note::Vents { place: "house".into(), open: true }, noon(3));
    assert!(marked.is_empty());
    settle(&mut core);
    let amended = pages(&core);
    drop(core);
    forget(folder.path());
    let mut core = open(folder.path(), site(), now);
    settle(&mut core);
    assert_eq!(pages(&core), amended, "no day was left out");
}

#[test]
fn days_touched_just_before_the_power_went_are_made_afresh_after_it() {
    let run = |cut: bool| {
        let folder = tempfile::tempdir().unwrap();
        let mut core = hot_week(folder.path());
        snapshot(&mut core);
        let noon = june() + DAY + 12 * HOUR;
        core.note(moment(end()), place("bed", glasshour::entry::PlaceKind::Bed), None).unwrap();
        core.note(moment(end()), hang("post", "bed", 900), Some(noon)).unwrap();
        core.note(moment(end()), hang("post", "house", 900), Some(noon + 2 * DAY)).unwrap();
        if cut {
            drop(core);
            core = open(folder.path(), site(), end());
        }
        settle(&mut core);
        pages(&core)
    };
    assert_eq!(run(true), run(false));
}

#[test]
fn a_rebuild_and_another_edition_tell_nobody_anything() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = hot_week(folder.path());
    // It is cool by now: whatever is told from here on would be of the past.
    let now = end() + 6 * HOUR;
    walk(&mut core, "post", end(), 15 * MINUTE, &[(0, 19.0), (6 * HOUR, 19.0)]);
    core.advance(moment(now));
    settle(&mut core);
    snapshot(&mut core);
    compact(&mut core);
    let before = told_to_anybody(&core);
    assert!(before.0.len() > 8 && before.1.len() > 8, "the week was hot: {} steps", before.0.len());
    drop(core);
    forget(folder.path());
    // The second book would have told much more of such a week: its line is far lower.
    let mut low = other_book();
    let line = &mut low.book.global.place_heat_c;
    (line.lo, line.hi) = (21.0, 21.0);
    for site in [site(), low] {
        let mut core = open(folder.path(), site, now);
        core.write_letters(moment(now));
        settle(&mut core);
        core.advance(moment(now + 5 * MINUTE));
        core.write_letters(moment(now + 5 * MINUTE));
        settle(&mut core);
        assert_eq!(told_to_anybody(&core), before);
    }
}

#[test]
fn late_replayed_and_taken_in_heat_is_reckoned_and_opens_no_notice() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = open(folder.path(), site(), june());
    let now = june() + 3 * DAY + 20 * HOUR;
    let heat = |from_ms: i64, hours: i64| -> Vec<_> {
        (0..hours * 4).map(|slot| heard("post", AIR, from_ms + slot * 15 * MINUTE, 44.0)).collect()
    };
    walk(&mut core, "post", now - HOUR, 15 * MINUTE, &[(0, 22.0), (HOUR, 22.0)]);
    settle(&mut core);
    let noon = june() + 12 * HOUR;
    // A probe's own store, of days ago and of this noon; the same sent again; and a file taken in.
    let stored: Vec<_> = [heat(noon, 3), heat(noon + 3 * DAY, 6)].concat();
    for readings in [stored.clone(), stored, heat(noon + DAY, 3)] {
        core.hear(moment(now), &[Message { readings, arrived_ms: now }]);
        core.flush(moment(now)).unwrap();
        core.advance(moment(now + 5 * MINUTE));
    }
    settle(&mut core);
    assert_eq!(told_to_anybody(&core), (vec![], vec![]));
    assert_eq!(highest(&core), 44.0);
    // The same heat, live, is told.
    walk(&mut core, "post", now + 10 * MINUTE, 15 * MINUTE, &[(0, 44.0), (2 * HOUR, 44.0)]);
    settle(&mut core);
    assert!(!told_to_anybody(&core).0.is_empty());
}
