//! iCalendar (RFC 5545): the text of a calendar. The library escapes texts (3.3.11) and folds lines at 75 octets (3.1).

use chrono::{DateTime, Days, Utc};
use icalendar::{Calendar, Component, Event, EventLike, EventStatus, Property};

use super::happening::Span;
use super::known::Told;

/// Who made it (RFC 5545, 3.7.3).
const PRODUCT: &str = "-//Glasshour//Glasshour//EN";
/// How often a calendar program may ask again.
const REFRESH: &str = "PT1H";

/// What a calendar says of itself.
#[derive(Clone, Debug)]
pub struct Head<'a> {
    /// The site's name.
    pub site: &'a str,
    /// Names the ledger: part of every UID.
    pub epoch: &'a str,
    /// The moment it is made at, UTC ms.
    pub at_ms: i64,
    /// Who publishes it, where it goes by mail (RFC 5546, 3.2.1, wants one with the method): a mail address.
    pub publisher: Option<&'a str>,
}

/// The text of a calendar with these entries. Lines end in CR LF.
pub fn write<'t>(head: &Head<'_>, told: impl Iterator<Item = &'t Told>) -> String {
    let mut calendar = Calendar::empty();
    let mut say = |key: &str, value: &str| {
        calendar.append_property(Property::new(key, value));
    };
    say("VERSION", "2.0");
    say("PRODID", PRODUCT);
    say("CALSCALE", "GREGORIAN");
    match head.publisher {
        Some(_) => say("METHOD", "PUBLISH"),
        None => {
            say("X-WR-CALNAME", &bare(head.site));
            say("X-PUBLISHED-TTL", REFRESH);
        }
    }
    calendar.extend(told.map(|told| event(head, told)));
    calendar.to_string()
}

fn event(head: &Head<'_>, told: &Told) -> Event {
    let it = &told.happening;
    let mut event = Event::new();
    event
        .uid(&format!("{}.{}@glasshour", it.key, head.epoch))
        .timestamp(moment(head.at_ms))
        .sequence(told.sequence)
        .last_modified(moment(told.changed_ms))
        .summary(&line(&it.summary))
        .description(&line(&it.text))
        .status(match (told.gone, it.foretold) {
            (true, _) => EventStatus::Cancelled,
            (false, true) => EventStatus::Tentative,
            (false, false) => EventStatus::Confirmed,
        })
        // Nobody is busy because a tomato ripens.
        .add_property("TRANSP", "TRANSPARENT");
    match it.span {
        Span::Days { from, to } => {
            // The end of whole days is the day after the last (RFC 5545, 3.6.1).
            event.starts(from).ends(to.checked_add_days(Days::new(1)).unwrap_or(to));
        }
        Span::Hours { from_ms, to_ms } => {
            event.starts(moment(from_ms)).ends(moment(to_ms));
        }
    }
    if let Some(address) = head.publisher {
        event.append_property(Property::new("ORGANIZER", format!("mailto:{}", bare(address))));
    }
    event
}

fn moment(at_ms: i64) -> DateTime<Utc> {
    DateTime::from_timestamp_millis(at_ms).unwrap_or_default()
}

/// One line without control characters, which no text may hold.
fn line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// For properties whose text the library does not escape.
fn bare(text: &str) -> String {
    line(text).chars().map(|c| if matches!(c, ',' | ';' | '\\' | '"') { ' ' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::super::happening::{Happening, happenings, today};
    use super::super::known::Known;
    use super::*;
    use crate::page::fixtures;

    fn head(publisher: Option<&str>) -> Head<'_> {
        Head { site: "Tansy Corner", epoch: "9f-1", at_ms: fixtures::MIDNIGHT, publisher }
    }

    fn told(summary: &str, text: &str) -> Told {
        let happening = Happening {
            key: "house.test".to_owned(),
            span: Span::Days { from: "2026-07-17".parse().unwrap(), to: "2026-07-18".parse().unwrap() },
            summary: summary.to_owned(),
            text: text.to_owned(),
            foretold: false,
            done: false,
        };
        Told { happening, sequence: 3, changed_ms: fixtures::MIDNIGHT, gone: false, mailed: None }
    }

    #[test]
    fn an_event_has_what_rfc_5545_wants_and_whole_days_end_the_day_after() {
        let text = write(&head(None), [told("Heat", "Water.")].iter());
        // MIDNIGHT is 2026-07-15T00:00:00Z.
        for wanted in [
            "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Glasshour//Glasshour//EN\r\n",
            "UID:house.test.9f-1@glasshour\r\n",
            "DTSTAMP:20260715T000000Z\r\n",
            "DTSTART;VALUE=DATE:20260717\r\n",
            "DTEND;VALUE=DATE:20260719\r\n",
            "SEQUENCE:3\r\n",
            "STATUS:CONFIRMED\r\n",
        ] {
            assert!(text.contains(wanted), "{wanted:?} missing in {text}");
        }
        assert!(!text.contains("METHOD") && text.ends_with("END:VCALENDAR\r\n"));
    }

    #[test]
    fn by_mail_it_is_published_by_somebody_and_what_went_is_cancelled() {
        let gone = Told { gone: true, ..told("Heat", "Water.") };
        let text = write(&head(Some("house@garden.example")), [gone].iter());
        assert!(text.contains("METHOD:PUBLISH\r\n") && text.contains("STATUS:CANCELLED\r\n"), "{text}");
        assert!(text.contains("ORGANIZER:mailto:house@garden.example\r\n"), "{text}");
    }

    #[test]
    fn no_text_adds_a_line_and_none_is_longer_than_75_octets() {
        let nasty = "a\r\nBEGIN:VALARM\r\n,;\\ \u{0} ‘Größe’ ".repeat(9);
        let told = told(&nasty, &nasty);
        let head = Head { site: &nasty, ..head(Some("a\r\nX:1@b")) };
        for text in
            [write(&head, [told.clone()].iter()), write(&Head { publisher: None, ..head }, [told].iter())]
        {
            assert!(text.split("\r\n").all(|line| line.len() <= 75), "{text}");
            assert!(!text.replace("\r\n", "").contains(['\r', '\n', '\0']), "{text:?}");
            let unfolded = text.replace("\r\n ", "");
            assert!(!unfolded.contains("\r\nBEGIN:VALARM") && !unfolded.contains("\r\nX:1"), "{unfolded}");
            assert!(unfolded.contains("\\,\\;\\\\"), "{unfolded}");
        }
    }

    #[test]
    fn the_same_happenings_make_the_same_text() {
        let glance = fixtures::heat();
        let mut known = Known::default();
        known.renew(&happenings(&glance, &[fixtures::season()]), today(&glance), glance.at_ms);
        let once = || write(&head(None), known.told.values());
        assert_eq!(once(), once());
        assert!(once().matches("BEGIN:VEVENT").count() >= 2, "{}", once());
    }
}
