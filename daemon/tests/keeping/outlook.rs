//! Forecasts: kept as entries, held against what came, corrected to each place, and the same again after a restart.

use glasshour::calendar::Day;
use glasshour::entry::{Forecast, Note, PlaceKind};
use glasshour::glance::OutlookGlance;
use glasshour::keeper::core::Core;
use glasshour::keeper::view::{Shell, glance};
use glasshour::outlook::ahead::{DayAhead, Origin};

use super::garden::*;

/// How much hotter than told it gets in the yard, and in the house, °C.
const YARD_C: f64 = 3.0;
const HOUSE_C: f64 = 8.0;

fn garden() -> Vec<Note> {
    let mut notes = tomato_house();
    notes.extend([
        place("yard", PlaceKind::Outdoors),
        hang("mast", "yard", 1800),
        hang("post", "house", 1800),
    ]);
    notes
}

/// What is told for a day: its lowest and highest, °C.
fn told_for(day: i64) -> (f64, f64) {
    let high = 24.0 + (day * 7 % 5) as f64;
    (high - 12.0, high)
}

/// A forecast of a week from a midnight, by the hour, in the curve of the garden's days.
fn week(first: i64) -> Forecast {
    let air = (first..first + 9).flat_map(|day| {
        let (low, high) = told_for(day);
        (0..24).map(move |hour| libm::round(curve(low, high, f64::from(hour)) * 10.0) as i16)
    });
    let start_ms = june() + first * DAY;
    Forecast { issued_ms: start_ms - HOUR, start_ms, step_min: 60, air: air.collect(), ..Forecast::default() }
}

/// Lives through days with a forecast told each evening at eleven.
fn live(core: &mut Core, days: std::ops::Range<i64>) {
    for day in days {
        let (low, high) = told_for(day);
        let mut at = 0;
        while at < DAY {
            let hour = at as f64 / HOUR as f64;
            let now = june() + day * DAY + at;
            let here = |hotter: f64| curve(low + hotter, high + hotter, hour);
            hear(core, now, &[("mast", AIR, here(YARD_C)), ("post", AIR, here(HOUSE_C))]);
            at += 30 * MINUTE;
            if at == 23 * HOUR {
                tell(core, june() + day * DAY + at, week(day + 1));
            }
        }
        core.advance(moment(june() + (day + 1) * DAY));
        core.flush(moment(june() + (day + 1) * DAY)).unwrap();
    }
}

fn tell(core: &mut Core, at_ms: i64, forecast: Forecast) {
    core.note(moment(at_ms), Note::Outlook(forecast), None).unwrap();
}

fn ahead(core: &Core, place: &str) -> Vec<DayAhead> {
    core.engine().days_ahead(place)
}

fn of_place<'a>(outlook: &'a OutlookGlance, place: &str) -> &'a glasshour::glance::PlaceOutlook {
    outlook.places.iter().find(|it| it.place == place).unwrap()
}

#[test]
fn after_ten_days_the_next_are_told_as_they_come_in_the_yard_and_in_the_house() {
    let mut core = in_memory(&garden(), june());
    tell(&mut core, june(), week(0));
    assert!(ahead(&core, "house").is_empty(), "of a house whose way is not known nothing is told");
    let first = ahead(&core, "yard");
    assert_eq!((first[1].high.middle_c, first[1].origin), (told_for(1).1, Origin::Forecast));
    live(&mut core, 0..10);
    let today: Day = calendar().day_of(june() + 10 * DAY);
    for (place, hotter) in [("yard", YARD_C), ("house", HOUSE_C)] {
        let days = ahead(&core, place);
        assert_eq!(days.iter().map(|it| it.day).collect::<Vec<_>>(), (today..today + 7).collect::<Vec<_>>());
        for (number, day) in (10..).zip(&days) {
            let (low, high) = told_for(number);
            assert!((day.high.middle_c - high - hotter).abs() < 0.2, "{place} {day:?}");
            assert!((day.low.middle_c - low - hotter).abs() < 0.2, "{place} {day:?}");
            assert!(day.high.to_c - day.high.middle_c >= 1.5 && day.high.middle_c - day.high.from_c >= 1.5);
        }
    }
    assert_eq!(core.engine().days_ahead_outside(), ahead(&core, "yard"));
    let outlook = core.engine().outlook();
    let skill = of_place(&outlook, "house").skill.clone().unwrap();
    assert!(skill.mean_miss_c < 0.2 && skill.missed_lately == (0, 5), "{skill:?}");
    // Of the yard the first three days were told as they came from the service: 3 °C too low, which is no miss.
    let yard = of_place(&outlook, "yard");
    assert!(yard.past.len() == 7 && yard.past.iter().all(|day| !day.missed()), "{:?}", yard.past);
}

#[test]
fn the_rest_of_a_morning_is_told_before_the_day_is_on_its_way() {
    let mut core = in_memory(&garden(), june());
    live(&mut core, 0..10);
    let dawn = june() + 10 * DAY + 4 * HOUR;
    let (low, high) = told_for(10);
    hear(&mut core, dawn, &[("post", AIR, curve(low + HOUSE_C, high + HOUSE_C, 4.0))]);
    let shown = glance(core.engine(), &Shell::default());
    let house = shown.places.iter().find(|it| it.place == "house").unwrap();
    let peak = house.expected.iter().map(|it| it.2).fold(f64::MIN, f64::max);
    // The hours' correction is drawn towards that of all hours, which here is the same.
    assert!((peak - high - HOUSE_C).abs() < 0.7, "{peak}");
    assert!(house.expected.iter().all(|it| it.1 <= it.2 && it.2 <= it.3));
}

#[test]
fn a_forecast_of_yesterday_is_not_gone_by_and_the_page_knows_when_it_came() {
    let mut core = in_memory(&garden(), june());
    live(&mut core, 0..4);
    assert!(core.engine().outlook().fresh && !ahead(&core, "yard").is_empty());
    core.advance(moment(june() + 5 * DAY + HOUR));
    let outlook = core.engine().outlook();
    assert!(!outlook.fresh && ahead(&core, "yard").is_empty() && outlook.outside.is_empty());
    let told = june() + 3 * DAY + 23 * HOUR;
    assert_eq!(outlook.forecast, Some((told, told)));
}

#[test]
fn a_restart_expects_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = again(folder.path(), &garden(), june());
    live(&mut core, 0..20);
    everything(&mut core);
    let now = core.engine().now_ms();
    // Both are asked after they looked at one and the same moment.
    core.advance(moment(now + MINUTE));
    let before = core.engine().outlook();
    core.flush(moment(now)).unwrap();
    drop(core);
    let mut core = again(folder.path(), &[], now);
    everything(&mut core);
    core.advance(moment(now + MINUTE));
    let after = core.engine().outlook();
    assert_eq!(before, after);
    assert_eq!(of_place(&after, "house").days.len(), 7);
    assert!(core.engine().ground().entries.iter().all(|it| !matches!(it.note, Note::Outlook(_))));
}

#[test]
fn nobody_notes_a_forecast_by_hand() {
    let note = Note::Outlook(week(0));
    assert!(note.is_told());
    assert_eq!(note.kind(), "outlook");
}
