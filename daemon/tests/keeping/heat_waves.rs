//! Whole heat waves, seen from a house: what is told, how often, how early, and what is not.
//!
//! The house is the demo's simulation (air, mass, vents, shade, canopy). Figures without a source beside them are common
//! practice for a heat dome: five days of 40 to 45 °C outside after a month of ordinary ones.

use std::collections::BTreeMap;
use std::path::PathBuf;

use glasshour::calendar::date;
use glasshour::demo::World;
use glasshour::demo::house::{House, Setting};
use glasshour::demo::site::DEFAULT_START_MS;
use glasshour::demo::weather::{DOME, DOME_DAYS, Outside};
use glasshour::entry::{Forecast, Note, PlaceKind, Step, Turn};
use glasshour::keeper::core::Core;
use glasshour::keeper::export::gather;
use glasshour::minders::heat::{ON_COURSE, TOO_HOT};
use glasshour::minders::silent::SILENT;

use super::garden::*;

/// How often every probe speaks, ms.
const EVERY: i64 = 5 * MINUTE;
/// Most times in a day that one place may ring: more is a siren, not a word (own choice).
const MOST_RINGS: usize = 6;
/// Most notices that may open in a day about one place, with those that stand on the page only (own choice): the fifth hot
/// dry day brings mites to look for beside all that the heat itself does.
const MOST_OPENED: usize = 8;

/// A house of tomatoes, a bed of lettuce and a mast in the yard.
fn garden() -> Vec<Note> {
    vec![
        place("house", PlaceKind::House),
        hang("post", "house", 300),
        planting("red", "tomato", "house"),
        place("bed", PlaceKind::Bed),
        hang("gate", "bed", 300),
        planting("green", "lettuce", "bed"),
        place("yard", PlaceKind::Outdoors),
        hang("mast", "yard", 300),
    ]
}

/// Lives through a time, each probe with its air: `(probe, °C, %)` at a moment.
fn live(
    core: &mut Core,
    span: std::ops::Range<i64>,
    mut said: impl FnMut(i64) -> Vec<(&'static str, f64, f64)>,
) {
    for at_ms in span.step_by(EVERY as usize) {
        let each = said(at_ms).into_iter();
        let readings: Vec<_> =
            each.flat_map(|(probe, t_c, rh)| [(probe, AIR, t_c), (probe, HUMIDITY, rh)]).collect();
        hear(core, at_ms, &readings);
        if at_ms.rem_euclid(HOUR) == 0 {
            core.flush(moment(at_ms)).unwrap();
        }
    }
}

/// What the demo's garden says at a moment.
fn of_world(world: &World, at_ms: i64) -> Vec<(&'static str, f64, f64)> {
    let truth = world.at(at_ms);
    let rounded = |t_c: f64| libm::round(t_c * 10.0) / 10.0;
    vec![
        ("post", rounded(truth.house.t_c), truth.house.rh_pct),
        ("gate", rounded(truth.beds[0].t_c), truth.beds[0].rh_pct),
        ("mast", rounded(truth.outside.t_c), truth.outside.rh_pct),
    ]
}

/// Every step that was told, all of them committed.
fn told_in(core: &mut Core) -> Vec<Step> {
    core.flush(moment(core.engine().now_ms())).unwrap();
    let entries = core.ledger().entries().unwrap().into_iter();
    let step = |note| if let Note::Step(step) = note { Some(step) } else { None };
    entries.filter_map(|entry| step(entry.note)).collect()
}

/// How many notices opened, by day and place; each day's are printed where a test asks for its output.
fn opened_by_day(steps: &[Step]) -> BTreeMap<(String, String), Vec<String>> {
    let mut by_day: BTreeMap<(String, String), Vec<String>> = BTreeMap::new();
    for step in steps.iter().filter(|step| step.turn == Turn::Opened) {
        let day = date(calendar().day_of(step.at_ms));
        by_day.entry((day, step.place.clone())).or_default().push(step.minder.clone());
    }
    for ((day, place), minders) in &by_day {
        println!("{day} {place:6} {}", minders.join(", "));
    }
    by_day
}

/// Asserts that no notice of a minder and place opens twice within an hour.
fn assert_none_flaps(steps: &[Step]) {
    let mut last: BTreeMap<(&str, &str), i64> = BTreeMap::new();
    for step in steps.iter().filter(|step| step.turn == Turn::Opened) {
        let before = last.insert((&step.minder, &step.place), step.at_ms);
        let apart = before.map_or(i64::MAX, |before| step.at_ms - before);
        assert!(apart >= HOUR, "{} {} opens again after {} min", step.minder, step.place, apart / MINUTE);
    }
}

/// Whether a step is about heat.
fn heat_step(step: &Step) -> bool {
    [TOO_HOT, ON_COURSE].contains(&step.minder.as_str())
}

#[test]
fn five_days_at_40_to_45_after_a_mild_month_are_told_daily_without_a_siren_and_all_is_closed_after() {
    let world = World::new(1, DEFAULT_START_MS);
    let day = |number| world.calendar().at(number, 0, 0);
    let mut core = in_memory(&garden(), day(-30));
    // The break after the dome is two cooler days.
    live(&mut core, day(-30)..day(DOME + DOME_DAYS + 2), |at_ms| of_world(&world, at_ms));
    let steps = told_in(&mut core);
    let by_day = opened_by_day(&steps);
    assert_none_flaps(&steps);
    for number in DOME..DOME + DOME_DAYS {
        let span = day(number)..day(number + 1);
        let rang = steps
            .iter()
            .filter(|step| step.push && span.contains(&step.at_ms))
            .filter(|step| heat_step(step));
        let rang: Vec<_> = rang
            .map(|it| format!("{} {} {} {:?}", calendar().clock(it.at_ms), it.place, it.minder, it.turn))
            .collect();
        println!("day {number} rang {rang:?}");
        assert!(!rang.is_empty(), "nothing rang on day {number} of the story");
        for place in ["house", "bed", "yard"] {
            let here = rang.iter().filter(|it| it.contains(place)).count();
            assert!(here <= MOST_RINGS, "{place}: {rang:?}");
        }
    }
    for ((day, place), minders) in &by_day {
        assert!(minders.len() <= MOST_OPENED, "{day} {place}: {minders:?}");
    }
    let truth = world.at(core.engine().now_ms());
    println!("at the end: house {:.1}, outside {:.1}", truth.house.t_c, truth.outside.t_c);
    let open: Vec<Step> = gather(&steps)
        .into_iter()
        .filter_map(|steps| steps.last().map(|step| (*step).clone()))
        .filter(|step| step.turn != Turn::Closed)
        // Mildew that the last days favoured, lettuce that long warm days make bolt, and the list of what to do after
        // it outlive the heat; what days in a row did is over after three cooler ones.
        .filter(|step| !["signs", "bolting", "after-heat", "warm-spell"].contains(&step.minder.as_str()))
        .collect();
    assert!(open.is_empty(), "open without a cause after two cool days: {open:#?}");
}

/// The grower of these houses: opens when it is warm, puts the net on when it is hot.
fn cared_for(outside: &Outside, inside_c: f64) -> Setting {
    Setting {
        vents: if inside_c > 22.0 { 0.16 } else { 0.0 },
        shade: outside.t_c > 28.0 && outside.sun_w_m2 > 300.0,
        leaf_area: 2.0,
        supply: 1.0,
    }
}

/// A house that is cared for, under an outside of the test's own.
struct Kept<F> {
    house: House,
    outside: F,
}

impl<F: Fn(i64) -> Outside> Kept<F> {
    fn new(outside: F, start_ms: i64) -> Self {
        Self { house: House::at_rest(&outside(start_ms)), outside }
    }

    /// Lets the time up to a moment pass; what house and mast say then.
    fn say(&mut self, at_ms: i64) -> Vec<(&'static str, f64, f64)> {
        for minute in 0..EVERY / MINUTE {
            let outside = (self.outside)(at_ms - EVERY + minute * MINUTE);
            let setting = cared_for(&outside, self.house.air_c());
            self.house.step(&outside, &setting, 60.0);
        }
        let outside = (self.outside)(at_ms);
        let rounded = |t_c: f64| libm::round(t_c * 10.0) / 10.0;
        vec![
            ("post", rounded(self.house.air_c()), self.house.rh_pct()),
            ("mast", rounded(outside.t_c), outside.rh_pct),
        ]
    }
}

/// A house of tomatoes and the mast.
fn house_and_mast() -> Vec<Note> {
    garden().into_iter().filter(|note| !matches!(note.subject().as_str(), "bed" | "gate" | "green")).collect()
}

#[test]
fn a_mild_season_rings_for_no_heat() {
    let world = World::new(3, DEFAULT_START_MS);
    let weather = glasshour::demo::weather::Weather::new(3, world.calendar());
    // Ordinary days drawn together about 13 °C: a cool summer, hardly ever past 25 outside.
    let mild = |at_ms: i64| {
        let outside = weather.at(at_ms);
        Outside { t_c: 13.0 + 0.6 * (outside.t_c - 13.0), ..outside }
    };
    let span = world.calendar().at(-60, 0, 0)..world.calendar().at(-2, 0, 0);
    let mut kept = Kept::new(mild, span.start);
    let mut core = in_memory(&house_and_mast(), span.start);
    let mut highest = (f64::MIN, f64::MIN);
    live(&mut core, span, |at_ms| {
        let said = kept.say(at_ms);
        highest = (highest.0.max(said[0].1), highest.1.max(said[1].1));
        said
    });
    println!("highest: house {}, outside {}", highest.0, highest.1);
    assert!(highest.1 < 27.0 && highest.1 > 20.0, "{highest:?}");
    let steps = told_in(&mut core);
    opened_by_day(&steps);
    assert_none_flaps(&steps);
    let rang: Vec<_> = steps.iter().filter(|step| step.push).collect();
    assert!(rang.is_empty(), "{rang:#?}");
}

#[test]
fn a_probe_that_dies_at_two_in_the_heat_is_told_as_blindness_and_not_as_calm() {
    let world = World::new(1, DEFAULT_START_MS);
    let day = |number| world.calendar().at(number, 0, 0);
    let dies_ms = world.calendar().at(DOME + 2, 14, 0);
    let mut core = in_memory(&garden(), day(-2));
    live(&mut core, day(-2)..dies_ms + 9 * HOUR, |at_ms| {
        let mut said = of_world(&world, at_ms);
        said.retain(|(probe, ..)| *probe != "post" || at_ms < dies_ms);
        said
    });
    let steps = told_in(&mut core);
    let blind = steps.iter().find(|step| step.minder == SILENT && step.at_ms >= dies_ms).unwrap();
    assert_eq!((blind.place.as_str(), blind.turn, blind.push), ("post", Turn::Opened, true));
    // Twice the interval of five minutes and a minute of grace.
    assert!(blind.at_ms - dies_ms <= 11 * MINUTE, "{}", (blind.at_ms - dies_ms) / MINUTE);
    let before = steps.iter().rev().find(|step| step.minder == TOO_HOT && step.place == "house").unwrap();
    assert!(before.turn != Turn::Closed && before.at_ms < dies_ms + 30 * MINUTE, "it stays hot: {before:?}");
    let calm = steps.iter().filter(|step| step.at_ms >= dies_ms && step.place == "house");
    let calm: Vec<_> = calm
        .filter(|step| [TOO_HOT, "people"].contains(&step.minder.as_str()) && step.turn == Turn::Closed)
        .collect();
    assert!(calm.is_empty(), "{calm:#?}");
}

#[test]
fn a_house_kept_at_28_while_it_is_40_outside_is_no_hot_house() {
    let mut core = in_memory(&house_and_mast(), june());
    live(&mut core, june()..june() + 4 * DAY, |at_ms| {
        let hour = (at_ms - june()).rem_euclid(DAY) as f64 / HOUR as f64;
        vec![("post", curve(20.0, 28.0, hour), 60.0), ("mast", curve(24.0, 40.5, hour), 25.0)]
    });
    let steps = told_in(&mut core);
    opened_by_day(&steps);
    let inside: Vec<_> =
        steps.iter().filter(|step| step.place == "house").filter(|step| heat_step(step)).collect();
    assert!(inside.is_empty(), "{inside:#?}");
}

/// The hours of a record: from the first of its June, ms, with °C, W/m² and %. The station's own days are laid on those of
/// the garden of these tests, hour by hour of its standard time.
struct Record(Vec<(i64, f64, f64, f64)>);

/// Hourly weather of a station through the dome of June 2021 (U.S. Climate Reference Network, hourly product).
fn corvallis() -> Option<Record> {
    let beside = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../shared/data");
    let folder = std::env::var_os("GLASSHOUR_RECORDS").map_or(beside, PathBuf::from);
    let file = folder.join("uscrn-corvallis-2021/heat_dome_2021-06-15_to_07-10.csv");
    let Ok(text) = std::fs::read_to_string(&file) else {
        use std::io::Write as _;
        let mut err = std::io::stderr();
        _ = writeln!(err, "SKIPPED: no {}; name the folder of records in GLASSHOUR_RECORDS", file.display());
        return None;
    };
    let from = chrono::DateTime::parse_from_rfc3339("2021-06-01T00:00:00-08:00").unwrap();
    let row = |line: &str| {
        let field: Vec<&str> = line.split(',').collect();
        let at = chrono::DateTime::parse_from_rfc3339(field[1]).unwrap();
        let number = |at: usize| field[at].parse::<f64>().ok();
        Some(((at - from).num_milliseconds(), number(2)?, number(7)?, number(8)?))
    };
    Some(Record(text.lines().skip(1).filter_map(row).collect()))
}

impl Record {
    /// The weather at a moment of the garden's own June, on straight lines between the hours.
    fn at(&self, at_ms: i64) -> Outside {
        let since = at_ms - june();
        let next = self.0.partition_point(|row| row.0 <= since).clamp(1, self.0.len() - 1);
        let (from, to) = (self.0[next - 1], self.0[next]);
        let share = ((since - from.0) as f64 / (to.0 - from.0) as f64).clamp(0.0, 1.0);
        let between = |a: f64, b: f64| a + (b - a) * share;
        Outside {
            t_c: between(from.1, to.1),
            rh_pct: between(from.3, to.3),
            sun_w_m2: between(from.2, to.2),
            // Not in the excerpt; a light air, as in the reference house.
            wind_m_s: 1.5,
            p_kpa: 101.3,
        }
    }

    fn first_ms(&self) -> i64 {
        june() + self.0[0].0
    }

    /// The true weather of the next week, as a forecast issued at a moment.
    fn as_told(&self, at_ms: i64) -> Forecast {
        let last = june() + self.0[self.0.len() - 1].0;
        let hours = (0..9 * 24).map(|hour| at_ms + hour * HOUR).take_while(|at| *at <= last);
        let air = hours.map(|at| libm::round(self.at(at).t_c * 10.0) as i16).collect();
        Forecast { issued_ms: at_ms, start_ms: at_ms, step_min: 60, air, ..Forecast::default() }
    }
}

/// What the grower of the dome knows beforehand.
#[derive(Clone, Copy, PartialEq)]
enum Knows {
    Outlook,
    /// Heard two days before, and noted by hand.
    Hearsay,
    Nothing,
}

/// The first of the three days past 40 °C at that station, days after the first of June: the 26th to the 28th.
const FIRST_HOT: i64 = 25;

/// Lives through the record; what was told, and on how many of the days before the first hot one the page showed it coming.
fn through_the_dome(record: &Record, knows: Knows) -> (Vec<Step>, i64) {
    let start_ms = record.first_ms();
    let mut kept = Kept::new(|at_ms| record.at(at_ms), start_ms);
    let mut core = in_memory(&house_and_mast(), start_ms);
    let first_hot = calendar().day_of(june()) + FIRST_HOT;
    let mut shown_ahead = 0;
    for number in 15..38 {
        let midnight = june() + number * DAY;
        live(&mut core, midnight..midnight + 7 * HOUR, |at_ms| kept.say(at_ms));
        let morning = midnight + 7 * HOUR;
        if knows == Knows::Outlook {
            core.note(moment(morning), Note::Outlook(record.as_told(morning)), None).unwrap();
        }
        if knows == Knows::Hearsay && number == FIRST_HOT - 2 {
            let note = Note::HeatWarning {
                from: date(first_hot),
                to: date(first_hot + 2),
                about_c: 40.0,
                said_by: Some("the radio".to_owned()),
            };
            core.note(moment(morning), note, None).unwrap();
        }
        let hot = core
            .engine()
            .days_ahead_outside()
            .into_iter()
            .any(|it| it.day == first_hot && it.high.to_c >= 38.0);
        if hot && number < FIRST_HOT {
            shown_ahead = shown_ahead.max(FIRST_HOT - number);
        }
        live(&mut core, morning..midnight + DAY, |at_ms| kept.say(at_ms));
    }
    (told_in(&mut core), shown_ahead)
}

/// How many days before the first hot day the heat dome was told of; none where it was not.
fn told_ahead(steps: &[Step]) -> Option<i64> {
    let told = steps.iter().find(|step| step.minder == "heat-dome")?;
    Some(FIRST_HOT - (told.at_ms - june()).div_euclid(DAY))
}

#[test]
fn the_dome_of_june_2021_is_told_days_ahead_where_somebody_knew_and_on_the_day_where_nobody_did() {
    let Some(record) = corvallis() else { return };
    let highs: Vec<f64> = (FIRST_HOT - 1..FIRST_HOT + 4)
        .map(|day| {
            (0..24).map(|hour| record.at(june() + day * DAY + hour * HOUR).t_c).fold(f64::MIN, f64::max)
        })
        .collect();
    println!("highs from the day before the first hot one: {highs:?}");
    let runs = [("outlook", Knows::Outlook), ("hearsay", Knows::Hearsay), ("nothing", Knows::Nothing)];
    for (name, knows) in runs {
        let (steps, shown_ahead) = through_the_dome(&record, knows);
        let ahead = told_ahead(&steps);
        println!("{name}: notice {ahead:?} days ahead, on the page {shown_ahead} days ahead");
        opened_by_day(&steps);
        assert_none_flaps(&steps);
        match knows {
            Knows::Outlook => assert!(ahead >= Some(2) && shown_ahead >= 2, "{ahead:?} {shown_ahead}"),
            Knows::Hearsay => assert_eq!(ahead, Some(2)),
            Knows::Nothing => assert_eq!((ahead, shown_ahead), (None, 0)),
        }
        // Whatever was known: the house rings on each of the three days.
        for number in FIRST_HOT..FIRST_HOT + 3 {
            let span = june() + number * DAY..june() + (number + 1) * DAY;
            let rang = steps
                .iter()
                .filter(|step| step.push && span.contains(&step.at_ms))
                .filter(|step| heat_step(step));
            assert!(rang.count() > 0, "{name}: nothing rang on {} June", number + 1);
        }
    }
}
