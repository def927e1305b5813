//! Frost and chill: expected in the evening, here at night, over in the morning.
//!
//! Crop figures are the crop book's: tomato chills at 10, is harmed at 0 and dies at -1.5; cabbage is harmed at -5.

use glasshour::entry::PlaceKind;

use super::garden::*;

/// Nights of early spring: the air falls from a highest at 15:00 by the curve of the garden.
fn bed_of(crop: &str) -> Vec<glasshour::entry::Note> {
    vec![place("bed", PlaceKind::Bed), hang("post", "bed", 600), planting("red", crop, "bed")]
}

#[test]
fn a_frost_that_threatens_tomatoes_is_told_in_the_evening_pushes_and_closes_in_the_morning() {
    let mut core = in_memory(&bed_of("tomato"), june());
    // By the curve it stands at 17.3 at 16:00 of the first two days and falls to 6.2 before sunrise, so by 11.1. On the
    // third it stands at 12.5, so about 1.4 is expected; and a leaf under a clear sky is one to three colder.
    days(&mut core, "post", june(), 10 * MINUTE, &[(6.0, 20.0), (6.0, 20.0), (6.0, 14.0), (1.0, 14.0)]);
    let evening = june() + 2 * DAY + 16 * HOUR;
    let told = told(&core, "frost");
    assert_eq!((told[0].turn.as_str(), told[0].severity.as_str()), ("opened", "severe"), "{told:?}");
    // From 16:00 by half hours, and half an hour's dwell.
    assert_eq!((told[0].at_ms - evening) / MINUTE, 30);
    assert!(told[0].pushed);
    assert!(told[0].title.contains("lay fleece over tomatoes"), "{}", told[0].title);
    assert!(told[0].text.contains("a guess from the last nights"), "{}", told[0].text);
    assert!(told[0].text.contains("Tomatoes are harmed at 0"), "{}", told[0].text);
    let closed = told.iter().find(|step| step.turn == "closed").unwrap();
    let morning = june() + 3 * DAY;
    assert!((morning + 4 * HOUR..morning + 8 * HOUR).contains(&closed.at_ms), "{closed:?}");
    assert!(closed.text.contains("lowest of the night"), "{}", closed.text);
}

#[test]
fn frost_at_the_probe_is_told_in_ten_minutes_and_eases_through_its_margin() {
    let mut core = in_memory(&bed_of("tomato"), june());
    let night = june() + 2 * HOUR;
    let fall = [(0, 4.0), (HOUR, 0.4), (2 * HOUR, 0.4), (3 * HOUR, 1.0), (4 * HOUR, 1.9), (5 * HOUR, 4.0)];
    walk(&mut core, "post", night, 5 * MINUTE, &fall);
    let told = told(&core, "frost");
    // Under 0.5 from the reading of 03:00 on, ten minutes' dwell; 2.0 is passed on the way from 1.9 to 4.0, and held 20 minutes.
    assert_eq!(outline(&told, night), [(70, "opened", "severe"), (265, "closed", "severe")]);
    assert!(told[0].title.starts_with("Frost now: fleece over tomatoes"), "{}", told[0].title);
    assert!(told[0].text.contains("0.4 °C at 03:05") && told[0].pushed, "{}", told[0].text);
}

#[test]
fn frost_on_cabbages_wakes_nobody_before_their_own_line() {
    let mut core = in_memory(&bed_of("cabbage"), june());
    let night = june() + 2 * HOUR;
    walk(&mut core, "post", night, 5 * MINUTE, &[(0, 4.0), (HOUR, 0.0), (2 * HOUR, 0.0), (3 * HOUR, -5.2)]);
    walk(&mut core, "post", night + 3 * HOUR, 5 * MINUTE, &[(0, -5.2), (HOUR, -5.2)]);
    let told = told(&core, "frost");
    let steps: Vec<_> = told.iter().map(|step| (step.turn.as_str(), step.severity.as_str())).collect();
    assert_eq!(steps, [("opened", "minor"), ("worsened", "moderate")]);
    assert!(told.iter().all(|step| !step.pushed));
}

#[test]
fn a_night_that_stays_mild_is_not_told_and_without_earlier_nights_nothing_is_guessed() {
    let mut core = in_memory(&bed_of("tomato"), june());
    days(&mut core, "post", june(), 10 * MINUTE, &[(12.0, 26.0), (12.0, 26.0), (13.0, 27.0)]);
    assert!(told(&core, "frost").is_empty());
    let mut fresh = in_memory(&bed_of("tomato"), june());
    walk(&mut fresh, "post", june() + 16 * HOUR, 10 * MINUTE, &[(0, 6.0), (4 * HOUR, 5.0)]);
    assert!(told(&fresh, "frost").is_empty(), "no night before this one is known");
}

#[test]
fn the_dew_point_is_a_floor_under_the_guess() {
    let mut core = in_memory(&bed_of("tomato"), june());
    days(&mut core, "post", june(), 10 * MINUTE, &[(6.0, 20.0), (6.0, 20.0)]);
    // By the nights before it would fall from 14 to 0; but the air is nearly saturated: dew point 13.2 (FAO-56, eq. 14,
    // inverted by hand for 95 %), so 12 is the lowest.
    let evening = june() + 2 * DAY + 15 * HOUR;
    for quarter in 0..20 {
        let at = evening + quarter * 15 * MINUTE;
        hear(&mut core, at, &[("post", AIR, 14.0), ("post", HUMIDITY, 95.0)]);
    }
    assert!(told(&core, "frost").is_empty());
}

#[test]
fn a_night_that_only_a_clear_sky_makes_dangerous_goes_to_the_page() {
    let mut core = in_memory(&bed_of("tomato"), june());
    // From 14.9 at 16:00 by 11.1: about 3.8; less 1.5 and 3 it is below 0, less 1.5 and 1 it is not.
    days(&mut core, "post", june(), 10 * MINUTE, &[(6.0, 20.0), (6.0, 20.0), (6.0, 17.0), (6.0, 17.0)]);
    let told = told(&core, "frost");
    assert_eq!((told[0].turn.as_str(), told[0].severity.as_str()), ("opened", "moderate"), "{told:?}");
    assert!(told.iter().all(|step| !step.pushed));
}

#[test]
fn chill_goes_to_the_page_with_its_hours_in_the_morning() {
    let mut core = in_memory(&bed_of("tomato"), june());
    days(&mut core, "post", june(), 10 * MINUTE, &[(9.0, 24.0), (8.0, 24.0), (8.0, 24.0), (8.0, 20.0)]);
    let told = told(&core, "chill");
    assert!(told.len() >= 2, "{told:?}");
    assert_eq!((told[0].turn.as_str(), told[0].severity.as_str()), ("opened", "minor"));
    assert!(told[0].text.contains("Tomatoes chill below 10"), "{}", told[0].text);
    assert_eq!(told[1].turn, "closed");
    assert!(told[1].text.contains("h below 10"), "{}", told[1].text);
    assert!(told.iter().all(|step| !step.pushed));
}

#[test]
fn a_restart_in_a_frosty_night_tells_nothing_twice() {
    let folder = tempfile::tempdir().unwrap();
    let notes = bed_of("tomato");
    let night = june() + 2 * HOUR;
    let mut core = again(folder.path(), &notes, june());
    walk(&mut core, "post", night, 5 * MINUTE, &[(0, 0.3), (HOUR, 0.3)]);
    core.flush(moment(night + HOUR)).unwrap();
    drop(core);
    let mut core = again(folder.path(), &notes, night + HOUR + MINUTE);
    walk(&mut core, "post", night + HOUR + 5 * MINUTE, 5 * MINUTE, &[(0, 0.3), (HOUR, 0.3)]);
    assert_eq!(told(&core, "frost").len(), 1);
}
