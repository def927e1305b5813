//! The cloth: one place's day, woven down the page behind the strings of its limits.
//!
//! Two layers. The inner drawing is in °C and hours and stretches with the width; the outer one carries words, tags
//! and knots, across in per cent and down in pixels, so that they keep their shape. No style attribute anywhere:
//! the content policy forbids them.

use maud::{Markup, html};

use super::figures::{Civil, HOUR_MS, range, span, tenth};
use super::placing::{self, Rank};
use super::threads::{self, LEFT_C, RIGHT_C, percent};
use crate::glance::{Glance, PlaceGlance};

/// Height of an hour, px.
const HOUR_PX: f64 = 20.0;
/// Height of the strip with the degrees above the first hour, px.
const TOP_PX: f64 = 18.0;
/// Hours on a cloth.
const HOURS: f64 = 24.0;
/// Height of a line of words, hours.
const LINE_H: f64 = 0.9;
/// Narrowest phone, px: words must find room on it.
const NARROW_PX: f64 = 320.0;
/// Width of a letter of the words, px, on the safe side.
const LETTER_PX: f64 = 7.4;
/// Distance of the words from the edge, px.
const MARGIN_PX: f64 = 20.0;

/// One event with its words.
#[derive(Clone, Debug)]
pub(crate) struct Event {
    pub(crate) hour: f64,
    pub(crate) clock: String,
    pub(crate) words: String,
    t_c: Option<f64>,
    rank: Rank,
    by_hand: bool,
    expected: bool,
}

/// A place's day, brought to hours from its top.
pub(crate) struct Day {
    start_ms: i64,
    civil: Civil,
    /// Now, hours from the top.
    now: f64,
    curve: Vec<(f64, f64)>,
    holes: Vec<(f64, f64)>,
    expected: Vec<(f64, f64, f64, f64)>,
    /// What happened and what is expected to, by hour.
    pub(crate) events: Vec<Event>,
}

impl Day {
    /// The day of a place: from 04:00 of the site's standard time, 24 hours.
    pub(crate) fn of(place: &PlaceGlance, glance: &Glance) -> Self {
        let offset = i64::from(glance.standard_offset_s) * 1000 - 4 * HOUR_MS;
        let start_ms = (glance.at_ms + offset).div_euclid(24 * HOUR_MS) * 24 * HOUR_MS - offset;
        let hour = |ms: i64| (ms - start_ms) as f64 / HOUR_MS as f64;
        let mut day = Self {
            start_ms,
            civil: Civil(glance.civil_offset_s),
            now: hour(glance.at_ms).clamp(0.0, HOURS),
            curve: place.curve.iter().map(|&(ms, t)| (hour(ms), t)).collect(),
            holes: place.holes.iter().map(|&(from, to)| (hour(from), hour(to))).collect(),
            expected: place.expected.iter().map(|&(ms, low, mid, high)| (hour(ms), low, mid, high)).collect(),
            events: Vec::new(),
        };
        day.curve.retain(|&(at, _)| (0.0..=day.now + 0.01).contains(&at));
        if let (Some(t_c), Some(ms)) = (place.t_c, place.heard_ms) {
            let at = hour(ms).min(day.now);
            if day.curve.last().is_some_and(|last| last.0 < at) {
                day.curve.push((at, t_c));
            }
        }
        day.expected.retain(|&(at, ..)| at >= day.now - 1.0 && at <= HOURS + 0.01);
        day.events = day.happened(place);
        day.events.extend(day.foretold(place));
        day
    }

    fn ms(&self, hour: f64) -> i64 {
        self.start_ms + (hour * HOUR_MS as f64) as i64
    }

    fn happened(&self, place: &PlaceGlance) -> Vec<Event> {
        let known = place.knots.iter().map(|knot| Event {
            hour: (knot.at_ms - self.start_ms) as f64 / HOUR_MS as f64,
            clock: self.civil.clock(knot.at_ms),
            words: knot.words.clone(),
            t_c: knot.t_c,
            rank: rank(&knot.words, knot.by_hand),
            by_hand: knot.by_hand,
            expected: false,
        });
        known.filter(|event| (0.0..=self.now).contains(&event.hour)).collect()
    }

    /// The peak, the limits passed on the way to it and the low of the coming night, as far as they are expected.
    fn foretold(&self, place: &PlaceGlance) -> Vec<Event> {
        let ahead: Vec<_> = self.expected.iter().filter(|point| point.0 > self.now).copied().collect();
        let Some(peak) = ahead.iter().max_by(|a, b| a.2.total_cmp(&b.2)).copied() else { return Vec::new() };
        let event = |hour: f64, words: String, t_c: f64, rank: Rank| Event {
            hour,
            clock: self.civil.clock(self.ms(hour)),
            words,
            t_c: Some(t_c),
            rank,
            by_hand: false,
            expected: true,
        };
        let mut events = Vec::new();
        let rising = place.t_c.is_none_or(|t| peak.2 > t) && peak.0 > self.now + 0.25;
        if rising {
            let guess = if place.t_c.is_none() { "a guess: peak" } else { "peak" };
            events.push(event(peak.0, format!("{guess} {}", range(peak.1, peak.3)), peak.2, Rank::Peak));
            for line in &place.lines {
                let passes =
                    ahead.windows(2).find(|pair| pair[0].2 < line.limit_c && pair[1].2 >= line.limit_c);
                if let Some([a, b]) = passes {
                    let hour = a.0 + (b.0 - a.0) * (line.limit_c - a.2) / (b.2 - a.2);
                    let words = format!("{} pass {}", line.whose, tenth_or_whole(line.limit_c));
                    events.push(event(hour, words, line.limit_c, Rank::Limit));
                }
            }
        }
        let low = ahead.iter().filter(|point| point.0 > 12.0).min_by(|a, b| a.2.total_cmp(&b.2));
        if let Some(low) = low.filter(|low| low.0 > self.now + 0.5) {
            events.push(event(low.0, format!("low {}", range(low.1, low.3)), low.2, Rank::Low));
        }
        events
    }
}

fn rank(words: &str, by_hand: bool) -> Rank {
    let starts = |word: &str| words.starts_with(word);
    if by_hand {
        Rank::Act
    } else if starts("peak") || starts("high") {
        Rank::Peak
    } else if starts("low") {
        Rank::Low
    } else if words.contains("clear") {
        Rank::Release
    } else {
        Rank::Limit
    }
}

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
    html! {
        svg.cloth width="100%" height=(height) role="img" aria-labelledby={ (id) "-title " (id) "-words" } {
            title id={ (id) "-title" } { (place.name) " today, hour by hour" }
            desc id={ (id) "-words" } { (description(place, day)) }
            (degrees())
            svg x="0" y=(TOP_PX) width="100%" height=(HOURS * HOUR_PX)
                viewBox={ (LEFT_C) " 0 " (RIGHT_C - LEFT_C) " " (HOURS) } preserveAspectRatio="none" {
                (weave(place, day, id))
            }
            (tags(place, day))
            (hours(day))
            (words(day))
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

/// Tags hang left of their strings, one line lower each; where words are in the way, the figure alone.
fn tags(place: &PlaceGlance, day: &Day) -> Markup {
    let row = |index: usize| TOP_PX + 14.0 + index as f64 * 17.0;
    let reach = |y: f64| -> f64 {
        let near = day.events.iter().filter(|event| (TOP_PX + event.hour * HOUR_PX - y).abs() < 18.0);
        near.map(|event| MARGIN_PX + 24.0 + width(event)).fold(0.0, f64::max)
    };
    html! {
        @for (index, line) in place.lines.iter().enumerate() {
            @let y = row(index);
            @let figure = format!("{}°", tenth_or_whole(line.limit_c));
            @let left = percent(line.limit_c) / 100.0 * NARROW_PX - 10.0
                - LETTER_PX * (line.whose.chars().count() + figure.chars().count() + 1) as f64;
            line.tag x1=(pct(line.limit_c)) x2=(pct(line.limit_c)) y1=(y - 12.0) y2=(y + 4.0) {}
            text.tag-words x=(pct(line.limit_c)) dx="-6" y=(y) {
                @if left > reach(y) { (line.whose) " " }
                tspan.strong { (figure) }
            }
        }
    }
}

fn width(event: &Event) -> f64 {
    (event.words.chars().count() + 6) as f64 * LETTER_PX
}

fn words(day: &Day) -> Markup {
    let wanted: Vec<_> = day.events.iter().map(|event| (event.hour, event.rank)).collect();
    let placed = placing::place(&wanted, day.now, HOURS, LINE_H);
    html! {
        @for (event, at) in day.events.iter().zip(placed) {
            @if let Some(at) = at { (word(event, at)) }
            (knot(event))
        }
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
    let knot_px = event.t_c.map_or(0.0, |t| percent(t) / 100.0 * NARROW_PX);
    let fits_left = event.t_c.is_none() || MARGIN_PX + width(event) + 8.0 <= knot_px;
    let fits_right = knot_px + 12.0 + width(event) <= NARROW_PX;
    let x = event.t_c.map_or("0".to_owned(), pct);
    if fits_left || !fits_right {
        html! {
            @if event.t_c.is_some() {
                line.thin x1="0" x2=(x) y1=(down(at)) y2=(down(at)) {}
                @if (at - event.hour).abs() > 0.01 {
                    line.thin x1=(x) x2=(x) y1=(down(at)) y2=(down(event.hour)) {}
                }
            }
            text.word.cased[event.expected || !fits_left] y=(down(at)) dy="-4" {
                tspan.strong { (event.clock) } " " (event.words)
            }
        }
    } else {
        let middle = (at.clamp(LINE_H * 0.6, HOURS - LINE_H * 0.6)).max(event.hour.min(at));
        html! {
            @if (at - event.hour).abs() > 0.01 {
                line.thin x1=(x) x2=(x) y1=(down(at)) y2=(down(event.hour)) {}
            }
            text.beside.cased x=(x) dx="12" y=(down(middle.min(HOURS - LINE_H * 0.4))) dy="5" {
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

/// The figure of now, with its clock above and its trust beneath.
fn now(place: &PlaceGlance, day: &Day) -> Markup {
    let inside = place.t_c.is_some_and(|t| percent(t) > 80.0);
    let x = if inside { "62%" } else { "100%" };
    let clock = day.civil.clock(day.ms(day.now));
    // Near the top of the day there is no room above the line.
    let base = if day.now < 2.4 { day.now + 3.4 } else { day.now };
    let guess = threads::range_at(&day.expected, day.now + 0.01).filter(|_| place.t_c.is_none());
    html! {
        text.now-clock.cased x=(x) dx="-12" y=(down(base)) dy="-33" {
            @if guess.is_some() { "a guess" } @else { (clock) }
        }
        text.now-figure.cased x=(x) dx="-12" y=(down(base)) dy="-8" {
            @match (place.t_c, guess) {
                (Some(t), _) => { (tenth(t)) "°" },
                (None, Some((low, _, high))) => (range(low, high)),
                (None, None) => "not known",
            }
        }
        @if let Some(heard) = place.heard_ms.filter(|_| day.now >= 2.4) {
            text.now-trust.cased x=(x) dx="-12" y=(down(base)) dy="17" {
                @if place.t_c.is_some() { "read " (day.civil.clock(heard)) ", sound" }
                @else { "last read " (day.civil.clock(heard)) }
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
    fn the_day_starts_at_four_of_standard_time_and_its_hours_are_civil() {
        let glance = fixtures::heat();
        let day = Day::of(&glance.places[0], &glance);
        assert_eq!(day.civil.clock(day.start_ms), "05:00", "summer time is an hour ahead");
        assert!((day.now - 8.17).abs() < 0.01, "13:10 is {} h after 05:00", day.now);
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
