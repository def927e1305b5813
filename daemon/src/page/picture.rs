//! A picture of Now for a look from away: one HTML file that loads nothing, runs nothing, and fits any phone.
//!
//! It is the page's own drawing with fewer threads: a cloth for each place, time running down, heat reaching out from
//! the left, the crops' limits as strings. Light only, for nobody knows where it will be looked at; all style stands in
//! the elements. It says nothing that the letter's text does not say. Sixty kilobytes is what a poor line carries while
//! somebody waits: should many places need more, the last of them go without their drawing.

use std::fmt::Write;

use maud::{DOCTYPE, Markup, html};

use super::cautions::LAST;
use super::cloth::tenth_or_whole;
use super::day::{Day, Event, HOURS};
use super::figures::{Civil, span, tenth};
use super::letter_parts::silence;
use super::now_lintel::{in_order, state_words};
use super::placing::{self, Rank};
use super::threads::{self, LEFT_C, RIGHT_C, across, percent, range_at};
use crate::glance::{Glance, PlaceGlance, Tone};

/// The whole file is shorter than this, bytes.
const MOST_BYTES: usize = 60_000;
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

const GROUND: &str = "#eef3f0";
const NIGHT: &str = "#d8e1dd";
const INK: &str = "#260f03";
/// Heat below the first string, and past the first, second and third.
const WOVEN: [&str; 4] = ["#fee391", "#fe9929", "#cc4c02", "#662506"];
/// The same, expected.
const LOOSE: [&str; 2] = ["#fec44f", "#fe9929"];

/// The picture as a whole file.
pub fn picture(glance: &Glance) -> String {
    let mut drawn = glance.places.len();
    loop {
        let file = sheet(glance, drawn).into_string();
        if file.len() < MOST_BYTES || drawn == 0 {
            return file;
        }
        drawn -= 1;
    }
}

fn sheet(glance: &Glance, drawn: usize) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let (tone, on_tone) = match glance.sentence.tone {
        Tone::Well => (WOVEN[0], INK),
        Tone::Soon => (WOVEN[1], INK),
        Tone::Past => (WOVEN[3], WOVEN[0]),
        Tone::Blind => (GROUND, INK),
    };
    let body = format!("margin:0;background:{GROUND};color:{INK};font:16px/1.4 system-ui,sans-serif");
    let lintel = format!("background:{tone};color:{on_tone};padding:12px 16px;border-bottom:5px solid {INK}");
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light only";
                title { (glance.site) ": " (glance.sentence.order) }
            }
            body style=(body) {
                div style="max-width:600px;margin:0 auto" {
                    div style=(lintel) {
                        div style="font-size:14px" { (glance.site) ", " (civil.long_day(glance.at_ms)) ", " (civil.clock(glance.at_ms)) }
                        h1 style="margin:6px 0;font-size:32px;line-height:1.1" { (glance.sentence.order) }
                        div { (glance.sentence.why) }
                    }
                    @for (index, place) in in_order(glance).into_iter().enumerate() { (place_section(place, glance, index, index < drawn)) }
                    (crops(glance))
                    (notices(glance))
                    p style="margin:20px 16px 0;font-size:14px" { "A picture of one moment; it does not renew itself. Sent by your own board: whoever holds it can read it. " (LAST) }
                    @if let Some(silence) = silence(glance) { p style="margin:8px 16px 24px;font-weight:bold" { (silence) } }
                }
            }
        }
    }
}

/// A heading: the figure under its beam.
const HEAD: &str = "margin:18px 16px 4px;padding-top:8px;border-top:3px solid #260f03;font-size:20px";

fn place_section(place: &PlaceGlance, glance: &Glance, index: usize, drawn: bool) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let known = !place.curve.is_empty() || place.t_c.is_some();
    html! {
        h2 style=(HEAD) { (place.name) }
        p style="margin:0 16px 6px" {
            @match (place.t_c, place.heard_ms) {
                (Some(t), Some(heard)) => { b style="font-size:28px" { (tenth(t)) "°" } " read " (civil.when(heard, glance.at_ms)) ", sound. " }
                (None, Some(heard)) => { b { "Now: not known; last heard " (civil.when(heard, glance.at_ms)) ". " } }
                _ => { "Now: not known. " }
            }
            @if let Some((t, ms)) = place.high_today { "Highest today " (tenth(t)) " at " (civil.clock(ms)) ". " }
            @if let Some((t, ms)) = place.low_last_night { "Lowest last night " (tenth(t)) " at " (civil.clock(ms)) ". " }
            @if let Some(hand) = &place.by_hand {
                "By hand, " (civil.when(hand.at_ms, glance.at_ms)) ": "
                @for (word, value) in [("now", hand.now_c), ("lowest", hand.low_c), ("highest", hand.high_c)] {
                    @if let Some(t) = value { (word) " " (tenth(t)) " °C. " }
                }
            }
        }
        @if drawn && known { (drawing(place, &Day::of(place, glance), index)) }
    }
}

fn crops(glance: &Glance) -> Markup {
    html! {
        @if !glance.plantings.is_empty() {
            h2 style=(HEAD) { "Crop by crop" }
            @for planting in &glance.plantings {
                @let distance = planting.past_line_c.map(|past| if past > 0.0 { format!("{} past", tenth(past)) } else { format!("{} under", tenth(-past)) });
                p style="margin:0 16px;padding:5px 0;border-bottom:1px solid" {
                    b { (planting.name) } ": " (state_words(planting.state).0)
                    @if let Some(distance) = distance { ", " (distance) " its line of " (tenth_or_whole(planting.line_c)) }
                }
            }
        }
    }
}

fn notices(glance: &Glance) -> Markup {
    let own = glance.sentence.notice.as_deref();
    let others: Vec<_> = glance.open.iter().filter(|notice| Some(notice.id.as_str()) != own).collect();
    html! {
        @if !others.is_empty() {
            h2 style=(HEAD) { "Also open" }
            @for step in others.iter().filter_map(|notice| notice.steps.last()) {
                p style="margin:0 16px;padding:5px 0;border-bottom:1px solid" { (step.title) }
            }
        }
    }
}

fn down(hour: f64) -> String {
    format!("{:.1}", TOP_PX + hour * HOUR_PX)
}

fn pct(t_c: f64) -> String {
    format!("{:.1}%", percent(t_c))
}

fn drawing(place: &PlaceGlance, day: &Day, index: usize) -> Markup {
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
        @for line in &place.lines {
            @let string = format!("M{:.2} 0V{HOURS}", across(line.limit_c));
            (stroke(GROUND, if line.of_place { 7.0 } else { 4.0 }, &string))
            (stroke(INK, if line.of_place { 4.0 } else { 1.5 }, &string))
            @if line.of_place { (stroke(GROUND, 1.5, &string)) }
        }
        @for part in &parts { (stroke(INK, 2.5, &threads::edge(part.iter().copied()))) }
        (stroke(INK, 1.0, &threads::edge(middle)))
        (stroke(INK, 3.0, &now))
    }
}

fn stroke(colour: &str, width: f64, path: &str) -> Markup {
    html! { path fill="none" stroke=(colour) stroke-width=(width) vector-effect="non-scaling-stroke" d=(path) {} }
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

/// The limits' names above the cloth, a line each, left of their strings.
fn tags(place: &PlaceGlance) -> Markup {
    html! {
        @for (row, line) in place.lines.iter().take(4).enumerate() {
            @let y = 14 + 16 * row;
            line x1=(pct(line.limit_c)) x2=(pct(line.limit_c)) y1=(y - 11) y2=(TOP_PX) stroke=(INK) {}
            text x=(pct(line.limit_c)) dx="-6" y=(y) text-anchor="end" { (line.whose) " " (tenth_or_whole(line.limit_c)) "°" }
        }
    }
}

/// The hours as numerals at the right edge.
fn hours(day: &Day) -> Markup {
    let first = day.civil.hour_of_day(day.start_ms);
    html! {
        @for clock in [6.0, 9.0, 12.0, 15.0, 18.0, 21.0] {
            @let hour = (clock - first).rem_euclid(HOURS);
            text x="100%" dx="-5" y=(down(hour)) dy="4" font-size="12" text-anchor="end" { (format!("{clock:02.0}")) }
        }
    }
}

/// The words stand on thin lines that run from the edge to their knots, as on the page.
fn words(day: &Day) -> Markup {
    let wanted: Vec<_> = day.events.iter().map(|event| (event.hour, event.rank)).collect();
    let places = placing::place(&wanted, day.now, HOURS, LINE_H);
    let placed: Vec<(&Event, f64)> =
        day.events.iter().zip(places).filter_map(|(event, at)| Some((event, at?))).collect();
    let cased = format!("paint-order:stroke;stroke:{GROUND};stroke-width:4px;stroke-linejoin:round");
    html! {
        @for (event, at) in &placed {
            @let x = event.t_c.map_or("0".to_owned(), pct);
            @let y = down(*at);
            @if beside(event) {
                text x=(x) dx="10" y=(y) dy="4" style=(cased) { (event.clock) " " (event.words) }
            } @else {
                line x1="0" x2=(x) y1=(y) y2=(y) stroke=(INK) {}
                line x1=(x) x2=(x) y1=(y) y2=(down(event.hour)) stroke=(INK) {}
                text x="16" y=(y) dy="-3" style=(cased) { (event.clock) " " (event.words) }
            }
        }
        @for event in &day.events {
            @if let Some(t) = event.t_c {
                @let fill = if event.rank == Rank::Release { GROUND } else { INK };
                circle cx=(pct(t)) cy=(down(event.hour)) r="4" fill=(fill) stroke=(GROUND) {}
            }
        }
        @for &(from, to) in &day.holes {
            @if to - from > 0.5 {
                text x="16" y=(down(f64::midpoint(from.max(0.0), to))) dy="4" { "nothing heard for " (span(((to - from) * 3_600_000.0) as i64)) }
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

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::super::letter::written;
    use super::*;

    /// Ten houses and twenty plantings on a hot day.
    fn large() -> Glance {
        let mut glance = fixtures::heat();
        let (house, planting) = (glance.places[0].clone(), glance.plantings[0].clone());
        for number in 2..=10 {
            let mut more = house.clone();
            (more.place, more.name) = (format!("house-{number}"), format!("Long House {number}"));
            glance.places.insert(1, more);
        }
        glance.places.truncate(10);
        for number in 0..17 {
            let mut more = planting.clone();
            (more.planting, more.name) = (format!("p-{number}"), format!("Pepper ‘Redstart the {number}th’"));
            glance.plantings.push(more);
        }
        glance
    }

    #[test]
    fn ten_places_and_twenty_plantings_fit_into_sixty_kilobytes_all_drawn() {
        let glance = large();
        assert_eq!((glance.places.len(), glance.plantings.len()), (10, 20));
        let file = picture(&glance);
        assert!(file.len() < 60_000, "{} bytes", file.len());
        assert_eq!(file.matches("role=\"img\"").count(), 10);
    }

    #[test]
    fn what_would_be_too_long_goes_without_its_last_drawings_but_says_all_places() {
        let mut glance = large();
        for number in 11..=30 {
            let mut more = glance.places[1].clone();
            more.name = format!("Long House {number}");
            glance.places.push(more);
        }
        let file = picture(&glance);
        assert!(file.len() < 60_000 && file.matches("role=\"img\"").count() >= 5, "{} bytes", file.len());
        assert!(file.contains("Long House 30"));
    }

    #[test]
    fn it_loads_nothing_and_runs_nothing() {
        for glance in [fixtures::heat(), fixtures::blind(), fixtures::by_hand(), fixtures::hostile()] {
            let file = picture(&glance);
            for loads in ["<script", "<link", "<img", "src=", "href=", "@import", "url(http"] {
                assert!(!file.contains(loads), "{loads}");
            }
        }
    }

    /// The words between the tags, entities read.
    fn said(file: &str) -> String {
        let mut words = String::new();
        for piece in file.split('<').skip(1) {
            words.push_str(piece.split_once('>').map_or("", |(_, text)| text));
            words.push(' ');
        }
        words.replace("&amp;", "&").split_whitespace().collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn every_figure_of_the_picture_stands_in_the_letters_text() {
        for glance in [fixtures::heat(), fixtures::calm(), fixtures::blind(), fixtures::by_hand()] {
            let text = written(&glance).text.replace('\n', " ");
            let words = said(&sheet(&glance, 9).into_string());
            let hours = ["06", "09", "12", "15", "18", "21"];
            let figures = words.split(|c: char| !(c.is_ascii_digit() || c == '.' || c == ':'));
            let figures: Vec<_> =
                figures.map(|it| it.trim_matches(['.', ':'])).filter(|it| !it.is_empty()).collect();
            assert!(figures.len() > 5, "{words}");
            for figure in figures.into_iter().filter(|it| !hours.contains(it)) {
                assert!(text.contains(figure), "{figure} is not in {text}");
            }
        }
    }

    #[test]
    fn silence_is_a_hole_and_no_figure_of_now() {
        let words = said(&picture(&fixtures::blind()));
        assert!(
            words.contains("Now: not known; last heard 11:20.")
                && words.contains("nothing heard for 80 minutes")
        );
        assert!(!words.contains("sound"), "{words}");
    }

    #[test]
    fn a_name_cannot_break_out() {
        assert!(!picture(&fixtures::hostile()).contains("<script>alert"));
    }
}
