//! "Does word arrive?": the drill, and what became of the last one on each way.

use maud::{Markup, html};

use super::figures::Civil;
use crate::glance::{Glance, NoticeView};
use crate::minders::drill::DRILL;

/// The section on page Ground.
pub(crate) fn section(glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let last = glance.open.iter().chain(&glance.closed_lately).find(|notice| notice.minder == DRILL);
    html! {
        section.pg.beam aria-labelledby="drill" {
            h2 id="drill" { "Does word arrive?" }
            @if let Some(last) = last {
                p { "Drill at " (civil.when(last.opened_ms, glance.at_ms)) ": " (came(last, civil, glance.at_ms)) }
                ul { @for way in &last.deliveries { li { (way.courier) ": " (way.outcome()) } } }
            }
            form method="post" action="/drill" {
                p { "A drill sends a marked notice every way there is." }
                button { "try it" }
            }
        }
    }
}

/// Whether somebody has answered that it came.
fn came(notice: &NoticeView, civil: Civil, now_ms: i64) -> String {
    let sent = notice.deliveries.iter().filter(|it| it.sent).count();
    match (notice.on_it_ms, notice.deliveries.len()) {
        (_, 0) => "no courier is set up, so it stands on the page only.".to_owned(),
        (Some(at), _) => format!("it came; answered {}.", civil.when(at, now_ms)),
        (None, ways) => format!("taken {sent} of {ways} ways; nobody has answered yet that it came."),
    }
}
