//! Cautions for people, shown beside the advice: heat in a closed house, and the electricity before water.
//!
//! Advice only, never medical or legal. Limits and words for people in heat are [`agronomy::people::caution`]'s.

use agronomy::people::caution::{self, CLOSED_HOUSE_C, LAST, Strain};
use maud::{Markup, html};

use super::figures::half;
use crate::glance::{Glance, PlaceGlance};

/// The minders whose open notices are about heat.
const HEAT: [&str; 3] = ["too-hot", "on-course", "heat-dome"];

/// What must be said about people now: a heading and paragraphs; none when nothing calls for it.
pub(crate) fn stay_out(glance: &Glance) -> Option<(String, Vec<String>)> {
    let places = glance.places.iter().filter(|place| place.kind.under_cover());
    let felt = places.filter_map(|place| Some((place, Felt::of(place)?)));
    let hottest = felt.max_by(|(_, a), (_, b)| a.strain.cmp(&b.strain).then(a.c.total_cmp(&b.c)));
    let heat = glance.open.iter().any(|notice| HEAT.contains(&notice.minder.as_str()));
    if hottest.is_none() && !heat {
        return None;
    }
    let mut words = Vec::new();
    if let Some((place, felt)) = &hottest {
        words.push(format!(
            "{} {} Reach doors, vents and shade from outside; no ladder in heat or wind.",
            felt.words(&place.name),
            caution::SHADE
        ));
        if place.t_c.is_some_and(|t| t >= CLOSED_HOUSE_C) {
            words.push(caution::CLOSED_HOUSE.to_owned());
        }
    }
    // Heat that was told of, but that no probe puts a figure to, is taken for the second band.
    let strain = hottest.map_or(Strain::Moderate, |(_, felt)| felt.strain);
    words.extend([
        format!("{} People have died on days called moderate.", strain.words()),
        caution::NEW_TO_HEAT.to_owned(),
        caution::STOP.to_owned(),
        "Before wetting paths or floor, switch the electricity off; then hose.".to_owned(),
        LAST.to_owned(),
    ]);
    Some(("Stay out of the heat".to_owned(), words))
}

/// What the heat of a place asks of a person.
struct Felt {
    /// The heat index, or the air itself where humidity is not known, °C.
    c: f64,
    /// Whether humidity is known, so that `c` is the heat index.
    humidity_known: bool,
    /// The band.
    strain: Strain,
}

impl Felt {
    /// None below the screening value, and where nothing is known of the air.
    ///
    /// Air alone is the least that it can feel like in moist heat: the index of 35 °C is 35 °C at some 30 % humidity and
    /// 50 °C at 70 % (the US National Weather Service's chart). So without humidity at least the band above moderate
    /// is taken.
    fn of(place: &PlaceGlance) -> Option<Self> {
        let humidity_known = place.heat_index_c.is_some();
        let c = place.heat_index_c.or(place.t_c)?;
        let band = Strain::of(c)?;
        let strain = if humidity_known { band } else { band.max(Strain::High) };
        Some(Self { c, humidity_known, strain })
    }

    fn words(&self, place: &str) -> String {
        let c = half(self.c);
        if self.humidity_known {
            return format!("In {place} it feels like {c}.");
        }
        format!("In {place} it is {c}, humidity not known: it can feel far hotter than that.")
    }
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
    fn where_humidity_is_not_known_it_is_said_and_the_band_is_above_moderate() {
        let mut glance = fixtures::heat();
        for place in &mut glance.places {
            (place.heat_index_c, place.t_c) = (None, place.t_c.map(|_| 33.0));
        }
        // 33 °C of heat index would be moderate (32.8 to 39.4 °C, US OSHA guide); of air alone it may be anything above.
        let (_, words) = stay_out(&glance).unwrap();
        assert!(
            words[0].contains("it is 33, humidity not known") && !words[0].contains("feels like"),
            "{words:?}"
        );
        assert!(words.iter().any(|line| line.starts_with(Strain::High.words())), "{words:?}");
        for place in &mut glance.places {
            place.t_c = place.t_c.map(|_| 47.0);
        }
        let (_, words) = stay_out(&glance).unwrap();
        assert!(words.iter().any(|line| line.starts_with(Strain::Extreme.words())), "{words:?}");
    }

    #[test]
    fn no_hour_is_called_safe() {
        let (_, words) = stay_out(&fixtures::heat()).unwrap();
        assert!(!words.join(" ").to_lowercase().contains("safe"));
    }
}
