//! Warm nights, and probes that fall silent.

use glasshour::entry::{Note, PlaceKind};
use glasshour::glance::Tone;
use glasshour::keeper::core::Core;
use glasshour::keeper::view::{Shell, glance};

use super::garden::*;

#[test]
fn a_warm_night_is_told_in_the_evening_and_closed_at_eight_with_what_came() {
    let mut core = in_memory(&tomato_house(), june());
    // Tomato wants nights below 21 (crop book). Tonight is expected as last night's lowest and the difference
    // between this evening and yesterday's: 22 and about two degrees.
    days(&mut core, "post", june(), 10 * MINUTE, &[(20.0, 30.0), (22.0, 32.0), (23.4, 30.0)]);
    let told = told(&core, "warm-night");
    let evening = june() + DAY + 21 * HOUR;
    let wanted = [(0, "opened", "minor"), (11 * 60, "closed", "minor")];
    assert_eq!(outline(&told[..2], evening), wanted);
    assert!(told[0].title.starts_with("Tonight stays above 21"), "{}", told[0].title);
    assert!(told[0].text.contains(" Tomatoes want less than 21"), "{}", told[0].text);
    // Its lowest is the last of the evening, as the next day's curve begins above it: 22 + 10 × 0.127.
    assert!(told[1].text.contains("lowest of the night 23.3"), "{}", told[1].text);
    assert!(told.iter().all(|step| !step.pushed));
}

#[test]
fn a_cool_night_is_not_told() {
    let mut core = in_memory(&tomato_house(), june());
    days(&mut core, "post", june(), 10 * MINUTE, &[(12.0, 26.0), (13.0, 27.0)]);
    assert!(told(&core, "warm-night").is_empty());
}

#[test]
fn a_probe_is_called_silent_after_twice_its_interval_and_heard_again() {
    let mut notes = tomato_house();
    notes[1] = hang("post", "house", 900);
    let mut core = in_memory(&notes, june());
    let last = june() + 10 * HOUR;
    hear(&mut core, last, &[("post", AIR, 22.0)]);
    core.advance(moment(last + 30 * MINUTE));
    assert!(told(&core, "probe-silent").is_empty());
    core.advance(moment(last + 2 * HOUR));
    // Heard once and silent again: a loose plug is no second notice. Heard for ten minutes it is over.
    hear(&mut core, last + 2 * HOUR, &[("post", AIR, 23.0)]);
    core.advance(moment(last + 3 * HOUR));
    hear(&mut core, last + 3 * HOUR, &[("post", AIR, 23.0)]);
    hear(&mut core, last + 3 * HOUR + 15 * MINUTE, &[("post", AIR, 23.0)]);
    let told = told(&core, "probe-silent");
    // A minute of grace for a reading that is on its way.
    assert_eq!(outline(&told, last), [(31, "opened", "moderate"), (195, "closed", "moderate")]);
    assert!(told[0].text.contains("post in house") && told[0].text.contains("since 10:00; last 22.0"));
    assert!(!told[0].pushed, "no limit is near at 22");
}

#[test]
fn blindness_near_a_limit_pushes() {
    let mut core = in_memory(&tomato_house(), june());
    let last = june() + 12 * HOUR;
    // Tomato's severe line is 35 (crop book): 32.0 is within three degrees of it.
    hear(&mut core, last, &[("post", AIR, 32.0)]);
    core.advance(moment(last + HOUR));
    assert!(told(&core, "probe-silent")[0].pushed);
}

#[test]
fn blindness_of_one_probe_does_not_push_while_another_sees_the_place() {
    let mut notes = tomato_house();
    notes.push(hang("beam", "house", 60));
    let mut core = in_memory(&notes, june());
    let last = june() + 12 * HOUR;
    hear(&mut core, last, &[("post", AIR, 34.0), ("beam", AIR, 34.5)]);
    walk(&mut core, "beam", last + MINUTE, MINUTE, &[(0, 34.5), (HOUR, 34.5)]);
    let silent = told(&core, "probe-silent");
    assert_eq!(silent.len(), 1);
    assert!(!silent[0].pushed && silent[0].severity == "minor");
    core.advance(moment(last + 2 * HOUR));
    let blind = told(&core, "probe-silent");
    assert!(blind.iter().any(|step| step.pushed), "now nobody sees it: {blind:?}");
}

#[test]
fn another_probe_takes_over_the_air_of_the_moment_and_of_the_day_page() {
    let mut notes = tomato_house();
    notes.push(hang("beam", "house", 60));
    let mut core = in_memory(&notes, june());
    let noon = june() + 12 * HOUR;
    walk(&mut core, "post", june(), MINUTE, &[(0, 20.0), (12 * HOUR, 30.0)]);
    walk(&mut core, "beam", noon, MINUTE, &[(0, 33.5), (12 * HOUR, 33.5)]);
    core.advance(moment(june() + DAY));
    let opened = told(&core, "too-hot");
    assert_eq!(outline(&opened[..1], noon), [(11, "opened", "moderate")], "from two minutes after the last");
    let all = everything(&mut core);
    let page = &all["day_pages"][0];
    assert_eq!(page["measured_share"], 1.0);
    assert_eq!(page["t_max_c"], 33.5);
    assert_eq!(page["hours_above"]["t_c"]["32"], 11.98, "from 12:01, when the other is held no more");
}

#[test]
fn a_stamp_in_the_future_blinds_nobody_and_hides_no_silence() {
    let mut core = in_memory(&tomato_house(), june());
    let noon = june() + 12 * HOUR;
    let ahead = heard("post", AIR, noon + 4_000 * DAY, 20.0);
    let message = glasshour::keeper::core::Message { readings: vec![ahead], arrived_ms: noon };
    core.hear(moment(noon), &[message]);
    walk(&mut core, "post", noon, MINUTE, &[(0, 33.0), (15 * MINUTE, 33.0)]);
    assert_eq!(told(&core, "too-hot").len(), 1, "the readings of the moment are seen");
    core.advance(moment(noon + 2 * HOUR));
    assert_eq!(told(&core, "probe-silent").len(), 1);
}

#[test]
fn nothing_is_called_well_while_the_probe_of_a_place_has_not_said_a_word() {
    let mut notes = tomato_house();
    notes.extend([place("bed", PlaceKind::Bed), hang("stake", "bed", 60)]);
    let mut core = in_memory(&notes, june());
    let sentence = |core: &Core| glance(core.engine(), &Shell::default()).sentence;
    hear(&mut core, june() + 9 * HOUR, &[("post", AIR, 22.0)]);
    let told = sentence(&core);
    assert_eq!(
        (told.tone, told.order.as_str()),
        (Tone::Blind, "Go and look at bed: nothing is heard there.")
    );
    hear(&mut core, june() + 9 * HOUR + MINUTE, &[("post", AIR, 22.0), ("stake", AIR, 21.0)]);
    assert_eq!(sentence(&core).tone, Tone::Well);
}

/// A house with a name of its own and two probes that speak each minute.
fn pear_house() -> Vec<Note> {
    let name = "Pear House".to_owned();
    let house = Note::Place { place: "pear-house".to_owned(), name, kind: PlaceKind::House };
    vec![house, hang("post", "pear-house", 60), hang("beam", "pear-house", 60)]
}

#[test]
fn nobody_is_sent_into_a_house_that_was_too_hot_for_people_when_it_was_last_read() {
    let noon = june() + 12 * HOUR;
    // The line of a closed house is 40 °C (common practice). 92 °F (33.3 °C) and 75 % feel like 116 °F (46.7 °C) on the weather
    // service's chart, and like 99 °F (37.2 °C) with 50 %; people are kept out from 39.4.
    for (t_c, rh_pct, out) in
        [(42.5, None, true), (33.3, Some(75.0), true), (33.3, Some(50.0), false), (38.0, None, false)]
    {
        for both in [true, false] {
            let mut core = in_memory(&pear_house()[..if both { 3 } else { 2 }], june());
            for probe in ["post", "beam"].into_iter().take(if both { 2 } else { 1 }) {
                hear(&mut core, noon, &[(probe, AIR, t_c)]);
                hear(
                    &mut core,
                    noon,
                    &rh_pct.map(|rh_pct| (probe, HUMIDITY, rh_pct)).into_iter().collect::<Vec<_>>(),
                );
            }
            core.advance(moment(noon + HOUR));
            let silent = told(&core, "probe-silent").pop().unwrap();
            let many = if both { ": 2 probes are silent" } else { "" };
            let wanted = if out {
                format!("Do not go into Pear House to look{many}. Look from the door, or once it is cooler.")
            } else {
                format!("Go and look at Pear House{many}.")
            };
            assert_eq!(silent.title, wanted, "{t_c} {rh_pct:?}");
            let open = glance(core.engine(), &Shell::default()).open;
            let caution = open.iter().find(|it| it.minder == "probe-silent").unwrap().caution();
            assert_eq!(caution.contains("not alone"), out, "{caution}");
        }
    }
}

#[test]
fn heard_again_is_said_before_it_is_believed_and_heat_leads_meanwhile() {
    let mut core = in_memory(&pear_house(), june());
    let at = |minute: i64| june() + 10 * HOUR + minute * MINUTE;
    let both = |t_c: f64| [("post", AIR, t_c), ("beam", AIR, t_c)];
    hear(&mut core, at(0), &both(22.0));
    core.advance(moment(at(60)));
    let seen = |core: &Core| glance(core.engine(), &Shell::default());
    assert_eq!(seen(&core).sentence.order, "Go and look at Pear House: 2 probes are silent.");
    for minute in 60..65 {
        hear(&mut core, at(minute), &both(22.0));
    }
    let sentence = seen(&core).sentence;
    assert_eq!(sentence.order, "Heard again; see whether it lasts.");
    assert!(
        sentence.why.starts_with("Pear House: its probes are heard again, last at 11:04."),
        "{}",
        sentence.why
    );
    assert_eq!(sentence.tone, Tone::Soon);
    // Silent once more before it lasted: the order is what it was.
    core.advance(moment(at(100)));
    assert_eq!(seen(&core).sentence.order, "Go and look at Pear House: 2 probes are silent.");
    for minute in 100..115 {
        hear(&mut core, at(minute), &both(22.0));
    }
    let over = told(&core, "probe-silent").pop().unwrap();
    assert_eq!(
        (over.turn.as_str(), over.text.as_str()),
        ("closed", "Pear House: its probes are heard again.")
    );
}
