//! Heat that is seen coming, in what it changes near at hand: under a warning, in a house that nobody measures, today.

use glasshour::entry::{MessageKind, Note, PlaceKind};
use glasshour::keeper::core::Core;

use super::dome::{COOL, DOME, HOT, live_in, message, steps, tell, wanted, weather};
use super::garden::*;

/// Ten ordinary days and one that passes the moderate line of tomatoes, 32 °C, and not the severe one, 35 °C.
fn a_moderate_day(warnings: impl FnOnce(&mut Core), extremes: (f64, f64)) -> Vec<Told> {
    let mut notes = tomato_bed();
    notes[1] = hang("post", "bed", 600);
    let mut core = in_memory(&notes, june());
    days(&mut core, "post", june(), 10 * MINUTE, &[extremes; 10]);
    warnings(&mut core);
    days(&mut core, "post", june() + 10 * DAY, 10 * MINUTE, &[(16.0, 33.5)]);
    told(&core, "too-hot").into_iter().filter(|step| step.at_ms >= june() + 10 * DAY).collect()
}

/// An authority's message for hours counted from the eleventh of June.
fn warns(core: &mut Core, from_h: i64, until_h: i64) {
    let day = june() + 10 * DAY;
    let mut alert = message(MessageKind::Alert, "a", day - 2 * HOUR, &[]);
    alert.says[0].onset_ms = Some(day + from_h * HOUR);
    alert.says[0].expires_ms = Some(day + until_h * HOUR);
    core.note(moment(day - MINUTE), Note::PublicWarning(alert), None).unwrap();
}

#[test]
fn while_a_heat_warning_is_in_force_a_crop_is_told_of_a_step_earlier_and_else_not() {
    // AGRONOMY 4.4 (practice); crop book, tomato.
    const WHY: &str = "A heat warning is in force, so this buzzes sooner than on other days.";
    let ordinary = (12.0, 26.0);
    let buzzed = |steps: &[Told]| steps.iter().filter(|it| it.pushed).count();
    let quiet = a_moderate_day(|_| {}, ordinary);
    assert_eq!((quiet[0].severity.as_str(), buzzed(&quiet)), ("moderate", 0), "{quiet:#?}");
    let warned = a_moderate_day(|core| warns(core, 6, 22), ordinary);
    assert_eq!((warned[0].severity.as_str(), warned[0].pushed), ("moderate", true), "{warned:#?}");
    assert!(warned[0].text.contains(WHY) && !quiet[0].text.contains(WHY), "{}", warned[0].text);
    let heard = |from: &str| {
        let from = from.to_owned();
        move |core: &mut Core| {
            let to = "2026-06-13".to_owned();
            let note = Note::HeatWarning { from, to, about_c: 36.0, said_by: None };
            core.note(moment(june() + 10 * DAY - MINUTE), note, None).unwrap();
        }
    };
    let by_hand = a_moderate_day(heard("2026-06-11"), ordinary);
    assert!(by_hand[0].pushed && by_hand[0].text.contains(WHY), "{by_hand:#?}");
    // Not yet in force, over before it gets hot, and on a day that is as these weeks are.
    let not = [
        a_moderate_day(heard("2026-06-12"), ordinary),
        a_moderate_day(|core| warns(core, 30, 50), ordinary),
        a_moderate_day(|core| warns(core, 0, 8), ordinary),
        a_moderate_day(|core| warns(core, 6, 22), (16.0, 33.0)),
    ];
    for steps in not {
        assert!(!steps.is_empty() && buzzed(&steps) == 0, "{steps:#?}");
        assert!(steps.iter().all(|it| !it.text.contains(WHY)), "{steps:#?}");
    }
}

#[test]
fn a_warning_that_comes_while_it_is_hot_already_buzzes_then() {
    let mut notes = tomato_bed();
    notes[1] = hang("post", "bed", 600);
    let mut core = in_memory(&notes, june());
    days(&mut core, "post", june(), 10 * MINUTE, &[(12.0, 26.0); 10]);
    let day = june() + 10 * DAY;
    walk(&mut core, "post", day + 10 * HOUR, 10 * MINUTE, &[(0, 30.0), (HOUR, 33.0), (3 * HOUR, 33.0)]);
    warns(&mut core, 13, 20);
    walk(&mut core, "post", day + 13 * HOUR, 10 * MINUTE, &[(0, 33.0), (HOUR, 33.0)]);
    let steps: Vec<_> =
        told(&core, "too-hot").into_iter().map(|it| (it.turn, it.severity, it.pushed)).collect();
    let of = |turn: &str, pushed| (turn.to_owned(), "moderate".to_owned(), pushed);
    assert_eq!(steps, [of("opened", false), of("worsened", true)]);
}

#[test]
fn a_house_without_a_probe_is_told_of_where_outside_alone_passes_its_lines_for_two_days() {
    // A yard with its probe, and a house of tomatoes that nobody measures: 35 °C is their severe line (crop book), 40 °C the
    // house's own.
    let notes = [
        place("house", PlaceKind::House),
        planting("red", "tomato", "house"),
        place("yard", PlaceKind::Outdoors),
        hang("mast", "yard", 1800),
    ];
    let told_at = |hot_c: f64| {
        let mut core = in_memory(&notes, june());
        live_in(&mut core, 0..COOL + 1, &|day| weather(day, hot_c), &|outside| outside, true);
        (steps(&core, DOME), told(&core, DOME))
    };
    let through = [
        (HOT - 5, 5, "opened", "severe"),
        (HOT, 5, "worsened", "extreme"),
        (COOL - 1, 21, "closed", "extreme"),
    ];
    let (steps, told) = told_at(38.0);
    assert_eq!(steps, wanted(&through));
    let opened = &told[0];
    assert!(opened.pushed, "hotter than the fortnight outside by far");
    for part in [
        "Nobody measures house, so how hot it gets inside cannot be said; outside alone has up to about 38 °C",
        "tomatoes bear 35",
    ] {
        assert!(opened.text.contains(part), "{part:?} is missing in {:?}", opened.text);
    }
    assert!(!opened.text.contains("should pass 40"), "{}", opened.text);
    assert!(told_at(41.5).1[0].text.contains("no place under cover should pass 40"));
    assert_eq!(told_at(34.0).0, [], "below its lines nothing is known of the house");
}

#[test]
fn today_counts_among_the_days_of_heat_by_what_it_has_been() {
    // AGRONOMY 2.5b: two days or more. Today was told to stay below the line and passes it; tomorrow is told to pass it.
    for (highs, buzzes) in [([34.0, 36.5, 30.0], true), ([34.0, 30.0, 36.5], false)] {
        let mut notes = tomato_bed();
        notes[1] = hang("post", "bed", 1800);
        let mut core = in_memory(&notes, june());
        days(&mut core, "post", june(), 30 * MINUTE, &[(18.0, 36.0); 7]);
        let told_for = move |day: i64| (18.0, highs.get((day - 7) as usize).copied().unwrap_or(28.0));
        tell(&mut core, 7, 1, &told_for);
        let since = june() + 7 * DAY;
        assert_eq!(severe_heat_buzzes(&mut core, since), buzzes, "{highs:?}");
    }
}

#[test]
fn a_forecast_that_missed_three_of_the_last_five_days_says_so_where_it_is_gone_by() {
    // AGRONOMY 4.3. Each day has 28 °C; it is told as 22 and 34 in turn, or as it comes.
    for (misses_c, poor) in [(6.0, true), (0.0, false)] {
        let mut notes = tomato_bed();
        notes[1] = hang("post", "bed", 1800);
        let mut core = in_memory(&notes, june());
        let told_for = move |day: i64| match day {
            8 => (18.0, 38.0),
            _ => (18.0, 28.0 + if day % 2 == 0 { misses_c } else { -misses_c }),
        };
        for day in 0..9 {
            tell(&mut core, day, 1, &told_for);
            let came = if day == 8 { (18.0, 38.0) } else { (18.0, 28.0) };
            days(&mut core, "post", june() + day * DAY, 30 * MINUTE, &[came]);
        }
        let first = told(&core, "on-course").into_iter().find(|it| it.at_ms > june() + 8 * DAY).unwrap();
        let says =
            "; the forecast missed 5 of the last 5 days there by more than 3 °C, so go by the thermometer.";
        assert!(first.text.contains("from the forecast and"), "{}", first.text);
        assert_eq!(first.text.contains(says), poor, "{}", first.text);
    }
}
