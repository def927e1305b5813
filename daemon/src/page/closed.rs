//! What closed in the last day, newest first: one line for each minder and place, however often it came and went.

use agronomy::crop::Severity;
use maud::{Markup, html};

use super::entries;
use super::figures::Civil;
use crate::glance::{Glance, NoticeView};

/// What one minder closed at one place in the last day, the newest first.
struct Gathered<'g> {
    place: String,
    notices: Vec<&'g NoticeView>,
}

/// The section, where something worth a line closed.
pub(super) fn section(glance: &Glance) -> Markup {
    let gathered = gathered(glance);
    html! {
        @if !gathered.is_empty() {
            section.pg {
                h2 { "Closed in the last day" }
                ul.list { @for one in &gathered { (line(one, glance)) } }
            }
        }
    }
}

fn line(one: &Gathered<'_>, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let when = |ms| civil.when(ms, glance.at_ms);
    let order = one.notices.first().map_or("", |notice| notice.order());
    let closed = one.notices.iter().filter_map(|notice| notice.closed_ms).max();
    let first = one.notices.iter().map(|notice| notice.opened_ms).min();
    let head = if one.place.is_empty() || order.contains(&one.place) {
        order.to_owned()
    } else {
        format!("{}: {order}", one.place)
    };
    html! {
        li {
            @if let Some(ms) = closed { time { (when(ms)) } " " }
            (head)
            @if let (2.., Some(first)) = (one.notices.len(), first) {
                small { (one.notices.len()) " times, the first from " (when(first)) }
            }
        }
    }
}

fn gathered(glance: &Glance) -> Vec<Gathered<'_>> {
    let matters = |notice: &&NoticeView| notice.pushed || notice.severity >= Severity::Moderate;
    let mut closed: Vec<&NoticeView> = glance.closed_lately.iter().filter(matters).collect();
    closed.sort_by_key(|notice| std::cmp::Reverse((notice.closed_ms, notice.opened_ms)));
    let mut gathered: Vec<Gathered<'_>> = Vec::new();
    for notice in closed {
        let place = place_of(notice, glance);
        let same = |one: &&mut Gathered<'_>| one.place == place && one.notices[0].minder == notice.minder;
        match gathered.iter_mut().find(same) {
            Some(one) => one.notices.push(notice),
            None => gathered.push(Gathered { place, notices: vec![notice] }),
        }
    }
    gathered
}

/// The place a notice is about, as the grower calls it: that of a probe is where the probe hangs.
fn place_of(notice: &NoticeView, glance: &Glance) -> String {
    let probe = glance.probes.iter().find(|probe| probe.probe == notice.place);
    let place = probe.and_then(|probe| probe.place.as_deref()).unwrap_or(&notice.place);
    entries::name(glance, place)
}

#[cfg(test)]
mod tests {
    use super::super::fixtures::{self, at};
    use super::*;

    #[test]
    fn what_closed_is_named_with_its_place_newest_first_and_gathered() {
        let mut glance = fixtures::heat();
        let told = glance.open[0].clone();
        let closed = |minder: &str, place: &str, title: &str, (opened_ms, closed_ms): (i64, i64)| {
            let mut notice = told.clone();
            (notice.minder, notice.place) = (minder.to_owned(), place.to_owned());
            (notice.opened_ms, notice.closed_ms) = (opened_ms, Some(closed_ms));
            notice.steps.last_mut().unwrap().title = title.to_owned();
            notice
        };
        let probe =
            glance.probes.iter().find(|it| it.place.as_deref() == Some("house")).unwrap().probe.clone();
        let house = glance.places.iter().find(|it| it.place == "house").unwrap().name.clone();
        glance.closed_lately = vec![
            closed("probe-silent", &probe, "Heard again.", (at(5, 0), at(5, 10))),
            closed("too-hot", "house", &format!("{house} is clear of its limits."), (at(11, 0), at(12, 40))),
            closed("probe-silent", &probe, "Heard again.", (at(9, 0), at(9, 10))),
            closed("probe-silent", "house", "Heard again.", (at(7, 0), at(7, 10))),
        ];
        let html = section(&glance).into_string();
        let once =
            format!("<time>09:10</time> {house}: Heard again.<small>3 times, the first from 05:00</small>");
        assert!(html.contains(&once), "{html}");
        assert!(html.contains(&format!("<time>12:40</time> {house} is clear of its limits.</li>")), "{html}");
        assert!(html.find("12:40").unwrap() < html.find("09:10").unwrap(), "newest first");
        assert_eq!(html.matches("<li>").count(), 2);
    }
}
