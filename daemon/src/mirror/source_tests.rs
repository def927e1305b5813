use std::collections::BTreeMap;

use agronomy::crop::Severity;
use agronomy::quantity::Quantity;

use super::*;
use crate::entry::{Step, fixtures};
use crate::ledger::{Commit, Copied, Founding, Ledger, NewNote, PageRow, place};
use crate::reading::Reason;

const MINUTE: i64 = 60_000;
const WEEK: i64 = 7 * 86_400_000;
/// A whole number of weeks after 1970, UTC ms.
const START: i64 = 2_800 * WEEK;

fn ledger() -> Ledger {
    Ledger::in_memory(&Founding { offset_ms: 0, program: "test".to_owned() }).unwrap()
}

fn reading(probe: &str, at_ms: i64) -> Reading {
    let value = (at_ms / MINUTE % 4_000) as f64 / 100.0;
    Reading { probe: probe.into(), quantity: Quantity::AirTemperature, value, at_ms, reason: Reason::None }
}

fn put(ledger: &mut Ledger, boot: i64, wall_ms: i64, readings: &[Reading], dated: bool) {
    ledger.commit(&Commit { readings, dated, ..Commit::empty(boot, wall_ms, wall_ms) }).unwrap();
}

/// What the other side would hold, and how much was held here at one time.
#[derive(Default)]
struct Copy {
    place: Place,
    points: BTreeMap<(String, i64), f64>,
    sent: usize,
    most: usize,
}

impl Copy {
    /// Takes slices until there are none, or `most` of them; commits the marks as the keeper does.
    fn follow(&mut self, ledger: &mut Ledger, boot: i64, most: usize) -> usize {
        let mut source = FromLedger::new(ledger.reader().unwrap(), boot);
        for taken in 0..most {
            let Some(slice) = source.next(&self.place).unwrap() else { return taken };
            self.most = self.most.max(slice.points.len());
            self.sent += slice.points.len();
            for point in &slice.points {
                self.points.extend(point.numbers().map(|(name, value)| ((name, point.at_ms), value)));
            }
            let cursors: Vec<(&str, i64)> =
                slice.marks.iter().map(|(name, seq)| (name.as_str(), *seq)).collect();
            ledger.commit(&Commit { cursors: &cursors, ..Commit::empty(boot, 1, 1) }).unwrap();
            self.place = slice.after;
        }
        most
    }

    fn times(&self) -> Vec<i64> {
        self.points.keys().map(|(_, ms)| *ms).collect()
    }
}

#[test]
fn a_boot_that_may_still_be_dated_waits_and_a_dead_one_is_passed_over_until_it_is_dated() {
    let mut ledger = ledger();
    let dead = ledger.begin_boot(0, None).unwrap();
    put(&mut ledger, dead, 1_000, &[reading("a", 1_000)], false);
    let boot = ledger.begin_boot(0, None).unwrap();
    put(&mut ledger, boot, 2_000, &[reading("a", 2_000)], false);
    let mut copy = Copy::default();
    let mut source = FromLedger::new(ledger.reader().unwrap(), boot);
    let slice = source.next(&copy.place).unwrap().unwrap();
    assert_eq!((slice.undated, slice.points.len(), slice.after.batch, slice.after.passed), (1, 0, 1, 1));
    copy.follow(&mut ledger, boot, 99);
    assert_eq!(copy.times(), [0_i64; 0]);
    ledger.date_boot(boot, START, "test").unwrap();
    copy.follow(&mut ledger, boot, 99);
    assert_eq!(copy.times(), [START + 2_000]);
    // By hand, long after it was passed over.
    ledger.date_boot(dead, START - WEEK, "test").unwrap();
    copy.follow(&mut ledger, boot, 99);
    assert_eq!(copy.times(), [START - WEEK + 1_000, START + 2_000]);
    assert_eq!((copy.place.batch, copy.place.passed), (2, 0));
}

#[test]
fn a_boot_put_away_undated_comes_as_a_batch_of_its_own_when_it_is_dated() {
    let mut ledger = ledger();
    let dead = ledger.begin_boot(0, None).unwrap();
    put(&mut ledger, dead, 1_000, &[reading("a", 1_000)], false);
    let boot = ledger.begin_boot(0, Some((0, "test"))).unwrap();
    put(&mut ledger, boot, START, &[reading("a", START)], true);
    ledger.compact(START + 1).unwrap();
    let mut copy = Copy::default();
    copy.follow(&mut ledger, boot, 99);
    assert_eq!(copy.times(), [START]);
    ledger.date_boot(dead, START - WEEK, "test").unwrap();
    copy.follow(&mut ledger, boot, 99);
    assert_eq!(copy.times(), [START - WEEK + 1_000, START]);
}

#[test]
fn what_was_compacted_before_it_was_copied_is_read_from_the_chunks() {
    let mut ledger = ledger();
    let boot = ledger.begin_boot(0, Some((0, "test"))).unwrap();
    let mut copy = Copy::default();
    for minute in 0..30 {
        put(&mut ledger, boot, START + minute * MINUTE, &[reading("a", START + minute * MINUTE)], true);
        if minute == 4 {
            copy.follow(&mut ledger, boot, 99);
        }
    }
    // The other side is away; twenty of the thirty commits are compacted meanwhile.
    ledger.compact(START + 20 * MINUTE).unwrap();
    assert_eq!(copy.points.len(), 5);
    copy.follow(&mut ledger, boot, 99);
    assert_eq!(copy.times(), (0..30).map(|minute| START + minute * MINUTE).collect::<Vec<_>>());
    assert_eq!(copy.place.batch, 30);
    // Compacting what is copied sends nothing again.
    let sent = copy.sent;
    ledger.compact(START + 29 * MINUTE).unwrap();
    copy.follow(&mut ledger, boot, 99);
    assert_eq!(copy.sent, sent);
}

#[test]
fn a_late_reading_of_a_week_long_compacted_follows_like_any_other() {
    let mut ledger = ledger();
    let boot = ledger.begin_boot(0, Some((0, "test"))).unwrap();
    put(&mut ledger, boot, START, &[reading("a", START)], true);
    ledger.compact(START + 1).unwrap();
    let mut copy = Copy::default();
    copy.follow(&mut ledger, boot, 99);
    let late = [reading("a", START - 40 * WEEK)];
    put(&mut ledger, boot, START + MINUTE, &late, true);
    ledger.compact(START + 2 * MINUTE).unwrap();
    copy.follow(&mut ledger, boot, 99);
    assert_eq!(copy.times(), [START - 40 * WEEK, START]);
}

#[test]
fn a_batch_of_more_than_a_call_goes_in_pieces() {
    let mut ledger = ledger();
    let boot = ledger.begin_boot(0, Some((0, "test"))).unwrap();
    let many: Vec<Reading> = (0..12_000).map(|n| reading("a", START + n * 1_000)).collect();
    put(&mut ledger, boot, START, &many, true);
    let mut copy = Copy::default();
    assert_eq!(copy.follow(&mut ledger, boot, 99), 3);
    assert_eq!((copy.points.len(), copy.sent, copy.most), (12_000, 12_000, 5_000));
}

#[test]
fn steps_and_pages_follow_and_a_page_made_again_is_sent_again() {
    let mut ledger = ledger();
    let boot = ledger.begin_boot(0, Some((0, "test"))).unwrap();
    let step = Step {
        notice: "n".to_owned(),
        minder: "air".to_owned(),
        push: false,
        ..fixtures::step(START, Severity::Minor, "")
    };
    let notes = [NewNote { at_ms: START, from_ms: START, note: Note::Step(step) }];
    let body = |share: f64| {
        let place = crate::almanac::day_page::DayPage { measured_share: share, ..Default::default() };
        serde_json::to_string(&crate::almanac::pages::Made { place, plantings: vec![] }).unwrap()
    };
    let mut copy = Copy::default();
    for share in [0.5, 0.75] {
        let body = body(share);
        let pages = [PageRow { subject: "house", day: 19_600, edition: "e", body: &body }];
        let notes = if share == 0.5 { &notes[..] } else { &[] };
        ledger.commit(&Commit { notes, pages: &pages, ..Commit::empty(boot, START, 1) }).unwrap();
        copy.follow(&mut ledger, boot, 99);
        let of = |name: &str| copy.points.iter().find(|((series, _), _)| series.starts_with(name)).unwrap();
        assert_eq!(*of("place_day_measured_share").1, share);
        assert_eq!(*of("notice_step_severity_rank").1, 1.0);
    }
}

#[test]
fn a_chunk_mended_from_a_backup_is_sent_whole_whatever_came_before() {
    let folder = tempfile::tempdir().unwrap();
    let founding = Founding { offset_ms: 0, program: "test".to_owned() };
    let mut ledger = Ledger::open(folder.path(), &founding).unwrap();
    let boot = ledger.begin_boot(0, Some((0, "test"))).unwrap();
    let minutes: Vec<Reading> = (0..10_080).map(|n| reading("a", START + n * MINUTE)).collect();
    put(&mut ledger, boot, START, &minutes, true);
    ledger.compact(START + 1).unwrap();
    let saved = folder.path().join("saved");
    place(&saved, false, |part| ledger.reader()?.copy_to(part)).unwrap();
    drop(ledger);
    let file = rusqlite::Connection::open(folder.path().join("ledger")).unwrap();
    // The log stays: a ledger without one is not opened.
    file.set_db_config(rusqlite::config::DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true).unwrap();
    assert_eq!(file.execute("UPDATE chunk SET body = zeroblob(60)", []).unwrap(), 1);
    drop(file);
    let mut ledger = Ledger::open(folder.path(), &founding).unwrap();
    let mut copy = Copy::default();
    copy.follow(&mut ledger, boot, 99);
    assert_eq!(copy.points.len(), 0, "nothing of a damaged chunk, and the cursors go past it");
    assert_eq!(ledger.mend(&Copied::open(&saved).unwrap(), START).unwrap().readings, 10_080);
    // Broken off after the first piece, and gone on from the cursors.
    assert_eq!(copy.follow(&mut ledger, boot, 1), 1);
    assert!(copy.place.again > 0 && copy.points.len() == 5_000);
    copy.follow(&mut ledger, boot, 99);
    assert_eq!(copy.points.len(), 10_080);
    assert_eq!(ledger.reader().unwrap().marked().unwrap(), None);
}

#[test]
fn a_year_of_twenty_series_is_filled_in_with_less_than_two_calls_of_points_held() {
    let mut ledger = ledger();
    let boot = ledger.begin_boot(0, Some((0, "test"))).unwrap();
    let probes: Vec<String> = (0..20).map(|n| format!("probe-{n}")).collect();
    let quarter = 15 * MINUTE;
    let weeks = 52;
    for week in 0..weeks {
        let start = START + week * WEEK;
        for probe in &probes {
            let readings: Vec<Reading> =
                (0..WEEK / quarter).map(|n| reading(probe, start + n * quarter)).collect();
            put(&mut ledger, boot, start, &readings, true);
        }
        ledger.compact(start + 1).unwrap();
    }
    let all = 20 * weeks as usize * (WEEK / quarter) as usize;
    let mut copy = Copy::default();
    // Broken off again and again: each time it goes on from the cursors.
    while copy.follow(&mut ledger, boot, 7) == 7 {
        copy.place = Place::of(copy.place.numbers());
    }
    assert_eq!((copy.points.len(), copy.sent), (all, all), "each reading, and once");
    assert!(copy.most < 2 * POINTS_AT_ONCE, "{} points were held", copy.most);
}
