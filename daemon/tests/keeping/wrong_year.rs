//! A word on the time that was wrong by a year, and taken back.

use glasshour::keeper::core::{Core, Route};
use glasshour::ledger::Ledger;

use super::garden::*;

/// A morning letter, heat, and a midnight in it.
fn live_in_the_wrong_year(core: &mut Core, wrong: i64) {
    core.note_word(moment(wrong + 6 * HOUR), "the grower", june() + HOUR).unwrap();
    core.engine_mut().skip_to(wrong + 6 * HOUR);
    core.write_letters(moment(wrong + 6 * HOUR + 2 * MINUTE));
    for minute in 0..=40 {
        hear(core, wrong + 9 * HOUR + minute * MINUTE, &[("post", AIR, 43.0)]);
    }
    core.flush(moment(wrong + 10 * HOUR)).unwrap();
    core.advance(moment(wrong + 2 * DAY));
    while core.remake(100) {}
    core.flush(moment(wrong + 2 * DAY)).unwrap();
}

#[test]
fn c4_what_a_word_that_was_taken_back_left_holds_up_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = again(folder.path(), &tomato_house(), june());
    hear(&mut core, june() + MINUTE, &[("post", AIR, 20.0)]);
    core.flush(moment(june() + MINUTE)).unwrap();
    drop(core);
    let mut ledger = Ledger::open(folder.path(), &founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((june() + HOUR, "test"))).unwrap();
    let at_six = chrono::NaiveTime::from_hms_opt(6, 0, 0);
    let route = Route {
        courier: "e-mail".into(),
        pushes_only: false,
        quiet: None,
        letter_at: at_six,
        ..Route::default()
    };
    let mut core = Core::start(site(), ledger, boot, moment(june() + HOUR), vec![route]).unwrap();
    let wrong = june() + 365 * DAY;
    live_in_the_wrong_year(&mut core, wrong);
    assert!(core.ledger().newest_commit_ms().unwrap() >= Some(wrong + 10 * HOUR));
    let waited = core.ledger().outbox().unwrap();
    assert!(waited.len() >= 3 && waited.iter().all(|row| row.due_ms > wrong), "{waited:?}");
    // Taken back, five minutes before the hour of the letter.
    let right = june() + DAY + 6 * HOUR - 5 * MINUTE;
    core.note_word(moment(right), "the grower", june() + HOUR).unwrap();
    core.start_again(moment(right)).unwrap();
    assert_eq!(core.ledger().newest_commit_ms().unwrap(), Some(right));
    assert_eq!(core.engine().now_ms(), right);
    // What was to be sent goes now, and is old in six hours as ever.
    let waiting = core.ledger().outbox().unwrap();
    assert_eq!(waiting.len(), waited.len());
    assert!(
        waiting.iter().all(|row| (row.due_ms, row.expires_ms) == (right, right + 6 * HOUR)),
        "{waiting:?}"
    );
    // The next letter is due, the day of the wrong year is in no sum, and heat is found again.
    core.write_letters(moment(right + 10 * MINUTE));
    assert!(core.is_urgent(), "a letter");
    let before = told(&core, "too-hot").len();
    for minute in 11..60 {
        hear(&mut core, right + minute * MINUTE, &[("post", AIR, 25.0)]);
    }
    assert!(told(&core, "too-hot").len() > before, "the notice of the wrong year closes");
    core.flush(moment(right + HOUR)).unwrap();
    let all = everything(&mut core);
    assert!(!all["day_pages"].to_string().contains("2027-06"), "{all}");
    core.flush(moment(right + HOUR)).unwrap();
    // The daily work of the days after puts all of it away, and the next start stands where this one stood.
    assert!(core.snapshot(moment(right + HOUR), boot).unwrap());
    core.ledger_mut().compact(right + 3 * DAY).unwrap();
    assert_eq!(core.ledger().batches_after(0, 500).unwrap(), []);
    assert!(core.ledger().newest_commit_ms().unwrap() < Some(right + 2 * HOUR));
    let before = everything(&mut core).to_string();
    drop(core);
    let mut core = again(folder.path(), &[], right + HOUR);
    assert_eq!(everything(&mut core).to_string(), before);
}
