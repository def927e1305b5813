//! The cloth: one place's day, woven down the page behind the strings of its limits.
//!
//! Two layers. The inner drawing is in °C and hours and stretches with the width; the outer one carries words, tags
//! and knots, across in per cent and down in pixels, so that they keep their shape. No style attribute anywhere:
//! the content policy forbids them.

use maud::{Markup, html};

use super::day::{Day, Event, HOURS};
use super::figures::{HOUR_MS, range, span, tenth};
use super::placing::{self, Rank};
use super::threads::{self, LEFT_C, RIGHT_C, percent};
use crate::glance::PlaceGlance;

/// Height of an hour, px.
const HOUR_PX: f64 = 20.0;
/// Height of the strip with the degrees above the first hour, px.
const TOP_PX: f64 = 18.0;
/// Height of a line of words, hours.
const LINE_H: f64 = 0.9;
/// Narrowest phone, px: words must find room on it.
const NARROW_PX: f64 = 320.0;
/// Width of a letter of the words, px, on the safe side.
const LETTER_PX: f64 = 7.4;
/// Distance of the words from the edge, px.
const MARGIN_PX: f64 = 20.0;

/// A limit: whole where it is whole.
pub(crate) fn tenth_or_whole(limit_c: f64) -> String {
    if limit_c.fract() == 0.0 { format!("{limit_c:.0}") } else { tenth(limit_c) }
}

fn down(hour: f64) -> String {
    format!("{:.1}", TOP_PX + hour * HOUR_PX)
}

fn pct(t_c: f64) -> String {
    format!("{:.2}%", percent(t_c))
}

/// The cloth of a place. `id` keeps the names inside the drawing apart from those of the other cloths of the page.
pub(crate) fn cloth(place: &PlaceGlance, day: &Day, id: &str) -> Markup {
    let height = TOP_PX + HOURS * HOUR_PX + 6.0;
    let placed = placed(day);
    html! {
        svg.cloth width="100%" height=(height) role="img" aria-labelledby={ (id) "-title " (id) "-words" } {
            title id={ (id) "-title" } { (place.name) " today, hour by hour" }
            desc id={ (id) "-words" } { (description(place, day)) }
            (degrees())
            svg x="0" y=(TOP_PX) width="100%" height=(HOURS * HOUR_PX)
                viewBox={ (LEFT_C) " 0 " (RIGHT_C - LEFT_C) " " (HOURS) } preserveAspectRatio="none" {
                (weave(place, day, id))
            }
            (tags(place, &placed))
            (hours(day))
            (words(day, &placed))
            (now(place, day))
        }
    }
}

fn degrees() -> Markup {
    html! {
        @for t in [10.0, 20.0, 30.0] {
            text.degree x=(pct(t)) y="13" { (t) "°" }
        }
    }
}

/// The hours as numerals at the right edge.
fn hours(day: &Day) -> Markup {
    let first = day.civil.hour_of_day(day.start_ms);
    html! {
        @for step in 1..8 {
            @let clock = f64::from(step * 3);
            @let hour = (clock - first).rem_euclid(24.0);
            @if (hour - day.now).abs() > 2.6 && hour > 3.5 {
                text.hour x="100%" dx="-6" y=(down(hour)) dy="4" { (format!("{clock:02.0}")) }
            }
        }
    }
}

fn description(place: &PlaceGlance, day: &Day) -> String {
    let mut parts = Vec::new();
    match place.t_c {
        Some(t) => parts.push(format!("Now {} °C.", tenth(t))),
        None => parts.push("Now: not known.".to_owned()),
    }
    for line in &place.lines {
        parts.push(format!("Limit of {}: {} °C.", line.whose, tenth_or_whole(line.limit_c)));
    }
    for event in &day.events {
        parts.push(format!("{} {}.", event.clock, event.words));
    }
    for &(from, to) in &day.holes {
        parts.push(format!("Nothing heard for {}.", span(((to - from) * HOUR_MS as f64) as i64)));
    }
    parts.join(" ")
}

fn weave(place: &PlaceGlance, day: &Day, id: &str) -> Markup {
    let first_c = place.lines.first().map_or(RIGHT_C, |line| line.limit_c);
    let parts = threads::stretches(&day.curve, &day.holes);
    let blind = place.t_c.is_none();
    let middle = day.expected.iter().filter(|point| point.0 >= day.now);
    let joined = day.curve.last().filter(|_| !blind).copied().into_iter();
    html! {
        defs {
            (gradient(place, &format!("{id}-woven"), "w"))
            (gradient(place, &format!("{id}-loose"), "l"))
            clipPath id={ (id) "-clip" } { @for part in &parts { path d=(threads::area(part)) {} } }
        }
        path.night d=(night(place, day)) {}
        @for part in &parts { path fill={ "url(#" (id) "-woven)" } d=(threads::area(part)) {} }
        path.hatch clip-path={ "url(#" (id) "-clip)" } d=(threads::hatch(first_c, 0.0, day.now)) {}
        @if blind {
            path.band d=(threads::band(&day.expected)) {}
        } @else {
            path fill={ "url(#" (id) "-loose)" } d=(threads::threads(&day.expected, day.now, HOURS, first_c)) {}
        }
        (strings(place))
        @for part in &parts { path.edge d=(threads::edge(part.iter().copied())) {} }
        @if !blind {
            path.middle d=(threads::edge(joined.chain(middle.map(|point| (point.0, point.2))))) {}
        }
        @for &(from, to) in &day.holes {
            path.torn d=(threads::torn(known_at(&day.curve, from), from.max(0.0))) {}
            @if to < day.now - 0.02 { path.torn d=(threads::torn(known_at(&day.curve, to), to)) {} }
        }
        path.now-line d={ "M" (LEFT_C) " " (format!("{:.2}", day.now)) "H" (RIGHT_C) } {}
    }
}

/// The temperature of the point nearest to an hour.
fn known_at(curve: &[(f64, f64)], hour: f64) -> f64 {
    let nearest = curve.iter().min_by(|a, b| (a.0 - hour).abs().total_cmp(&(b.0 - hour).abs()));
    nearest.map_or(LEFT_C, |point| point.1)
}

/// Hard changes of tone at the strings.
fn gradient(place: &PlaceGlance, id: &str, kind: &str) -> Markup {
    let mut stops = vec![(0.0, 0)];
    for (index, line) in place.lines.iter().take(3).enumerate() {
        let offset = percent(line.limit_c) / 100.0;
        stops.extend([(offset, index), (offset, index + 1)]);
    }
    html! {
        linearGradient id=(id) gradientUnits="userSpaceOnUse" x1=(LEFT_C) x2=(RIGHT_C) y1="0" y2="0" {
            @for (offset, tone) in stops { stop class={ (kind) (tone) } offset=(format!("{offset:.4}")) {} }
        }
    }
}

fn night(place: &PlaceGlance, day: &Day) -> String {
    let Some((rise, set)) = place.sun else { return String::new() };
    let hour = |ms: i64| ((ms - day.start_ms) as f64 / HOUR_MS as f64).rem_euclid(24.0);
    let (rise, set) = (hour(rise), hour(set));
    if rise < set {
        format!("M{LEFT_C} 0H{RIGHT_C}V{rise:.2}H{LEFT_C}zM{LEFT_C} {set:.2}H{RIGHT_C}V{HOURS}H{LEFT_C}z")
    } else {
        format!("M{LEFT_C} {set:.2}H{RIGHT_C}V{rise:.2}H{LEFT_C}z")
    }
}

fn strings(place: &PlaceGlance) -> Markup {
    html! {
        @for line in &place.lines {
            @let path = format!("M{:.2} 0V{HOURS}", threads::across(line.limit_c));
            @if line.of_place {
                path.casing.wide d=(path) {}
                path.string.wide d=(path) {}
                path.gap d=(path) {}
            } @else {
                path.casing d=(path) {}
                path.string d=(path) {}
            }
        }
    }
}

/// Row of a tag in the stair, px from the top of the drawing.
fn stair(row: usize) -> f64 {
    TOP_PX + 14.0 + row as f64 * 17.0
}

/// How far to the right the words reach that stand on the line of a tag, px on a narrow phone.
fn reach(placed: &[(&Event, f64)], row: usize) -> f64 {
    let tag = stair(row) - 5.0;
    let centre = |(event, at): &(&Event, f64)| TOP_PX + at * HOUR_PX - if beside(event) { 0.0 } else { 9.0 };
    let near = placed.iter().filter(|word| (centre(word) - tag).abs() < 15.0);
    let end = |event: &Event| if beside(event) { knot_px(event) + 16.0 } else { MARGIN_PX } + width(event);
    near.map(|word| end(word.0)).fold(0.0, f64::max)
}

/// Tags hang left of their strings, each at least one line lower than the one before. A tag that would meet words
/// sinks by a line; where that is not enough, its figure stands alone.
fn tags(place: &PlaceGlance, placed: &[(&Event, f64)]) -> Markup {
    let mut next = 0;
    let hung = place.lines.iter().map(|line| {
        let figure = format!("{}°", tenth_or_whole(line.limit_c));
        let x = percent(line.limit_c) / 100.0 * NARROW_PX - 10.0;
        let left = |letters: usize| x - LETTER_PX * letters as f64;
        let whole = left(line.whose.chars().count() + figure.chars().count() + 1);
        let named = |row: &usize| whole > reach(placed, *row);
        let alone = |row: &usize| left(figure.chars().count()) > reach(placed, *row);
        let row = (next..next + 2).find(named).or_else(|| (next..next + 4).find(alone)).unwrap_or(next);
        next = row + 1;
        let named = named(&row);
        (line, figure, stair(row), named)
    });
    html! {
        @for (line, figure, y, named) in hung {
            line.tag x1=(pct(line.limit_c)) x2=(pct(line.limit_c)) y1=(y - 12.0) y2=(y + 4.0) {}
            text.tag-words x=(pct(line.limit_c)) dx="-6" y=(y) {
                @if named { (line.whose) " " }
                tspan.strong { (figure) }
            }
        }
    }
}

/// Where the knot of an event stands on a narrow phone, px.
fn knot_px(event: &Event) -> f64 {
    event.t_c.map_or(0.0, |t| percent(t) / 100.0 * NARROW_PX)
}

fn fits_left(event: &Event) -> bool {
    event.t_c.is_none() || MARGIN_PX + width(event) + 8.0 <= knot_px(event)
}

/// Whether the words stand outside, right of their knot: only where they do not fit between the edge and the knot.
fn beside(event: &Event) -> bool {
    !fits_left(event) && knot_px(event) + 12.0 + width(event) <= NARROW_PX
}

fn width(event: &Event) -> f64 {
    (event.words.chars().count() + 6) as f64 * LETTER_PX
}

/// The events whose words found a place, and the hour at which they stand.
fn placed(day: &Day) -> Vec<(&Event, f64)> {
    let wanted: Vec<_> = day.events.iter().map(|event| (event.hour, event.rank)).collect();
    let places = placing::place(&wanted, day.now, HOURS, LINE_H);
    day.events.iter().zip(places).filter_map(|(event, at)| Some((event, at?))).collect()
}

fn words(day: &Day, placed: &[(&Event, f64)]) -> Markup {
    html! {
        @for (event, at) in placed { (word(event, *at)) }
        @for event in &day.events { (knot(event)) }
        @for &(from, to) in &day.holes {
            @if to - from > 0.5 {
                text.word.hole y=(down(f64::midpoint(from.max(0.0), to))) dy="5" {
                    "nothing heard for " (span(((to - from) * HOUR_MS as f64) as i64))
                }
            }
        }
    }
}

fn word(event: &Event, at: f64) -> Markup {
    let x = event.t_c.map_or("0".to_owned(), pct);
    if beside(event) {
        let middle = (at.clamp(LINE_H * 0.6, HOURS - LINE_H * 0.6)).max(event.hour.min(at));
        html! {
            @if (at - event.hour).abs() > 0.01 {
                line.thin x1=(x) x2=(x) y1=(down(at)) y2=(down(event.hour)) {}
            }
            text.beside.cased x=(x) dx="12" y=(down(middle.min(HOURS - LINE_H * 0.4))) dy="5" {
                tspan.strong { (event.clock) } " " (event.words)
            }
        }
    } else {
        html! {
            @if event.t_c.is_some() {
                line.thin x1="0" x2=(x) y1=(down(at)) y2=(down(at)) {}
                @if (at - event.hour).abs() > 0.01 {
                    line.thin x1=(x) x2=(x) y1=(down(at)) y2=(down(event.hour)) {}
                }
            }
            text.word.cased[event.expected || !fits_left(event)] y=(down(at)) dy="-4" {
                tspan.strong { (event.clock) } " " (event.words)
            }
        }
    }
}

fn knot(event: &Event) -> Markup {
    let Some(t_c) = event.t_c else { return html! {} };
    let hollow = event.rank == Rank::Release;
    html! {
        @if event.by_hand {
            svg x=(pct(t_c)) y=(down(event.hour)) overflow="visible" {
                path.knot d="M0-6L6 0L0 6L-6 0Z" {}
            }
        } @else {
            circle.knot.hollow[hollow] cx=(pct(t_c)) cy=(down(event.hour)) r="4.5" {}
        }
    }
}

/// The figure of now: its clock above, its trust beneath; a guess stands below the line, for above it is a hole.
fn now(place: &PlaceGlance, day: &Day) -> Markup {
    let inside = place.t_c.is_some_and(|t| percent(t) > 80.0);
    let x = if inside { "62%" } else { "100%" };
    // Early in the day the stair of tags hangs where the figure would stand.
    let base = if day.now < 6.2 { (day.now + 2.6).max(6.6) } else { day.now };
    let guess = threads::range_at(&day.expected, day.now + 0.01).filter(|_| place.t_c.is_none());
    html! {
        @if let Some(t) = place.t_c {
            text.now-clock.cased x=(x) dx="-12" y=(down(base)) dy="-33" { (day.civil.clock(day.ms(day.now))) }
            text.now-figure.cased x=(x) dx="-12" y=(down(base)) dy="-8" { (tenth(t)) "°" }
            @if let Some(heard) = place.heard_ms {
                text.now-trust.cased x=(x) dx="-12" y=(down(base)) dy="17" { "read " (day.civil.clock(heard)) ", sound" }
            }
        } @else {
            text.now-clock.cased x=(x) dx="-12" y=(down(base)) dy="20" { @if guess.is_some() { "a guess" } @else { "now" } }
            text.now-figure.small.cased x=(x) dx="-12" y=(down(base)) dy="42" {
                @if let Some((low, _, high)) = guess { (range(low, high)) } @else { "not known" }
            }
            @if let Some(heard) = place.heard_ms {
                text.now-trust.cased x=(x) dx="-12" y=(down(base)) dy="60" { "last read " (day.civil.clock(heard)) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;

    #[test]
    fn the_hot_day_carries_its_knots_strings_and_figure() {
        let glance = fixtures::heat();
        let place = &glance.places[0];
        let drawn = cloth(place, &Day::of(place, &glance), "p0").into_string();
        for wanted in ["36.4°", "tomatoes pass 35", "peak 38 to 41", "read 13:09, sound", "the house "] {
            assert!(drawn.contains(wanted), "{wanted} missing");
        }
        assert!(!drawn.contains("style="), "the content policy forbids style attributes");
    }

    #[test]
    fn silence_is_a_hole_with_a_guess_and_no_reading() {
        let glance = fixtures::blind();
        let place = &glance.places[0];
        let drawn = cloth(place, &Day::of(place, &glance), "p0").into_string();
        assert!(drawn.contains("nothing heard for 80 minutes"));
        assert!(drawn.contains("a guess") && drawn.contains("class=\"band\""));
        assert!(drawn.contains("last read 11:20") && !drawn.contains("sound"));
    }
}
