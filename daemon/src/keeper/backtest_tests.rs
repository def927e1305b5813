use super::*;
use crate::entry::{Began, Entry, PlaceKind, fixtures};

const MINUTE: i64 = 60_000;
/// 1 June 2026, 00:00 UTC.
const JUNE: i64 = 1_780_272_000_000;

fn step(minder: &str, day: i64, minute: i64, turn: Turn, severity: Severity, push: bool) -> Step {
    let place = if minder == HEAT_DOME { "" } else { "house" };
    Step {
        notice: format!("{}~{place}~{minder}", date(calendar().day_of(JUNE) + day)),
        minder: minder.to_owned(),
        place: place.to_owned(),
        turn,
        push,
        ..fixtures::step(JUNE + day * MS_PER_DAY + minute * MINUTE, severity, "")
    }
}

fn calendar() -> Calendar {
    Calendar::fixed(0)
}

/// A house with tomatoes, a bed with beans, and damage seen on days of June, counted from 0.
fn ground(damage: &[(&str, i64)]) -> Ground {
    let place = |id: &str, kind| Note::Place { place: id.into(), name: id.into(), kind };
    let planting = |id: &str, crop: &str, place: &str| Note::Planting {
        planting: id.into(),
        crop: crop.into(),
        place: place.into(),
        variety: None,
        count: None,
        began: Began::PlantedOut,
        container_l: None,
    };
    let stands = [
        place("house", PlaceKind::House),
        place("bed", PlaceKind::Bed),
        planting("red", "tomato", "house"),
        planting("bean", "green_bean", "bed"),
    ];
    let stands = stands.into_iter().map(|note| (JUNE, note));
    let seen = damage.iter().map(|(planting, day)| {
        let note = Note::Damage { planting: (*planting).into(), text: "dropped flowers".into() };
        (JUNE + day * MS_PER_DAY, note)
    });
    let entries: Vec<Entry> = (1..)
        .zip(stands.chain(seen))
        .map(|(id, (from_ms, note))| Entry { id, at_ms: from_ms, from_ms, note })
        .collect();
    Ground::of(&entries)
}

fn of(told: &[Step], damage: &[(&str, i64)]) -> Tally {
    Tally::of(told, &ground(damage), &calendar(), 30 * MINUTE)
}

use Severity::{Extreme, Moderate, Severe};
use Turn::{Closed, Opened, Worsened};

#[test]
fn notices_are_counted_by_minder_and_by_the_worst_they_were() {
    let told = [
        step(TOO_HOT, 0, 600, Opened, Moderate, false),
        step(TOO_HOT, 0, 660, Worsened, Severe, true),
        step(TOO_HOT, 0, 900, Closed, Moderate, true),
        step(TOO_HOT, 1, 600, Opened, Moderate, false),
        step(DRILL, 1, 610, Opened, Moderate, true),
    ];
    let tally = of(&told, &[]);
    assert_eq!((tally.notices, tally.pushed), (2, 1));
    assert_eq!(tally.by_minder[TOO_HOT], BTreeMap::from([(Moderate, 1), (Severe, 1)]));
    assert_eq!(tally.push_days, BTreeSet::from(["2026-06-01".to_owned()]));
}

#[test]
fn an_all_clear_after_midnight_is_no_day_of_alarm() {
    let told = [step(TOO_HOT, 0, 900, Opened, Extreme, true), {
        let mut closed = step(TOO_HOT, 0, 24 * 60 + 20, Closed, Moderate, true);
        closed.severity = Moderate;
        closed
    }];
    assert_eq!(of(&told, &[]).push_days.len(), 1);
}

#[test]
fn the_lead_is_counted_to_where_the_line_was_passed_not_to_where_its_dwell_was_over() {
    // Told at 9:30, 10:20 and not at all; the severe line passed at 10:00, 10:30 and 11:00, told ten minutes later.
    let told = [
        step(ON_COURSE, 0, 570, Opened, Severe, false),
        step(TOO_HOT, 0, 610, Opened, Severe, false),
        step(ON_COURSE, 1, 620, Opened, Severe, false),
        step(TOO_HOT, 1, 640, Opened, Severe, false),
        step(TOO_HOT, 2, 670, Opened, Severe, false),
    ];
    let lead = of(&told, &[]).severe_line;
    let wanted = Lead { passed: 3, told_ahead: 2, median_min: Some(20.0), worst_min: Some(10.0) };
    assert_eq!(lead, wanted);
}

#[test]
fn of_the_places_own_line_only_a_course_that_buzzed_is_a_word_ahead() {
    // Told to the page at 11:00, buzzed at 11:15; passed at 11:45 and held until 12:15.
    let told = [
        step(ON_COURSE, 0, 660, Opened, Severe, false),
        step(ON_COURSE, 0, 675, Worsened, Severe, true),
        step(TOO_HOT, 0, 735, Opened, Extreme, true),
    ];
    let lead = of(&told, &[]).place_line;
    assert_eq!(lead, Lead { passed: 1, told_ahead: 1, median_min: Some(30.0), worst_min: Some(30.0) });
}

#[test]
fn a_course_told_inside_the_heat_notice_is_a_word_ahead_as_one_told_alone_is() {
    // To the page at 11:00, buzzed at 11:15; passed at 11:45.
    let inside = |minute, push: bool| {
        let mut step = step(TOO_HOT, 0, minute, Worsened, Severe, push);
        step.inside.insert(ON_COURSE.to_owned(), Severe);
        step.joined.extend(push.then(|| ON_COURSE.to_owned()));
        step
    };
    let told = [
        step(TOO_HOT, 0, 640, Opened, Severe, true),
        inside(660, false),
        inside(675, true),
        step(TOO_HOT, 0, 735, Worsened, Extreme, true),
    ];
    let lead = of(&told, &[]).place_line;
    assert_eq!(lead, Lead { passed: 1, told_ahead: 1, median_min: Some(30.0), worst_min: Some(30.0) });
}

#[test]
fn a_heat_wave_is_told_as_many_days_ahead_as_before_its_first_severe_line() {
    let told = [
        step(HEAT_DOME, 0, 720, Opened, Severe, true),
        step(TOO_HOT, 2, 730, Opened, Severe, true),
        step(TOO_HOT, 3, 730, Opened, Severe, true),
    ];
    let lead = of(&told, &[]).heat_dome;
    let two_days = Some(2.0 * 24.0 * 60.0);
    assert_eq!(lead, Lead { passed: 1, told_ahead: 1, median_min: two_days, worst_min: two_days });
    assert_eq!(of(&told[..1], &[]).heat_dome, Lead::default(), "no line was passed in it");
}

#[test]
fn damage_counts_to_the_notices_of_its_place_for_seven_days() {
    let told = [step(TOO_HOT, 0, 600, Opened, Severe, true), step(TOO_HOT, 0, 900, Closed, Moderate, true)];
    // Seven days after 15:00 of the first day; a day more; before it; and in another place.
    let tally = of(&told, &[("red", 7), ("red", 8), ("red", 0), ("bean", 2)]);
    let seen: Vec<(usize, bool)> = tally.damage.iter().map(|it| (it.after.len(), it.buzzed)).collect();
    assert_eq!(seen, [(1, true), (0, false), (0, false), (0, false)]);
    assert_eq!(tally.followed, BTreeMap::from([(TOO_HOT.to_owned(), 1)]));
}
