//! A commit that the disk refused may have become durable all the same (LEDGER section 7): what it told is told once.

use glasshour::entry::{Entry, Note};
use glasshour::keeper::core::Core;
use glasshour::ledger::{Commit, NewNote};

use super::garden::*;

/// A hot afternoon, whose notices wait to become durable.
fn hot() -> Core {
    let mut core = in_memory(&tomato_house(), june());
    walk(&mut core, "post", june() + 9 * HOUR, 10 * MINUTE, &[(0, 33.0), (6 * HOUR, 37.5)]);
    assert!(core.is_urgent(), "a step waits");
    core
}

fn now() -> i64 {
    june() + 15 * HOUR
}

fn steps(core: &Core) -> Vec<Entry> {
    let entries = core.ledger().entries().unwrap();
    entries.into_iter().filter(|entry| matches!(entry.note, Note::Step(_))).collect()
}

/// The same afternoon, of which so many steps became durable although the commit was refused.
fn turned_up(core: &mut Core, told: &[Entry]) {
    let notes: Vec<_> = told
        .iter()
        .map(|entry| NewNote { at_ms: entry.at_ms, from_ms: entry.from_ms, note: entry.note.clone() })
        .collect();
    let commit = Commit { notes: &notes, ..Commit::empty(1, now(), now() - june()) };
    core.ledger_mut().commit(&commit).unwrap();
}

fn told() -> Vec<Entry> {
    let mut core = hot();
    core.flush(moment(now())).unwrap();
    steps(&core)
}

#[test]
fn a_step_that_turned_up_after_a_refusal_is_not_told_again() {
    let told = told();
    let mut core = hot();
    turned_up(&mut core, &told);
    core.forget_what_turned_up().unwrap();
    assert!(!core.is_urgent());
    core.flush(moment(now())).unwrap();
    assert_eq!(steps(&core).len(), told.len());
}

#[test]
fn a_step_that_did_not_turn_up_is_told() {
    let told = told();
    let mut core = hot();
    turned_up(&mut core, &told[1..]);
    core.forget_what_turned_up().unwrap();
    core.flush(moment(now())).unwrap();
    let notes = |entries: &[Entry]| entries.iter().map(|entry| entry.note.clone()).collect::<Vec<_>>();
    let (found, told) = (notes(&steps(&core)), notes(&told));
    assert!(found.len() == told.len() && told.iter().all(|note| found.contains(note)), "{found:?}");
}

#[test]
fn readings_that_turned_up_are_stored_and_counted_once() {
    let counted = |core: &Core| {
        let readings =
            core.ledger().batches_after(0, 99).unwrap().into_iter().flat_map(|batch| batch.readings);
        readings.count() as u64
    };
    let mut core = hot();
    core.flush(moment(now())).unwrap();
    let all = core.ledger().batches_after(0, 99).unwrap().remove(0).readings;
    // Of two commits that were refused one became durable: the first, with half of what waits now.
    let mut core = hot();
    let half = Commit { readings: &all[..all.len() / 2], ..Commit::empty(1, now(), now() - june()) };
    core.ledger_mut().commit(&half).unwrap();
    core.forget_what_turned_up().unwrap();
    core.flush(moment(now())).unwrap();
    assert_eq!((counted(&core), core.engine().counts().total()), (all.len() as u64, all.len() as u64));
}
