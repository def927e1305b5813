//! The cloth: one place's day, woven down the page behind the strings of its limits.
//!
//! Two layers. The inner drawing is in °C and hours and stretches with the width; the outer one carries words, tags
//! and knots, across in per cent and down in pixels, so that they keep their shape. No style attribute anywhere:
//! the content policy forbids them.

use maud::{Markup, html};

use super::cloth_words::{Tag, hang_tags, placed, tags, words, written};
use super::day::{Day, Event, HOURS};
use super::figure_now::{self, Around, Line, Stand};
use super::figures::{HOUR_MS, range, span, tenth};
use super::threads::{self, LEFT_C, RIGHT_C, percent};
use crate::glance::PlaceGlance;

/// Height of an hour, px.
pub(super) const HOUR_PX: f64 = 20.0;
/// Height of the strip with the degrees above the first hour, px.
pub(super) const TOP_PX: f64 = 18.0;
/// Height of the drawing, px.
const HEIGHT_PX: f64 = TOP_PX + HOURS * HOUR_PX + 6.0;

/// A limit: whole where it is whole.
pub(crate) fn tenth_or_whole(limit_c: f64) -> String {
    if limit_c.fract() == 0.0 { format!("{limit_c:.0}") } else { tenth(limit_c) }
}

pub(super) fn down(hour: f64) -> String {
    format!("{:.1}", TOP_PX + hour * HOUR_PX)
}

pub(super) fn pct(t_c: f64) -> String {
    format!("{:.2}%", percent(t_c))
}

/// The cloth of a place. `id` keeps the names inside the drawing apart from those of the other cloths of the page.
pub(crate) fn cloth(place: &PlaceGlance, day: &Day, id: &str) -> Markup {
    let placed = placed(day);
    let hung = hang_tags(place, &placed);
    let stand = stand(place, day, &placed, &hung);
    html! {
        svg.cloth width="100%" height=(HEIGHT_PX) role="img" aria-labelledby={ (id) "-title " (id) "-words" } {
            title id={ (id) "-title" } { (place.name) " today, hour by hour" }
            desc id={ (id) "-words" } { (description(place, day)) }
            (degrees())
            svg x="0" y=(TOP_PX) width="100%" height=(HOURS * HOUR_PX)
                viewBox={ (LEFT_C) " 0 " (RIGHT_C - LEFT_C) " " (HOURS) } preserveAspectRatio="none" {
                (weave(place, day, id))
            }
            (tags(&hung))
            (hours(day, stand))
            (words(day, &placed))
            (now(place, day, stand))
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

/// The hours as numerals at the right edge, but not behind the figure of now.
fn hours(day: &Day, stand: Stand) -> Markup {
    let first = day.civil.hour_of_day(day.start_ms);
    html! {
        @for step in 1..8 {
            @let clock = f64::from(step * 3);
            @let hour = (clock - first).rem_euclid(24.0);
            @if (TOP_PX + hour * HOUR_PX - stand.base).abs() > 52.0 && hour > 3.5 {
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

/// The lines of the figure of now: its clock, the figure, its trust. A guess stands below the line of now, for above it
/// is a hole.
fn lines_of_now(place: &PlaceGlance, day: &Day) -> [(String, Line); 3] {
    let line = |words: String, foot: f64, height: f64, letter_px: f64| {
        let width = words.chars().count() as f64 * letter_px;
        (words, Line { foot, height, width })
    };
    let heard = |words: &str, end: &str| {
        place.heard_ms.map_or_else(String::new, |ms| format!("{words} {}{end}", day.civil.clock(ms)))
    };
    if let Some(t) = place.t_c {
        return [
            line(day.civil.clock(day.ms(day.now)), -33.0, 13.0, 8.2),
            line(format!("{}°", tenth(t)), -8.0, 24.0, 15.5),
            line(heard("read", if place.in_doubt { ", in doubt" } else { ", sound" }), 17.0, 12.0, 6.9),
        ];
    }
    let guess = threads::range_at(&day.expected, day.now + 0.01);
    [
        line(if guess.is_some() { "a guess" } else { "now" }.to_owned(), 20.0, 13.0, 8.2),
        line(guess.map_or("not known".to_owned(), |(low, _, high)| range(low, high)), 42.0, 18.0, 11.5),
        line(heard("last read", ""), 60.0, 12.0, 6.9),
    ]
}

/// Where the figure of now stands.
fn stand(place: &PlaceGlance, day: &Day, placed: &[(&Event, f64)], hung: &[Tag<'_>]) -> Stand {
    let lines = lines_of_now(place, day).map(|(_, line)| line);
    let around = Around {
        written: figure_now::WIDTHS_PX.map(|width_px| written(day, placed, hung, width_px)),
        strings: place.lines.iter().map(|line| percent(line.limit_c)).collect(),
        within: (TOP_PX, HEIGHT_PX),
    };
    figure_now::stand(TOP_PX + day.now * HOUR_PX, &lines, &around)
}

fn now(place: &PlaceGlance, day: &Day, stand: Stand) -> Markup {
    let [(clock, clock_line), (figure, figure_line), (trust, trust_line)] = lines_of_now(place, day);
    let x = format!("{:.2}%", stand.across);
    let y = format!("{:.1}", stand.base);
    let small = place.t_c.is_none();
    html! {
        text.now-clock.cased x=(x) dx="-12" y=(y) dy=(clock_line.foot) { (clock) }
        text.now-figure.small[small].cased x=(x) dx="-12" y=(y) dy=(figure_line.foot) { (figure) }
        @if !trust.is_empty() { text.now-trust.cased x=(x) dx="-12" y=(y) dy=(trust_line.foot) { (trust) } }
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

    #[test]
    fn what_lies_past_the_scale_is_tied_by_a_whole_knot() {
        let mut glance = fixtures::heat();
        let words = "high 46.2".to_owned();
        let high = crate::glance::Knot { at_ms: fixtures::at(12, 8), t_c: Some(46.2), words, by_hand: false };
        glance.places[0].knots.push(high);
        let place = &glance.places[0];
        let drawn = cloth(place, &Day::of(place, &glance), "p0").into_string();
        // 6.75 px from the edge of 320: half of 9 px, the rim, and a little air.
        assert!(drawn.contains("cx=\"97.89%\"") && !drawn.contains("cx=\"100.00%\""), "{drawn}");
        assert!(!drawn.contains("class=\"word\""), "no string runs through words: each has its rim");
    }

    #[test]
    fn what_has_just_passed_a_limit_is_not_hidden_by_the_figure_of_now() {
        let mut glance = fixtures::heat();
        let place = &mut glance.places[0];
        place.t_c = Some(42.1);
        let line = crate::glance::Line { whose: place.name.clone(), limit_c: 40.0, of_place: true };
        place.lines.truncate(3);
        place.lines.push(line);
        let words = format!("{} pass 40", place.name);
        place.knots.push(crate::glance::Knot {
            at_ms: fixtures::at(13, 8),
            t_c: Some(40.0),
            words,
            by_hand: false,
        });
        let place = &glance.places[0];
        let day = Day::of(place, &glance);
        let placed = placed(&day);
        assert!(placed.iter().any(|(event, _)| event.words.contains("pass 40")));
        let hung = hang_tags(place, &placed);
        let stand = stand(place, &day, &placed, &hung);
        let lines = lines_of_now(place, &day).map(|(_, line)| line);
        for width_px in figure_now::WIDTHS_PX {
            let own = figure_now::boxes(stand, &lines, width_px);
            for written in written(&day, &placed, &hung, width_px) {
                assert!(own.iter().all(|own| !own.meets(&written)), "{stand:?} {written:?} at {width_px}");
            }
        }
    }
}
