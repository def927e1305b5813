//! The end of an alarm in quiet hours: row K8 of the project's table of faults read the other way round. What is severe rings
//! at night; that it eases or is over waits for the morning, and takes no alarm with it.

use agronomy::crop::Severity;
use glasshour::couriers::outbox::{BEGAN_AGAIN, Errand, Waiting, plan};
use glasshour::entry::Turn;
use glasshour::keeper::core::Route;
use glasshour::ledger::OutboxState;
use glasshour::minders::book::{Book, Telling};

use super::carried::*;
use super::garden::*;
use super::telling::{came, heat_id, hot, last, minutes};

/// A quiet phone beside a board where the house is past its line at 02:31, and by 03:19 is not any more.
fn over_by_night() -> Board {
    let route = Route { quiet: Some((22, 5)), ..pushing("web push") };
    let mut board = hot(vec![route], 2);
    minutes(&mut board, 10, 43.0);
    minutes(&mut board, 45, 25.0);
    assert_eq!(last(&board).turn, Turn::Closed);
    board
}

#[test]
fn k8_that_the_heat_is_over_lets_sleep_until_the_quiet_hours_end_and_comes_then() {
    let mut board = over_by_night();
    let (closed, alarm) = (last(&board), came(&board, 0)[0]);
    assert!(closed.push && closed.severity >= Severity::Severe, "{closed:?}");
    assert_eq!(came(&board, 0), [alarm], "the alarm rang, its end does not");
    assert_eq!(alarm.1, 2 * 60 + 31);
    board.crash();
    let left = 5 * 60 - (board.now_ms - june()) / MINUTE;
    minutes(&mut board, left - 1, 25.0);
    assert_eq!(came(&board, 0), [alarm], "not before five");
    minutes(&mut board, 2, 25.0);
    assert_eq!(came(&board, 0), [alarm, (closed.number, 5 * 60)]);
}

#[test]
fn k8_an_all_clear_that_waits_is_not_sent_when_it_has_begun_again_by_then() {
    let mut board = over_by_night();
    let closed = board.stored().into_iter().rfind(|(_, step)| step.turn == Turn::Closed).unwrap();
    minutes(&mut board, 95, 43.0);
    assert!(board.now_ms > june() + 5 * HOUR);
    let ids: Vec<_> = board.taken.iter().map(|it| it.step.as_ref().unwrap()).collect();
    let ids: Vec<_> = ids.iter().map(|step| (step.notice.as_str(), step.turn)).collect();
    let (first, second) = (closed.1.notice.as_str(), heat_id(&board));
    assert_eq!(ids, [(first, Turn::Worsened), (second.as_str(), Turn::Worsened)], "the alarms alone rang");
    let rows = board.core.ledger().deliveries(closed.0).unwrap();
    assert_eq!((rows[0].state, rows[0].why.as_deref()), (OutboxState::NotNeeded, Some(BEGAN_AGAIN)));
    assert!(board.glance().closed_lately.iter().all(|notice| notice.undelivered.is_empty()));
}

#[test]
fn k8_an_alarm_that_did_not_get_through_before_it_eased_by_night_still_rings() {
    // Told by hand: at two it was extreme, ten minutes later it is severe still.
    let route = Route { quiet: Some((22, 5)), ..pushing("web push") };
    let two = june() + 2 * HOUR;
    let mut book = Book::default();
    let mut tell = |at_ms, severity| {
        let mut telling = Telling { at_ms, date: "2026-06-01", left: 6 };
        book.tell(&mut telling, ("house", "too-hot"), word(severity), &[]).unwrap()
    };
    let steps = [tell(two, Severity::Extreme), tell(two + 10 * MINUTE, Severity::Severe)];
    assert_eq!(steps[1].turn, Turn::Eased);
    let rows = steps.map(|step| {
        let (due_ms, expires_ms) = route.when(&step, &calendar()).unwrap();
        let entry = i64::from(step.number);
        Waiting { entry, errand: Errand::Step(step), first: 1, due_ms, expires_ms, tries: 0, needless: None }
    });
    // Nobody answered at two, and it is to be tried again at 02:30.
    let alarm = Waiting { tries: 3, due_ms: two + 30 * MINUTE, ..rows[0].clone() };
    let waiting = [alarm, rows[1].clone()];
    assert_eq!(plan(&waiting, &[], two + 20 * MINUTE, true).next_ms, Some(two + 30 * MINUTE));
    assert_eq!(plan(&waiting, &[], two + 30 * MINUTE, true).send.map(|row| row.entry), Some(2));
    // Where it got through, what eases waits until five.
    assert_eq!(plan(&rows[1..], &[], two + 30 * MINUTE, true).next_ms, Some(june() + 5 * HOUR));
}
