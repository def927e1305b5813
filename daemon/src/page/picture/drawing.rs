//! A place's cloth in few bytes: no style sheet, no more points than a phone shows.

use std::fmt::Write;

use maud::{Markup, html};

use super::super::cloth::tenth_or_whole;
use super::super::day::{Day, Event, HOURS};
use super::super::figures::span;
use super::super::placing::{self, Rank};
use super::super::threads::{self, LEFT_C, RIGHT_C, across, percent, range_at};
use super::{GROUND, INK, WOVEN};
use crate::glance::{Line, PlaceGlance};

/// Height of an hour, px.
const HOUR_PX: f64 = 11.0;
/// Height of the strip with the limits' names above the first hour, px.
const TOP_PX: f64 = 70.0;
/// Height of a line of words, hours.
const LINE_H: f64 = 1.35;
/// Hours between two points of the drawn curve.
const STEP_H: f64 = 0.5;
/// Hours from one loose thread to the next.
const THREAD_H: f64 = 0.6;
/// Width of a letter of the words, px, on the safe side, and of the narrowest phone.
const LETTER_PX: f64 = 7.0;
const NARROW_PX: f64 = 290.0;
/// Limits named.
const TAGS: usize = 4;
/// Half a knot with its rim on the narrowest phone, %.
const EDGE_PCT: f64 = 5.0 / NARROW_PX * 100.0;

const NIGHT: &str = "#d8e1dd";
/// Heat expected, before the first string and past it.
const LOOSE: [&str; 2] = ["#fec44f", "#fe9929"];

fn down(hour: f64) -> String {
    format!("{:.1}", TOP_PX + hour * HOUR_PX)
}

fn pct(t_c: f64) -> String {
    format!("{:.1}%", percent(t_c))
}

/// Where a knot stands: one at an end of the scale or past it is drawn whole.
fn knot_pct(t_c: f64) -> String {
    format!("{:.1}%", percent(t_c).clamp(EDGE_PCT, 100.0 - EDGE_PCT))
}

/// A rim about words, so that no line runs through them.
fn cased() -> String {
    format!("paint-order:stroke;stroke:{GROUND};stroke-width:4px;stroke-linejoin:round")
}

/// The cloth of a place; `index` keeps the names inside it apart from those of the others.
pub(super) fn drawing(place: &PlaceGlance, day: &Day, index: usize) -> Markup {
    let height = TOP_PX + HOURS * HOUR_PX + 4.0;
    html! {
        svg width="100%" height=(height) role="img" aria-label={ (place.name) " today, hour by hour" }
            font-family="system-ui,sans-serif" font-size="13" fill=(INK) style="display:block" {
            svg y=(TOP_PX) width="100%" height=(HOURS * HOUR_PX) preserveAspectRatio="none"
                viewBox={ (LEFT_C) " 0 " (RIGHT_C - LEFT_C) " " (HOURS) } { (weave(place, day, index)) }
            (tags(place))
            (hours(day))
            (words(day))
        }
    }
}

/// Woven and loose parts, strings and edges.
fn weave(place: &PlaceGlance, day: &Day, index: usize) -> Markup {
    let parts = threads::stretches(&thinned(&day.curve), &day.holes);
    let first_c = place.lines.first().map_or(RIGHT_C, |line| line.limit_c);
    let middle = day.expected.iter().filter(|point| point.0 >= day.now).map(|point| (point.0, point.2));
    let now = format!("M{LEFT_C} {:.2}H{RIGHT_C}", day.now);
    html! {
        defs { (tones(place, index)) }
        path fill=(NIGHT) d=(night(place, day)) {}
        @for part in &parts { path fill={ "url(#g" (index) ")" } d=(threads::area(part)) {} }
        @for (thick, path) in [(2, loose(day, LEFT_C, first_c)), (4, loose(day, first_c, RIGHT_C))] {
            (stroke(LOOSE[usize::from(thick > 2)], f64::from(thick), &path))
        }
        (stroke(GROUND, 4.0, &strings(place, |_| true)))
        (stroke(INK, 1.5, &strings(place, |line| !line.of_place)))
        (stroke(INK, 4.0, &strings(place, |line| line.of_place)))
        (stroke(GROUND, 1.5, &strings(place, |line| line.of_place)))
        @for part in &parts { (stroke(INK, 2.5, &threads::edge(part.iter().copied()))) }
        (stroke(INK, 1.0, &threads::edge(middle)))
        (stroke(INK, 3.0, &now))
    }
}

fn stroke(colour: &str, width: f64, path: &str) -> Markup {
    html! {
        @if !path.is_empty() {
            path fill="none" stroke=(colour) stroke-width=(width) vector-effect="non-scaling-stroke" d=(path) {}
        }
    }
}

/// The strings of some limits as one path.
fn strings(place: &PlaceGlance, of: impl Fn(&Line) -> bool) -> String {
    let strings = place.lines.iter().filter(|line| of(line));
    strings.fold(String::new(), |path, line| path + &format!("M{:.1} 0V{HOURS}", across(line.limit_c)))
}

/// Every half hour of the curve, and its ends.
fn thinned(curve: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut kept: Vec<(f64, f64)> = Vec::new();
    for (index, &point) in curve.iter().enumerate() {
        let far = kept.last().is_none_or(|last| point.0 - last.0 >= STEP_H - 0.01);
        if far || index + 1 == curve.len() {
            kept.push(point);
        }
    }
    kept
}

/// The expected hours as threads between two temperatures; their ends alternate low, middle, high.
fn loose(day: &Day, from_c: f64, to_c: f64) -> String {
    let mut path = String::new();
    let count = ((HOURS - day.now) / THREAD_H).max(0.0) as usize;
    for index in 0..count {
        let hour = day.now + (index as f64 + 0.6) * THREAD_H;
        let Some((low, middle, high)) = range_at(&day.expected, hour) else { continue };
        let end = across([low, middle, high][index % 3]).min(to_c);
        if end > from_c {
            let _ = write!(path, "M{from_c:.1} {hour:.1}H{end:.1}");
        }
    }
    path
}

/// Hard changes of tone at the strings.
fn tones(place: &PlaceGlance, index: usize) -> Markup {
    let mut stops = vec![(0.0, 0)];
    for (nth, line) in place.lines.iter().take(3).enumerate() {
        let offset = percent(line.limit_c) / 100.0;
        stops.extend([(offset, nth), (offset, nth + 1)]);
    }
    html! {
        linearGradient id={ "g" (index) } gradientUnits="userSpaceOnUse" x1=(LEFT_C) x2=(RIGHT_C) y1="0" y2="0" {
            @for (offset, tone) in stops { stop offset=(format!("{offset:.3}")) stop-color=(WOVEN[tone]) {} }
        }
    }
}

fn night(place: &PlaceGlance, day: &Day) -> String {
    let Some((rise, set)) = place.sun else { return String::new() };
    let hour = |ms: i64| ((ms - day.start_ms) as f64 / 3_600_000.0).rem_euclid(HOURS);
    let (rise, set) = (hour(rise), hour(set));
    if rise < set {
        format!("M{LEFT_C} 0H{RIGHT_C}V{rise:.2}H{LEFT_C}zM{LEFT_C} {set:.2}H{RIGHT_C}V{HOURS}H{LEFT_C}z")
    } else {
        format!("M{LEFT_C} {set:.2}H{RIGHT_C}V{rise:.2}H{LEFT_C}z")
    }
}

/// The limits' names above the cloth, a line each, left of their strings: the highest on top, so that no string runs
/// through the name of another.
fn tags(place: &PlaceGlance) -> Markup {
    let lines = &place.lines[..place.lines.len().min(TAGS)];
    html! {
        g text-anchor="end" {
            @for (row, line) in lines.iter().rev().enumerate() {
                @let y = 14 + 16 * (TAGS - lines.len() + row);
                line x1=(pct(line.limit_c)) x2=(pct(line.limit_c)) y1=(y - 11) y2=(TOP_PX) stroke=(INK) {}
                text x=(pct(line.limit_c)) dx="-6" y=(y) { (line.whose) " " (tenth_or_whole(line.limit_c)) "°" }
            }
        }
    }
}

/// The hours as numerals at the right edge.
fn hours(day: &Day) -> Markup {
    let first = day.civil.hour_of_day(day.start_ms);
    html! {
        g font-size="12" text-anchor="end" style=(cased()) {
            @for clock in [6.0, 9.0, 12.0, 15.0, 18.0, 21.0] {
                @let hour = (clock - first).rem_euclid(HOURS);
                text x="99%" y=(down(hour)) dy="4" { (format!("{clock:02.0}")) }
            }
        }
    }
}

/// The words stand on thin lines that run from the edge to their knots, as on the page.
fn words(day: &Day) -> Markup {
    let wanted: Vec<_> = day.events.iter().map(|event| (event.hour, event.rank)).collect();
    let places = placing::place(&wanted, day.now, HOURS, LINE_H);
    let placed: Vec<(&Event, f64)> =
        day.events.iter().zip(places).filter_map(|(event, at)| Some((event, at?))).collect();
    html! {
        g stroke=(INK) {
            @for (event, at) in placed.iter().filter(|(event, _)| !beside(event)) {
                @let (x, y) = (event.t_c.map_or("0".to_owned(), pct), down(*at));
                line x2=(x) y1=(y) y2=(y) {}
                @if (at - event.hour).abs() > 0.01 { line x1=(x) x2=(x) y1=(y) y2=(down(event.hour)) {} }
            }
        }
        g stroke=(GROUND) {
            @for event in &day.events {
                @if let Some(t) = event.t_c {
                    @let hollow = (event.rank == Rank::Release).then_some(GROUND);
                    circle cx=(knot_pct(t)) cy=(down(event.hour)) r="4" fill=[hollow] {}
                }
            }
        }
        g style=(cased()) {
            @for (event, at) in &placed {
                @if beside(event) {
                    text x=(event.t_c.map_or("0".to_owned(), pct)) dx="10" y=(down(*at)) dy="4" { (event.clock) " " (event.words) }
                } @else {
                    text x="16" y=(down(*at)) dy="-3" { (event.clock) " " (event.words) }
                }
            }
            @for &(from, to) in &day.holes {
                @if to - from > 0.5 {
                    text x="92%" text-anchor="end" y=(down(f64::midpoint(from.max(0.0), to))) dy="4" { "nothing heard for " (span(((to - from) * 3_600_000.0) as i64)) }
                }
            }
        }
    }
}

/// Words that do not fit between the edge and their knot stand right of it where there is room.
fn beside(event: &Event) -> bool {
    let width = (event.words.chars().count() + 6) as f64 * LETTER_PX;
    let knot = event.t_c.map_or(0.0, |t| percent(t) / 100.0 * NARROW_PX);
    event.t_c.is_some() && 16.0 + width + 6.0 > knot && knot + 12.0 + width <= NARROW_PX
}
