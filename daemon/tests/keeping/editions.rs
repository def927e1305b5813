//! Another edition takes the place of the old one at once, and says what the sums were (faults P7, U3, C7).
//!
//! Wanted figures are those of a ledger that was reckoned afresh by the edition in question and no other.

use std::path::Path;
use std::sync::Arc;

use glasshour::almanac::account::account_until;
use glasshour::clock::Clock;
use glasshour::entry::{Anew, Cause, Note};
use glasshour::keeper::core::{Core, Message};
use glasshour::keeper::event::Event;
use glasshour::keeper::handle::Question;
use glasshour::keeper::thread::Keeper;
use glasshour::keeper::view::season;
use glasshour::site::Site;

use super::bench::Machine;
use super::garden::*;
use super::week::*;

/// The degree days of the tomatoes over the days that are closed.
fn degree_days(core: &Core) -> f64 {
    let pages = core.engine().pages();
    let sum = account_until(pages, "red", 0, pages.last_day("red").unwrap()).degree_days;
    assert!(sum > 50.0, "{sum}");
    (sum * 100.0).round() / 100.0
}

fn anew(core: &Core) -> Anew {
    core.engine().editions().in_service().unwrap().anew["red"]
}

/// What the week comes to by an edition that is the only one there ever was.
fn afresh(site: Site) -> String {
    let folder = tempfile::tempdir().unwrap();
    drop(hot_week(folder.path()));
    let file = rusqlite::Connection::open(folder.path().join("ledger")).unwrap();
    file.execute("DELETE FROM day_page", []).unwrap();
    file.execute("DELETE FROM entry WHERE kind = 'edition'", []).unwrap();
    without_log(&file);
    drop(file);
    let mut core = open(folder.path(), site, end());
    settle(&mut core);
    pages(&core)
}

#[test]
fn the_old_edition_is_served_whole_until_the_new_one_is_and_the_season_says_what_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = hot_week(folder.path());
    snapshot(&mut core);
    let (old, closed) = (kept(&core), degree_days(&core));
    let old_edition = core.engine().editions().served().to_owned();
    drop(core);

    let mut core = open(folder.path(), other_book(), end());
    let served = pages(&core);
    assert!(season(core.engine(), "red").unwrap().still_to_reckon.unwrap() >= 7);
    let mut rounds = 0;
    while core.remake(1) {
        rounds += 1;
        core.flush(moment(end())).unwrap();
        assert_eq!(pages(&core), served, "no page of the new one is among them");
        assert_eq!(degree_days(&core), closed);
        assert_eq!(kept(&core), old);
        let season = season(core.engine(), "red").unwrap();
        assert_eq!(season.planting.degree_days, closed, "today would be of the new one");
        assert!(season.planting.rule.contains("7/28"), "{}", season.planting.rule);
    }
    assert!(rounds >= 6, "{rounds}");
    core.flush(moment(end())).unwrap();

    assert_eq!(pages(&core), afresh(other_book()));
    let anew = anew(&core);
    assert_eq!((anew.was.degree_days, anew.came_to.degree_days), (closed, degree_days(&core)));
    assert!(anew.was.degree_days > anew.came_to.degree_days + 10.0, "three degrees a day: {anew:?}");
    let season = season(core.engine(), "red").unwrap();
    let said = season.anew.unwrap();
    assert_eq!((said.date.as_str(), said.because, said.sums), ("2026-06-07", vec![Cause::Book], anew));
    assert_eq!((said.edition, season.still_to_reckon), (other_book().edition(), None));
    assert_eq!(core.ledger().editions().unwrap(), [other_book().edition()], "the old pages are gone");
    let noted = core.ledger().entries().unwrap().into_iter().filter_map(|entry| match entry.note {
        Note::Edition { edition, because, anew } => Some((edition, because, anew.is_some())),
        _ => None,
    });
    let (first, next) = (old_edition, other_book().edition());
    let wanted =
        [(first, vec![], true), (next.clone(), vec![Cause::Book], false), (next, vec![Cause::Book], true)];
    assert_eq!(noted.collect::<Vec<_>>(), wanted);
}

#[test]
fn what_it_was_is_still_said_after_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    drop(hot_week(folder.path()));
    let mut core = open(folder.path(), other_book(), end());
    settle(&mut core);
    let said = season(core.engine(), "red").unwrap().anew;
    drop(core);
    let core = open(folder.path(), other_book(), end());
    assert!(said.is_some());
    assert_eq!(season(core.engine(), "red").unwrap().anew, said);
}

#[test]
fn a_reckoning_that_is_cut_short_goes_on_where_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = hot_week(folder.path());
    snapshot(&mut core);
    drop(core);
    let marked = |made: usize| {
        let mut core = open(folder.path(), other_book(), end());
        let marked = core.engine().marked();
        if made > 0 {
            core.remake(made);
            core.flush(moment(end())).unwrap();
            // Made, but not durable when the power goes.
            core.remake(1);
        }
        marked
    };
    let all = marked(3);
    assert!(all >= 7);
    assert_eq!(marked(2), all - 3);
    assert_eq!(marked(0), all - 5);
    let mut core = open(folder.path(), other_book(), end());
    while core.remake(100) {}
    // Cut before the last commit: the old edition is still the one in service.
    drop(core);
    let mut core = open(folder.path(), other_book(), end());
    assert!(core.engine().editions().renewing());
    assert_eq!(core.engine().marked(), all - 5);
    settle(&mut core);
    assert_eq!(pages(&core), afresh(other_book()));
}

#[test]
fn what_comes_late_and_the_day_that_closes_while_reckoning_are_in_the_new_edition() {
    let later = end() + DAY;
    let feed = |core: &mut Core| {
        let late = heard("beam", AIR, june() + 2 * DAY + 3 * HOUR, 9.0);
        core.hear(moment(end()), &[Message { readings: vec![late], arrived_ms: end() }]);
        days(core, "post", end(), 15 * MINUTE, &[(20.0, 33.0)]);
        core.advance(moment(later));
        core.flush(moment(later)).unwrap();
    };
    let folder = tempfile::tempdir().unwrap();
    drop(hot_week(folder.path()));
    let mut core = open(folder.path(), other_book(), end());
    core.remake(5);
    let served = pages(&core);
    feed(&mut core);
    assert_eq!(pages(&core), served);
    settle(&mut core);

    let other = tempfile::tempdir().unwrap();
    drop(hot_week(other.path()));
    let mut wanted = open(other.path(), other_book(), end());
    settle(&mut wanted);
    feed(&mut wanted);
    settle(&mut wanted);
    assert_eq!(pages(&core), pages(&wanted));
    assert!(pages(&core).contains("2026-06-07"));
}

#[test]
fn back_to_the_old_book_before_the_new_one_was_reckoned_nothing_is_lost_or_mixed() {
    let folder = tempfile::tempdir().unwrap();
    drop(hot_week(folder.path()));
    let mut core = open(folder.path(), other_book(), end());
    core.remake(5);
    core.flush(moment(end())).unwrap();
    drop(core);

    let late = |core: &mut Core| {
        let late = heard("beam", AIR, june() + 5 * DAY + 3 * HOUR, 9.0);
        core.hear(moment(end()), &[Message { readings: vec![late], arrived_ms: end() }]);
        settle(core);
    };
    let mut core = open(folder.path(), site(), end());
    assert!(!core.engine().editions().renewing(), "the old edition is still in service");
    late(&mut core);
    let old = core.engine().pages().clone();
    assert_eq!(core.ledger().editions().unwrap(), [site().edition()], "what was left half done is gone");
    drop(core);

    // And on to the new one after all: nothing of its first, abandoned reckoning is used.
    let mut core = open(folder.path(), other_book(), end());
    assert_eq!(core.engine().pages(), &old);
    settle(&mut core);
    let other = tempfile::tempdir().unwrap();
    drop(hot_week(other.path()));
    let mut wanted = open(other.path(), other_book(), end());
    late(&mut wanted);
    assert_eq!(pages(&core), pages(&wanted));
}

#[test]
fn going_back_to_a_book_of_old_is_reckoned_anew_and_comes_to_what_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let first = pages(&hot_week(folder.path()));
    for site in [other_book(), site()] {
        let mut core = open(folder.path(), site, end());
        settle(&mut core);
    }
    let core = open(folder.path(), site(), end());
    assert_eq!(pages(&core), first);
    let anew = anew(&core);
    assert_eq!(anew.came_to.degree_days, degree_days(&core));
    assert!(anew.was.degree_days < anew.came_to.degree_days);
}

/// Three days, one of which holds a reading of 55 °C; the site's limit for the probe is `high`.
fn with_limit(folder: &Path, high: Option<f64>, at_ms: i64) -> Core {
    let mut site = site();
    site.limits.extend(high.map(|high| (("post".into(), AIR), (-20.0, high))));
    open(folder, site, at_ms)
}

#[test]
fn a_changed_limit_is_another_edition_and_what_it_refused_counts_or_no_longer_does() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = with_limit(folder.path(), Some(50.0), june());
    days(&mut core, "post", june(), 15 * MINUTE, &[(16.0, 34.0)]);
    let hot = june() + DAY + 14 * HOUR;
    hear(&mut core, hot, &[("post", AIR, 55.0), ("post", HUMIDITY, 40.0)]);
    hear(&mut core, hot + 15 * MINUTE, &[("post", AIR, 35.5)]);
    core.advance(moment(june() + 3 * DAY));
    settle(&mut core);
    snapshot(&mut core);
    assert!(core.ledger_mut().compact(june() + 4 * DAY).unwrap().chunks > 0);
    assert_eq!(highest(&core), 35.5);
    drop(core);
    for (high, wanted) in [(None, 55.0), (Some(35.2), 34.0), (Some(60.0), 55.0), (Some(50.0), 35.5)] {
        let mut core = with_limit(folder.path(), high, june() + 3 * DAY);
        assert!(core.engine().editions().renewing());
        settle(&mut core);
        assert_eq!(highest(&core), wanted, "limit {high:?}");
        assert_eq!(core.engine().editions().in_service().unwrap().because, [Cause::Limits]);
    }
    // The probe cannot have measured it, whatever the limits: 70 °C is the most that is believed under cover.
    let mut core = with_limit(folder.path(), None, june() + 3 * DAY);
    hear(&mut core, june() + 3 * DAY, &[("post", AIR, 71.0)]);
    core.advance(moment(june() + 4 * DAY));
    settle(&mut core);
    assert_eq!(highest(&core), 55.0);
}

#[test]
fn everything_that_can_change_a_page_is_in_the_name_of_the_edition_and_nothing_else() {
    let name = site().edition();
    let change = |change: &dyn Fn(&mut Site)| {
        let mut site = site();
        change(&mut site);
        site.edition() != name
    };
    assert!(change(&|site| site.book.edition.push('0')));
    assert!(change(&|site| site.latitude = agronomy::units::Latitude::try_new(45.01).unwrap()));
    assert!(change(&|site| site.longitude = agronomy::units::Longitude::try_new(15.01).unwrap()));
    assert!(change(&|site| site.calendar = glasshour::calendar::Calendar::fixed(2 * HOUR)));
    assert!(change(&|site| _ = site.limits.insert(("post".into(), AIR), (0.0, 50.0))));
    // What it is called, and how its clock is dressed: zone updates change no day (fault C7).
    assert!(!change(&|site| site.name = "renamed".to_owned()));
    let summer_time = |_| 2 * 3_600;
    let zone = Arc::new(summer_time);
    assert!(!change(&|site| site.calendar = glasshour::calendar::Calendar::new(OFFSET_MS, zone.clone())));
}

#[test]
fn p10_an_export_is_answered_when_all_days_are_made_and_readings_are_judged_meanwhile() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = open(folder.path(), site(), june());
    days(&mut core, "post", june(), HOUR, &[(16.0, 27.0); 50]);
    settle(&mut core);
    let now_ms = core.engine().now_ms();
    drop(core);
    let core = open(folder.path(), other_book(), now_ms);
    let machine = Machine::at(now_ms, true);
    let reader = core.ledger().reader().unwrap();
    let (mut keeper, handle) = Keeper::new(machine.setup(core, 3));
    keeper.begin();
    let (answer, mut answered) = tokio::sync::oneshot::channel();
    handle.events.try_send(Event::Ask(Question::Export(answer))).ok().unwrap();
    let mut turns = 0;
    let export = loop {
        machine.pass(1_000);
        let readings = vec![heard("post", AIR, now_ms + 1_000 * (turns + 1), 20.0 + turns as f64)];
        let event = Event::Heard { readings, arrived_mono_ms: machine.monotonic_ms(), done: None };
        handle.events.try_send(event).ok().unwrap();
        keeper.turn();
        turns += 1;
        assert_eq!(keeper.core().engine().now_ms(), machine.wall_ms(), "time passes for minders too");
        if let Ok(export) = answered.try_recv() {
            break export;
        }
    };
    // Fifty days, twenty in a turn.
    assert!(turns >= 3, "{turns}");
    assert_eq!(reader.readings("post", AIR, now_ms + 1..i64::MAX).unwrap().len() as i64, turns);
    assert!(!keeper.core().engine().is_dirty() && !keeper.core().engine().editions().renewing());
    assert_eq!(
        export,
        glasshour::keeper::export::export(keeper.core().engine()),
        "as it stands in that turn"
    );
}
