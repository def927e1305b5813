//! The words on the cloth: what happened and is expected, the tags of the limits, and the room that each of them takes.
//!
//! They are laid out for the narrowest phone; on a wider one they only move apart.

use maud::{Markup, html};

use super::cloth::{HOUR_PX, TOP_PX, down, pct, tenth_or_whole};
use super::day::{Day, Event, HOURS};
use super::figure_now::Area;
use super::figures::{HOUR_MS, span};
use super::placing::{self, Rank};
use super::threads::percent;
use crate::glance::{Line, PlaceGlance};

/// Height of a line of words, hours.
const LINE_H: f64 = 0.9;
/// Narrowest phone, px: words must find room on it.
const NARROW_PX: f64 = 320.0;
/// Width of a letter of the words, px, on the safe side.
const LETTER_PX: f64 = 7.4;
/// Half a knot with its rim on the narrowest phone, %.
const EDGE_PCT: f64 = 6.75 / NARROW_PX * 100.0;
/// Distance of the words from the edge, px.
const MARGIN_PX: f64 = 20.0;

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

/// A tag as it hangs: whose limit, its figure, its foot in px down, and whether the name has room beside the figure.
pub(super) struct Tag<'p> {
    line: &'p Line,
    figure: String,
    y: f64,
    named: bool,
}

/// Tags hang left of their strings, each at least one line lower than the one before. A tag that would meet words
/// sinks by a line; where that is not enough, its figure stands alone.
pub(super) fn hang_tags<'p>(place: &'p PlaceGlance, placed: &[(&Event, f64)]) -> Vec<Tag<'p>> {
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
        Tag { line, figure, y: stair(row), named }
    });
    hung.collect()
}

pub(super) fn tags(hung: &[Tag<'_>]) -> Markup {
    html! {
        @for Tag { line, figure, y, named } in hung {
            line.tag x1=(pct(line.limit_c)) x2=(pct(line.limit_c)) y1=(y - 12.0) y2=(y + 4.0) {}
            text.tag-words x=(pct(line.limit_c)) dx="-6" y=(y) {
                @if *named { (line.whose) " " }
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
pub(super) fn placed(day: &Day) -> Vec<(&Event, f64)> {
    let wanted: Vec<_> = day.events.iter().map(|event| (event.hour, event.rank)).collect();
    let places = placing::place(&wanted, day.now, HOURS, LINE_H);
    day.events.iter().zip(places).filter_map(|(event, at)| Some((event, at?))).collect()
}

pub(super) fn words(day: &Day, placed: &[(&Event, f64)]) -> Markup {
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

/// The hour of the middle of words that stand beside their knot.
fn beside_at(event: &Event, at: f64) -> f64 {
    let middle = (at.clamp(LINE_H * 0.6, HOURS - LINE_H * 0.6)).max(event.hour.min(at));
    middle.min(HOURS - LINE_H * 0.4)
}

fn word(event: &Event, at: f64) -> Markup {
    let x = event.t_c.map_or("0".to_owned(), pct);
    if beside(event) {
        html! {
            @if (at - event.hour).abs() > 0.01 {
                line.thin x1=(x) x2=(x) y1=(down(at)) y2=(down(event.hour)) {}
            }
            text.beside.cased x=(x) dx="12" y=(down(beside_at(event, at))) dy="5" {
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
            text.word.cased y=(down(at)) dy="-4" {
                tspan.strong { (event.clock) } " " (event.words)
            }
        }
    }
}

/// Where a knot stands, %: one at an end of the scale or past it is drawn whole, not cut by the edge.
fn whole_pct(t_c: f64) -> String {
    format!("{:.2}%", percent(t_c).clamp(EDGE_PCT, 100.0 - EDGE_PCT))
}

fn knot(event: &Event) -> Markup {
    let Some(t_c) = event.t_c else { return html! {} };
    let hollow = event.rank == Rank::Release;
    html! {
        @if event.by_hand {
            svg x=(whole_pct(t_c)) y=(down(event.hour)) overflow="visible" {
                path.knot d="M0-6L6 0L0 6L-6 0Z" {}
            }
        } @else {
            circle.knot.hollow[hollow] cx=(whole_pct(t_c)) cy=(down(event.hour)) r="4.5" {}
        }
    }
}

/// All that is written on a drawing so wide, as boxes.
pub(super) fn written(day: &Day, placed: &[(&Event, f64)], hung: &[Tag<'_>], width_px: f64) -> Vec<Area> {
    let across = |t_c: f64| percent(t_c) / 100.0 * width_px;
    let word = |(event, at): &(&Event, f64)| {
        let (left, foot) = if beside(event) {
            (event.t_c.map_or(0.0, across) + 12.0, beside_at(event, *at) * HOUR_PX + 5.0)
        } else {
            (MARGIN_PX, at * HOUR_PX - 4.0)
        };
        Area { across: (left, left + width(event)), down: (TOP_PX + foot - 13.0, TOP_PX + foot + 4.0) }
    };
    let tag = |tag: &Tag<'_>| {
        let letters =
            tag.figure.chars().count() + if tag.named { tag.line.whose.chars().count() + 1 } else { 0 };
        let right = across(tag.line.limit_c) - 6.0;
        Area { across: (right - LETTER_PX * letters as f64, right), down: (tag.y - 12.0, tag.y + 4.0) }
    };
    let hole = |&(from, to): &(f64, f64)| {
        let foot = TOP_PX + f64::midpoint(from.max(0.0), to) * HOUR_PX + 5.0;
        (to - from > 0.5).then_some(Area {
            across: (MARGIN_PX, MARGIN_PX + 30.0 * LETTER_PX),
            down: (foot - 13.0, foot + 4.0),
        })
    };
    let words = placed.iter().map(word);
    words.chain(hung.iter().map(tag)).chain(day.holes.iter().filter_map(hole)).collect()
}
