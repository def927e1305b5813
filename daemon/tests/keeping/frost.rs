//! Frost and chill: expected in the evening, here at night, over in the morning.
//!
//! Crop figures are the crop book's: tomato chills at 10, is harmed at 0 and dies at -1.5; cabbage is harmed at -5.

use glasshour::entry::{Forecast, Note, PlaceKind};
use glasshour::keeper::core::Core;

use super::garden::*;

/// Nights of early spring: the air falls from a highest at 15:00 by the curve of the garden.
fn bed_of(crop: &str) -> Vec<Note> {
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

/// A forecast of nine days from a midnight, by the lowest and highest of each day, as if issued a minute ago.
fn foretell(core: &mut Core, day: i64, at_ms: i64, told: &dyn Fn(i64) -> (f64, f64)) {
    foretell_days(core, day..day + 9, at_ms, told);
}

/// The same of other days.
fn foretell_days(core: &mut Core, days: std::ops::Range<i64>, at_ms: i64, told: &dyn Fn(i64) -> (f64, f64)) {
    let hourly = |day: i64, hour: f64| {
        let (low, high) = told(day);
        curve(low, high, hour)
    };
    foretell_hours(core, days, at_ms, &hourly);
}

/// The same by day and hour.
fn foretell_hours(core: &mut Core, days: std::ops::Range<i64>, at_ms: i64, told: &dyn Fn(i64, f64) -> f64) {
    let start_ms = june() + days.start * DAY;
    let air =
        days.flat_map(|day| (0..24).map(move |hour| libm::round(told(day, f64::from(hour)) * 10.0) as i16));
    let forecast = Forecast {
        issued_ms: at_ms - MINUTE,
        start_ms,
        step_min: 60,
        air: air.collect(),
        ..Forecast::default()
    };
    core.advance(moment(at_ms));
    core.note(moment(at_ms), Note::Outlook(forecast), None).unwrap();
}

/// Lives through days as they were foretold each midnight and noon; those of `told` may differ from what comes.
fn live(
    core: &mut Core,
    of: std::ops::Range<i64>,
    told: &dyn Fn(i64) -> (f64, f64),
    came: &dyn Fn(i64) -> (f64, f64),
) {
    for day in of {
        let start = june() + day * DAY;
        for tenth in 0..144 {
            if tenth == 0 || tenth == 72 {
                foretell(core, day, start + tenth * 10 * MINUTE, told);
            }
            let (low, high) = came(day);
            let at = tenth * 10 * MINUTE;
            hear(core, start + at, &[("post", AIR, curve(low, high, at as f64 / HOUR as f64))]);
        }
    }
}

/// Ten mild overcast days; then the sky clears in the night to the twelfth of June.
fn clearing(day: i64) -> (f64, f64) {
    if day == 11 { (-1.0, 14.0) } else { (10.0, 15.0) }
}

#[test]
fn a_clear_night_after_overcast_ones_is_seen_by_the_forecast_where_the_last_nights_see_none() {
    let first = |foretold: bool| {
        let mut core = in_memory(&bed_of("tomato"), june());
        let (day, mild) = (10, |_| (10.0, 15.0));
        let outlook: &dyn Fn(i64) -> (f64, f64) = if foretold { &clearing } else { &mild };
        live(&mut core, 0..day, &mild, &clearing);
        live(&mut core, day..day + 1, outlook, &clearing);
        let steps = told(&core, "frost");
        steps.into_iter().find(|step| step.at_ms < june() + day * DAY + 22 * HOUR)
    };
    assert_eq!(first(false), None, "they fell by five degrees");
    let told = first(true).unwrap();
    assert_eq!((told.severity.as_str(), told.pushed), ("severe", true), "{told:?}");
    assert!(told.text.contains("the forecast, moved to this place, says -"), "{}", told.text);
}

#[test]
fn a_forecast_of_cloud_after_clear_nights_keeps_the_evening_quiet() {
    let told_with = |outlook: bool| {
        let mut core = in_memory(&bed_of("tomato"), june());
        // By the nights before, which fell by 11.1 from 16:00, it would come to about 1; it comes to 9.
        let weather = |day: i64| if day < 8 { (6.0, 20.0) } else { (9.0, 14.0) };
        if outlook {
            live(&mut core, 0..9, &weather, &weather);
        } else {
            let extremes: Vec<_> = (0..9).map(weather).collect();
            days(&mut core, "post", june(), 10 * MINUTE, &extremes);
        }
        told(&core, "frost").len()
    };
    assert!(told_with(false) > 0);
    assert_eq!(told_with(true), 0);
}

#[test]
fn frost_in_the_next_nights_goes_to_the_page_once_two_forecasts_say_so_and_the_evening_before_buzzes() {
    // Told from the ninth of June on. The night to the twelfth is clear, and so is the evening after.
    let mild = |_: i64| (10.0, 15.0);
    let mut core = in_memory(&bed_of("tomato"), june());
    live(&mut core, 0..8, &mild, &mild);
    live(&mut core, 8..14, &clearing, &clearing);
    let ahead = told(&core, "frost-ahead");
    let steps: Vec<_> =
        ahead.iter().map(|step| (step.turn.as_str(), step.severity.as_str(), step.pushed)).collect();
    assert_eq!(steps, [("opened", "moderate", false), ("closed", "moderate", false)], "{ahead:#?}");
    let opened = &ahead[0];
    // At noon comes the second that says so; the night to the twelfth is the third of the next.
    assert_eq!((opened.at_ms - june()) / MINUTE, (8 * 24 + 12) * 60 + 30, "{opened:?}");
    assert_eq!(opened.title, "Have fleece ready for tomatoes: frost may come in the night to Friday.");
    for part in ["has about -1 at the lowest in the night to Friday", "Tomatoes are harmed at 0"] {
        assert!(opened.text.contains(part), "{part:?} is missing in {:?}", opened.text);
    }
    let tonight = told(&core, "frost");
    let evenings: Vec<_> = tonight.iter().filter(|step| step.turn == "opened").collect();
    assert!(evenings.len() == 2 && evenings.iter().all(|step| step.pushed && step.severity == "severe"));
    assert_eq!((evenings[0].at_ms - june()) / MINUTE, (10 * 24 + 16) * 60 + 30, "{tonight:#?}");
    assert_eq!(ahead[1].at_ms, evenings[1].at_ms, "the one goes on where the other ends");
}

#[test]
fn a_frost_that_only_one_forecast_of_two_tells_of_is_neither_told_nor_taken_back() {
    let mild = |_: i64| (10.0, 15.0);
    let mut core = in_memory(&bed_of("tomato"), june());
    live(&mut core, 0..9, &mild, &mild);
    let morning = june() + 9 * DAY + 6 * HOUR;
    let mut turns = Vec::new();
    for (hour, cold) in [true, false, true, true, false, true, false, false].into_iter().enumerate() {
        let told_for: &dyn Fn(i64) -> (f64, f64) = if cold { &clearing } else { &mild };
        foretell(&mut core, 9, morning + hour as i64 * HOUR, told_for);
        core.advance(moment(morning + hour as i64 * HOUR + 45 * MINUTE));
        turns.push(told(&core, "frost-ahead").len());
    }
    // As it closes only after two that do not say so, so it opens only after two that do.
    assert_eq!(turns, [0, 0, 0, 1, 1, 1, 1, 2]);
    assert_eq!(told(&core, "frost-ahead")[1].title, "No frost is foretold any more.");
}

#[test]
fn a_restart_between_the_forecast_and_the_frost_tells_the_same_steps() {
    let told_through = |restarts: &[i64]| {
        let folder = tempfile::tempdir().unwrap();
        let mut core = again(folder.path(), &bed_of("tomato"), june());
        let mut from = 0;
        for day in restarts.iter().chain([&13]) {
            live(&mut core, from..*day, &clearing, &clearing);
            everything(&mut core);
            let now = core.engine().now_ms();
            core.flush(moment(now)).unwrap();
            drop(core);
            core = again(folder.path(), &[], now);
            from = *day;
        }
        (told(&core, "frost-ahead"), told(&core, "frost"))
    };
    let whole = told_through(&[]);
    assert_eq!((whole.0.len(), whole.1.is_empty()), (2, false), "{whole:#?}");
    assert_eq!(told_through(&[5, 9, 10, 11]), whole);
}

#[test]
fn a_probe_that_is_blind_at_dusk_takes_back_no_frost_that_is_foretold_for_the_night() {
    let steps_by = |seen_until_h: i64| {
        let mut core = in_memory(&bed_of("tomato"), june());
        let mild = |_: i64| (10.0, 15.0);
        live(&mut core, 0..10, &mild, &mild);
        // One night of frost, that to the twelfth, and mild again by noon.
        let outlook =
            |day: i64, hour: f64| if day == 11 && hour < 10.0 { -1.0 } else { curve(10.0, 15.0, hour) };
        let day = june() + 10 * DAY;
        foretell_hours(&mut core, 10..19, day + HOUR, &outlook);
        foretell_hours(&mut core, 10..19, day + 2 * HOUR, &outlook);
        for tenth in 12..6 * seen_until_h {
            let at = tenth * 10 * MINUTE;
            hear(&mut core, day + at, &[("post", AIR, curve(10.0, 15.0, at as f64 / HOUR as f64))]);
        }
        core.advance(moment(day + 28 * HOUR));
        let by_night = told(&core, "frost-ahead").len();
        core.advance(moment(day + 31 * HOUR));
        (told(&core, "frost"), by_night, told(&core, "frost-ahead"))
    };
    // Heard until noon; what is not heard is not judged, so what was told stands as long as the night lasts.
    let (frost, by_night, ahead) = steps_by(12);
    assert_eq!((frost.len(), by_night), (0, 1), "{frost:#?} {ahead:#?}");
    assert_eq!(ahead[1].turn, "closed", "by day it is over");
    // Heard all evening, the frost of the night has its own notice, and this one ends.
    let (frost, by_night, _) = steps_by(24);
    assert_eq!((frost[0].turn.as_str(), by_night), ("opened", 2));
}

#[test]
fn forecasts_that_end_before_a_night_take_back_nothing_that_was_told_of_it() {
    let mut core = in_memory(&bed_of("tomato"), june());
    let mild = |_: i64| (10.0, 15.0);
    live(&mut core, 0..8, &mild, &mild);
    live(&mut core, 8..9, &clearing, &mild);
    assert_eq!(told(&core, "frost-ahead").len(), 1);
    let morning = june() + 9 * DAY + 6 * HOUR;
    let look = |core: &mut Core, hour: i64, days: i64, told_for: &dyn Fn(i64) -> (f64, f64)| {
        foretell_days(core, 9..9 + days, morning + hour * HOUR, told_for);
        core.advance(moment(morning + hour * HOUR + 45 * MINUTE));
        told(core, "frost-ahead").len()
    };
    // Those of two days reach the night to the eleventh, and not that to the twelfth, of which the last word was frost.
    let short: Vec<_> = (0..3).map(|hour| look(&mut core, hour, 2, &clearing)).collect();
    assert_eq!(short, [1, 1, 1]);
    // One that reaches it may take it back, and short ones after it add nothing.
    assert_eq!([look(&mut core, 3, 9, &mild), look(&mut core, 4, 2, &mild)], [2, 2]);
    assert_eq!(told(&core, "frost-ahead")[1].title, "No frost is foretold any more.");
}

#[test]
fn of_several_nights_of_frost_the_first_is_told_by_its_own_low_and_the_coldest_beside_it() {
    let said = |days_lived: i64| {
        let mut core = in_memory(&bed_of("tomato"), june());
        let mild = |_: i64| (10.0, 15.0);
        live(&mut core, 0..days_lived, &mild, &mild);
        let weather = move |day: i64| match day - days_lived {
            2 => (-1.0, 14.0),
            3 => (-4.0, 14.0),
            _ => (10.0, 15.0),
        };
        for hour in [6, 7] {
            foretell(&mut core, days_lived, june() + days_lived * DAY + hour * HOUR, &weather);
        }
        core.advance(moment(june() + days_lived * DAY + 8 * HOUR));
        told(&core, "frost-ahead")[0].text.clone()
    };
    let text = said(8);
    let night = "has about -1 at the lowest in the night to";
    assert!(text.contains(&format!("the forecast, moved to this place, {night}")), "{text}");
    assert!(
        text.contains(", the first of 2 such nights in the next 3, down to -4 on a later one;"),
        "{text}"
    );
    // Two days are too few to know how forecasts stray in this bed.
    let text = said(2);
    assert!(text.contains(&format!("the forecast {night}")), "{text}");
}
