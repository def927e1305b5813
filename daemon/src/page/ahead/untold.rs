//! What cannot be told ahead: places under cover that nothing measures, or that are too new to be known.

use maud::{Markup, html};

use crate::entry::PlaceKind;
use crate::glance::{Glance, PlaceGlance};
use crate::outlook::ahead::Origin;

/// Places under cover of which no forecast tells: an outlook is for the air outside, and how hot it makes a house only the
/// house itself can teach.
pub(super) fn untold(glance: &Glance) -> impl Iterator<Item = &PlaceGlance> {
    let stands = |place: &str| glance.plantings.iter().any(|it| it.place == place && it.ended_ms.is_none());
    let told = |place: &str| {
        let days = glance.outlook.places.iter().find(|it| it.place == place).map(|it| &it.days);
        days.is_some_and(|days| days.iter().any(|day| day.origin == Origin::Forecast))
    };
    let covered = glance.places.iter().filter(|it| it.kind.under_cover());
    covered.filter(move |it| (it.kind == PlaceKind::House || stands(&it.place)) && !told(&it.place))
}

/// Whether anything ever measured a place.
fn is_measured(place: &PlaceGlance) -> bool {
    place.heard_ms.is_some() || place.by_hand.is_some()
}

/// What is missing before anything can be said of the days ahead in a place under cover.
fn missing(place: &PlaceGlance) -> String {
    let name = &place.name;
    if is_measured(place) {
        format!(
            "{name}: its own way with the air outside is not known yet, so no forecast can be moved to it; three days that \
             were told and measured teach it."
        )
    } else {
        format!(
            "{name}: no probe, so nobody can say how hot it gets inside; in the sun it gets hotter than outside. A probe, or \
             a thermometer that is read by hand each day, teaches it."
        )
    }
}

/// The places of which nothing can be told, and why. Where there is no forecast at all, only those without a probe: that
/// is missing then as well.
pub(super) fn not_told(glance: &Glance) -> Markup {
    let lines: Vec<String> =
        untold(glance).filter(|place| glance.outlook.fresh || !is_measured(place)).map(missing).collect();
    html! {
        @if !lines.is_empty() {
            section.pg {
                h2 { "Not known ahead" }
                ul.list { @for line in &lines { li { (line) } } }
            }
        }
    }
}
