//! Telling while nothing can be stored: a step goes out from memory, and is stored with that fact when it can be.

use glasshour::couriers::outbox::Delivery;
use glasshour::entry::{Note, Step};
use glasshour::keeper::core::{Core, Route};
use glasshour::ledger::{Ledger, OutboxState};

use super::garden::*;

const MARK: &str = "Not recorded.";

fn route(courier: &str) -> Route {
    Route { courier: courier.to_owned(), pushes_only: true, quiet: None, letter_at: None, unseen_ms: None }
}

/// A house that was at 43 °C for half an hour, with its step told and not stored.
fn hot(couriers: &[&str]) -> (Core, i64) {
    let mut ledger = Ledger::in_memory(&founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((june(), "test"))).unwrap();
    let notes: Vec<_> = tomato_house().into_iter().map(|note| (june() - 40 * DAY, note)).collect();
    glasshour::keeper::start::seed(&mut ledger, boot, moment(june()), &notes).unwrap();
    let routes = couriers.iter().map(|courier| route(courier)).collect();
    let mut core = Core::start(site(), ledger, boot, moment(june()), routes).unwrap();
    let noon = june() + 12 * HOUR;
    walk(&mut core, "post", noon, MINUTE, &[(0, 43.0), (31 * MINUTE, 43.0)]);
    assert!(core.is_urgent());
    (core, noon + 31 * MINUTE)
}

fn steps(core: &Core) -> Vec<(i64, Step)> {
    let entries = core.ledger().entries().unwrap();
    let step = |entry: glasshour::entry::Entry| match entry.note {
        Note::Step(step) => Some((entry.id, step)),
        _ => None,
    };
    entries.into_iter().filter_map(step).collect()
}

#[test]
fn s6_a_step_is_lent_once_marked_under_a_number_that_no_entry_and_no_other_boot_has() {
    let (mut core, _) = hot(&["e-mail", "notice topic"]);
    assert!(core.lend(MARK) && !core.lend(MARK));
    let lent = core.unrecorded();
    let [first] = &lent[..] else { panic!("{lent:?}") };
    assert!(first.number < 0 && first.step.text.ends_with(MARK), "{first:?}");
    let couriers: Vec<_> = first.waits_for.iter().map(|(courier, ..)| courier.as_str()).collect();
    assert_eq!(couriers, ["e-mail", "notice topic"]);
    let id = |number| glasshour::couriers::public_id(number, "epoch");
    assert!(id(first.number).starts_with("unrecorded-") && id(1).starts_with("step-"));
}

#[test]
fn s6_when_the_ledger_is_back_the_step_is_stored_with_its_fact_and_not_sent_again_by_who_took_it() {
    let (mut core, now_ms) = hot(&["e-mail", "notice topic"]);
    core.lend(MARK);
    let number = core.unrecorded()[0].number;
    assert_eq!(core.tried_unrecorded(number, "e-mail", &Delivery::Sent, moment(now_ms)), None);
    let waits: Vec<_> = core.unrecorded()[0].waits_for.iter().map(|it| it.0.clone()).collect();
    assert_eq!(waits, ["notice topic"]);
    core.flush(moment(now_ms)).unwrap();
    assert!(core.unrecorded().is_empty());
    let stored = steps(&core);
    let [(first, _), (entry, step)] = &stored[..] else { panic!("{stored:?}") };
    assert!(!step.text.contains(MARK), "what is stored is recorded");
    let rows = core.ledger().outbox().unwrap();
    let rows: Vec<_> = rows.iter().map(|row| (row.step, row.courier.as_str(), row.state)).collect();
    assert_eq!(rows, [(*entry, "notice topic", OutboxState::Waiting)]);
    assert!(first < entry, "the step of the crop's line, which buzzes no phone, went with it");
    let fact = core.ledger().entries().unwrap().into_iter().find_map(|it| match it.note {
        Note::SentUnrecorded { notice, step, couriers } => Some((notice, step, couriers)),
        _ => None,
    });
    assert_eq!(fact, Some((step.notice.clone(), 2, vec!["e-mail".to_owned()])));
    // A try from memory that ends only now counts for the entry.
    let late = core.tried_unrecorded(number, "notice topic", &Delivery::Sent, moment(now_ms));
    assert_eq!(late, Some(*entry));
}

#[test]
fn s6_a_fruitless_try_from_memory_is_made_again_after_its_pause() {
    let (mut core, now_ms) = hot(&["e-mail"]);
    core.lend(MARK);
    let number = core.unrecorded()[0].number;
    let later = Delivery::Later { why: "451".to_owned(), after_ms: None };
    core.tried_unrecorded(number, "e-mail", &later, moment(now_ms));
    let (_, due_ms, tries) = core.unrecorded()[0].waits_for[0].clone();
    assert_eq!(tries, 1);
    // The pauses of the outbox: half a minute at first, less a tenth at most.
    assert!((27_000..=30_000).contains(&(due_ms - now_ms)), "{}", due_ms - now_ms);
}

#[test]
fn p8_what_is_only_judged_is_told_and_not_kept() {
    let mut core = in_memory(&tomato_house(), june());
    for minute in 0..=30 {
        let at_ms = june() + 12 * HOUR + minute * MINUTE;
        let message = glasshour::keeper::core::Message {
            readings: vec![heard("post", AIR, at_ms, 43.0)],
            arrived_ms: at_ms,
        };
        core.only_judge(moment(at_ms), &[message]);
    }
    assert_eq!(core.waiting_readings(), 0);
    assert!(core.is_urgent(), "heat is told all the same");
}
