//! From a decided step to a far end, over answers, refusals, silences and restarts. Rows K4, K6, K7, K8, Q1 and Q2 of the
//! project's table of faults: life of a step six hours, "on it" three quarters of an hour, half an hour unseen.

use std::collections::BTreeSet;

use agronomy::crop::Severity;
use glasshour::couriers::outbox::{COLLAPSED, EXPIRED};
use glasshour::entry::{Note, PlaceKind, Step, Turn};
use glasshour::glance::NoticeView;
use glasshour::keeper::core::Route;
use glasshour::ledger::OutboxState;
use glasshour::minders::book::{Book, Telling};
use glasshour::minders::drill::DRILL;

use super::carried::*;
use super::garden::*;

/// A house at 43 °C, past the place's line for half an hour, at a civil hour of the first day; its step is told.
pub(super) fn hot(routes: Vec<Route>, hour: i64) -> Board {
    let mut board = Board::new(&tomato_house(), routes, june() + hour * HOUR);
    minutes(&mut board, 31, 43.0);
    board.flush();
    assert_eq!(last(&board).severity, Severity::Extreme);
    board
}

/// Minutes of one temperature, each committed and carried.
pub(super) fn minutes(board: &mut Board, count: i64, t_c: f64) {
    for _ in 0..count {
        board.hear(t_c);
        board.settle();
    }
}

/// The newest step of the house's heat.
pub(super) fn last(board: &Board) -> Step {
    board.stored().into_iter().rev().map(|(_, step)| step).find(|step| step.minder == "too-hot").unwrap()
}

pub(super) fn heat_id(board: &Board) -> String {
    last(board).notice
}

/// Which steps of the house's heat a courier's far end took: number and minute.
pub(super) fn came(board: &Board, courier: usize) -> Vec<(u32, i64)> {
    let of = |it: &Taken| {
        let step = it.step.as_ref().filter(|step| it.courier == courier && step.minder == "too-hot")?;
        Some((step.number, (it.at_ms - june()) / MINUTE))
    };
    board.taken.iter().filter_map(of).collect()
}

#[test]
fn k4_a_step_that_nobody_could_be_given_within_its_life_is_shown_as_not_delivered_and_is_not_sent_late() {
    let mut board = Board::new(&tomato_house(), vec![pushing("e-mail")], june() + 9 * HOUR);
    board.moods[0] = Mood::Gone;
    minutes(&mut board, 6 * 60 + 33, 43.0);
    let glance = board.glance();
    let heat = glance.open.iter().find(|it| it.minder == "too-hot").unwrap();
    assert_eq!(heat.undelivered, ["e-mail: its time ran out before it could be sent".to_owned()]);
    // Whoever comes back reads it once: when the step was told, and its order.
    let told = board.stored().into_iter().find(|(_, step)| step.push).unwrap().1;
    assert_eq!(glance.missed.steps, [(told.at_ms, told.title)]);
    assert_eq!(glance.missed.unread, None);
    board.moods[0] = Mood::Accepts;
    minutes(&mut board, 30, 43.0);
    assert_eq!(came(&board, 0), []);
    // The end of it is news again.
    minutes(&mut board, 60, 25.0);
    let last = last(&board);
    assert_eq!(last.turn, Turn::Closed);
    assert_eq!(came(&board, 0).iter().map(|it| it.0).collect::<Vec<_>>(), [last.number]);
}

#[test]
fn k4_what_was_missed_is_said_until_somebody_has_seen_it() {
    let mut board = Board::new(&tomato_house(), vec![pushing("e-mail")], june() + 9 * HOUR);
    board.moods[0] = Mood::Gone;
    minutes(&mut board, 6 * 60 + 33, 43.0);
    assert_eq!(board.glance().missed.steps.len(), 1);
    let notice = heat_id(&board);
    board.note(Note::Seen { notice });
    assert!(board.glance().missed.is_empty());
}

#[test]
fn k4_a_board_that_was_off_across_the_heat_says_since_when_and_until_when_nothing_was_read() {
    // A tomato house at 36 °C; at eleven the board goes off, and for 4 h 20 min nothing is read.
    let mut board = Board::new(&tomato_house(), vec![pushing("e-mail")], june() + 10 * HOUR);
    minutes(&mut board, 60, 36.0);
    let before = heat_id(&board);
    board.now_ms += 4 * HOUR + 20 * MINUTE;
    board.crash();
    let told = board.stored().len();
    minutes(&mut board, 45, 43.0);
    let (off, on) = (june() + 11 * HOUR + 2 * MINUTE, june() + 15 * HOUR + 21 * MINUTE);
    assert_eq!(board.glance().missed.unread, Some((vec![], off, on)), "everywhere");
    // The notice owns up to it as well, and speaks of the present only.
    let step = last(&board);
    assert_eq!((step.notice.as_str(), step.turn), (before.as_str(), Turn::Worsened));
    assert!(step.at_ms > on && step.push, "{step:?}");
    assert!(step.text.ends_with("Nothing was read here from 11:02 to 15:21."), "{}", step.text);
    for (_, step) in &board.stored()[told..] {
        assert!(step.at_ms >= board.now_ms - 46 * MINUTE, "told as if it were then: {step:?}");
    }
    // So does its end, whose highest of the day is only that of what was read. A day later it is no news.
    minutes(&mut board, 24 * 60, 20.0);
    let end = last(&board);
    assert_eq!(end.turn, Turn::Closed);
    assert!(end.text.ends_with("Nothing was read here from 11:02 to 15:21."), "{}", end.text);
    assert!(board.glance().missed.is_empty());
}

#[test]
fn k6_when_no_courier_gets_through_the_page_says_since_when_and_the_newest_step_goes_when_one_does() {
    let mut board = Board::new(&tomato_house(), vec![pushing("e-mail"), pushing("web push")], june());
    board.moods.fill(Mood::Gone);
    minutes(&mut board, 31, 43.0);
    let told_ms = last(&board).at_ms;
    assert_eq!(board.glance().board.nobody_told_ms, Some(told_ms));
    minutes(&mut board, 25, 43.0);
    board.moods[1] = Mood::Accepts;
    minutes(&mut board, 31, 43.0);
    assert_eq!(board.glance().board.nobody_told_ms, None);
    let (number, minute) = came(&board, 1)[0];
    assert_eq!(number, last(&board).number);
    assert!((minute..minute + 31).contains(&(56 + 31)), "asked again within half an hour: {minute}");
    assert_eq!(came(&board, 1).len(), 1);
    // What was tried and has not gone yet is named for each way.
    let glance = board.glance();
    assert_eq!(glance.open[0].undelivered, ["e-mail: nobody answers".to_owned()]);
}

#[test]
fn k7_after_three_days_away_only_the_newest_step_of_each_notice_is_sent_and_every_other_is_accounted_for() {
    let mut board = Board::new(&tomato_house(), vec![pushing("e-mail")], june());
    board.moods[0] = Mood::Gone;
    for _ in 0..3 * 8 {
        minutes(&mut board, 45, 43.0);
        minutes(&mut board, 45, 36.0);
        minutes(&mut board, 90, 25.0);
    }
    minutes(&mut board, 45, 43.0);
    board.moods[0] = Mood::Accepts;
    minutes(&mut board, 31, 43.0);
    // Of each notice whose news is not over one step came, its newest.
    let stored = board.stored();
    let mut notices = BTreeSet::new();
    for it in &board.taken {
        let step = it.step.as_ref().unwrap();
        let newest = stored.iter().rfind(|(_, other)| other.push && other.notice == step.notice).unwrap();
        assert_eq!((newest.0, newest.1.number), (it.entry, step.number));
        assert!(it.at_ms - step.at_ms < 6 * HOUR && notices.insert(step.notice.clone()), "{it:?}");
    }
    assert!((1..=3).contains(&board.taken.len()), "{:?}", board.taken);
    let (mut expired, mut collapsed) = (0, 0);
    for (entry, _) in board.stored() {
        for row in board.core.ledger().deliveries(entry).unwrap() {
            match (row.state, row.why.as_deref()) {
                (OutboxState::Expired, Some(EXPIRED)) => expired += 1,
                (OutboxState::GivenUp, Some(COLLAPSED)) => collapsed += 1,
                (OutboxState::Sent, _) => {}
                other => panic!("{entry}: {other:?}"),
            }
        }
    }
    let pushed = board.stored().iter().filter(|(_, step)| step.push).count();
    assert!(pushed >= 40, "{pushed}");
    assert_eq!(expired + collapsed + board.taken.len(), pushed);
    assert!(collapsed > 0 && expired > 0, "{collapsed} {expired}");
    // The page counts them: in all beside the courier, and of each notice beside its newest step.
    let glance = board.glance();
    assert_eq!(glance.board.unsent.get("e-mail"), Some(&(expired + collapsed)));
    let ways = |notice: &NoticeView| notice.deliveries.iter().map(|it| it.old_unsent).sum::<usize>();
    let shown: usize = glance.open.iter().chain(&glance.closed_lately).map(ways).sum();
    assert!(shown > 0 && shown <= expired + collapsed, "{shown}");
}

#[test]
fn k7_eased_never_overtakes_worse_at_a_slow_far_end() {
    let mut board = hot(vec![pushing("e-mail")], 9);
    board.moods[0] = Mood::Slow;
    minutes(&mut board, 200, 43.0);
    minutes(&mut board, 40, 38.0);
    minutes(&mut board, 40, 43.0);
    minutes(&mut board, 60, 25.0);
    let numbers: Vec<u32> = came(&board, 0).iter().map(|it| it.0).collect();
    assert!(numbers.is_sorted(), "{numbers:?}");
    assert_eq!(numbers.last(), Some(&last(&board).number));
}

#[test]
fn k8_quiet_hours_and_the_days_cap_hold_back_everything_but_what_is_severe() {
    // Severity, left of the day's cap, hour; whether it buzzes at all, and after how many hours.
    use Severity::{Extreme, Minor, Moderate, Severe};
    let table = [
        (Minor, 1, 12, Some(0)),
        (Moderate, 1, 12, Some(0)),
        (Moderate, 1, 23, Some(6)),
        (Moderate, 1, 4, Some(1)),
        (Minor, 0, 12, None),
        (Moderate, 0, 12, None),
        (Moderate, 0, 23, None),
        (Severe, 0, 12, Some(0)),
        (Severe, 0, 23, Some(0)),
        (Extreme, 0, 23, Some(0)),
        (Extreme, 1, 4, Some(0)),
    ];
    let route = Route { quiet: Some((22, 5)), ..pushing("web push") };
    for (severity, left, hour, wanted) in table {
        let at_ms = june() + hour * HOUR;
        let mut telling = Telling { at_ms, date: "2026-06-01", left };
        let step =
            Book::default().tell(&mut telling, ("house", "probe-silent"), word(severity), &[]).unwrap();
        let due = route.when(&step, &calendar()).map(|(due_ms, _)| (due_ms - at_ms) / HOUR);
        assert_eq!(due, wanted, "{severity:?}, {left} left, {hour} o'clock");
        assert_eq!(step.held, wanted.is_none(), "what does not buzz waits for the digest");
    }
}

/// Nine houses, each with a probe of its own.
fn nine() -> Vec<Note> {
    let house = |n: i32| {
        let (house, post, red) = (format!("house{n}"), format!("post{n}"), format!("red{n}"));
        [place(&house, PlaceKind::House), hang(&post, &house, 60), planting(&red, "tomato", &house)]
    };
    (0..9).flat_map(house).collect()
}

#[test]
fn k8_after_six_pushes_the_rest_goes_into_the_evenings_digest_but_a_severe_step_still_buzzes_at_night() {
    let route = Route { quiet: Some((22, 5)), ..pushing("web push") };
    let mut board = Board::new(&nine(), vec![route], june() + 9 * HOUR);
    let names: Vec<String> = (0..9).map(|n| format!("post{n}")).collect();
    let say = |board: &mut Board, from: usize, t_c: f64| {
        board.now_ms += MINUTE;
        let readings: Vec<_> = names[from..].iter().map(|name| (name.as_str(), AIR, t_c)).collect();
        hear(&mut board.core, board.now_ms, &readings);
        board.settle();
    };
    // Near a limit, eight of the nine probes die one after the other: eight things worth a buzz.
    for minute in 0..100 {
        say(&mut board, (minute / 10).clamp(0, 8), 34.0);
    }
    let silent = |step: &&Step| step.minder == "probe-silent" && step.turn == Turn::Opened;
    let stored = board.stored();
    let steps: Vec<&Step> = stored.iter().map(|(_, step)| step).filter(silent).collect();
    let told: Vec<_> = steps.iter().map(|step| (step.push, step.held)).collect();
    assert_eq!(told, [[(true, false); 6].as_slice(), &[(false, true); 2]].concat());
    // On into the evening: the digest names the two that did not buzz, once.
    while board.now_ms < june() + 21 * HOUR {
        say(&mut board, 8, 30.0);
        board.core.write_letters(moment(board.now_ms));
        board.settle();
    }
    let digests: Vec<&Taken> = board
        .taken
        .iter()
        .filter(|it| it.step.as_ref().is_some_and(|step| step.minder == "digest"))
        .collect();
    let [digest] = digests.as_slice() else { panic!("{digests:?}") };
    assert_eq!((digest.at_ms - june()) / HOUR, 18, "at six in the evening");
    let text = &digest.step.as_ref().unwrap().text;
    assert!(text.contains("house6") && text.contains("house7") && text.lines().count() == 2, "{text}");
    // Cap reached, and then night: the severe step goes all the same, at once.
    while board.now_ms < june() + 23 * HOUR {
        say(&mut board, 8, 30.0);
    }
    for _ in 0..31 {
        say(&mut board, 8, 43.0);
    }
    let extreme = |it: &&Taken| it.step.as_ref().is_some_and(|step| step.severity == Severity::Extreme);
    let rang = board.taken.iter().find(extreme).expect("it rings");
    let step = rang.step.as_ref().unwrap();
    assert_eq!(rang.at_ms, step.at_ms);
    assert!(step.text.contains("bear") || step.text.contains("43.0 °C"), "why it rang: {}", step.text);
}

#[test]
fn q1_on_it_that_does_not_help_in_three_quarters_of_an_hour_is_told_again_over_a_restart() {
    let mut board = hot(vec![pushing("e-mail")], 9);
    let before = last(&board).number;
    let notice = heat_id(&board);
    board.note(Note::Reply { notice: notice.clone(), on_it: true, until_ms: None });
    let answered_ms = board.now_ms;
    minutes(&mut board, 20, 43.0);
    board.crash();
    minutes(&mut board, 24, 43.0);
    assert_eq!(last(&board).number, before, "not before its time");
    minutes(&mut board, 2, 43.0);
    let again = last(&board);
    assert_eq!((again.notice.as_str(), again.number, again.turn), (notice.as_str(), before + 1, Turn::Again));
    assert_eq!((again.at_ms - answered_ms) / MINUTE, 45);
    assert!(again.push && again.text.starts_with("It still stands.") && again.text.contains("43.0 °C"));
    board.crash();
    minutes(&mut board, 120, 43.0);
    assert_eq!(last(&board).number, before + 1, "once, unless it is answered again");
    assert_eq!(came(&board, 0).last().map(|it| it.0), Some(before + 1));
}

#[test]
fn q2_a_severe_step_that_nobody_has_seen_for_half_an_hour_goes_to_the_next_person_over_a_restart() {
    let mut board = hot(vec![pushing("e-mail"), next_person("e-mail, next")], 9);
    let told_ms = last(&board).at_ms;
    minutes(&mut board, 15, 43.0);
    board.crash();
    minutes(&mut board, 14, 43.0);
    assert_eq!(came(&board, 1), [], "not before half an hour");
    minutes(&mut board, 3, 43.0);
    assert_eq!(came(&board, 1), [(last(&board).number, (told_ms - june()) / MINUTE + 30)]);
    // Whoever was told that it began is told that it is over.
    minutes(&mut board, 60, 25.0);
    assert_eq!(last(&board).turn, Turn::Closed);
    assert_eq!(came(&board, 1).last().map(|it| it.0), Some(last(&board).number));
}

#[test]
fn q2_what_was_seen_or_answered_in_time_troubles_no_next_person() {
    for on_it in [None, Some(true), Some(false)] {
        let mut board = hot(vec![pushing("e-mail"), next_person("e-mail, next")], 9);
        minutes(&mut board, 20, 43.0);
        let notice = heat_id(&board);
        board.note(match on_it {
            None => Note::Seen { notice },
            Some(on_it) => Note::Reply { notice, on_it, until_ms: None },
        });
        minutes(&mut board, 24, 43.0);
        minutes(&mut board, 60, 25.0);
        assert_eq!(came(&board, 1), [], "{on_it:?}");
        let glance = board.glance();
        assert!(glance.closed_lately.iter().all(|notice| notice.undelivered.is_empty()), "{on_it:?}");
    }
}

#[test]
fn q2_an_answer_given_while_a_step_waits_for_its_commit_is_an_answer_to_it() {
    let routes = vec![pushing("e-mail"), next_person("e-mail, next")];
    let mut board = Board::new(&tomato_house(), routes, june() + 9 * HOUR);
    minutes(&mut board, 12, 43.0);
    // The place's line comes due, and nothing is committed before the grower answers.
    for _ in 0..20 {
        board.hear(43.0);
    }
    let notice = heat_id(&board);
    board.note(Note::Reply { notice, on_it: true, until_ms: None });
    assert_eq!(last(&board).severity, Severity::Extreme);
    minutes(&mut board, 44, 43.0);
    assert_eq!(came(&board, 1), []);
}

#[test]
fn q3_a_drill_rings_everywhere_at_any_hour_but_troubles_no_next_person() {
    let quiet = Route { quiet: Some((22, 5)), ..pushing("web push") };
    let routes = vec![quiet, pushing("e-mail"), next_person("e-mail, next")];
    let mut board = Board::new(&tomato_house(), routes, june() + 23 * HOUR);
    board.moods[1] = Mood::RefusesForGood;
    minutes(&mut board, 3, 20.0);
    board.note(Note::Drill {});
    board.settle();
    let glance = board.glance();
    let drill = glance.open.iter().find(|notice| notice.minder == DRILL).unwrap();
    let outcome: Vec<_> = drill.deliveries.iter().map(|it| (it.courier.as_str(), it.outcome())).collect();
    let wanted = [
        ("e-mail", "not sent: 552 no".to_owned()),
        ("web push", "sent, and taken by the far end".to_owned()),
    ];
    assert_eq!(outcome, wanted);
    let first = drill.id.clone();
    minutes(&mut board, 2, 20.0);
    board.moods[1] = Mood::Accepts;
    board.note(Note::Drill {});
    board.settle();
    let glance = board.glance();
    let drills: Vec<_> = glance.open.iter().filter(|notice| notice.minder == DRILL).collect();
    assert_eq!(drills.len(), 1);
    assert_ne!(drills[0].id, first, "asked for again, it goes out again");
    assert!(drills[0].deliveries.len() == 2 && drills[0].deliveries.iter().all(|it| it.sent), "{drills:?}");
    minutes(&mut board, 40, 20.0);
    assert!(board.glance().open.iter().all(|notice| notice.minder != DRILL), "over after half an hour");
    assert!(board.taken.iter().all(|it| it.courier != 2));
}
