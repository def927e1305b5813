//! The letter: the whole glance as one column, in text and in plain HTML, and as the page `/letter`.
//!
//! All three are made from the same paragraphs, so that no figure can differ between them. The mailed HTML carries
//! its style in its elements, for mail programs drop style sheets; the page uses ours.

use agronomy::people::caution::LAST;
use maud::{DOCTYPE, Markup, html};

use super::figures::Civil;
use super::frame::{Did, Lintel, View, page};
use super::letter_parts::{parts, silence, why};
use super::picture::picture;
use crate::couriers::letter::Written;
use crate::glance::Glance;

/// That a letter is no secret.
const OWN: &str = "Whoever holds this letter can read it.";
/// Width of the text twin, characters.
const WIDTH: usize = 72;

/// The letter as it would go out now.
pub fn written(glance: &Glance) -> Written {
    let subject = format!("{}: {}", glance.site, glance.sentence.order.trim_end_matches('.'));
    // A subject is one line, whatever a site is called.
    let subject = subject.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    Written { subject, text: as_text(glance), html: as_mail(glance).into_string(), picture: picture(glance) }
}

/// The glance in a terminal: the letter's text without what is said of letters.
pub fn told(glance: &Glance) -> String {
    let mut text = Text::default();
    text.body(glance);
    text.paragraph(LAST, "", "");
    text.0
}

/// The letter as a page.
pub(crate) fn view(glance: &Glance) -> Markup {
    let lintel = Lintel {
        tone: glance.sentence.tone,
        place: format!("{}, the letter", glance.site),
        order: glance.sentence.order.clone(),
        why: why(glance),
        more: html! {},
    };
    let main = html! {
        div.pg {
            @for part in parts(glance) {
                h2 { (part.head) }
                ul.list { @for line in part.lines { li { (line) } } }
            }
            @if let Some(silence) = silence(glance) { p.big { (silence) } }
            p.source { "This is the letter as it would go out now. " (OWN) " " (LAST) }
        }
    };
    page(View::Letter, glance, Did::default(), &lintel, &main)
}

fn as_text(glance: &Glance) -> String {
    let mut text = Text::default();
    text.body(glance);
    text.paragraph(&format!("{OWN} {LAST}"), "", "");
    if let Some(silence) = silence(glance) {
        text.paragraph("", "", "");
        text.paragraph(&silence, "", "");
    }
    text.0
}

/// Text that is wrapped.
#[derive(Default)]
struct Text(String);

impl Text {
    fn paragraph(&mut self, words: &str, first: &str, rest: &str) {
        wrap(&mut self.0, words, first, rest);
    }

    /// All that is known of the present, and an empty line.
    fn body(&mut self, glance: &Glance) {
        self.paragraph(&date(glance), "", "");
        self.paragraph("", "", "");
        self.paragraph(&glance.sentence.order, "", "");
        self.paragraph(&why(glance), "", "");
        for part in parts(glance) {
            self.paragraph("", "", "");
            self.paragraph(&part.head.to_uppercase(), "", "");
            for line in &part.lines {
                self.paragraph(line, "- ", "  ");
            }
        }
        self.paragraph("", "", "");
    }
}

fn date(glance: &Glance) -> String {
    format!("{}, {}", glance.site, Civil(glance.civil_offset_s).head(glance, Civil::long_day))
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
fn as_mail(glance: &Glance) -> Markup {
    const BODY: &str = "margin:0;background:#eef3f0;color:#260f03;font:16px/1.4 system-ui,sans-serif";
    const HEAD: &str = "margin:20px 0 4px;padding-top:8px;border-top:2px solid #260f03;font-size:20px";
    const LINE: &str = "margin:0;padding:6px 0;border-bottom:1px solid #260f03";
    html! {
        (DOCTYPE)
        html lang="en" {
            head { meta charset="utf-8"; meta name="color-scheme" content="light only"; title { (glance.sentence.order) } }
            body style=(BODY) {
                div style="max-width:600px;margin:0 auto;padding:16px" {
                    p style="margin:0;font-size:14px" { (date(glance)) }
                    h1 style="margin:8px 0;font-size:32px;line-height:1.1" { (glance.sentence.order) }
                    p style="margin:0;font-size:17px" { (why(glance)) }
                    @for part in parts(glance) {
                        h2 style=(HEAD) { (part.head) }
                        @for line in &part.lines { p style=(LINE) { (line) } }
                    }
                    p style="margin:20px 0 0;font-size:14px" { (OWN) " " (LAST) }
                    @if let Some(silence) = silence(glance) { p style="margin:8px 0;font-weight:bold" { (silence) } }
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
        let Written { subject, text, html, .. } = written(&fixtures::heat());
        assert_eq!(subject, "Tansy Corner: From outside, open the far door now");
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for wanted in [
            "Tansy Corner, Wednesday 15 July, 13:10",
            "Long House: 36.4 °C, read 13:09; low 20.4 at 05:30; air harsh, 4.1 kPa; today: 07:50 vents",
            "12:20 tomatoes pass 35; expected:",
            "15:20 peak 38 to 41,",
            "limit of the house 40.",
            "suffering, 1.4 past 35 (0.8 h past it today); 3 litres each, 34 in all.",
            "Litres: reckoned from the span",
            "36.4 and rising 1.6 an hour.",
            "Dizzy, confused",
            "No letter by 06:30 means the board is down.",
            LAST,
        ] {
            assert!(flat.contains(wanted), "text lacks {wanted}\n{text}");
            assert!(html.contains(wanted), "html lacks {wanted}");
        }
    }

    #[test]
    fn the_last_words_say_what_silence_means() {
        let text = written(&fixtures::calm()).text;
        assert!(text.ends_with("\nNo letter by 06:30 means the board is down.\n"), "{text}");
    }

    #[test]
    fn while_nobody_vouches_for_the_time_no_head_names_a_day() {
        let mut glance = fixtures::heat();
        assert!(told(&glance).starts_with("Tansy Corner, Wednesday 15 July, 13:10\n"));
        glance.board.clock_vouched_by = None;
        assert!(told(&glance).starts_with("Tansy Corner, the time is not known yet\n"));
        let page = view(&glance).into_string();
        assert!(page.contains("<span>the time is not known yet</span>") && !page.contains("15 July, 13:10"));
    }

    #[test]
    fn in_a_terminal_nothing_is_said_of_letters() {
        let text = told(&fixtures::heat());
        assert!(!text.contains("letter") && !text.contains(OWN), "{text}");
        let cautioned = text.split_whitespace().collect::<Vec<_>>().join(" ").ends_with(LAST);
        assert!(cautioned && text.contains("36.4"), "{text}");
    }

    #[test]
    fn no_line_of_the_text_is_longer_than_a_mail_line() {
        for glance in [fixtures::heat(), fixtures::calm(), fixtures::blind(), fixtures::by_hand()] {
            let Written { text, html, .. } = written(&glance);
            assert!(text.lines().all(|line| line.chars().count() <= WIDTH), "{text}");
            assert!(text.len() < 13_000 && html.len() < 13_000, "both twins stay under 13 kB");
        }
    }

    #[test]
    fn a_site_name_cannot_add_header_lines_or_markup() {
        let mut glance = fixtures::hostile();
        glance.site.push_str("\r\nBcc: all");
        let Written { subject, html, .. } = written(&glance);
        assert!(!subject.contains(['\r', '\n']));
        assert!(!html.contains("<script>"));
    }
}
