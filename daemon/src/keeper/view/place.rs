//! One place at a glance.

use agronomy::people;
use agronomy::quantity::Quantity;
use agronomy::series::{MS_PER_DAY, MS_PER_HOUR, crossing_ms};
use agronomy::units::{Celsius, RelativeHumidity};
use agronomy::vapour;

use crate::almanac::day_page::rounded;
use crate::entry::Note;
use crate::glance::{BesideGlance, ByHand, Knot, Line, PlaceGlance};
use crate::ground::Place;
use crate::keeper::engine::Engine;
use crate::keeper::unread::holes;
use crate::minders::air::Bands;
use crate::minders::place_now::PlaceNow;
use crate::minders::words::{limit, plural};
use crate::reading::SATURATED_PCT;

/// The cloth begins at this hour of standard time.
const CLOTH_FROM_H: i64 = 4;
/// Readings of the curve are at least this far apart, ms.
const THINNED_MS: i64 = 10 * 60_000;

/// Makes the glance of a place.
pub(super) fn glance(engine: &Engine, place: &Place) -> PlaceGlance {
    let now = engine.place_now(place);
    let now_ms = now.now_ms;
    let humidity = engine.humidity(&place.id, now_ms).map(|(_, rh)| rh);
    // Only the word is shown then.
    let saturated = humidity.is_some_and(|rh| rh >= SATURATED_PCT);
    let cloth_from = cloth_from(engine, now_ms);
    let (air, interval) = engine.air_of(&place.id, cloth_from, now_ms + 1);
    let vpd_kpa = now.vpd_kpa.filter(|_| !saturated);
    PlaceGlance {
        place: place.id.clone(),
        name: place.name.clone(),
        kind: place.kind,
        t_c: now.air.map(|(_, t)| rounded(t, 2)),
        rh_pct: humidity.map(|rh| rounded(rh, 1)),
        saturated,
        vpd_kpa: vpd_kpa.map(|vpd| rounded(vpd, 3)),
        dryness: now.vpd_kpa.map(|vpd| Bands::of(&now).word(vpd).to_owned()),
        dew_point_c: dew_point(now.air.map(|(_, t)| t), humidity),
        heat_index_c: felt(now.air.map(|(_, t)| t), humidity),
        trend_c_per_h: now.pace_c_per_h.map(|slope| rounded(slope, 1)),
        heard_ms: now.air.map(|(at, _)| at),
        air_probe: engine.air_probe(&place.id).map(str::to_owned),
        in_doubt: engine.air_probe(&place.id).is_some_and(|probe| engine.in_doubt.contains(probe)),
        beside: beside(engine, &place.id),
        last_known_c: now.last_air.filter(|_| now.air.is_none()).map(|(_, t)| rounded(t, 2)),
        high_today: now.high.map(|(high, at)| (rounded(high, 2), at)),
        low_last_night: now.low.map(|(low, at)| (rounded(low, 2), at)),
        by_hand: by_hand(engine, &place.id),
        holes: holes(&air, interval, now_ms),
        curve: thinned(&air),
        expected: now
            .expected
            .iter()
            .map(|it| (it.at_ms, rounded(it.low_c, 1), rounded(it.middle_c, 1), rounded(it.high_c, 1)))
            .collect(),
        lines: lines(&now),
        knots: knots(engine, &now, &air, cloth_from),
        sun: engine.site.sun(engine.site.calendar.day_of(now_ms)),
        vents_open: now.vents_open,
        shade_on: now.shade_on,
    }
}

/// The air now by those probes of a place that it is not told by.
fn beside(engine: &Engine, place: &str) -> Vec<BesideGlance> {
    let held = engine.each_held(place, Quantity::AirTemperature, engine.now_ms());
    let others = held.into_iter().filter(|(probe, _)| engine.air_probe(place) != Some(probe));
    let glance = |(probe, t_c): (String, f64)| BesideGlance {
        in_doubt: engine.in_doubt.contains(&probe),
        probe,
        t_c: rounded(t_c, 2),
    };
    others.map(glance).collect()
}

/// When today's cloth begins: the last 04:00 of standard time.
fn cloth_from(engine: &Engine, now_ms: i64) -> i64 {
    let calendar = &engine.site.calendar;
    let today = calendar.start_of(calendar.day_of(now_ms)) + CLOTH_FROM_H * MS_PER_HOUR;
    if today <= now_ms { today } else { today - MS_PER_DAY }
}

fn dew_point(t_c: Option<f64>, rh_pct: Option<f64>) -> Option<f64> {
    let air = Celsius::try_new(t_c?).ok()?;
    let humidity = RelativeHumidity::try_new(rh_pct?).ok()?;
    vapour::dew_point(air, humidity).map(|dew| rounded(dew.get(), 1))
}

fn felt(t_c: Option<f64>, rh_pct: Option<f64>) -> Option<f64> {
    let air = Celsius::try_new(t_c?).ok()?;
    let humidity = RelativeHumidity::try_new(rh_pct?).ok()?;
    Some(rounded(people::heat_index(air, humidity).celsius, 1))
}

fn by_hand(engine: &Engine, place: &str) -> Option<ByHand> {
    engine
        .ground
        .entries
        .iter()
        .filter(|entry| entry.from_ms <= engine.now_ms())
        .filter_map(|entry| match &entry.note {
            Note::Thermometer { place: at, now_c, low_c, high_c } if at == place => {
                Some(ByHand { at_ms: entry.from_ms, now_c: *now_c, low_c: *low_c, high_c: *high_c })
            }
            _ => None,
        })
        .max_by_key(|reading| reading.at_ms)
}

fn thinned(air: &[(i64, f64)]) -> Vec<(i64, f64)> {
    let mut curve: Vec<(i64, f64)> = Vec::new();
    for (index, &(at, value)) in air.iter().enumerate() {
        let far = curve.last().is_none_or(|(last, _)| at - last >= THINNED_MS);
        if far || index + 1 == air.len() {
            curve.push((at, rounded(value, 2)));
        }
    }
    curve
}

/// The tightest limits, ascending, with the place's own line when the day comes within 2 °C of it.
fn lines(now: &PlaceNow<'_>) -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    for standing in &now.standing {
        let line = Line { whose: plural(&standing.crop), limit_c: standing.lines.severe_c, of_place: false };
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    lines.sort_by(|a, b| a.limit_c.total_cmp(&b.limit_c));
    let highest = now
        .expected
        .iter()
        .map(|it| it.high_c)
        .chain(now.high.map(|(high, _)| high))
        .fold(f64::NEG_INFINITY, f64::max);
    let place_line = now.place_line_c.filter(|line| highest >= line - 2.0);
    lines.truncate(if place_line.is_some() { 3 } else { 4 });
    if let Some(line) = place_line {
        lines.push(Line { whose: now.name.to_owned(), limit_c: line, of_place: true });
    }
    lines
}

fn knots(engine: &Engine, now: &PlaceNow<'_>, air: &[(i64, f64)], from_ms: i64) -> Vec<Knot> {
    let mut knots = Vec::new();
    if let Some((low, at)) = now.low.filter(|(_, at)| *at >= from_ms) {
        knots.push(Knot { at_ms: at, t_c: Some(low), words: format!("low {low:.1}"), by_hand: false });
    }
    // The cloth may reach back over midnight, so its own highest is tied to it, not the calendar day's.
    let highest = air.iter().copied().reduce(|best, next| if next.1 > best.1 { next } else { best });
    if let Some((at, high)) = highest.filter(|(at, _)| now.now_ms - at > MS_PER_HOUR) {
        knots.push(Knot { at_ms: at, t_c: Some(high), words: format!("high {high:.1}"), by_hand: false });
    }
    for line in lines(now) {
        for pair in air.windows(2) {
            let ((t0, v0), (t1, v1)) = (pair[0], pair[1]);
            let rose = v0 < line.limit_c && v1 >= line.limit_c;
            if let Some(at_ms) = crossing_ms(t0, v0, t1, v1, line.limit_c).filter(|_| rose) {
                let pass = if line.of_place { "passes" } else { "pass" };
                let words = format!("{} {pass} {}", line.whose, limit(line.limit_c));
                knots.push(Knot { at_ms, t_c: Some(line.limit_c), words, by_hand: false });
                break;
            }
        }
    }
    for entry in engine.ground.entries.iter().filter(|it| (from_ms..=now.now_ms).contains(&it.from_ms)) {
        if let Some(words) = act(&entry.note, now) {
            let t_c = engine.tracks_at(now.place, Quantity::AirTemperature, entry.from_ms);
            knots.push(Knot { at_ms: entry.from_ms, t_c, words, by_hand: true });
        }
    }
    knots.sort_by_key(|knot| knot.at_ms);
    knots
}

/// What was done by hand here, in a word or two.
fn act(note: &Note, now: &PlaceNow<'_>) -> Option<String> {
    let here = |place: &str| place == now.place;
    match note {
        Note::Vents { place, open } if here(place) => {
            Some(if *open { "opened" } else { "closed" }.to_owned())
        }
        Note::Shade { place, on } if here(place) => {
            Some(if *on { "shade on" } else { "shade off" }.to_owned())
        }
        Note::Watered { subject, litres } => {
            let ours = here(subject) || now.standing.iter().any(|it| it.planting.id == *subject);
            ours.then(|| format!("watered {litres:.0} L"))
        }
        _ => None,
    }
}
