//! A clock that nobody vouches for: readings wait undated, heat is told without a time, and all is right once trust comes.

use glasshour::entry::{Entry, Note, Step};
use glasshour::glance::UndatedBoot;
use glasshour::keeper::core::{Core, Message, Moment, Route};
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

/// Forty minutes of 43 °C without a time of its own; the place line takes thirty (crop book).
fn speak(core: &mut Core) {
    for minute in 0..40 {
        let now = untrusted(minute * MINUTE);
        core.hear(now, &[Message { readings: vec![bare("post", 43.0)], arrived_ms: now.mono_ms }]);
    }
    core.flush(untrusted(HOUR)).unwrap();
}

fn steps(core: &Core) -> Vec<(i64, i64, Step)> {
    let entries = core.ledger().entries().unwrap();
    let step = |entry: Entry| match entry.note {
        Note::Step(step) => Some((entry.at_ms, entry.from_ms, step)),
        _ => None,
    };
    entries.into_iter().filter_map(step).collect()
}

#[test]
fn c2_undated_readings_are_kept_uncounted_and_dated_once_when_trust_comes() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = woken(folder.path());
    speak(&mut core);
    assert_eq!(core.engine().counts().total(), 0);
    assert_eq!(core.ledger().undated().unwrap(), 40);
    assert!(everything(&mut core)["day_pages"].as_array().unwrap().is_empty());
    // The place line was held for half an hour by the monotonic clock: that is told, and says no time.
    let before_trust = steps(&core);
    let [_, (at_ms, from_ms, step)] = &before_trust[..] else { panic!("{before_trust:?}") };
    assert_eq!((*at_ms, *from_ms, step.at_ms), (30 * MINUTE, -2, 30 * MINUTE));
    assert_eq!(everything(&mut core)["notices"][0]["opened_at"], serde_json::Value::Null);
    // Trust comes at noon of the second of June, an hour after the boot.
    let noon = june() + DAY + 12 * HOUR;
    let now = Moment { wall_ms: noon, mono_ms: HOUR, trusted: false };
    core.date_boot(now, 2, "the test", None).unwrap();
    assert_eq!(core.engine().counts().total(), 40);
    assert_eq!(core.ledger().undated().unwrap(), 0);
    core.advance(Moment { wall_ms: noon + DAY, mono_ms: HOUR + DAY, trusted: true });
    let all = everything(&mut core);
    let page = &all["day_pages"][0];
    assert_eq!((&page["date"], &page["t_max_c"]), (&"2026-06-02".into(), &43.0.into()));
    let span = core.ledger().span("post", AIR).unwrap().unwrap();
    assert_eq!(span, (noon - HOUR, noon - 21 * MINUTE));
    let [first, told] = &told(&core, "too-hot")[..] else { panic!("each told once") };
    assert_eq!((first.severity.as_str(), first.at_ms), ("severe", noon - HOUR + 10 * MINUTE));
    assert_eq!((told.at_ms, told.pushed), (noon - HOUR + 30 * MINUTE, true));
    let dated = Step { at_ms: told.at_ms, ..step.clone() };
    assert_eq!(steps(&core)[1..], [(told.at_ms, told.at_ms, dated)]);
    let clock = core.ledger().entries().unwrap().into_iter().find_map(|entry| match entry.note {
        Note::Clock { by, boot, dated_back_ms, .. } => Some((by, boot, dated_back_ms)),
        _ => None,
    });
    assert_eq!(clock, Some(("the test".to_owned(), 2, Some(noon - HOUR))));
    assert_eq!(core.dated_back_ms(), Some(noon - HOUR));
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
    assert_eq!(core.ledger().undated().unwrap(), 40);
    assert!(everything(&mut core)["day_pages"].as_array().unwrap().is_empty());
}

#[test]
fn stamped_readings_keep_their_own_time_and_what_they_tell_says_none_while_the_clock_is_untrusted() {
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
    // Past the tomatoes' severe line for ten minutes, which needs no hour of the day; on course for the place line needs one.
    let watched = steps(&core);
    assert!(
        watched.iter().all(|(.., step)| step.minder == "too-hot" && step.is_undated() && !step.push),
        "{watched:?}"
    );
    assert_eq!(watched.len(), 1);
    // Once the clock is trusted, heat that goes on is told.
    let noon = june() + DAY + 12 * HOUR;
    core.date_boot(Moment { wall_ms: noon, mono_ms: 2 * HOUR, trusted: false }, 2, "the test", None).unwrap();
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
    let refused = refused.to_string();
    assert!(refused.contains("does not know the time yet"), "{refused}");
    assert!(refused.contains("glasshour clock now ") && refused.contains("vouched_by"), "{refused}");
}

#[test]
fn c1_heat_is_told_before_trust_without_any_clock_time_and_goes_to_every_courier() {
    let folder = tempfile::tempdir().unwrap();
    drop(again(folder.path(), &tomato_house(), june()));
    let mut ledger = Ledger::open(folder.path(), &founding()).unwrap();
    let boot = ledger.begin_boot(0, None).unwrap();
    let routes = vec![Route {
        courier: "e-mail".into(),
        pushes_only: true,
        quiet: Some((0, 23)),
        letter_at: None,
        unseen_ms: None,
    }];
    let mut core = Core::start(site(), ledger, boot, untrusted(0), routes).unwrap();
    for minute in 0..30 {
        hear_bare(&mut core, minute, 43.0);
        core.flush(untrusted(minute * MINUTE)).unwrap();
        assert_eq!(steps(&core).len(), usize::from(minute >= 10), "the crop's line takes ten minutes");
    }
    hear_bare(&mut core, 30, 43.0);
    assert!(core.is_urgent(), "and the place line thirty");
    core.flush(untrusted(31 * MINUTE)).unwrap();
    let (_, _, step) = &steps(&core)[1];
    assert_eq!(
        step.text,
        "house: 43.0 °C now, past its extreme line for as long as it takes to count. The clock is not trusted yet; heat is watched, dates follow."
    );
    assert_eq!(step.notice, format!("boot-{boot}.house.too-hot"));
    assert!(step.is_undated() && step.push);
    // No hour is quiet and nothing is old while nobody knows the time.
    let row = &core.ledger().outbox().unwrap()[0];
    assert_eq!((row.due_ms, row.expires_ms), (0, i64::MAX));
    // With its date it lives as long as any step.
    let noon = june() + DAY + 12 * HOUR;
    core.date_boot(Moment { wall_ms: noon, mono_ms: HOUR, trusted: false }, boot, "the test", None).unwrap();
    let row = &core.ledger().outbox().unwrap()[0];
    assert_eq!(row.expires_ms, noon - 30 * MINUTE + 6 * HOUR);
    // And the watch's notice is closed by the engine that knows the time, once.
    for minute in 1..40 {
        hear(&mut core, noon + minute * MINUTE, &[("post", AIR, 25.0)]);
    }
    let turns: Vec<_> = told(&core, "too-hot").into_iter().map(|step| step.turn).collect();
    assert_eq!(turns, ["opened", "worsened", "closed"]);
}

fn hear_bare(core: &mut Core, minute: i64, value: f64) {
    let now = untrusted(minute * MINUTE);
    core.hear(now, &[Message { readings: vec![bare("post", value)], arrived_ms: now.mono_ms }]);
}

#[test]
fn c1_what_a_broker_kept_tells_nothing_before_trust() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = woken(folder.path());
    for minute in 0..30 {
        let now = untrusted(minute * MINUTE);
        let kept = Heard { stale: true, ..bare("post", 43.0) };
        core.hear(now, &[Message { readings: vec![kept], arrived_ms: now.mono_ms }]);
    }
    assert!(!core.is_urgent());
}

#[test]
fn c1_a_probe_that_falls_silent_in_the_heat_before_trust_is_told_too() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = woken(folder.path());
    for minute in 0..5 {
        hear_bare(&mut core, minute, 39.0);
    }
    core.advance(untrusted(HOUR));
    core.flush(untrusted(HOUR)).unwrap();
    let silent: Vec<_> =
        steps(&core).into_iter().filter(|(.., step)| step.minder == "probe-silent").collect();
    assert_eq!(silent.len(), 1, "{silent:?}");
    assert!(silent[0].2.text.contains("silent, and it was near a line when last heard"), "{silent:?}");
}

#[test]
fn c3_a_step_of_a_boot_that_never_learned_the_time_is_no_news_at_the_next_start() {
    let folder = tempfile::tempdir().unwrap();
    drop(again(folder.path(), &tomato_house(), june()));
    let mut ledger = Ledger::open(folder.path(), &founding()).unwrap();
    let boot = ledger.begin_boot(0, None).unwrap();
    let routes = vec![Route {
        courier: "e-mail".into(),
        pushes_only: true,
        quiet: None,
        letter_at: None,
        unseen_ms: None,
    }];
    let mut core = Core::start(site(), ledger, boot, untrusted(0), routes).unwrap();
    speak(&mut core);
    assert_eq!(core.ledger().outbox().unwrap().len(), 1);
    drop(core);
    let core = again(folder.path(), &[], june() + 5 * DAY);
    assert!(core.ledger().outbox().unwrap().is_empty());
}

#[test]
fn c3_the_grower_may_date_such_a_boot_where_it_fits_between_its_neighbours() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = woken(folder.path());
    speak(&mut core);
    drop(core);
    let day5 = june() + 5 * DAY;
    let mut core = again(folder.path(), &[], day5);
    let found = core.ledger().undated_boots(3).unwrap();
    let expected = UndatedBoot {
        boot: 2,
        readings: 40,
        span_ms: 39 * MINUTE,
        after_ms: Some(june()),
        before_ms: Some(day5),
    };
    assert_eq!(found, [expected]);
    let now = moment(day5 + HOUR);
    let mut date =
        |boot, first_ms| core.date_earlier(now, boot, first_ms, "the grower").map_err(|it| it.to_string());
    assert!(date(7, june() + DAY).unwrap_err().contains("of all boots, 2"));
    assert!(date(2, june() - HOUR).unwrap_err().contains("1 h later than that"));
    assert!(date(2, day5 - 38 * MINUTE).unwrap_err().contains("after the next one began"));
    let noon = june() + 2 * DAY + 12 * HOUR;
    date(2, noon).unwrap();
    assert!(date(2, noon).unwrap_err().contains("none does"));
    assert_eq!(core.ledger().undated().unwrap(), 0);
    assert_eq!(core.ledger().span("post", AIR).unwrap(), Some((noon, noon + 39 * MINUTE)));
    let all = everything(&mut core);
    let page = all["day_pages"].as_array().unwrap().iter().find(|page| page["date"] == "2026-06-03").unwrap();
    assert_eq!(page["t_max_c"], 43.0);
    assert_eq!(told(&core, "too-hot")[1].at_ms, noon + 30 * MINUTE);
    assert!(!core.is_urgent(), "nothing of the past is told");
    let before = all.to_string();
    core.flush(now).unwrap();
    drop(core);
    assert_eq!(everything(&mut again(folder.path(), &[], day5 + HOUR)).to_string(), before);
}

#[test]
fn c3_a_boot_that_was_put_away_can_still_be_dated() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = woken(folder.path());
    speak(&mut core);
    drop(core);
    let day5 = june() + 5 * DAY;
    let mut core = again(folder.path(), &[], day5);
    everything(&mut core);
    core.flush(moment(day5)).unwrap();
    assert!(core.snapshot(moment(day5), 3).unwrap());
    core.ledger_mut().compact(day5 + DAY).unwrap();
    let noon = june() + 2 * DAY + 12 * HOUR;
    core.date_earlier(moment(day5), 2, noon, "the grower").unwrap();
    assert_eq!(core.engine().counts().total(), 40);
    assert_eq!(everything(&mut core)["day_pages"][0]["t_max_c"], 43.0);
}

#[test]
fn c1_the_newest_commit_is_known_after_compaction_and_counts_what_was_only_told() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = again(folder.path(), &tomato_house(), june());
    hear(&mut core, june() + HOUR, &[("post", AIR, 20.0)]);
    core.flush(moment(june() + HOUR)).unwrap();
    core.snapshot(moment(june() + HOUR), 1).unwrap();
    core.ledger_mut().compact(june() + DAY).unwrap();
    assert_eq!(core.ledger().newest_commit_ms().unwrap(), Some(june() + HOUR));
    core.note_word(moment(june() + 2 * HOUR), "the grower", june() + HOUR).unwrap();
    assert_eq!(core.ledger().newest_commit_ms().unwrap(), Some(june() + 2 * HOUR));
    drop(core);
    let ledger = Ledger::open(folder.path(), &founding()).unwrap();
    assert_eq!(ledger.newest_commit_ms().unwrap(), Some(june() + 2 * HOUR));
}
