//! Heat for people: a line of its own only where nobody should work.
//!
//! Heat indices are read from the weather service's chart in `tests/reference/heat_index_nws_chart.csv` where it has
//! them: 90 °F (32.2 °C) and 60 % feel like 100 °F (37.8 °C), and with 70 % like 106 °F (41.1 °C).

use glasshour::entry::Note;
use glasshour::keeper::view::{Shell, glance};

use super::garden::*;

/// Half an hour of held air.
fn hold(core: &mut glasshour::keeper::core::Core, from_ms: i64, minutes: i64, t_c: f64, rh_pct: f64) {
    for minute in 0..minutes {
        let at = from_ms + minute * MINUTE;
        hear(core, at, &[("post", AIR, t_c), ("post", HUMIDITY, rh_pct)]);
    }
}

#[test]
fn from_the_high_band_on_it_pushes_by_itself_and_below_it_does_not() {
    // No planting: no crop's line speaks, and 32.2 is far from the place line.
    let mut core = in_memory(&tomato_house()[..2], june());
    let noon = june() + 12 * HOUR;
    hold(&mut core, noon, 30, 32.2, 60.0);
    let first = told(&core, "people");
    assert_eq!(outline(&first, noon), [(10, "opened", "moderate")]);
    assert!(!first[0].pushed && first[0].text.contains("feels like 38"), "{first:?}");
    hold(&mut core, noon + 30 * MINUTE, 30, 32.2, 70.0);
    let second = told(&core, "people");
    assert_eq!(outline(&second[1..], noon), [(40, "worsened", "severe")]);
    assert!(second[1].pushed && second[1].title.starts_with("Stay out of house"), "{second:?}");
    assert!(second.iter().all(|step| !step.text.to_lowercase().contains("safe")));
    hold(&mut core, noon + HOUR, 40, 24.0, 50.0);
    assert_eq!(told(&core, "people").last().unwrap().turn, "closed");
}

#[test]
fn air_that_turns_muggy_hours_after_the_heat_notice_opened_is_told_once_and_shown_as_it_is_now() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = again(folder.path(), &tomato_house(), june());
    let eight = june() + 8 * HOUR;
    // By Rothfusz's regression (NWS Technical Attachment SR 90-23) 92 °F (33.3 °C) feels like 89 °F (31.9 °C) at 25 %; by
    // the chart like 99 °F (37 °C) at 50 % and like 116 °F (47 °C) at 75 %. The bands begin at 26.7, 32.8, 39.4 and 46.1 °C.
    hold(&mut core, eight, 120, 33.3, 25.0);
    hold(&mut core, eight + 2 * HOUR, 120, 33.3, 50.0);
    core.flush(moment(eight + 4 * HOUR)).unwrap();
    let before = told(&core, "too-hot");
    drop(core);
    let mut core = again(folder.path(), &[], eight + 4 * HOUR);
    hold(&mut core, eight + 4 * HOUR, 120, 33.3, 50.0);
    let heat = told(&core, "too-hot");
    assert_eq!(heat, before, "not again after a start");
    assert!(told(&core, "people").is_empty(), "{:?}", told(&core, "people"));
    let steps: Vec<Told> = heat.iter().filter(|step| step.text.contains("eels like 3")).cloned().collect();
    let muggy = &steps[steps.len() - 1..];
    assert_eq!(outline(muggy, eight), [(2 * 60 + 10, "worsened", "moderate")], "{heat:?}");
    assert!(heat.iter().all(|step| !step.pushed), "{heat:?}");
    // What stands inside is read as it is now, beside the heat's own reason.
    let glance = glance(core.engine(), &Shell::default());
    let notice = glance.open.iter().find(|it| it.minder == "too-hot").unwrap();
    let people = notice.inside().iter().find(|it| it.minder == "people").unwrap();
    assert!(people.text.starts_with("Feels like 3") && people.text.contains("50 % at 13:59"), "{people:?}");
    assert!(!glance.sentence.why.contains("eels like"), "{}", glance.sentence.why);
    assert!(glance.sentence.why.contains("33.3 °C at 13:59"), "{}", glance.sentence.why);
    // What is too hot for people rings by itself, since the heat notice did not.
    hold(&mut core, eight + 6 * HOUR, 60, 33.3, 75.0);
    assert!(told(&core, "people").iter().any(|step| step.pushed && step.severity == "extreme"));
}

#[test]
fn while_a_heat_notice_stands_it_is_said_inside_it() {
    let mut core = in_memory(&tomato_house(), june());
    let noon = june() + 12 * HOUR;
    // 33 passes tomato's moderate line (crop book: 32).
    hold(&mut core, noon, 40, 33.0, 50.0);
    assert!(told(&core, "people").iter().all(|step| step.turn == "closed"), "{:?}", told(&core, "people"));
    let heat = told(&core, "too-hot");
    assert!(heat.iter().any(|step| step.text.contains("eels like")), "{heat:?}");
    assert!(heat.iter().all(|step| !step.pushed));
}

#[test]
fn a_heat_notice_that_rang_for_nobody_does_not_mute_it() {
    let mut core = in_memory(&tomato_house(), june());
    let noon = june() + 12 * HOUR;
    // 32.2 passes tomato's moderate line (crop book: 32), which rings no phone.
    hold(&mut core, noon, 30, 32.2, 60.0);
    assert_eq!(outline(&told(&core, "too-hot"), noon), [(10, "opened", "moderate")]);
    assert!(told(&core, "people").is_empty(), "the moderate band is a line inside it");
    hold(&mut core, noon + 30 * MINUTE, 90, 32.2, 70.0);
    let people = told(&core, "people");
    assert_eq!(outline(&people, noon), [(40, "opened", "severe")], "{people:?}");
    assert!(people[0].pushed && people[0].title.starts_with("Stay out of house"), "{people:?}");
    assert!(
        told(&core, "too-hot").iter().all(|step| !step.pushed),
        "one ring, by the one that is about people"
    );
    // 90 °F and 40 % feel like 91 °F (32.8 °C) on the chart. The heat notice goes on; that this one eases rings for nobody.
    hold(&mut core, noon + 2 * HOUR, 40, 32.2, 40.0);
    let people = told(&core, "people");
    let eased = people.last().unwrap();
    assert_eq!((eased.turn.as_str(), eased.pushed, people.len()), ("eased", false, 2), "{people:?}");
    assert_eq!(told(&core, "too-hot").len(), 1);
    // What rang has an end that rings: by then it is cool.
    hold(&mut core, noon + 3 * HOUR, 40, 22.0, 40.0);
    let people = told(&core, "people");
    let closed = people.last().unwrap();
    assert_eq!((closed.turn.as_str(), closed.pushed, people.len()), ("closed", true, 3), "{people:?}");
}

#[test]
fn inside_a_heat_notice_that_has_rung_it_rings_no_second_time() {
    let mut core = in_memory(&tomato_house(), june());
    let noon = june() + 12 * HOUR;
    // By the equation in `agronomy::people` dry air of 40.5 feels like less than 39.4: no cell of the chart is so dry.
    hold(&mut core, noon, 60, 40.5, 8.0);
    assert!(told(&core, "too-hot").iter().any(|step| step.pushed && step.severity == "extreme"));
    assert!(told(&core, "people").iter().all(|step| step.turn == "closed"));
    // 104 °F (40 °C) and 40 % feel like 119 °F (48.3 °C) on the chart.
    hold(&mut core, noon + HOUR, 60, 40.5, 40.0);
    let people = told(&core, "people");
    assert!(people.iter().all(|step| !step.pushed && step.turn == "closed"), "{people:?}");
}

#[test]
fn when_the_heat_notice_that_rang_is_over_and_it_still_feels_too_hot_people_are_told() {
    let mut core = in_memory(&tomato_house(), june());
    let noon = june() + 12 * HOUR;
    hold(&mut core, noon, 60, 40.5, 8.0);
    let wet = noon + HOUR;
    // 86 °F (30 °C) and 95 % feel like 108 °F (42.2 °C) on the chart: past 39.4, and below tomato's lines.
    hold(&mut core, wet, 60, 30.0, 95.0);
    let over = told(&core, "too-hot").last().unwrap().clone();
    assert_eq!((over.turn.as_str(), (over.at_ms - wet) / MINUTE), ("closed", 20));
    let people = told(&core, "people");
    let open: Vec<_> = people.iter().filter(|step| step.at_ms >= wet).cloned().collect();
    assert_eq!(outline(&open, wet), [(20, "opened", "severe")], "{people:?}");
    assert!(open[0].pushed, "who was told that the heat is over is told to stay out all the same");
}

#[test]
fn without_humidity_nothing_is_said_of_what_people_feel() {
    let mut core = in_memory(&tomato_house()[..2], june());
    let noon = june() + 12 * HOUR;
    walk(&mut core, "post", noon, MINUTE, &[(0, 38.0), (HOUR, 38.0)]);
    assert!(told(&core, "people").is_empty());
}

#[test]
fn above_the_line_of_a_closed_house_the_biggest_words_are_to_stay_out_and_what_is_done_from_outside() {
    // 40 °C is the house's own line (common practice); in dry air it feels like less than 39.4 (equation in `agronomy::people`),
    // and 104 °F (40 °C) and 40 % like 119 °F (48.3 °C) on the chart.
    for (rh_pct, done, order) in [
        (8.0, None, "From outside, open the door and every vent."),
        (40.0, Some(false), "From outside, draw the shade; no ladder in this heat."),
        (40.0, Some(true), "Water from outside, or once it is cooler."),
    ] {
        let mut notes = tomato_house();
        if let Some(shade) = done {
            let place = || "house".to_owned();
            notes.push(Note::Vents { place: place(), open: true });
            notes.push(Note::Shade { place: place(), on: shade });
        }
        let mut core = in_memory(&notes, june());
        let noon = june() + 12 * HOUR;
        hold(&mut core, noon, 30, 33.0, 20.0);
        let calm = told(&core, "too-hot").pop().unwrap();
        assert!(!calm.title.contains("Stay out"), "{calm:?}");
        hold(&mut core, noon + 30 * MINUTE, 60, 40.9, rh_pct);
        let worst = told(&core, "too-hot").pop().unwrap();
        let wanted = format!("Stay out of house. {order}");
        assert_eq!((worst.severity.as_str(), worst.title.as_str()), ("extreme", wanted.as_str()));
        assert_eq!(glance(core.engine(), &Shell::default()).sentence.order, wanted);
    }
}

#[test]
fn once_it_feels_too_hot_for_people_the_heat_notice_says_to_stay_out_far_below_the_line_of_the_house() {
    let mut core = in_memory(&tomato_house(), june());
    let noon = june() + 12 * HOUR;
    // 90 °F (32.2 °C) and 70 % feel like 106 °F (41.1 °C) on the chart.
    hold(&mut core, noon, 60, 32.2, 70.0);
    let heat = glance(core.engine(), &Shell::default()).open;
    let heat = heat.iter().find(|it| it.minder == "too-hot").unwrap();
    assert!(heat.order().starts_with("Stay out of house. From outside, open"), "{}", heat.order());
}

#[test]
fn what_was_heard_inside_the_heat_notice_and_asks_only_for_care_opens_nothing_at_night() {
    let mut core = in_memory(&tomato_house(), june());
    let night = june() + 22 * HOUR;
    // 33 passes tomato's moderate line (crop book: 32); 82 °F (27.8 °C) and 85 % feel like some 90 °F (32 °C) on the chart.
    hold(&mut core, night, 60, 33.0, 50.0);
    assert!(told(&core, "too-hot").iter().any(|step| step.text.contains("eels like")));
    hold(&mut core, night + HOUR, 3 * 60, 27.8, 85.0);
    assert_eq!(told(&core, "too-hot").last().unwrap().turn, "closed");
    assert!(told(&core, "people").is_empty(), "{:?}", told(&core, "people"));
    // By day it is told to whoever goes in to work.
    hold(&mut core, night + 12 * HOUR, 30, 27.8, 85.0);
    assert_eq!(told(&core, "people").last().unwrap().turn, "opened");
}
