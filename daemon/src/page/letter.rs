//! The letter: the whole glance as one column, in text and in plain HTML, and as the page `/letter`.
//!
//! All three are made from the same paragraphs, so that no figure can differ between them. The mailed HTML carries
//! its style in its elements, for mail programs drop style sheets; the page uses ours.

use std::fmt::Write;

use maud::{DOCTYPE, Markup, html};

use super::cautions::{self, LAST};
use super::cloth::tenth_or_whole;
use super::figures::{Civil, degree_days, range, share, tenth, water_words};
use super::frame::{Did, Lintel, View, page};
use crate::glance::{Glance, PlaceGlance, PlantingGlance, State};

/// Says what silence means.
const SILENCE: &str = "No letter by 06:30 means the board is down.";
/// Width of the text twin, characters.
const WIDTH: usize = 72;

/// A head with its lines.
struct Part {
    head: String,
    lines: Vec<String>,
}

/// Subject, text and HTML of the letter as it would go out now.
pub fn letter_text(glance: &Glance) -> (String, String, String) {
    let civil = Civil(glance.civil_offset_s);
    let subject = format!("{}: {}", glance.site, glance.sentence.order.trim_end_matches('.'));
    // A subject is one line, whatever a site is called.
    let subject = subject.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    let date = format!("{}, {}, {}", glance.site, civil.long_day(glance.at_ms), civil.clock(glance.at_ms));
    let parts = parts(glance);
    (subject, as_text(glance, &date, &parts), as_mail(glance, &date, &parts).into_string())
}

/// The letter as a page.
pub(crate) fn view(glance: &Glance) -> Markup {
    let lintel = Lintel {
        tone: glance.sentence.tone,
        place: format!("{}, the letter", glance.site),
        order: glance.sentence.order.clone(),
        why: glance.sentence.why.clone(),
        more: html! {},
    };
    let main = html! {
        div.pg {
            @for part in parts(glance) {
                h2 { (part.head) }
                ul.list { @for line in part.lines { li { (line) } } }
            }
            p.big { (SILENCE) }
            p.source { "This is the letter as it would go out now. Sent by your own board; whoever holds it can read it. " (LAST) }
        }
    };
    page(View::Letter, glance, Did::default(), &lintel, &main)
}

fn parts(glance: &Glance) -> Vec<Part> {
    let mut parts = Vec::new();
    let mut add = |head: &str, lines: Vec<String>| {
        if !lines.is_empty() {
            parts.push(Part { head: head.to_owned(), lines });
        }
    };
    add("What needs doing", notices(glance));
    add("Place by place", glance.places.iter().map(|place| place_line(place, glance)).collect());
    add("Crop by crop", glance.plantings.iter().map(crop_line).collect());
    if let Some((head, lines)) = cautions::stay_out(glance) {
        add(&head, lines);
    }
    add("How well this is known", known(glance));
    parts
}

fn notices(glance: &Glance) -> Vec<String> {
    let civil = Civil(glance.civil_offset_s);
    let line = |notice: &crate::glance::NoticeView| {
        let step = notice.steps.last()?;
        let answered = notice.on_it_ms.map(|ms| format!(" On it since {}.", civil.when(ms, glance.at_ms)));
        Some(format!(
            "{} {} Since {}.{}",
            step.title,
            step.whole_text(),
            civil.when(notice.opened_ms, glance.at_ms),
            answered.unwrap_or_default()
        ))
    };
    glance.open.iter().filter_map(line).collect()
}

fn place_line(place: &PlaceGlance, glance: &Glance) -> String {
    let civil = Civil(glance.civil_offset_s);
    let mut line = format!("{}:", place.name);
    match (place.t_c, place.heard_ms) {
        (Some(t), Some(heard)) => {
            let _ = write!(line, " {} °C, read {}, sound.", tenth(t), civil.when(heard, glance.at_ms));
        }
        (None, Some(heard)) => {
            let _ = write!(line, " now not known; last heard {}.", civil.when(heard, glance.at_ms));
        }
        _ if place.by_hand.is_none() => line.push_str(" nothing measures here."),
        _ => line.push_str(" now not known."),
    }
    if let Some(hand) = &place.by_hand {
        let part = |word: &str, value: Option<f64>| value.map(|t| format!("{word} {} °C", tenth(t)));
        let figures: Vec<_> =
            [part("now", hand.now_c), part("lowest", hand.low_c), part("highest", hand.high_c)]
                .into_iter()
                .flatten()
                .collect();
        let _ = write!(line, " By hand, {}: {}.", civil.when(hand.at_ms, glance.at_ms), figures.join(", "));
    }
    if let Some((t, ms)) = place.high_today {
        let _ = write!(line, " Highest today {} at {}.", tenth(t), civil.clock(ms));
    }
    if let Some((t, ms)) = place.low_last_night {
        let _ = write!(line, " Lowest last night {} at {}.", tenth(t), civil.clock(ms));
    }
    let ahead = place.expected.iter().filter(|point| point.0 > glance.at_ms);
    if let Some(peak) = ahead.max_by(|a, b| a.2.total_cmp(&b.2)) {
        let _ = write!(line, " Expected peak {} about {}.", range(peak.1, peak.3), civil.clock(peak.0));
    }
    if let (Some(dryness), Some(vpd)) = (&place.dryness, place.vpd_kpa) {
        let _ = write!(line, " Air {dryness}, {} kPa", tenth(vpd));
        if let Some(dew) = place.dew_point_c {
            let _ = write!(line, ", dew point {}", tenth(dew));
        }
        line.push('.');
    }
    line
}

fn crop_line(planting: &PlantingGlance) -> String {
    let state = match planting.state {
        State::AtEase => "at ease",
        State::Pressed => "pressed",
        State::Suffering => "suffering",
        State::NotKnown => "not known",
    };
    let line = tenth_or_whole(planting.line_c);
    let distance = match planting.past_line_c {
        Some(past) if past > 0.0 => format!("{} past its line of {line}", tenth(past)),
        Some(past) => format!("{} under its line of {line}", tenth(-past)),
        None => format!("its line is {line}"),
    };
    let water = planting.litres_today.as_ref();
    let water =
        water.map_or_else(String::new, |water| format!(" Water: {}.", water_words(planting.count, water)));
    format!(
        "{}: {state}, {distance}; {} h past it today, {} h this season.{water} {} degree days ({}), {} measured; {} warm nights.",
        planting.name,
        tenth(planting.stress_today_h),
        tenth(planting.stress_season_h),
        degree_days(planting),
        planting.rule,
        share(planting.measured_share),
        planting.warm_nights
    )
}

fn known(glance: &Glance) -> Vec<String> {
    let civil = Civil(glance.civil_offset_s);
    let mut lines: Vec<String> = Vec::new();
    if let Some((why, since)) = &glance.board.storage_refused {
        lines.push(format!("Nothing can be stored since {}: {why}.", civil.when(*since, glance.at_ms)));
    }
    lines.extend(glance.probes.iter().map(|probe| format!("Probe {}: {}.", probe.probe, probe.condition)));
    lines.push(match &glance.board.clock_vouched_by {
        Some(voucher) => format!("The clock is vouched for by {voucher}."),
        None => "The clock is not trusted yet; heat is watched, dates follow.".to_owned(),
    });
    lines.extend(glance.board.away.iter().map(|away| format!("{away}.")));
    lines.extend(glance.board.mirror.iter().map(|mirror| format!("{}.", mirror.words())));
    lines
}

fn as_text(glance: &Glance, date: &str, parts: &[Part]) -> String {
    let mut text = String::new();
    let mut paragraph = |words: &str, first: &str, rest: &str| {
        wrap(&mut text, words, first, rest);
    };
    paragraph(date, "", "");
    paragraph("", "", "");
    paragraph(&glance.sentence.order, "", "");
    paragraph(&glance.sentence.why, "", "");
    for part in parts {
        paragraph("", "", "");
        paragraph(&part.head.to_uppercase(), "", "");
        for line in &part.lines {
            paragraph(line, "- ", "  ");
        }
    }
    paragraph("", "", "");
    paragraph(SILENCE, "", "");
    paragraph("", "", "");
    paragraph(&format!("Sent by your own board. Whoever holds this letter can read it. {LAST}"), "", "");
    text
}

/// Adds words in lines of at most [`WIDTH`] characters; an empty paragraph is an empty line.
fn wrap(text: &mut String, words: &str, first: &str, rest: &str) {
    let mut line = first.to_owned();
    let mut bare = true;
    for word in words.split_whitespace() {
        if !bare && line.chars().count() + 1 + word.chars().count() > WIDTH {
            text.push_str(line.trim_end());
            text.push('\n');
            rest.clone_into(&mut line);
            bare = true;
        }
        if !bare {
            line.push(' ');
        }
        line.push_str(word);
        bare = false;
    }
    text.push_str(line.trim_end());
    text.push('\n');
}

/// The HTML twin: light only, style in the elements, no picture to load.
fn as_mail(glance: &Glance, date: &str, parts: &[Part]) -> Markup {
    const BODY: &str = "margin:0;background:#eef3f0;color:#260f03;font:16px/1.4 system-ui,sans-serif";
    const HEAD: &str = "margin:20px 0 4px;padding-top:8px;border-top:2px solid #260f03;font-size:20px";
    const LINE: &str = "margin:0;padding:6px 0;border-bottom:1px solid #260f03";
    html! {
        (DOCTYPE)
        html lang="en" {
            head { meta charset="utf-8"; meta name="color-scheme" content="light only"; title { (glance.sentence.order) } }
            body style=(BODY) {
                div style="max-width:600px;margin:0 auto;padding:16px" {
                    p style="margin:0;font-size:14px" { (date) }
                    h1 style="margin:8px 0;font-size:32px;line-height:1.1" { (glance.sentence.order) }
                    p style="margin:0;font-size:17px" { (glance.sentence.why) }
                    @for part in parts {
                        h2 style=(HEAD) { (part.head) }
                        @for line in &part.lines { p style=(LINE) { (line) } }
                    }
                    p style="margin:20px 0 4px;font-weight:bold" { (SILENCE) }
                    p style="margin:0;font-size:14px" { "Sent by your own board. Whoever holds this letter can read it. " (LAST) }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;

    #[test]
    fn the_letter_carries_the_whole_glance_in_text_and_html_alike() {
        let (subject, text, html) = letter_text(&fixtures::heat());
        assert_eq!(subject, "Tansy Corner: From outside, open the far door now");
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for wanted in [
            "Tansy Corner, Wednesday 15 July, 13:10",
            "Long House: 36.4 °C, read 13:09, sound. Highest today 36.4 at 13:09. Lowest last night 20.4 at 05:30.",
            "Expected peak 38 to 41 about 15:20. Air harsh, 4.1 kPa, dew point 17.6.",
            "suffering, 1.4 past its line of 35; 0.8 h past it today, 25.0 h this season.",
            "Tomatoes past 35 since 12:20.",
            "Dizzy, confused",
            "Water: 3 litres each today, 34 in all, reckoned from the span",
            "No letter by 06:30 means the board is down.",
            LAST,
        ] {
            assert!(flat.contains(wanted), "text lacks {wanted}\n{text}");
            assert!(html.contains(wanted), "html lacks {wanted}");
        }
    }

    #[test]
    fn no_line_of_the_text_is_longer_than_a_mail_line() {
        for glance in [fixtures::heat(), fixtures::calm(), fixtures::blind(), fixtures::by_hand()] {
            let (_, text, html) = letter_text(&glance);
            assert!(text.lines().all(|line| line.chars().count() <= WIDTH), "{text}");
            assert!(text.len() < 13_000 && html.len() < 13_000, "both twins stay under 13 kB");
        }
    }

    #[test]
    fn a_site_name_cannot_add_header_lines_or_markup() {
        let mut glance = fixtures::hostile();
        glance.site.push_str("\r\nBcc: all");
        let (subject, _, html) = letter_text(&glance);
        assert!(!subject.contains(['\r', '\n']));
        assert!(!html.contains("<script>"));
    }
}
