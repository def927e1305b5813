//! Whatever the order, the batches and the ticks of the clock: the same pages, counts and notices.

use agronomy::quantity::Quantity;
use glasshour::entry::PlaceKind;
use glasshour::keeper::core::{Core, Message};
use glasshour::reading::Heard;
use proptest::prelude::*;
use serde_json::Value;

use super::garden::*;

fn notes() -> Vec<glasshour::entry::Note> {
    let mut notes = tomato_house();
    notes.extend([
        place("bed", PlaceKind::Bed),
        hang("stake", "bed", 600),
        planting("green", "lettuce", "bed"),
    ]);
    notes
}

/// Gaps (minutes), air and humidity of a probe that speaks when it likes.
fn spoken() -> impl Strategy<Value = Vec<(i64, f64, f64)>> {
    let air = prop_oneof![15.0..30.0, 30.0..44.0_f64];
    prop::collection::vec((1_i64..45, air, 5.0..100.0_f64), 40..120)
}

/// Hears them one after another, with the clock ticking at extra moments in between.
fn live(spoken: &[(i64, f64, f64)], ticks: &[u32]) -> Core {
    let mut core = in_memory(&notes(), june());
    let mut at = june() + 6 * HOUR;
    let mut ticks = ticks.iter().cycle();
    for (gap, t_c, rh_pct) in spoken {
        let next = at + gap * MINUTE;
        let share = f64::from(*ticks.next().unwrap_or(&0)) / f64::from(u32::MAX);
        core.advance(moment(at + (share * (next - at) as f64) as i64));
        at = next;
        hear(&mut core, at, &[("post", AIR, *t_c), ("post", HUMIDITY, *rh_pct)]);
    }
    core.advance(moment(at + 3 * DAY));
    core
}

/// A reading for every half hour of three days of both probes, some of them sent twice.
fn sent(values: &[(f64, f64)]) -> Vec<Heard> {
    let mut all = Vec::new();
    for (slot, (t_c, rh_pct)) in values.iter().enumerate() {
        let at = june() + slot as i64 * 30 * MINUTE;
        for (probe, shift) in [("post", 0.0), ("stake", -3.0)] {
            all.push(heard(probe, AIR, at, t_c + shift));
            all.push(heard(probe, HUMIDITY, at, *rh_pct));
            if slot % 7 == 0 {
                all.push(heard(probe, AIR, at, t_c + shift));
            }
        }
    }
    all
}

/// Everything but the notices, which do depend on when a thing became known.
fn reckoned(core: &mut Core) -> String {
    let mut all = everything(core);
    all.as_object_mut().unwrap().remove("notices");
    all.to_string()
}

const END: i64 = 4 * DAY;

fn in_order(readings: &[Heard]) -> String {
    let mut core = in_memory(&notes(), june());
    for reading in readings {
        let at = reading.measured_ms.unwrap();
        core.hear(moment(at), &[Message { readings: vec![reading.clone()], arrived_ms: at }]);
    }
    core.flush(moment(june() + END)).unwrap();
    core.advance(moment(june() + END));
    reckoned(&mut core)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn how_often_the_clock_ticks_changes_nothing(
        spoken in spoken(),
        ticks in prop::collection::vec(any::<u32>(), 1..40),
    ) {
        let (mut seldom, mut often) = (live(&spoken, &[0]), live(&spoken, &ticks));
        prop_assert_eq!(seldom.engine().wake_ms(), often.engine().wake_ms());
        prop_assert_eq!(everything(&mut seldom).to_string(), everything(&mut often).to_string());
    }

    #[test]
    fn to_advance_at_once_or_in_two_steps_gives_the_same_steps(
        spoken in spoken(),
        share in 0.0..1.0_f64,
    ) {
        let (mut once, mut twice) = (live(&spoken, &[0]), live(&spoken, &[0]));
        // One more hot reading, then two days of nobody speaking.
        let from = once.engine().now_ms();
        hear(&mut once, from, &[("post", AIR, 41.0)]);
        hear(&mut twice, from, &[("post", AIR, 41.0)]);
        let steps = once.engine_mut().advance(from + 2 * DAY);
        let mut in_two = twice.engine_mut().advance(from + (share * 2.0 * DAY as f64) as i64);
        in_two.extend(twice.engine_mut().advance(from + 2 * DAY));
        prop_assert_eq!(steps, in_two);
        prop_assert_eq!(once.engine().now_ms(), twice.engine().now_ms());
        prop_assert_eq!(once.engine().wake_ms(), twice.engine().wake_ms());
    }

    #[test]
    fn pages_and_counts_are_the_same_bytes_in_any_order_of_arrival_and_any_batches(
        (readings, shuffled) in prop::collection::vec((10.0..45.0_f64, 10.0..100.0_f64), 96..144)
            .prop_flat_map(|values| {
                let sent = sent(&values);
                (Just(sent.clone()), Just(sent).prop_shuffle())
            }),
        cuts in prop::collection::vec((1_usize..60, any::<bool>()), 1..20),
    ) {
        let mut core = in_memory(&notes(), june());
        let late = moment(june() + END);
        let mut rest = shuffled.as_slice();
        for (size, flush) in cuts.iter().cycle() {
            let (now, later) = rest.split_at((*size).min(rest.len()));
            core.hear(late, &[Message { readings: now.to_vec(), arrived_ms: june() + END }]);
            if *flush {
                core.flush(late).unwrap();
            }
            // The days are made afresh in between, as in a running service.
            core.remake(3);
            rest = later;
            if rest.is_empty() {
                break;
            }
        }
        prop_assert_eq!(reckoned(&mut core), in_order(&readings));
    }
}

#[test]
fn a_reading_heard_again_is_a_repeat_whether_or_not_the_first_was_stored_in_between() {
    let counts = |flush: bool| {
        let mut core = in_memory(&notes(), june());
        let now = june() + 10 * DAY;
        walk(&mut core, "post", june(), HOUR, &[(0, 20.0), (10 * DAY, 20.0)]);
        core.flush(moment(now)).unwrap();
        // Long before what memory holds, and of a moment of which nothing was heard.
        for _ in 0..3 {
            let late = heard("post", AIR, june() + 90 * MINUTE, 21.0);
            core.hear(moment(now), &[Message { readings: vec![late], arrived_ms: now }]);
            if flush {
                core.flush(moment(now)).unwrap();
            }
        }
        everything(&mut core)["readings"]["post"]["air_temperature"].clone()
    };
    assert_eq!(counts(false), counts(true));
    assert_eq!(counts(true)["reasons"]["repeated"], 2);
}

#[test]
fn a_day_made_afresh_counts_what_is_not_stored_yet() {
    let mut core = in_memory(&tomato_house(), june());
    let now = june() + 2 * DAY;
    core.advance(moment(now));
    let late = heard("post", AIR, june() + 12 * HOUR, 27.5);
    core.hear(moment(now), &[Message { readings: vec![late], arrived_ms: now }]);
    assert!(core.waiting_readings() > 0);
    assert_eq!(everything(&mut core)["day_pages"][0]["t_max_c"], 27.5);
}

#[test]
fn of_two_values_at_one_time_the_first_to_arrive_is_sound() {
    let mut core = in_memory(&tomato_house(), june());
    let (first, other) = (heard("post", AIR, june() + HOUR, 21.0), heard("post", AIR, june() + HOUR, 25.0));
    let message = Message { readings: vec![first, other], arrived_ms: june() + HOUR };
    core.hear(moment(june() + HOUR), &[message]);
    let all: Value = everything(&mut core);
    assert_eq!(all["day_pages"][0]["t_max_c"], 21.0);
    let counts = &all["readings"]["post"][Quantity::AirTemperature.as_str()];
    assert_eq!((&counts["sound"], &counts["doubtful"]), (&1.into(), &1.into()));
}
