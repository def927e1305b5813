//! Cautions for people, shown beside the advice: heat in a closed house, and the electricity before water.
//!
//! Advice only, never medical or legal. Limits and words for people in heat are [`agronomy::people::caution`]'s.

use agronomy::people::caution::{self, CLOSED_HOUSE_C, SCREENING_C, Strain};
use maud::{Markup, html};

use super::figures::half;
use crate::glance::{Glance, PlaceGlance};

/// The last words of every caution.
pub(crate) const LAST: &str = "Local rules, the label and a licensed trade come first.";

/// The minders whose open notices are about heat.
const HEAT: [&str; 3] = ["too-hot", "on-course", "heat-dome"];

/// What must be said about people now: a heading and paragraphs; none when nothing calls for it.
pub(crate) fn stay_out(glance: &Glance) -> Option<(String, Vec<String>)> {
    let hottest = glance
        .places
        .iter()
        .filter(|place| place.kind.under_cover())
        .filter(|place| feels(place).is_some_and(|index| index >= SCREENING_C))
        .max_by(|a, b| feels(a).unwrap_or(f64::MIN).total_cmp(&feels(b).unwrap_or(f64::MIN)));
    let heat = glance.open.iter().any(|notice| HEAT.contains(&notice.minder.as_str()));
    if hottest.is_none() && !heat {
        return None;
    }
    let hottest = hottest.and_then(|place| Some((place, feels(place)?)));
    let mut words = Vec::new();
    if let Some((place, index)) = hottest {
        words.push(format!(
            "In {} it feels like {}. {} Reach doors, vents and shade from outside; no ladder in heat or wind.",
            place.name,
            half(index),
            caution::SHADE
        ));
        if place.t_c.is_some_and(|t| t >= CLOSED_HOUSE_C) {
            words.push(caution::CLOSED_HOUSE.to_owned());
        }
    }
    // Heat that was told of, but that no probe puts a figure to, is taken for the second band.
    let strain = hottest.and_then(|(_, index)| Strain::of(index)).unwrap_or(Strain::Moderate);
    words.extend([
        format!("{} People have died on days called moderate.", strain.words()),
        caution::NEW_TO_HEAT.to_owned(),
        caution::STOP.to_owned(),
        "Before wetting paths or floor, switch the electricity off; then hose.".to_owned(),
        LAST.to_owned(),
    ]);
    Some(("Stay out of the heat".to_owned(), words))
}

/// What the air of a place feels like, °C: the heat index, or the air itself where humidity is not known.
fn feels(place: &PlaceGlance) -> Option<f64> {
    place.heat_index_c.or(place.t_c)
}

/// The cautions as a section of the page, with a heavy rule at the left.
pub(crate) fn section(glance: &Glance) -> Markup {
    let Some((head, words)) = stay_out(glance) else { return html! {} };
    html! {
        section.pg aria-labelledby="stay-out" {
            h2 id="stay-out" { (head) }
            div.caution {
                @for line in &words {
                    p.urgent[line.starts_with("Dizzy")].source[line == LAST] { (line) }
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
    fn a_calm_day_needs_no_caution() {
        assert_eq!(stay_out(&fixtures::calm()), None);
    }

    #[test]
    fn a_hot_house_or_an_open_heat_notice_is_enough_and_the_last_words_defer() {
        let mut glance = fixtures::heat();
        let (_, words) = stay_out(&glance).unwrap();
        assert!(words[0].contains("feels like 41.5"), "{words:?}");
        assert_eq!(words.last().unwrap(), LAST);
        glance.places.clear();
        assert!(stay_out(&glance).is_some(), "the notice alone is enough");
        let mut glance = fixtures::heat();
        glance.open.clear();
        assert!(stay_out(&glance).is_some(), "the house alone is enough");
    }

    #[test]
    fn the_words_are_those_of_the_band_and_above_forty_nobody_goes_in() {
        let mut glance = fixtures::heat();
        // 41.4 °C lies between 39.4 and 46.1 °C: the high band of the US OSHA guide.
        let (_, words) = stay_out(&glance).unwrap();
        assert!(words.iter().any(|line| line.starts_with(Strain::High.words())), "{words:?}");
        assert!(!words.contains(&caution::CLOSED_HOUSE.to_owned()), "36.4 °C: {words:?}");
        for place in glance.places.iter_mut().filter(|place| place.heat_index_c.is_some()) {
            place.t_c = Some(CLOSED_HOUSE_C);
        }
        let (_, words) = stay_out(&glance).unwrap();
        assert!(words.contains(&caution::CLOSED_HOUSE.to_owned()), "{words:?}");
    }

    #[test]
    fn no_hour_is_called_safe() {
        let (_, words) = stay_out(&fixtures::heat()).unwrap();
        assert!(!words.join(" ").to_lowercase().contains("safe"));
    }
}
