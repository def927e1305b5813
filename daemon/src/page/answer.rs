//! One notice with its answers: where the link at the end of a mail leads. To look changes nothing; only the buttons do.

use maud::{Markup, html};

use super::figures::Civil;
use super::frame::{Did, Lintel, View, page};
use super::now_lintel::{answers, inside};
use super::said::said;
use crate::glance::{Glance, NoticeView, Tone};

/// The page of a notice that is open or closed within the last day; none for any other.
pub(super) fn view(glance: &Glance, id: &str) -> Option<Markup> {
    let notice = glance.open.iter().chain(&glance.closed_lately).find(|notice| notice.id == id)?;
    let closed = notice.closed_ms.is_some();
    let place = glance.places.iter().find(|place| place.place == notice.place);
    let lintel = Lintel {
        tone: if closed { Tone::Well } else { Tone::Soon },
        place: place.map_or_else(|| glance.site.clone(), |place| format!("{}, {}", glance.site, place.name)),
        order: notice.order().to_owned(),
        why: said(notice, glance),
        more: html! { (inside(notice)) @if !closed { (answers(notice, glance)) } },
    };
    Some(page(View::Other, glance, Did::default(), &lintel, &steps(notice, glance)))
}

/// Its life so far, and the way to the rest.
fn steps(notice: &NoticeView, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    html! {
        section.pg aria-labelledby="life" {
            h2 id="life" { "What was told" }
            ul.list {
                @for step in &notice.steps {
                    li { time { (civil.when(step.at_ms, glance.at_ms)) } " " (step.title) small { (step.severity.as_str()) } }
                }
            }
            @if let Some(ms) = notice.closed_ms { p { "It closed " (civil.when(ms, glance.at_ms)) ": nothing stands any more." } }
            p { a.big href="/" { "The whole of Now" } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;

    #[test]
    fn an_open_notice_can_be_answered_in_four_ways() {
        let html = view(&fixtures::heat(), "n-2").unwrap().into_string();
        for wanted in [
            "Look at the heap probe by 18:00.",
            "value=\"on-it\"",
            "value=\"30m\"",
            "value=\"1h\"",
            "value=\"tomorrow\"",
        ] {
            assert!(html.contains(wanted), "{wanted} missing");
        }
    }

    #[test]
    fn a_closed_notice_is_shown_without_buttons_and_an_unknown_one_not_at_all() {
        let mut glance = fixtures::heat();
        let mut closed = glance.open.remove(1);
        closed.closed_ms = Some(fixtures::at(13, 0));
        glance.closed_lately = vec![closed];
        let html = view(&glance, "n-2").unwrap().into_string();
        assert!(html.contains("It closed 13:00") && !html.contains("on-it"));
        assert!(view(&glance, "n-9").is_none());
    }
}
