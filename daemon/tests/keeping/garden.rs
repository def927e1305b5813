//! An invented garden to drive: one house, one bed, simulated time.

use std::path::Path;

use agronomy::quantity::Quantity;
use agronomy::units::{Latitude, Longitude};
use glasshour::calendar::{Calendar, day};
use glasshour::entry::{Began, Note, PlaceKind};
use glasshour::keeper::core::{Core, Message, Moment};
use glasshour::keeper::export::export;
use glasshour::keeper::start::seed;
use glasshour::ledger::{Founding, Ledger};
use glasshour::reading::Heard;
use glasshour::site::{Limits, Site};
use serde_json::Value;

pub(crate) const MINUTE: i64 = 60_000;
pub(crate) const HOUR: i64 = 60 * MINUTE;
pub(crate) const DAY: i64 = 24 * HOUR;
/// The invented garden's standard offset: one hour east.
pub(crate) const OFFSET_MS: i64 = HOUR;
pub(crate) const AIR: Quantity = Quantity::AirTemperature;
pub(crate) const HUMIDITY: Quantity = Quantity::RelativeHumidity;

/// The first of June of the invented summer, 00:00 of the site's standard time, UTC ms.
pub(crate) fn june() -> i64 {
    calendar().start_of(day("2026-06-01").unwrap())
}

pub(crate) fn calendar() -> Calendar {
    Calendar::fixed(OFFSET_MS)
}

pub(crate) fn site() -> Site {
    Site {
        name: "invented".to_owned(),
        latitude: Latitude::try_new(45.0).unwrap(),
        longitude: Longitude::try_new(15.0).unwrap(),
        calendar: calendar(),
        book: config::crop_book().unwrap(),
        limits: Limits::new(),
        usual: None,
    }
}

pub(crate) fn place(id: &str, kind: PlaceKind) -> Note {
    Note::Place { place: id.to_owned(), name: id.to_owned(), kind }
}

pub(crate) fn hang(probe: &str, place: &str, every_s: u32) -> Note {
    Note::Hang {
        probe: probe.to_owned(),
        place: place.to_owned(),
        height_m: None,
        shelter: None,
        usual_interval_s: every_s,
    }
}

pub(crate) fn planting(id: &str, crop: &str, place: &str) -> Note {
    Note::Planting {
        planting: id.to_owned(),
        crop: crop.to_owned(),
        place: place.to_owned(),
        variety: None,
        count: None,
        began: Began::PlantedOut,
        container_l: None,
    }
}

pub(crate) fn own_figure(planting: &str, figure: &str, value: f64) -> Note {
    Note::OwnFigure { planting: planting.to_owned(), figure: figure.to_owned(), from: value, to: None }
}

/// A house with a probe that speaks once a minute, and tomatoes that were planted long ago.
pub(crate) fn tomato_house() -> Vec<Note> {
    vec![place("house", PlaceKind::House), hang("post", "house", 60), planting("red", "tomato", "house")]
}

/// A bed in the open with the same.
pub(crate) fn tomato_bed() -> Vec<Note> {
    vec![place("bed", PlaceKind::Bed), hang("post", "bed", 60), planting("red", "tomato", "bed")]
}

pub(crate) fn moment(wall_ms: i64) -> Moment {
    Moment { wall_ms, mono_ms: wall_ms - june(), trusted: true }
}

pub(crate) fn founding() -> Founding {
    Founding { offset_ms: OFFSET_MS, program: "glasshour test".to_owned() }
}

/// A stamped reading.
pub(crate) fn heard(probe: &str, quantity: Quantity, at_ms: i64, value: f64) -> Heard {
    Heard { probe: probe.into(), quantity, value: Some(value), measured_ms: Some(at_ms), stale: false }
}

/// A core on a ledger whose notes all hold from forty days before June.
pub(crate) fn core_on(mut ledger: Ledger, notes: &[Note], start_ms: i64) -> Core {
    let boot = ledger.begin_boot(start_ms - june(), Some((june(), "test"))).unwrap();
    let notes: Vec<_> = notes.iter().map(|note| (june() - 40 * DAY, note.clone())).collect();
    seed(&mut ledger, boot, moment(start_ms), &notes).unwrap();
    Core::start(site(), ledger, boot, moment(start_ms), Vec::new()).unwrap()
}

pub(crate) fn in_memory(notes: &[Note], start_ms: i64) -> Core {
    core_on(Ledger::in_memory(&founding()).unwrap(), notes, start_ms)
}

/// Starts again on the folder of a core that is gone.
pub(crate) fn again(folder: &Path, notes: &[Note], at_ms: i64) -> Core {
    core_on(Ledger::open(folder, &founding()).unwrap(), notes, at_ms)
}

/// Hears readings at the moment they were measured.
pub(crate) fn hear(core: &mut Core, at_ms: i64, readings: &[(&str, Quantity, f64)]) {
    let readings = readings.iter().map(|(probe, quantity, value)| heard(probe, *quantity, at_ms, *value));
    core.hear(moment(at_ms), &[Message { readings: readings.collect(), arrived_ms: at_ms }]);
}

/// Feeds one probe's air along straight lines between `(ms since `from_ms`, °C)`, a reading every `every_ms`.
pub(crate) fn walk(core: &mut Core, probe: &str, from_ms: i64, every_ms: i64, knots: &[(i64, f64)]) {
    for pair in knots.windows(2) {
        let ((t0, v0), (t1, v1)) = (pair[0], pair[1]);
        let mut at = t0;
        while at < t1 {
            let value = v0 + (v1 - v0) * (at - t0) as f64 / (t1 - t0) as f64;
            hear(core, from_ms + at, &[(probe, AIR, value)]);
            at += every_ms;
        }
    }
}

/// A day's air between its lowest at 06:00 and its highest at 15:00, by the curve of the test vectors of the project's
/// agronomy notes: a quarter sine up, an exponential decay over five hours down.
pub(crate) fn curve(low: f64, high: f64, hour: f64) -> f64 {
    let after = (hour - 15.0).rem_euclid(24.0);
    if (6.0..15.0).contains(&hour) {
        low + (high - low) * libm::sin(std::f64::consts::FRAC_PI_2 * (hour - 6.0) / 9.0)
    } else {
        let end = libm::exp(-3.0);
        low + (high - low) * (libm::exp(-after / 5.0) - end) / (1.0 - end)
    }
}

/// Feeds whole days of the curve, one reading every `every_ms`.
pub(crate) fn days(core: &mut Core, probe: &str, from_ms: i64, every_ms: i64, extremes: &[(f64, f64)]) {
    for (number, (low, high)) in extremes.iter().enumerate() {
        let start = from_ms + number as i64 * DAY;
        let mut at = 0;
        while at < DAY {
            let value = curve(*low, *high, at as f64 / HOUR as f64);
            hear(core, start + at, &[(probe, AIR, value)]);
            at += every_ms;
        }
    }
}

/// Lives through a day of 36 °C from a moment; whether its first severe step of heat buzzes.
pub(crate) fn severe_heat_buzzes(core: &mut Core, since: i64) -> bool {
    days(core, "post", since, 30 * MINUTE, &[(18.0, 36.0)]);
    let hot = told(core, "too-hot");
    hot.iter().find(|step| step.at_ms > since && step.severity == "severe").unwrap().pushed
}

/// Everything reckoned and told, once no day waits any more.
pub(crate) fn everything(core: &mut Core) -> Value {
    while core.remake(100) {}
    export(core.engine())
}

/// One step as it was told.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Told {
    pub(crate) at_ms: i64,
    pub(crate) turn: String,
    pub(crate) severity: String,
    pub(crate) pushed: bool,
    pub(crate) title: String,
    pub(crate) text: String,
}

/// The steps that a minder told, in order.
pub(crate) fn told(core: &Core, minder: &str) -> Vec<Told> {
    let word = |step: &Value, key: &str| step[key].as_str().unwrap().to_owned();
    let all = export(core.engine());
    let notices = all["notices"].as_array().unwrap().iter().filter(|it| it["minder"] == minder);
    let steps = notices.flat_map(|it| it["steps"].as_array().unwrap());
    let mut steps: Vec<Told> = steps
        .map(|step| Told {
            at_ms: chrono::DateTime::parse_from_rfc3339(step["at"].as_str().unwrap())
                .unwrap()
                .timestamp_millis(),
            turn: word(step, "turn"),
            severity: word(step, "severity"),
            pushed: step["pushed"].as_bool().unwrap(),
            title: word(step, "title"),
            text: word(step, "text"),
        })
        .collect();
    steps.sort_by_key(|step| step.at_ms);
    steps
}

/// `(minutes since `from_ms`, turn, severity)` of each step.
pub(crate) fn outline(steps: &[Told], from_ms: i64) -> Vec<(i64, &str, &str)> {
    let of = |step: &Told| (step.at_ms - from_ms) / MINUTE;
    steps.iter().map(|step| (of(step), step.turn.as_str(), step.severity.as_str())).collect()
}
