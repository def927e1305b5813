use super::super::fixtures;
use super::*;
use crate::entry::{Entry, Note, PlaceKind};
use crate::glance::OutlookGlance;
use crate::outlook::correct::Ranged;
use crate::outlook::skill::{PastDay, skill};

/// The hot day of the fixtures with a forecast of five days up to 41 °C.
fn ahead() -> Glance {
    let mut glance = fixtures::heat();
    let day_ms = agronomy::series::MS_PER_DAY;
    let offset_ms = i64::from(glance.standard_offset_s) * 1000;
    let today = (glance.at_ms + offset_ms).div_euclid(day_ms);
    let days: Vec<DayAhead> = [33.0, 36.0, 39.0, 41.0, 37.0]
        .into_iter()
        .zip(today..)
        .map(|(high, day)| DayAhead {
            day,
            high: Ranged::about(high, 2.0),
            low: Ranged::about(18.0, 1.5),
            origin: Origin::Forecast,
        })
        .collect();
    let hours = days.iter().flat_map(|day| {
        (0..24).map(move |hour| {
            let share = 0.5 - 0.5 * libm::cos(std::f64::consts::TAU * (f64::from(hour) - 3.0) / 24.0);
            let middle = 18.0 + (day.high.middle_c - 18.0) * share;
            (day.day * day_ms - offset_ms + i64::from(hour) * 3_600_000, middle - 2.0, middle, middle + 2.0)
        })
    });
    let past: Vec<PastDay> = (1..=7)
        .map(|at| PastDay {
            date: format!("2026-07-{:02}", at + 7),
            told: Ranged::about(33.0, 2.0),
            came_c: 31.0 + f64::from(at) * 0.7,
        })
        .collect();
    let first = &glance.places[0];
    let place = PlaceOutlook {
        place: first.place.clone(),
        name: first.name.clone(),
        kind: PlaceKind::House,
        hours: hours.filter(|hour| hour.0 >= glance.at_ms).collect(),
        days,
        skill: skill(&past, 35.0),
        past,
        lately: vec![("2026-07-14".to_owned(), 17.0, 33.0)],
    };
    let forecast = Some((glance.at_ms - 7_200_000, glance.at_ms - 3_600_000));
    glance.outlook = OutlookGlance { forecast, fresh: true, outside: Vec::new(), places: vec![place] };
    glance
}

fn shown(glance: &Glance) -> String {
    view(glance, Did::default()).into_string()
}

#[test]
fn without_a_forecast_the_page_says_that_it_cannot_see_and_asks_what_was_heard() {
    let html = shown(&fixtures::calm());
    assert!(html.contains("<h1>No forecast: this board cannot see a heat wave coming.</h1>"));
    assert!(html.contains("class=\"lintel blind\"") && html.contains("I heard a heat warning"));
    assert!(html.contains("<details class=\"fold\" id=\"heard-warning\" open"), "the form stands open");
    let mut stale = ahead();
    (stale.outlook.fresh, stale.open) = (false, Vec::new());
    assert!(
        shown(&stale).contains("cannot see a heat wave coming") && shown(&stale).contains("too old to go by")
    );
}

#[test]
fn a_warning_that_was_heard_is_something_to_go_by() {
    let mut glance = fixtures::calm();
    let note = Note::HeatWarning {
        from: "2026-07-16".into(),
        to: "2026-07-18".into(),
        about_c: 40.0,
        said_by: None,
    };
    glance.entries.push(Entry { id: 99, at_ms: glance.at_ms - 1, from_ms: glance.at_ms - 1, note });
    assert!(!shown(&glance).contains(NO_FORECAST));
}

/// Notes a warning of 40 °C for 16 to 18 July.
fn warn(glance: &mut Glance) {
    let (from, to) = ("2026-07-16".into(), "2026-07-18".into());
    let note = Note::HeatWarning { from, to, about_c: 40.0, said_by: None };
    glance.entries.push(Entry { id: 99, at_ms: glance.at_ms - 1, from_ms: glance.at_ms - 1, note });
}

/// How far right the band of the last days or the own estimate reaches.
fn band_reaches(html: &str) -> f64 {
    let path = html.split("class=\"band\" d=\"").nth(1).unwrap().split('"').next().unwrap();
    let pairs = path
        .split(|it: char| it.is_ascii_alphabetic())
        .filter_map(|pair| pair.trim().split([' ', ',']).next());
    pairs.filter_map(|across| across.parse().ok()).fold(f64::NEG_INFINITY, f64::max)
}

#[test]
fn the_days_of_a_warning_that_was_heard_name_it_and_are_not_drawn_as_mild() {
    let days = ["Thu 16", "Fri 17", "Sat 18"];
    let mut lately = ahead();
    (lately.outlook.fresh, lately.outlook.forecast, lately.open) = (false, None, Vec::new());
    lately.outlook.places[0].days.clear();
    lately.outlook.places[0].hours.clear();
    let before = band_reaches(&shown(&lately));
    warn(&mut lately);
    let html = shown(&lately);
    assert!(days.iter().all(|day| html.contains(&format!("{day}: 40 heard"))), "{html}");
    assert!(!html.contains("Sun 19: 40 heard"));
    assert!(band_reaches(&html) > before + 1.0, "{before} and {}", band_reaches(&html));
    assert!(html.contains("it reaches what was said for outside"));

    let mut own = ahead();
    for day in &mut own.outlook.places[0].days {
        (day.origin, day.high) = (Origin::OwnEstimate, Ranged::about(28.0, 2.0));
    }
    warn(&mut own);
    let html = shown(&own);
    assert!(
        html.contains("Thu 16: 40 heard") && html.contains("own estimate 26 to 30, not a forecast"),
        "{html}"
    );
    assert!(html.contains("own estimate; 40 heard"), "in figures too");

    let mut told = ahead();
    warn(&mut told);
    assert_eq!(shown(&told).matches(" h past 33, 40 heard<").count(), 3, "{}", shown(&told));
}

#[test]
fn five_days_carry_their_names_ranges_and_hours_past_the_first_string() {
    let html = shown(&ahead());
    for wanted in
        ["39 to 43", "h past", "Sat 18", "Foretold, and what came", "off by", "In figures", "forecast</td>"]
    {
        assert!(html.contains(wanted), "{wanted} missing");
    }
    assert!(
        html.contains("passes") && html.contains("All the days ahead pass 33."),
        "the worst day against the first line"
    );
}

#[test]
fn a_house_that_no_probe_measures_is_named_and_no_calm_is_told_for_it() {
    let mut glance = ahead();
    glance.open.clear();
    // The yard is told; the house has no probe.
    let house = glance.places[0].place.clone();
    let mut yard = glance.outlook.places.remove(0);
    (yard.place, yard.name, yard.kind) = ("yard".to_owned(), "Yard".to_owned(), PlaceKind::Outdoors);
    glance.outlook.places = vec![yard];
    let place = &mut glance.places[0];
    (place.name, place.heard_ms, place.by_hand, place.t_c) = ("Long House".to_owned(), None, None, None);
    let html = shown(&glance);
    assert!(html.contains("Long House: no probe, so nobody can say how hot it gets inside"), "{html}");
    assert!(html.contains("<h1>Look into Long House by noon: no forecast tells of it.</h1>"));
    assert!(html.contains("class=\"lintel blind\"") && !html.contains("No limit is passed"));
    // Once it is measured, three days are wanted; once it is told, nothing is missing.
    glance.places[0].heard_ms = Some(glance.at_ms);
    assert!(shown(&glance).contains("Long House: its own way with the air outside is not known yet"));
    let told = ahead();
    assert_eq!(told.places[0].place, house);
    assert!(!shown(&told).contains("Not known ahead"));
    // A shed in which nothing grows is nobody's concern.
    glance.places[0].kind = PlaceKind::Shed;
    glance.plantings.clear();
    assert!(!shown(&glance).contains("Not known ahead"));
}

#[test]
fn an_own_estimate_says_that_it_is_no_forecast() {
    let mut glance = ahead();
    for day in &mut glance.outlook.places[0].days {
        day.origin = Origin::OwnEstimate;
    }
    (glance.outlook.fresh, glance.outlook.forecast, glance.open) = (false, None, Vec::new());
    let html = shown(&glance);
    assert!(html.contains("own estimate, not a forecast") && html.contains("class=\"band\""));
    assert!(html.contains(NO_FORECAST) && html.contains("sees no heat wave coming"));
}

#[test]
fn three_misses_of_five_are_said_before_the_days() {
    let mut glance = ahead();
    glance.open.clear();
    let place = &mut glance.outlook.places[0];
    for day in place.past.iter_mut().rev().take(3) {
        day.came_c = 40.0;
    }
    place.skill = skill(&place.past, 35.0);
    let html = shown(&glance);
    let at = |needle: &str| html.find(needle).unwrap_or_else(|| panic!("{needle} missing"));
    assert!(at("It has missed 3 of the last 5 days") < at("reaches"), "in the lintel, before the days");
}

#[test]
fn nothing_on_the_page_needs_an_inline_style_and_hostile_names_stay_text() {
    let mut glance = ahead();
    glance.outlook.places[0].name = "<script>alert(1)</script>".to_owned();
    let html = shown(&glance);
    assert!(!html.contains(" style=") && !html.contains("<script>alert"));
}
