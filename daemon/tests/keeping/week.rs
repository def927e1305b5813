//! A hot week of the invented garden, on a ledger in a folder: late readings, notes and all, to be reckoned again.

use std::path::Path;

use glasshour::entry::{Entry, Note};
use glasshour::keeper::core::{Core, Message, Route};
use glasshour::keeper::start::seed;
use glasshour::ledger::{Ledger, OutboxRow, Page};
use glasshour::site::Site;
use serde_json::Value;

use super::garden::*;

const END: i64 = 6 * DAY + 9 * HOUR;

pub(crate) fn end() -> i64 {
    june() + END
}

/// Starts on a folder with a site of the test's own and a courier that takes everything.
pub(crate) fn open(folder: &Path, site: Site, at_ms: i64) -> Core {
    let mut ledger = Ledger::open(folder, &founding()).unwrap();
    let boot = ledger.begin_boot(at_ms - june(), Some((june(), "test"))).unwrap();
    let mut notes = tomato_house();
    notes[1] = hang("post", "house", 900);
    notes.push(hang("beam", "house", 900));
    let notes: Vec<_> = notes.into_iter().map(|note| (june() - 40 * DAY, note)).collect();
    seed(&mut ledger, boot, moment(at_ms), &notes).unwrap();
    let everything = Route {
        courier: "all".to_owned(),
        pushes_only: false,
        quiet: None,
        letter_at: chrono::NaiveTime::from_hms_opt(6, 0, 0),
        unseen_ms: None,
    };
    Core::start(site, ledger, boot, moment(at_ms), vec![everything]).unwrap()
}

/// Six hot days with late readings, thermometers read by hand, a back-dated flower and an undone note, then half a
/// morning. Commits and the daily snapshot as they come.
pub(crate) fn hot_week(folder: &Path) -> Core {
    let mut core = open(folder, site(), june());
    for day in 0..6 {
        let start = june() + day * DAY;
        days(&mut core, "post", start, 15 * MINUTE, &[(16.0 + day as f64, 34.0 + 1.5 * day as f64)]);
        core.write_letters(moment(start + 7 * HOUR));
        core.flush(moment(start + DAY)).unwrap();
    }
    let now = june() + 6 * DAY + HOUR;
    let late = [heard("beam", AIR, june() + DAY + HOUR, 11.5), heard("beam", AIR, june() + 4 * DAY, 12.5)];
    core.hear(moment(now), &[Message { readings: late.to_vec(), arrived_ms: now }]);
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
    walk(&mut core, "post", now, 15 * MINUTE, &[(0, 22.0), (8 * HOUR, 33.0)]);
    settle(&mut core);
    core
}

/// Makes what waits to be made, and all of it durable.
pub(crate) fn settle(core: &mut Core) {
    while core.remake(100) {}
    core.flush(moment(core.engine().now_ms())).unwrap();
}

pub(crate) fn snapshot(core: &mut Core) {
    let now = moment(core.engine().now_ms());
    assert!(core.snapshot(now, 1).unwrap());
}

/// Old batches into chunks, as every night.
pub(crate) fn compact(core: &mut Core) {
    let now = core.engine().now_ms();
    assert!(core.ledger_mut().compact(now - 2 * DAY).unwrap().chunks > 0);
}

/// Has a file say that it needs no log: closing takes the log away, and a ledger that lacks it is refused.
pub(crate) fn without_log(file: &rusqlite::Connection) {
    file.query_row("PRAGMA journal_mode = DELETE", [], |_| Ok(())).unwrap();
}

/// Deletes everything reckoned from the file of a ledger that nobody has open.
pub(crate) fn forget(folder: &Path) {
    let file = rusqlite::Connection::open(folder.join("ledger")).unwrap();
    assert!(file.execute("DELETE FROM day_page", []).unwrap() > 0);
    file.execute("DELETE FROM state", []).unwrap();
    without_log(&file);
}

pub(crate) fn kept(core: &Core) -> Vec<Page> {
    core.ledger().pages(core.engine().editions().served()).unwrap()
}

/// Edition and pages, as exported.
pub(crate) fn pages(core: &Core) -> String {
    let all = glasshour::keeper::export::export(core.engine());
    [&all["edition"], &all["day_pages"], &all["planting_pages"]].map(Value::to_string).join("\n")
}

pub(crate) fn told_to_anybody(core: &Core) -> (Vec<Entry>, Vec<OutboxRow>) {
    let told = |entry: &Entry| matches!(entry.note.kind(), "step" | "letter");
    let entries = core.ledger().entries().unwrap().into_iter().filter(told).collect();
    (entries, core.ledger().outbox().unwrap())
}

pub(crate) fn highest(core: &Core) -> f64 {
    core.engine().pages().places.values().filter_map(|page| page.t_max_c).fold(0.0, f64::max)
}

/// The invented site with a tomato that counts from another base.
pub(crate) fn other_book() -> Site {
    let mut site = site();
    site.book.crops.get_mut("tomato").unwrap().gdd.base = 10.0;
    site.book.edition = "1-00000001".to_owned();
    site
}
