//! A picture of Now for a look from away: one HTML file that loads nothing, runs nothing, and fits any phone.
//!
//! It is the page's own drawing with fewer threads: a cloth for each place, time running down, heat reaching out from
//! the left, the crops' limits as strings. Light only, for nobody knows where it will be looked at; all style stands in
//! the elements. It says nothing that the letter's text does not say. Sixty kilobytes is what a poor line carries while
//! somebody waits: should many places need more, the last of them go without their drawing.

use agronomy::people::caution::LAST;
use maud::{DOCTYPE, Markup, html};

use super::cloth::tenth_or_whole;
use super::day::Day;
use super::figures::{Civil, tenth};
use super::letter_parts::silence;
use super::now_lintel::{in_order, state_words};
use crate::glance::{Glance, PlaceGlance, Tone};

mod drawing;

use drawing::drawing;

/// The whole file is shorter than this, bytes.
const MOST_BYTES: usize = 60_000;
const GROUND: &str = "#eef3f0";
const INK: &str = "#260f03";
/// Heat below the first string, and past the first, second and third.
const WOVEN: [&str; 4] = ["#fee391", "#fe9929", "#cc4c02", "#662506"];

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
                        div style="font-size:14px" { (glance.site) ", " (civil.head(glance, Civil::long_day)) }
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
                (Some(t), Some(heard)) => { b style="font-size:28px" { (tenth(t)) "°" } " read " (civil.when(heard, glance.at_ms)) (if place.in_doubt { ", in doubt. " } else { ", sound. " }) }
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
            @for notice in others {
                p style="margin:0 16px;padding:5px 0;border-bottom:1px solid" { (notice.order()) }
            }
        }
    }
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
    fn no_string_runs_through_the_name_of_another_and_a_knot_past_the_scale_is_whole() {
        let mut glance = fixtures::heat();
        let high = crate::glance::Knot {
            at_ms: fixtures::at(12, 8),
            t_c: Some(46.2),
            words: "high 46.2".to_owned(),
            by_hand: false,
        };
        glance.places[0].knots.push(high);
        let place = &glance.places[0];
        let drawn = drawing(place, &Day::of(place, &glance), 0).into_string();
        let named = |line: &crate::glance::Line| {
            drawn.find(&format!("{} {}°", line.whose, tenth_or_whole(line.limit_c))).unwrap()
        };
        // A string reaches down from its name, and a name leftwards from its string: the highest limit stands on top.
        let places: Vec<usize> = place.lines.iter().take(4).map(named).collect();
        assert!(places.len() > 1 && places.is_sorted_by(|a, b| a > b), "{drawn}");
        assert!(drawn.contains("cx=\"98.3%\"") && !drawn.contains("cx=\"100.0%\""), "{drawn}");
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
