//! What closed days say: signs of disease, light, shade, heaps, bolting. To page and letter, never a push, and the same after
//! a start.

use agronomy::quantity::Quantity;
use glasshour::entry::{Note, PlaceKind};
use glasshour::keeper::core::Core;

use super::garden::*;

const HALF: i64 = 30 * MINUTE;

/// Readings of whole days every half hour: by hour of the day.
fn feed(
    core: &mut Core,
    from_day: i64,
    until_day: i64,
    readings: impl Fn(f64) -> Vec<(&'static str, Quantity, f64)>,
) {
    let mut at = june() + from_day * DAY;
    while at < june() + until_day * DAY {
        let hour = (at - june()).rem_euclid(DAY) as f64 / HOUR as f64;
        hear(core, at, &readings(hour));
        at += HALF;
    }
}

/// Air of 12 to 22 °C that is damp until `damp_until`.
fn damp(damp_until: f64) -> impl Fn(f64) -> Vec<(&'static str, Quantity, f64)> {
    move |hour| {
        let humidity = if hour < damp_until { 93.0 } else { 60.0 };
        vec![("post", AIR, curve(12.0, 22.0, hour)), ("post", HUMIDITY, humidity)]
    }
}

fn bed(crop: &str) -> Vec<Note> {
    vec![place("bed", PlaceKind::Bed), hang("post", "bed", 1800), planting("it", crop, "bed")]
}

fn turns(steps: &[Told]) -> Vec<(i64, &str)> {
    steps.iter().map(|step| ((step.at_ms - june()) / DAY, step.turn.as_str())).collect()
}

#[test]
fn two_days_of_the_hutton_criteria_are_told_as_they_close_and_say_scout_and_dry() {
    // Hutton criteria (2017): two days in a row, each not below 10 °C and with 6 h or more at 90 % or above.
    let mut core = in_memory(&bed("potato"), june());
    feed(&mut core, 0, 1, damp(5.5));
    feed(&mut core, 1, 3, damp(7.0));
    feed(&mut core, 3, 5, damp(3.0));
    let steps = told(&core, "signs");
    assert_eq!(turns(&steps), [(3, "opened"), (4, "closed")], "{steps:?}");
    let opened = &steps[0];
    assert_eq!(opened.at_ms, june() + 3 * DAY, "at the day's close");
    assert_eq!((opened.severity.as_str(), opened.pushed), ("minor", false));
    assert_eq!(opened.title, "bed: look for late blight, and let the leaves dry.");
    assert!(
        opened.text.contains("Hutton criteria") && opened.text.contains("the label of the product"),
        "{opened:?}"
    );
}

#[test]
fn a_day_too_little_known_completes_no_rule_and_a_start_forgets_no_day() {
    let folder = tempfile::tempdir().unwrap();
    let notes = bed("potato");
    let mut core = again(folder.path(), &notes, june());
    feed(&mut core, 0, 1, damp(7.0));
    core.flush(moment(june() + DAY)).unwrap();
    drop(core);
    let mut core = again(folder.path(), &notes, june() + DAY);
    feed(&mut core, 1, 2, damp(7.0));
    hear(&mut core, june() + 2 * DAY, &[("post", AIR, 15.0)]);
    assert_eq!(told(&core, "signs").len(), 1, "{:?}", told(&core, "signs"));
    let mut other = in_memory(&bed("potato"), june());
    feed(&mut other, 0, 1, damp(7.0));
    hear(&mut other, june() + 2 * DAY, &[("post", AIR, 15.0)]);
    feed(&mut other, 2, 3, damp(7.0));
    hear(&mut other, june() + 3 * DAY, &[("post", AIR, 15.0)]);
    assert!(told(&other, "signs").is_empty(), "the day between was not heard");
}

#[test]
fn powdery_mildew_is_told_when_three_favourable_days_have_started_the_index() {
    // Index for grape (S88 of the source list): three days with 6 h in a row from 21.1 to 29.4 °C give 60, which is high.
    let mut core = in_memory(&bed("cucumber"), june());
    let mild = |hour: f64| vec![("post", AIR, if (9.0..17.0).contains(&hour) { 25.0 } else { 16.0 })];
    feed(&mut core, 0, 2, mild);
    assert!(told(&core, "signs").is_empty());
    feed(&mut core, 2, 3, mild);
    hear(&mut core, june() + 3 * DAY, &[("post", AIR, 16.0)]);
    let steps = told(&core, "signs");
    assert_eq!(turns(&steps), [(3, "opened")], "{steps:?}");
    assert!(steps[0].text.contains("Made for grape"), "{steps:?}");
    // Cool days take ten each: 50 is no longer high.
    feed(&mut core, 3, 4, |_| vec![("post", AIR, 14.0)]);
    hear(&mut core, june() + 4 * DAY, &[("post", AIR, 14.0)]);
    assert_eq!(turns(&told(&core, "signs")), [(3, "opened"), (4, "closed")]);
}

#[test]
fn a_dark_day_is_told_at_its_close_and_a_bright_one_takes_it_back() {
    let mut core = in_memory(&bed("tomato"), june());
    // 60 W/m² over 16 h are 3.5 MJ, or 7 mol (2.06 mol to the MJ); tomato wants 15 (crop book, from memory).
    let sky = |light: f64| {
        move |hour: f64| {
            vec![
                ("post", AIR, 18.0),
                ("post", Quantity::Light, if (4.0..20.0).contains(&hour) { light } else { 0.0 }),
            ]
        }
    };
    feed(&mut core, 0, 1, sky(60.0));
    assert!(told(&core, "light").is_empty(), "nothing of a day that is not over");
    feed(&mut core, 1, 3, sky(300.0));
    let steps = told(&core, "light");
    assert_eq!(turns(&steps), [(1, "opened"), (2, "closed")], "{steps:?}");
    assert!(steps[0].text.contains("7 mol/m²") && steps[0].text.contains("at least 15"), "{steps:?}");
    assert!(steps.iter().all(|step| !step.pushed));
}

#[test]
fn shade_that_stays_on_is_counted_and_told_at_twenty_and_at_forty_days() {
    let mut notes = tomato_house();
    notes[1] = hang("post", "house", 1800);
    let mut core = in_memory(&notes, june());
    core.note(moment(june() + 10 * HOUR), Note::Shade { place: "house".into(), on: true }, None).unwrap();
    feed(&mut core, 0, 45, |_| vec![("post", AIR, 22.0)]);
    let steps = told(&core, "light");
    let told_on: Vec<_> =
        steps.iter().map(|step| ((step.at_ms - june()) / DAY, step.severity.as_str())).collect();
    assert_eq!(told_on, [(20, "minor"), (40, "moderate")], "{steps:?}");
    core.note(moment(june() + 45 * DAY), Note::Shade { place: "house".into(), on: false }, None).unwrap();
    assert_eq!(told(&core, "light").last().unwrap().turn, "closed");
}

fn heap() -> Vec<Note> {
    vec![place("heap", PlaceKind::Heap), hang("core", "heap", 1800)]
}

fn warm(core: &mut Core, from_day: i64, until_day: i64, t_c: f64) {
    feed(core, from_day, until_day, |_| vec![("core", Quantity::SoilTemperature, t_c)]);
}

#[test]
fn a_heap_past_65_is_to_be_turned_and_past_80_to_be_looked_at() {
    let mut core = in_memory(&heap(), june());
    warm(&mut core, 0, 1, 60.0);
    assert!(told(&core, "heap").is_empty());
    warm(&mut core, 1, 2, 68.0);
    warm(&mut core, 2, 3, 78.5);
    warm(&mut core, 3, 4, 81.0);
    let steps = told(&core, "heap");
    let said: Vec<_> =
        steps.iter().map(|step| ((step.at_ms - june()) / DAY, step.severity.as_str())).collect();
    assert_eq!(said, [(1, "minor"), (2, "moderate"), (3, "severe")], "{steps:?}");
    assert!(steps[0].text.contains("Turn it") && steps[0].text.contains("P2 or N95"), "{steps:?}");
    assert!(steps[0].text.contains("Not hygienic by the rule so far"), "one probe proves nothing: {steps:?}");
    assert!(steps[2].title.contains("from upwind") && steps.iter().all(|step| !step.pushed), "{steps:?}");
}

#[test]
fn a_heap_that_has_fallen_from_its_peak_wants_turning_until_it_was_turned() {
    let mut core = in_memory(&heap(), june());
    warm(&mut core, 0, 2, 60.0);
    warm(&mut core, 2, 3, 56.0);
    assert!(told(&core, "heap").is_empty(), "4 °C is no fall");
    warm(&mut core, 3, 4, 53.0);
    warm(&mut core, 4, 5, 52.0);
    let steps = told(&core, "heap");
    assert_eq!(turns(&steps), [(4, "opened")], "{steps:?}");
    assert!(steps[0].text.contains("more than 5 °C from its peak"), "{steps:?}");
    core.note(moment(june() + 5 * DAY), Note::Turned { place: "heap".into() }, None).unwrap();
    assert_eq!(told(&core, "heap").last().unwrap().turn, "closed");
    warm(&mut core, 5, 8, 50.0);
    assert_eq!(told(&core, "heap").len(), 2, "it starts anew: {:?}", told(&core, "heap"));
}

#[test]
fn lettuce_in_five_warm_long_days_may_bolt() {
    // Crop book: a mean of 21 °C or more for 5 days, on days longer than 13 h.
    let mut core = in_memory(&bed("lettuce"), june());
    feed(&mut core, 0, 4, |_| vec![("post", AIR, 22.0)]);
    assert!(told(&core, "bolting").is_empty());
    feed(&mut core, 4, 6, |_| vec![("post", AIR, 22.0)]);
    feed(&mut core, 6, 7, |_| vec![("post", AIR, 19.0)]);
    hear(&mut core, june() + 7 * DAY, &[("post", AIR, 19.0)]);
    let steps = told(&core, "bolting");
    assert_eq!(turns(&steps), [(5, "opened"), (7, "closed")], "{steps:?}");
    assert!(steps[0].text.contains("21 °C or more for 5 days") && !steps[0].pushed, "{steps:?}");
}
