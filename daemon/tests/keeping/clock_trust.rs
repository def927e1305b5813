//! A clock that nobody vouches for: readings wait undated, nothing is told, and all is right once trust comes.

use glasshour::entry::Note;
use glasshour::keeper::core::{Core, Message, Moment};
use glasshour::ledger::Ledger;
use glasshour::reading::Heard;

use super::garden::*;

/// A board that woke in 2020 and knows only how long it runs.
fn untrusted(mono_ms: i64) -> Moment {
    Moment { wall_ms: 1_577_836_800_000 + mono_ms, mono_ms, trusted: false }
}

fn bare(probe: &str, value: f64) -> Heard {
    Heard { probe: probe.into(), quantity: AIR, value: Some(value), measured_ms: None, stale: false }
}

/// A ledger with its notes, opened again by a boot that does not know the time.
fn woken(folder: &std::path::Path) -> Core {
    drop(again(folder, &tomato_house(), june()));
    awake(folder)
}

fn awake(folder: &std::path::Path) -> Core {
    let mut ledger = Ledger::open(folder, &founding()).unwrap();
    let boot = ledger.begin_boot(0, None).unwrap();
    assert_eq!(boot, 2);
    Core::start(site(), ledger, boot, untrusted(0), Vec::new()).unwrap()
}

/// Half an hour of 43 °C without a time of its own.
fn speak(core: &mut Core) {
    for minute in 0..30 {
        let now = untrusted(minute * MINUTE);
        core.hear(now, &[Message { readings: vec![bare("post", 43.0)], arrived_ms: now.mono_ms }]);
    }
    core.flush(untrusted(HOUR)).unwrap();
}

#[test]
fn undated_readings_are_kept_uncounted_and_untold_and_dated_when_trust_comes() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = woken(folder.path());
    speak(&mut core);
    assert_eq!(core.engine().counts().total(), 0);
    assert_eq!(core.ledger().undated().unwrap(), 30);
    assert!(everything(&mut core)["day_pages"].as_array().unwrap().is_empty());
    // Trust comes at noon of the second of June, an hour after the boot.
    let noon = june() + DAY + 12 * HOUR;
    let now = Moment { wall_ms: noon, mono_ms: HOUR, trusted: false };
    core.date_boot(now, 2, "the test").unwrap();
    assert_eq!(core.engine().counts().total(), 30);
    assert_eq!(core.ledger().undated().unwrap(), 0);
    core.advance(Moment { wall_ms: noon + DAY, mono_ms: HOUR + DAY, trusted: true });
    let all = everything(&mut core);
    let page = &all["day_pages"][0];
    assert_eq!((&page["date"], &page["t_max_c"]), (&"2026-06-02".into(), &43.0.into()));
    let span = core.ledger().span("post", AIR).unwrap().unwrap();
    assert_eq!(span, (noon - HOUR, noon - 31 * MINUTE));
    assert!(told(&core, "too-hot").is_empty(), "nobody watched at the time");
    let before = all.to_string();
    core.flush(moment(noon + DAY)).unwrap();
    drop(core);
    assert_eq!(everything(&mut again(folder.path(), &[], noon + DAY)).to_string(), before);
}

#[test]
fn a_boot_that_never_learns_the_time_stays_undated_and_uncounted() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = woken(folder.path());
    speak(&mut core);
    drop(core);
    let mut core = again(folder.path(), &[], june() + 5 * DAY);
    assert_eq!(core.engine().counts().total(), 0);
    assert_eq!(core.ledger().undated().unwrap(), 30);
    assert!(everything(&mut core)["day_pages"].as_array().unwrap().is_empty());
}

#[test]
fn stamped_readings_keep_their_own_time_and_tell_nothing_while_the_clock_is_untrusted() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = again(folder.path(), &tomato_house(), june());
    hear(&mut core, june() - MINUTE / 2, &[("post", AIR, 30.0)]);
    core.flush(moment(june())).unwrap();
    drop(core);
    let mut core = awake(folder.path());
    // Up to the newest commit, the last moment that is sure: rising towards the place line, which would push.
    for minute in 0..60 {
        let t_c = 36.6 + minute as f64 * 0.05;
        let stamped = heard("post", AIR, june() - (59 - minute) * MINUTE, t_c);
        let now = untrusted(minute * MINUTE);
        core.hear(now, &[Message { readings: vec![stamped], arrived_ms: now.mono_ms }]);
    }
    core.flush(untrusted(HOUR)).unwrap();
    assert_eq!(core.engine().counts().total(), 1 + 60);
    assert_eq!(core.ledger().undated().unwrap(), 0);
    assert!(everything(&mut core)["notices"].as_array().unwrap().is_empty());
    let entries = core.ledger().entries().unwrap();
    assert!(!entries.iter().any(|entry| matches!(entry.note, Note::Step(_))));
    // Once the clock is trusted, heat that goes on is told.
    let noon = june() + DAY + 12 * HOUR;
    core.date_boot(Moment { wall_ms: noon, mono_ms: 2 * HOUR, trusted: false }, 2, "the test").unwrap();
    walk(&mut core, "post", noon, MINUTE, &[(0, 43.0), (HOUR, 43.0)]);
    assert!(!told(&core, "too-hot").is_empty());
    assert_eq!(everything(&mut core)["day_pages"][0]["date"], "2026-05-31");
}

#[test]
fn a_stamp_that_cannot_be_a_time_gets_no_false_date_while_the_clock_is_untrusted() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = woken(folder.path());
    for stamp in [0, 77_000, i64::MAX] {
        let nonsense = heard("post", AIR, stamp, 20.0);
        core.hear(untrusted(MINUTE), &[Message { readings: vec![nonsense], arrived_ms: MINUTE }]);
    }
    core.flush(untrusted(HOUR)).unwrap();
    assert_eq!(core.engine().counts().total(), 0);
    assert_eq!(core.ledger().span("post", AIR).unwrap(), None);
}

#[test]
fn notes_wait_until_the_time_is_known() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = woken(folder.path());
    let refused = core.note(untrusted(MINUTE), Note::Remark { text: "hot".into() }, None).unwrap_err();
    assert!(refused.to_string().contains("does not know the time yet"), "{refused}");
}
