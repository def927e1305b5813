//! Restarts: after a clean stop, after being killed, after compaction, on another edition. Told is told.

use std::path::Path;

use glasshour::entry::Note;
use glasshour::keeper::core::{Core, Message};
use glasshour::keeper::start::seed;
use glasshour::ledger::Ledger;
use serde_json::Value;

use super::garden::*;

/// A few eventful days: heat, a late reading, a back-dated note, one undone, a thermometer read by hand.
fn eventful(folder: &Path) -> Core {
    let mut notes = tomato_house();
    notes.push(hang("beam", "house", 900));
    let mut core = again(folder, &notes, june());
    days(&mut core, "post", june(), 10 * MINUTE, &[(16.0, 30.0), (18.0, 36.0)]);
    core.flush(moment(june() + 2 * DAY)).unwrap();
    let now = june() + 2 * DAY + 9 * HOUR;
    let late = heard("beam", AIR, june() + 12 * HOUR, 28.0);
    core.hear(moment(now), &[Message { readings: vec![late.clone(), late], arrived_ms: now }]);
    let read = |low_c| Note::Thermometer {
        place: "house".into(),
        now_c: None,
        low_c: Some(low_c),
        high_c: Some(33.0),
    };
    core.note(moment(now), read(12.0), Some(june() - 2 * DAY + 20 * HOUR)).unwrap();
    let wrong = core.note(moment(now), read(2.0), Some(june() - DAY + 20 * HOUR)).unwrap();
    core.note(moment(now), Note::FirstFlower { planting: "red".into() }, Some(june() + DAY)).unwrap();
    core.note(moment(now), Note::Undo { entry: wrong }, None).unwrap();
    walk(&mut core, "post", now, 10 * MINUTE, &[(0, 33.0), (4 * HOUR, 36.5)]);
    core.flush(moment(now + 4 * HOUR)).unwrap();
    core
}

fn notes() -> Vec<Note> {
    Vec::new()
}

/// Stops as `stop` says, starts again at the same moment: what it exports before and after.
fn before_and_after(stop: impl FnOnce(&mut Core)) -> (Value, Value) {
    let folder = tempfile::tempdir().unwrap();
    let mut core = eventful(folder.path());
    let now = core.engine().now_ms();
    let before = everything(&mut core);
    stop(&mut core);
    drop(core);
    let mut core = again(folder.path(), &notes(), now);
    (before, everything(&mut core))
}

#[test]
fn the_days_are_eventful() {
    let folder = tempfile::tempdir().unwrap();
    let all = everything(&mut eventful(folder.path()));
    assert!(all["day_pages"].as_array().unwrap().len() >= 4, "{}", all["day_pages"]);
    assert!(all["notices"].as_array().unwrap().len() >= 2);
    assert_eq!(all["readings"]["beam"]["air_temperature"]["reasons"]["repeated"], 1);
}

#[test]
fn killed_without_a_snapshot_it_exports_the_same() {
    let (before, after) = before_and_after(|_| ());
    assert_eq!(before.to_string(), after.to_string());
}

#[test]
fn stopped_with_a_snapshot_it_exports_the_same() {
    let (before, after) = before_and_after(|core| {
        let now = moment(core.engine().now_ms());
        core.flush(now).unwrap();
        assert!(core.snapshot(now, 1).unwrap());
    });
    assert_eq!(before.to_string(), after.to_string());
}

#[test]
fn after_compaction_it_exports_the_same() {
    let (before, after) = before_and_after(|core| {
        let now = moment(core.engine().now_ms());
        core.flush(now).unwrap();
        assert!(core.snapshot(now, 1).unwrap());
        assert!(core.ledger_mut().compact(now.wall_ms + DAY).unwrap().readings > 100);
    });
    assert_eq!(before.to_string(), after.to_string());
}

#[test]
fn no_snapshot_is_kept_while_something_waits() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = eventful(folder.path());
    let now = core.engine().now_ms() + MINUTE;
    hear(&mut core, now, &[("post", AIR, 30.0)]);
    assert!(!core.snapshot(moment(now), 1).unwrap());
}

/// Starts on the folder with a crop book of another edition, so that no page that was kept counts.
fn other_edition(folder: &Path, now_ms: i64) -> Core {
    let mut ledger = Ledger::open(folder, &founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((june(), "test"))).unwrap();
    seed(&mut ledger, boot, moment(now_ms), &[]).unwrap();
    let mut site = site();
    site.book.edition.push_str(" revised");
    Core::start(site, ledger, boot, moment(now_ms), Vec::new()).unwrap()
}

#[test]
fn pages_and_counts_come_back_the_same_on_another_edition_also_when_its_reckoning_is_cut_short() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = eventful(folder.path());
    let now = core.engine().now_ms();
    let mut before = everything(&mut core);
    core.flush(moment(now)).unwrap();
    assert!(core.snapshot(moment(now), 1).unwrap());
    core.ledger_mut().compact(now + DAY).unwrap();
    drop(core);
    let mut core = other_edition(folder.path(), now);
    assert!(core.remake(1), "more than one day waits");
    core.flush(moment(now)).unwrap();
    drop(core);
    let mut after = everything(&mut other_edition(folder.path(), now));
    assert_ne!(before["edition"], after["edition"]);
    after["edition"] = Value::Null;
    before["edition"] = Value::Null;
    assert_eq!(before.to_string(), after.to_string());
}

#[test]
fn a_reading_heard_again_after_a_restart_is_a_repeat_however_old() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = again(folder.path(), &tomato_house(), june());
    walk(&mut core, "post", june(), HOUR, &[(0, 20.0), (4 * DAY, 24.0)]);
    core.flush(moment(june() + 4 * DAY)).unwrap();
    drop(core);
    let now = june() + 4 * DAY;
    let mut core = again(folder.path(), &notes(), now);
    for hours in [1, 40, 43, 50, 90] {
        let value = 20.0 + 4.0 * hours as f64 / 96.0;
        let heard = heard("post", AIR, june() + hours * HOUR, value);
        core.hear(moment(now), &[Message { readings: vec![heard], arrived_ms: now }]);
    }
    let counts = &everything(&mut core)["readings"]["post"]["air_temperature"];
    assert_eq!((&counts["sound"], &counts["reasons"]["repeated"]), (&96.into(), &5.into()));
}

#[test]
fn notices_that_stand_open_are_not_told_again_after_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = again(folder.path(), &tomato_house(), june());
    let ten = june() + 10 * HOUR;
    walk(&mut core, "post", ten, MINUTE, &[(0, 36.0), (HOUR, 36.0)]);
    core.flush(moment(ten + HOUR)).unwrap();
    let before = told(&core, "too-hot");
    assert_eq!(before.len(), 1, "straight to severe: {before:?}");
    drop(core);
    let mut core = again(folder.path(), &notes(), ten + HOUR);
    walk(&mut core, "post", ten + HOUR, MINUTE, &[(0, 36.0), (2 * HOUR, 36.0)]);
    assert_eq!(told(&core, "too-hot"), before);
    walk(&mut core, "post", ten + 3 * HOUR, MINUTE, &[(0, 25.0), (HOUR, 25.0)]);
    let after = told(&core, "too-hot");
    assert_eq!(outline(&after[1..], ten), [(200, "closed", "severe")], "it is the same notice that closes");
}

#[test]
fn an_open_notice_of_dry_air_is_neither_closed_nor_told_again_by_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = again(folder.path(), &tomato_house(), june());
    let feed = |core: &mut Core, from_ms: i64| {
        for minute in 0..120 {
            hear(core, from_ms + minute * MINUTE, &[("post", AIR, 31.0), ("post", HUMIDITY, 30.0)]);
        }
        core.flush(moment(from_ms + 2 * HOUR)).unwrap();
    };
    feed(&mut core, june() + 10 * HOUR);
    let before = told(&core, "air");
    assert_eq!(before.len(), 1);
    drop(core);
    let mut core = again(folder.path(), &notes(), june() + 12 * HOUR);
    feed(&mut core, june() + 12 * HOUR);
    assert_eq!(told(&core, "air"), before);
}

#[test]
fn the_course_of_a_crop_is_told_once_a_day_over_a_restart_too() {
    let folder = tempfile::tempdir().unwrap();
    let mut notes = tomato_bed();
    notes[1] = hang("post", "bed", 600);
    let mut core = again(folder.path(), &notes, june());
    days(&mut core, "post", june(), 10 * MINUTE, &[(16.0, 30.0); 5]);
    let hot = june() + 5 * DAY;
    let morning = |core: &mut Core, from_h: i64, until_h: i64| {
        for step in from_h * 6..until_h * 6 {
            let t_c = curve(18.0, 40.0, step as f64 / 6.0);
            hear(core, hot + step * 10 * MINUTE, &[("post", AIR, t_c)]);
        }
        core.flush(moment(hot + until_h * HOUR)).unwrap();
    };
    morning(&mut core, 0, 10);
    // A cloud: the course is called off.
    let ten = hot + 10 * HOUR;
    let now_c = curve(18.0, 40.0, 10.0);
    walk(&mut core, "post", ten, 10 * MINUTE, &[(0, now_c), (10 * MINUTE, now_c - 4.0), (HOUR, now_c - 5.0)]);
    core.flush(moment(hot + 11 * HOUR)).unwrap();
    let before = told(&core, "on-course");
    assert_eq!(before.iter().map(|step| step.turn.as_str()).collect::<Vec<_>>(), ["opened", "closed"]);
    drop(core);
    let mut core = again(folder.path(), &[], hot + 11 * HOUR);
    // The sun comes back: it rises as towards a highest of 36 and more, for longer than the dwell.
    let back = [(0, now_c - 4.0), (50 * MINUTE, 34.9), (70 * MINUTE, 34.9)];
    walk(&mut core, "post", hot + 11 * HOUR, 10 * MINUTE, &back);
    assert_eq!(told(&core, "on-course"), before);
}

#[test]
fn what_passed_while_nobody_watched_is_reckoned_but_not_told() {
    let folder = tempfile::tempdir().unwrap();
    let core = again(folder.path(), &tomato_house(), june());
    drop(core);
    // Stopped for a day; the probe's own store brings what was missed.
    let now = june() + DAY + 20 * HOUR;
    let mut core = again(folder.path(), &notes(), now);
    let missed = (0..60).map(|minute| heard("post", AIR, june() + 12 * HOUR + minute * MINUTE, 43.0));
    core.hear(moment(now), &[Message { readings: missed.collect(), arrived_ms: now }]);
    core.flush(moment(now)).unwrap();
    core.advance(moment(now + HOUR));
    assert!(told(&core, "too-hot").is_empty());
    assert_eq!(everything(&mut core)["day_pages"][0]["t_max_c"], 43.0);
}

#[test]
fn restarts_put_no_warning_off_however_often_they_come() {
    // The place's line is 40 °C held for 30 minutes (crop book, practice).
    let passed = june() + 13 * HOUR;
    let extreme_at = |restarts: &[i64]| {
        let folder = tempfile::tempdir().unwrap();
        let mut core = again(folder.path(), &tomato_house(), june());
        walk(&mut core, "post", june() + 6 * HOUR, 10 * MINUTE, &[(0, 22.0), (7 * HOUR, 39.0)]);
        for minute in 0..60 {
            let at = passed + minute * MINUTE;
            if restarts.contains(&minute) {
                core.flush(moment(at)).unwrap();
                drop(core);
                core = again(folder.path(), &notes(), at);
            }
            hear(&mut core, at, &[("post", AIR, if minute == 0 { 39.0 } else { 42.0 })]);
        }
        let told = told(&core, "too-hot");
        let extreme: Vec<_> = told.iter().filter(|step| step.severity == "extreme").collect();
        assert_eq!(extreme.len(), 1, "{told:?}");
        assert!(extreme[0].pushed);
        extreme[0].at_ms
    };
    let undisturbed = extreme_at(&[]);
    assert_eq!(undisturbed, passed + 31 * MINUTE);
    for restarts in [&[12][..], &[29], &[5, 10, 15, 20, 25, 30]] {
        let told = extreme_at(restarts);
        assert!((undisturbed..=undisturbed + MINUTE).contains(&told), "{restarts:?}: {told}");
    }
}
