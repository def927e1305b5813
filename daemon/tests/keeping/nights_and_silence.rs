//! Warm nights, and probes that fall silent.

use glasshour::entry::PlaceKind;
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
