//! What was missed, in one sentence; and what did not get through, notice by notice.

use agronomy::crop::Severity;
use maud::{Markup, html};

use super::figures::Civil;
use crate::couriers::route::{UNSEEN_MS, rises};
use crate::glance::{Delivered, Glance, NoticeView};

/// Most places named in the sentence.
const NAMED: usize = 3;
/// How the reason ends where a reply was lost.
const MAYBE: &str = "it may have arrived";

/// "nothing was read from 11:20 to 15:05; and 2 steps never left in time, the last that of 12:10 …"; none where nothing was
/// missed.
pub(super) fn words(glance: &Glance) -> Option<String> {
    let civil = Civil(glance.civil_offset_s);
    let when = |ms| civil.when(ms, glance.at_ms);
    let unread = glance.missed.unread.as_ref().map(|(places, from, until)| {
        let mut places = places.clone();
        let more = places.len().saturating_sub(NAMED);
        places.truncate(NAMED);
        let others = if more > 0 { format!(" and {more} more") } else { String::new() };
        let wheres =
            if places.is_empty() { String::new() } else { format!(" in {}{others}", places.join(", ")) };
        format!("nothing was read{wheres} from {} to {}", when(*from), when(*until))
    });
    let late = glance.missed.steps.last().map(|(at_ms, order)| match glance.missed.steps.len() {
        1 => format!("1 step never left in time, that of {}: “{order}”", when(*at_ms)),
        many => format!("{many} steps never left in time, the last that of {}: “{order}”", when(*at_ms)),
    });
    let said: Vec<String> = unread.into_iter().chain(late).collect();
    (!said.is_empty()).then(|| said.join("; and "))
}

/// The same on the lintel, for whoever comes back.
pub(super) fn line(glance: &Glance) -> Markup {
    html! { @if let Some(said) = words(glance) { p.missed { "Missed while away: " (said) "." } } }
}

/// What of a notice did not get through, and why: its newest step, and how many before it; that nobody has seen it, and why
/// it rang at night.
pub(super) fn deliveries(notice: &NoticeView, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let called =
        notice.steps.iter().filter(|step| step.push && rises(step.turn)).map(|step| step.at_ms).max();
    let unseen = called.filter(|at_ms| {
        let severe = notice.severity >= Severity::Severe && notice.closed_ms.is_none();
        severe && !notice.seen && glance.at_ms - at_ms >= UNSEEN_MS
    });
    html! {
        @if let Some(at_ms) = unseen { p { "Nobody has seen this since " (civil.when(at_ms, glance.at_ms)) "." } }
        @if notice.rang_in_quiet { p { "It was sent in quiet hours too, because it was severe." } }
        @for line in &notice.undelivered {
            // The far end may have it all the same; it is tried again under the same name.
            p { @if line.ends_with(MAYBE) { "Sent, not confirmed: " } @else { "Not delivered: " } (line) "." }
        }
        @for old in notice.deliveries.iter().filter_map(Delivered::old_words) { p { (old) "." } }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixtures::{self, at};
    use super::super::frame::Did;
    use super::super::now;
    use super::*;
    use crate::glance::Missed;

    fn said(unread: Option<(&[&str], i64, i64)>, steps: &[(i64, &str)]) -> Option<String> {
        let mut glance = fixtures::calm();
        let names = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
        glance.missed = Missed {
            unread: unread.map(|(places, from, until)| (names(places), from, until)),
            steps: steps.iter().map(|(at_ms, order)| (*at_ms, (*order).to_owned())).collect(),
        };
        words(&glance)
    }

    #[test]
    fn q2_k8_k1_a_notice_says_that_nobody_saw_it_why_it_rang_and_what_was_not_confirmed() {
        let mut glance = fixtures::heat();
        let severe = glance.open.iter().position(|it| it.severity >= Severity::Severe).unwrap();
        let said = |glance: &Glance| deliveries(&glance.open[severe], glance).into_string();
        glance.open[severe].seen = true;
        assert!(!said(&glance).contains("Nobody") && !said(&glance).contains("quiet"));
        let notice = &mut glance.open[severe];
        let step = notice.steps.iter_mut().find(|step| rises(step.turn)).unwrap();
        (step.push, notice.seen, notice.rang_in_quiet) = (true, false, true);
        let called = notice.steps.iter().filter(|step| step.push).map(|step| step.at_ms).max().unwrap();
        notice.undelivered = vec![
            "webhook: the connection was lost: reset; it may have arrived".to_owned(),
            "e-mail: 550 no such reader".to_owned(),
        ];
        glance.at_ms = called + UNSEEN_MS;
        let html = said(&glance);
        for wanted in [
            "Nobody has seen this since",
            "It was sent in quiet hours too, because it was severe.",
            "Sent, not confirmed: webhook",
            "Not delivered: e-mail: 550",
        ] {
            assert!(html.contains(wanted), "{wanted} missing: {html}");
        }
        glance.open[severe].seen = true;
        assert!(!said(&glance).contains("Nobody has seen"));
    }

    #[test]
    fn whoever_comes_back_reads_in_one_sentence_what_was_missed() {
        let (off, on) = (at(8, 20), at(12, 5));
        assert_eq!(said(None, &[]), None);
        assert_eq!(said(Some((&[], off, on)), &[]).as_deref(), Some("nothing was read from 08:20 to 12:05"));
        assert_eq!(
            said(Some((&["Long House"], off, on)), &[(at(8, 10), "Water."), (at(9, 40), "Open the door.")])
                .as_deref(),
            Some(
                "nothing was read in Long House from 08:20 to 12:05; and 2 steps never left in time, the last that of \
                 09:40: “Open the door.”"
            )
        );
        assert!(
            said(None, &[(at(8, 10), "Water.")])
                .unwrap()
                .contains("1 step never left in time, that of 08:10")
        );
        let many = said(Some((&["A", "B", "C", "D", "E"], off, on)), &[]).unwrap();
        assert!(many.contains("in A, B, C and 2 more from"), "{many}");
    }

    #[test]
    fn k7_the_old_steps_that_were_not_sent_are_counted_beside_the_reason_of_the_newest() {
        let mut glance = fixtures::heat();
        let way = |courier: &str, old_unsent| Delivered {
            courier: courier.to_owned(),
            old_unsent,
            ..Delivered::default()
        };
        glance.open[0].seen = true;
        glance.open[0].deliveries = vec![way("e-mail", 38), way("web push", 0), way("webhook", 1)];
        glance.open[0].undelivered = vec!["e-mail: its time ran out before it could be sent".to_owned()];
        let shown = deliveries(&glance.open[0], &glance).into_string();
        assert_eq!(
            shown,
            "<p>Not delivered: e-mail: its time ran out before it could be sent.</p>\
             <p>e-mail: 38 old steps not sent.</p><p>webhook: 1 old step not sent.</p>"
        );
    }

    #[test]
    fn k4_k7_what_was_missed_and_what_did_not_go_stand_where_the_grower_looks_first() {
        let mut glance = fixtures::heat();
        let html = now::view(&glance, Did::default()).into_string();
        assert!(!html.contains("Missed while away") && !html.contains("not sent"));
        let unread = Some((vec!["Long House".to_owned()], at(8, 20), at(12, 5)));
        glance.missed = Missed { unread, steps: vec![] };
        let why = "e-mail: its time ran out before it could be sent";
        let main = glance.sentence.notice.clone();
        let main = glance.open.iter_mut().find(|notice| Some(&notice.id) == main.as_ref()).unwrap();
        main.undelivered = vec![why.to_owned()];
        glance.board.unsent.insert("e-mail".to_owned(), 38);
        let html = now::view(&glance, Did::default()).into_string();
        let stands = |needle: &str| html.find(needle).unwrap_or_else(|| panic!("{needle} missing"));
        let missed = "Missed while away: nothing was read in Long House from 08:20 to 12:05.";
        assert!(stands(missed) < stands("on it") && stands(why) < stands("<main"), "both on the lintel");
        assert!(stands("E-mail: 38 old steps not sent in the last week.") > stands("How well this is known"));
    }
}
