use super::*;
use crate::entry::fixtures;

const HOUR: i64 = 3_600_000;

fn step(notice: &str, number: u32, severity: Severity) -> Errand {
    Errand::Step(Step {
        notice: notice.to_owned(),
        number,
        text: "The house is at 36.1.".to_owned(),
        ..fixtures::step(0, severity, "Open the far door")
    })
}

fn row(entry: i64, notice: &str, severity: Severity, due_ms: i64) -> Waiting {
    let errand = step(notice, entry as u32, severity);
    Waiting { entry, errand, first: entry, due_ms, expires_ms: 6 * HOUR, tries: 0, needless: None }
}

fn later(after_ms: Option<i64>) -> Delivery {
    Delivery::Later { why: "451".to_owned(), after_ms }
}

#[test]
fn of_several_steps_of_a_notice_only_the_newest_is_sent() {
    let rows: Vec<_> = (1..=40).map(|n| row(n, "a", Severity::Severe, 0)).collect();
    let plan = plan(&rows, &[], HOUR, true);
    assert_eq!(plan.drop.len(), 39);
    assert!(plan.drop.iter().all(|(_, why)| *why == COLLAPSED));
    assert_eq!(plan.send.unwrap().entry, 40);
}

#[test]
fn an_older_step_cannot_overtake_even_when_the_newer_must_wait() {
    let rows = [row(1, "a", Severity::Severe, 0), row(2, "a", Severity::Minor, 500)];
    let before = plan(&rows, &[], 100, true);
    assert_eq!((before.drop, before.send, before.next_ms), (vec![], None, Some(500)));
    let then = plan(&rows, &[], 500, true);
    assert_eq!((then.drop, then.send.map(|row| row.entry)), (vec![(1, COLLAPSED)], Some(2)));
}

fn turned(mut row: Waiting, turn: Turn) -> Waiting {
    if let Errand::Step(step) = &mut row.errand {
        step.turn = turn;
    }
    row
}

#[test]
fn an_alarm_that_nobody_was_given_is_not_swallowed_by_a_step_that_waits_for_the_morning() {
    // It was due at 0 and is tried again at 100; what eases to severe is held until 500.
    let alarm = Waiting { tries: 2, ..row(1, "a", Severity::Extreme, 100) };
    let eased = turned(row(2, "a", Severity::Severe, 500), Turn::Eased);
    let rows = [alarm.clone(), eased.clone()];
    let before = plan(&rows, &[], 50, true);
    assert_eq!((before.drop, before.send, before.next_ms), (vec![], None, Some(100)));
    let then = plan(&rows, &[], 100, true);
    assert_eq!((then.drop, then.send.map(|row| row.entry)), (vec![(1, COLLAPSED)], Some(2)));
    // Once it was tried itself, its own hour counts.
    let tried = Waiting { tries: 1, due_ms: 160, ..eased };
    assert_eq!(plan(&[tried], &[], 100, true).next_ms, Some(160));
    // What is over wakes nobody, whoever missed the alarm.
    let closed = turned(row(2, "a", Severity::Severe, 500), Turn::Closed);
    assert_eq!(plan(&[alarm, closed], &[], 200, true).next_ms, Some(500));
}

#[test]
fn a_step_that_need_not_go_takes_no_other_ones_place() {
    let needless = Waiting { needless: Some(OVER), ..row(2, "a", Severity::Severe, 0) };
    let plan = plan(&[row(1, "a", Severity::Extreme, 0), needless], &[], 10, true);
    assert_eq!((plan.drop, plan.send.map(|row| row.entry)), (vec![(2, OVER)], Some(1)));
}

#[test]
fn the_outboxs_own_reasons_are_said_in_plain_words_and_a_far_ends_as_it_gave_them() {
    assert_eq!(in_words(EXPIRED), "its time ran out before it could be sent");
    assert_eq!(in_words(COLLAPSED), "a newer word of the same notice went in its place");
    for why in [SEEN, OVER, BEGAN_AGAIN, "550 no such reader", ""] {
        assert_eq!(in_words(why), why);
    }
}

#[test]
fn a_step_whose_life_is_over_is_dropped_as_expired() {
    let rows = [row(1, "a", Severity::Severe, 0)];
    assert_eq!(plan(&rows, &[], 6 * HOUR - 1, true).drop, []);
    assert_eq!(plan(&rows, &[], 6 * HOUR, true).drop, [(1, EXPIRED)]);
}

#[test]
fn nothing_expires_while_nobody_vouches_for_the_clock() {
    let rows = [row(1, "a", Severity::Severe, 0)];
    let plan = plan(&rows, &[], 1000 * HOUR, false);
    assert_eq!(plan.drop, []);
    assert_eq!(plan.send.unwrap().entry, 1);
}

#[test]
fn the_worst_notice_goes_first_then_the_oldest_and_the_letter_last() {
    let letter = Waiting {
        errand: Errand::Letter { date: "2031-07-02".to_owned() },
        ..row(1, "", Severity::Minor, 0)
    };
    let mut rows = vec![
        letter,
        row(2, "a", Severity::Minor, 0),
        row(3, "b", Severity::Extreme, 0),
        row(4, "c", Severity::Extreme, 0),
    ];
    let mut order = Vec::new();
    while let Some(next) = plan(&rows, &[], 1, true).send {
        rows.retain(|row| row.entry != next.entry);
        order.push(next.entry);
    }
    assert_eq!(order, [3, 4, 2, 1]);
}

#[test]
fn pauses_double_from_half_a_minute_to_half_an_hour() {
    // The ladder of FIRST_PAUSE doubling is the promise of the design; a tenth may be missing from each.
    let ladder = [30, 60, 120, 240, 480, 960, 1800, 1800, 1800];
    for entry in 1..200 {
        for (tries, seconds) in ladder.iter().enumerate() {
            let Row::Waits { due_ms, tries: counted } = after(entry, tries as u32, &later(None), 7) else {
                panic!("it waits")
            };
            let full = seconds * 1000;
            assert!((full - full / 10..=full).contains(&(due_ms - 7)), "{entry} {tries}: {due_ms}");
            assert_eq!(counted as usize, tries + 1);
        }
    }
}

#[test]
fn the_far_ends_own_wish_is_obeyed_but_never_sooner_than_half_a_minute() {
    assert_eq!(after(1, 5, &later(Some(7_200_000)), 10), Row::Waits { due_ms: 7_200_010, tries: 6 });
    assert_eq!(after(1, 0, &later(Some(0)), 10), Row::Waits { due_ms: 30_010, tries: 1 });
}

#[test]
fn absurd_counts_and_wishes_do_not_overflow() {
    assert!(matches!(after(i64::MAX, u32::MAX, &later(None), 0), Row::Waits { tries: u32::MAX, .. }));
    assert_eq!(after(1, 0, &later(Some(i64::MAX)), 9), Row::Waits { due_ms: i64::MAX, tries: 1 });
}

#[test]
fn of_a_notice_that_is_under_way_nothing_is_sent_or_given_up() {
    let older = row(1, "a", Severity::Severe, 0);
    let rows = [older.clone(), row(2, "a", Severity::Moderate, 0), row(3, "b", Severity::Minor, 0)];
    let beside = plan(&rows, &[&older], 6 * HOUR, true);
    assert_eq!(beside.drop, [(3, EXPIRED)], "the others' rows are, as ever");
    let beside = plan(&rows, &[&older], 10, true);
    assert_eq!((beside.drop, beside.send.map(|row| row.entry)), (vec![], Some(3)));
    assert_eq!(beside.hurry, [""; 0], "what is milder can wait");
}

#[test]
fn a_severe_step_hurries_what_is_under_way_of_its_own_notice_once_it_is_due() {
    let older = row(1, "a", Severity::Severe, 0);
    let newer = row(2, "a", Severity::Severe, 500);
    let rows = [older.clone(), newer.clone()];
    let before = plan(&rows, &[&older], 100, true);
    assert_eq!((before.hurry, before.next_ms), (vec![], Some(500)), "its alarm is the one under way");
    let then = plan(&rows, &[&older], 500, true);
    assert_eq!((then.send, then.hurry), (None, vec!["a".to_owned()]));
    let tried = Waiting { tries: 1, ..newer.clone() };
    assert_eq!(plan(&[older.clone(), tried], &[&older], 500, true).hurry, [""; 0], "its first try is over");
    for turn in [Turn::Eased, Turn::Closed] {
        let rows = [older.clone(), turned(newer.clone(), turn)];
        assert_eq!(plan(&rows, &[&older], 500, true).hurry, [""; 0], "{turn:?} is no alarm");
    }
    // The same step, under way from memory, has turned up in the outbox.
    let lent = Waiting { entry: -5, ..older.clone() };
    assert_eq!(plan(&[lent.clone(), older], &[&lent], 500, true).hurry, [""; 0]);
}

#[test]
fn where_all_places_are_taken_the_others_wait_and_only_what_is_severe_hurries_them() {
    let out: Vec<Waiting> = (1..=8).map(|n| row(n, &format!("n{n}"), Severity::Minor, 0)).collect();
    let out: Vec<&Waiting> = out.iter().collect();
    let mild = plan(&[row(9, "x", Severity::Moderate, 0)], &out, 10, true);
    assert_eq!((mild.send, mild.hurry, mild.next_ms), (None, vec![], None));
    let severe = [row(9, "x", Severity::Severe, 0), row(10, "y", Severity::Severe, 70)];
    let full = plan(&severe, &out, 10, true);
    assert_eq!((full.send, full.hurry.len(), full.next_ms), (None, 8, Some(70)));
    assert_eq!(plan(&severe, &out[1..], 10, true).send.map(|row| row.entry), Some(9));
}

#[test]
fn p10_a_severe_first_try_goes_before_a_retry_that_is_as_bad_and_hurries_what_takes_all_places() {
    let tried = Waiting { tries: 3, ..row(9, "x", Severity::Severe, 0) };
    let rows = [tried, row(10, "y", Severity::Severe, 0)];
    assert_eq!(plan(&rows, &[], 10, true).send.map(|row| row.entry), Some(10));
    let out: Vec<Waiting> = (1..=8).map(|n| row(n, &format!("n{n}"), Severity::Severe, 0)).collect();
    let out: Vec<&Waiting> = out.iter().collect();
    assert_eq!(plan(&rows, &out, 10, true).hurry.len(), 8);
}
