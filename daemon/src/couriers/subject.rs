//! What a notice's mail is called: on a phone only its first words are seen, so they say how bad, what and where.

use crate::entry::{Step, Turn};
use crate::figure_words::capital;
use crate::glance::Glance;
use crate::minders::dome::HEAT_DOME;
use crate::minders::heat::{ON_COURSE, TOO_HOT};
use crate::minders::people::PEOPLE;
use crate::minders::warm_spell::WARM_SPELL;

/// The minders of heat.
const HEAT: [&str; 5] = [TOO_HOT, ON_COURSE, PEOPLE, HEAT_DOME, WARM_SPELL];

/// `Severe heat, Long House: From outside, open the door and every vent.`
///
/// Of heat that is over, and of all else, the place and the order; of an order that names its place the order alone. What
/// is about the site bears the site's name.
pub(super) fn subject(step: &Step, glance: &Glance) -> String {
    let place = glance.places.iter().find(|place| place.place == step.place).map(|place| place.name.as_str());
    let is_heat = HEAT.contains(&step.minder.as_str());
    let place = match place {
        None if is_heat && step.place.is_empty() => Some(glance.site.as_str()),
        None if is_heat => Some(step.place.as_str()),
        known => known,
    };
    let place = place.filter(|name| !step.title.contains(name));
    let heat = (is_heat && step.turn != Turn::Closed).then(|| format!("{} heat", step.weight().as_str()));
    let head: Vec<&str> = heat.as_deref().into_iter().chain(place).collect();
    if head.is_empty() {
        step.title.clone()
    } else {
        capital(&format!("{}: {}", head.join(", "), step.title))
    }
}

#[cfg(test)]
mod tests {
    use agronomy::crop::Severity;

    use super::*;
    use crate::entry::fixtures::step;
    use crate::page::fixtures;

    #[test]
    fn the_first_words_say_how_bad_what_and_where_and_no_place_is_named_twice() {
        let glance = fixtures::heat();
        let of = |minder: &str, place: &str, turn, title: &str| {
            let step = step(glance.at_ms, Severity::Severe, title);
            let (minder, place) = (minder.to_owned(), place.to_owned());
            subject(&Step { minder, place, turn, ..step }, &glance)
        };
        for (minder, place, turn, title, said) in [
            (
                TOO_HOT,
                "house",
                Turn::Opened,
                "From outside, open the door.",
                "Severe heat, Long House: From outside, open the door.",
            ),
            (
                PEOPLE,
                "house",
                Turn::Worsened,
                "Stay out of Long House.",
                "Severe heat: Stay out of Long House.",
            ),
            (HEAT_DOME, "", Turn::Opened, "Water deep.", "Severe heat, Tansy Corner: Water deep."),
            (TOO_HOT, "house", Turn::Closed, "The heat has eased.", "Long House: The heat has eased."),
            ("air", "house", Turn::Opened, "Damp air: let some out.", "Long House: Damp air: let some out."),
            ("pots", "house", Turn::Opened, "Long House: lift the pots.", "Long House: lift the pots."),
            ("board", "", Turn::Opened, "Look at the board.", "Look at the board."),
            (
                "probe-silent",
                "post-1",
                Turn::Opened,
                "Go and look at Long House.",
                "Go and look at Long House.",
            ),
        ] {
            assert_eq!(of(minder, place, turn, title), said);
        }
    }
}
