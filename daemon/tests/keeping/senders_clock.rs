//! Senders whose clock is wrong: what arrives live is of now, what came late is of then and no news.

use glasshour::keeper::core::{Core, Message};
use glasshour::keeper::view::{Shell, glance};
use glasshour::reading::Heard;

use super::garden::*;

fn arrive(core: &mut Core, at_ms: i64, stamp: i64, value: f64, stale: bool) {
    let heard = Heard { stale, ..heard("post", AIR, stamp, value) };
    core.hear(moment(at_ms), &[Message { readings: vec![heard], arrived_ms: at_ms }]);
}

fn condition(core: &Core) -> String {
    let shell = Shell { senders_clocks: core.senders_clocks().clone(), ..Shell::default() };
    glance(core.engine(), &shell).probes[0].condition.clone()
}

#[test]
fn c8_a_live_stamp_more_than_two_minutes_ahead_is_dated_by_arrival_and_the_probe_says_so() {
    let mut core = in_memory(&tomato_house(), june());
    let noon = june() + 12 * HOUR;
    for minute in 0..=30 {
        let now = noon + minute * MINUTE;
        arrive(&mut core, now, now + HOUR, 43.0, false);
    }
    core.flush(moment(noon + 31 * MINUTE)).unwrap();
    assert_eq!(core.ledger().span("post", AIR).unwrap(), Some((noon, noon + 30 * MINUTE)));
    assert!(told(&core, "too-hot").iter().any(|step| step.pushed), "its heat is told");
    assert_eq!(condition(&core), "sound, 12:30; node clock 1 h fast");
    // Two minutes are within what clocks differ by.
    let now = noon + 40 * MINUTE;
    arrive(&mut core, now, now + 2 * MINUTE, 30.0, false);
    core.advance(moment(now + 2 * MINUTE));
    assert_eq!(condition(&core), "sound, 12:42");
    core.flush(moment(now + 2 * MINUTE)).unwrap();
    assert_eq!(core.ledger().span("post", AIR).unwrap().unwrap().1, now + 2 * MINUTE);
}

#[test]
fn c8_a_live_stamp_before_2000_is_dated_by_arrival_and_a_kept_one_is_no_time() {
    let mut core = in_memory(&tomato_house(), june());
    let noon = june() + 12 * HOUR;
    arrive(&mut core, noon, 77_000, 30.0, true);
    assert_eq!(core.engine().counts().total(), 1);
    assert_eq!(core.engine().tracks().newest("post", AIR, noon), None, "refused: no time");
    arrive(&mut core, noon + MINUTE, 137_000, 31.0, false);
    assert_eq!(core.engine().tracks().newest("post", AIR, noon + MINUTE), Some((noon + MINUTE, 31.0)));
    assert!(condition(&core).ends_with("node clock never set"), "{}", condition(&core));
}

#[test]
fn c8_a_record_that_reaches_into_the_future_keeps_its_stamps_and_is_not_of_now() {
    let mut core = in_memory(&tomato_house(), june());
    let noon = june() + 12 * HOUR;
    arrive(&mut core, noon, noon + DAY, 43.0, true);
    assert_eq!(core.engine().tracks().newest("post", AIR, noon), None);
    core.flush(moment(noon)).unwrap();
    let kept = core.ledger().readings("post", AIR, 0..i64::MAX).unwrap();
    assert_eq!((kept[0].at_ms, kept[0].reason.words()), (noon + DAY, "stamped in the future"));
}

#[test]
fn p11_what_is_older_than_a_day_is_kept_under_its_own_stamp_and_never_told() {
    let mut core = in_memory(&tomato_house(), june());
    let now = june() + 3 * DAY + 12 * HOUR;
    core.advance(moment(now));
    for minute in 0..120 {
        arrive(&mut core, now + minute * 100, now - 26 * HOUR + minute * MINUTE, 43.0, false);
    }
    core.advance(moment(now + HOUR));
    assert!(told(&core, "too-hot").is_empty());
    let all = everything(&mut core);
    let page = all["day_pages"].as_array().unwrap().iter().find(|page| page["date"] == "2026-06-03").unwrap();
    assert_eq!(page["t_max_c"], 43.0, "the day it was of has it");
}

#[test]
fn m4_a_flood_of_dateless_heat_is_kept_undated_and_told_to_nobody() {
    let mut core = in_memory(&tomato_house(), june());
    let noon = june() + 12 * HOUR;
    // Three hours of 43 °C, as a source hands them over that knows them for late; all in one second.
    let late = |minute: i64| Heard {
        measured_ms: None,
        stale: true,
        ..heard("post", AIR, 0, 43.0 + minute as f64 / 100.0)
    };
    for minute in 0..180 {
        let arrived_ms = noon + minute * 5;
        core.hear(moment(arrived_ms), &[Message { readings: vec![late(minute)], arrived_ms }]);
    }
    core.advance(moment(noon + HOUR));
    assert!(told(&core, "too-hot").is_empty() && told(&core, "on-course").is_empty());
    assert_eq!(core.engine().tracks().newest("post", AIR, noon + HOUR), None, "none is of now");
    let all = everything(&mut core);
    assert_eq!(all["readings"]["post"]["air_temperature"]["reasons"], serde_json::json!({ "no_time": 180 }));
    core.flush(moment(noon + HOUR)).unwrap();
    let kept = core.ledger().readings("post", AIR, 0..i64::MAX).unwrap();
    let values: Vec<f64> = kept.iter().map(|reading| reading.value).collect();
    assert!(values.len() == 180 && values.is_sorted(), "all, in order: {values:?}");
}
