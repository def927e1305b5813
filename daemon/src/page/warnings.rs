//! Public warnings on the page Now: the authority's own words, whose they are, from when to when, and where we read them.
//!
//! The words are a stranger's: they stand in a block of their own, marked with their language, escaped, and never mixed
//! with ours. An address in them is text and no link.

use agronomy::crop::Severity;
use maud::{Markup, html};

use super::figures::Civil;
use crate::entry::{Certainty, Hazard};
use crate::glance::{Glance, WarningGlance};

/// All public warnings in force or to come; nothing where there are none.
pub(crate) fn section(glance: &Glance) -> Markup {
    html! {
        @if !glance.warnings.is_empty() {
            section.pg aria-labelledby="warned" {
                h2 id="warned" { (heading(&glance.warnings)) }
                @for warning in &glance.warnings { (one(warning, glance)) }
                p.key { "These are the authority's words, unchanged. What it orders comes before any advice here." }
            }
        }
    }
}

/// What stands over them.
pub(super) fn heading(warnings: &[WarningGlance]) -> &'static str {
    let of = |hazard| warnings.iter().any(|warning| warning.hazard == hazard);
    match (of(Hazard::Heat), of(Hazard::Frost)) {
        (true, true) => "Public warnings of heat and frost",
        (true, false) => "Public warning of heat",
        _ => "Public warning of frost",
    }
}

/// Each in one line of the letter: its headline as the authority wrote it, whose it is, and for when.
pub(super) fn lines(glance: &Glance) -> Vec<String> {
    let line = |warning: &WarningGlance| {
        let who = warning.sender_name.as_ref().unwrap_or(&warning.sender);
        let head = warning.headline.as_ref().unwrap_or(&warning.event);
        format!(
            "“{head}” ({who}): {}{} Their whole words are on the page Now.",
            weight(warning),
            span(warning, glance)
        )
    };
    glance.warnings.iter().map(line).collect()
}

/// From when to when it is in force.
fn span(warning: &WarningGlance, glance: &Glance) -> String {
    let civil = Civil(glance.civil_offset_s);
    let when = |ms| civil.when(ms, glance.at_ms);
    let from = if warning.from_ms > glance.at_ms { "to come, from" } else { "in force since" };
    let (since, until) = (when(warning.from_ms), when(warning.to_ms));
    if warning.end_told {
        format!("{from} {since}, until {until}.")
    } else {
        format!("{from} {since}; it does not say until when, and is shown until {until}.")
    }
}

fn one(warning: &WarningGlance, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let when = |ms| civil.when(ms, glance.at_ms);
    let who = warning.sender_name.as_ref().unwrap_or(&warning.sender);
    html! {
        h3 lang=(warning.language) dir="auto" { (warning.headline.as_ref().unwrap_or(&warning.event)) }
        p { bdi { (who) } ": " (weight(warning)) (span(warning, glance)) }
        div lang=(warning.language) dir="auto" {
            @if warning.headline.is_some() { p { (warning.event) } }
            @for text in [&warning.description, &warning.instruction].into_iter().flatten() {
                @for line in text.lines().map(str::trim).filter(|line| !line.is_empty()) { p { (line) } }
            }
        }
        p.key {
            "For " bdi { (warning.area) } ". Sent " (when(warning.sent_ms)) " by " bdi { (warning.sender) }
            ", read from " bdi { (warning.heard_from) } "."
            @if let Some(web) = &warning.web { " More, says the authority, at " bdi { (web) } "." }
        }
    }
}

/// How bad and how sure, as far as it was said: "severe, likely; ".
fn weight(warning: &WarningGlance) -> String {
    let severity = warning.severity.map(Severity::as_str);
    let certainty = match warning.certainty {
        Certainty::Observed => Some("observed"),
        Certainty::Likely => Some("likely"),
        Certainty::Possible => Some("possible"),
        Certainty::Unlikely => Some("unlikely"),
        Certainty::Unknown => None,
    };
    let said: Vec<_> = severity.into_iter().chain(certainty).collect();
    if said.is_empty() { String::new() } else { format!("{}; ", said.join(", ")) }
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;
    use crate::entry::Urgency;

    fn warned() -> Glance {
        let mut glance = fixtures::calm();
        glance.warnings = vec![WarningGlance {
            hazard: Hazard::Heat,
            severity: Some(Severity::Severe),
            urgency: Urgency::Expected,
            certainty: Certainty::Likely,
            from_ms: fixtures::at(35, 0),
            to_ms: fixtures::at(93, 0),
            end_told: true,
            sent_ms: fixtures::at(5, 30),
            sender: "office@warnings.example".to_owned(),
            sender_name: Some("Example test office".to_owned()),
            event: "High temperature".to_owned(),
            headline: Some("Very hot days".to_owned()),
            description: Some("37 to 40 °C.\n\n<script>alert(1)</script>".to_owned()),
            instruction: Some("Shade & vent early.".to_owned()),
            web: Some("javascript:alert(1)".to_owned()),
            area: "Test valley".to_owned(),
            language: "en-GB".to_owned(),
            heard_from: "https://warnings.example/feed".to_owned(),
        }];
        glance
    }

    #[test]
    fn the_authoritys_words_stand_with_source_and_expiry_and_escaped() {
        let html = section(&warned()).into_string();
        for wanted in [
            "<h3 lang=\"en-GB\" dir=\"auto\">Very hot days</h3>",
            "<bdi>Example test office</bdi>: severe, likely; to come, from 16 July, 11:00, until 18 July, 21:00.",
            "<p>37 to 40 °C.</p><p>&lt;script&gt;alert(1)&lt;/script&gt;</p><p>Shade &amp; vent early.</p>",
            "Sent 05:30 by <bdi>office@warnings.example</bdi>, read from <bdi>https://warnings.example/feed</bdi>.",
            "at <bdi>javascript:alert(1)</bdi>.",
        ] {
            assert!(html.contains(wanted), "{wanted} missing in {html}");
        }
        assert!(!html.contains("<script") && !html.contains("href"));
    }

    #[test]
    fn the_letter_gives_headline_sender_and_span_in_one_line() {
        let wanted = "“Very hot days” (Example test office): severe, likely; to come, from 16 July, 11:00, until 18 July, \
                      21:00. Their whole words are on the page Now.";
        assert_eq!(lines(&warned()), [wanted]);
        assert_eq!(lines(&fixtures::calm()), [""; 0]);
    }

    #[test]
    fn what_is_not_said_is_not_made_up() {
        let mut glance = warned();
        let warning = &mut glance.warnings[0];
        (warning.severity, warning.certainty, warning.end_told) = (None, Certainty::Unknown, false);
        (warning.sender_name, warning.headline) = (None, None);
        warning.from_ms = fixtures::at(12, 0);
        let html = section(&glance).into_string();
        assert!(html.contains(
            "<bdi>office@warnings.example</bdi>: in force since 12:00; it does not say until when, and is shown until"
        ));
        assert!(html.contains(">High temperature</h3>"));
        assert_eq!(section(&fixtures::calm()).into_string(), "");
    }
}
