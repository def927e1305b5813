//! Words that several minders share. Advice from outside first; measured to 0.1, advised to 0.5.

use std::collections::BTreeSet;

use agronomy::crop::{Certainty, Crop, Stage, Stages};
pub use agronomy::people::caution::{IN_THE_HOUSE, IN_THE_OPEN};

use super::place_now::{PlaceNow, Standing};
use crate::entry::PlaceKind;

/// A crop's name as it stands in a sentence, always many: "tomatoes", "lettuces", "basil plants".
pub fn plural(crop: &Crop) -> String {
    let first = crop.name.split('/').next().unwrap_or_default();
    let mut name = String::new();
    let mut depth = 0;
    for letter in first.to_lowercase().chars() {
        match letter {
            '(' => depth += 1,
            ')' => depth -= 1,
            // Outside the brackets, and one space where a bracket stood.
            _ if depth == 0 && !(letter == ' ' && (name.is_empty() || name.ends_with(' '))) => {
                name.push(letter);
            }
            _ => {}
        }
    }
    let name = name.trim().to_owned();
    // What is counted by the plant: "basil bear" is no English.
    let uncounted = ["spinach", "broccoli", "kale", "basil", "chard", "corn", "garlic", "asparagus"];
    if uncounted.iter().any(|word| name.ends_with(word)) {
        return format!("{name} plants");
    }
    if name == "napa" {
        return "napa cabbages".to_owned();
    }
    match name.chars().last() {
        Some('o' | 'h') if !name.ends_with("tomatillo") => format!("{name}es"),
        Some('y') if !name.ends_with("ey") => format!("{}ies", &name[..name.len() - 1]),
        Some('s') => name,
        _ => format!("{name}s"),
    }
}

/// A stage as a condition: "in flower".
pub fn in_stage(stage: Stage) -> &'static str {
    match stage {
        Stage::Germination => "not up yet",
        Stage::Seedling => "still seedlings",
        Stage::Vegetative => "growing leaf",
        Stage::FlowerBud => "in bud",
        Stage::Flowering => "in flower",
        Stage::Fruiting => "setting fruit",
        Stage::Heading => "forming heads",
        Stage::Bulking => "swelling at the root",
        Stage::Ripening => "ripening",
        Stage::Picking => "being picked",
        Stage::Curing => "drying",
        Stage::Dormant => "at rest",
        Stage::Any => "at any age",
    }
}

/// What has to be so for a line to hold: ", if in flower". Empty where a stage is certain, or the crop has no such line.
pub fn stage_condition(standing: &Standing<'_>, line_c: f64) -> String {
    let at_line = standing.crop.heat_rules.iter().filter(|rule| rule.threshold == line_c);
    let running: Vec<_> = at_line.filter_map(|it| Some((it, standing.stages.certainty(it)?))).collect();
    if running.is_empty() || running.iter().any(|(_, certainty)| *certainty == Certainty::Certain) {
        return String::new();
    }
    let stages: BTreeSet<Stage> = running
        .iter()
        .flat_map(|(rule, _)| rule.stages.iter().copied())
        .filter(|stage| standing.stages.possible.contains(stage))
        .collect();
    format!(", if {}", any_of(stages))
}

/// "in bud or in flower".
pub fn any_of(stages: impl IntoIterator<Item = Stage>) -> String {
    stages.into_iter().map(in_stage).collect::<Vec<_>>().join(" or ")
}

/// The stages of a planting: "in flower, ripening, perhaps being picked".
pub fn stages(stages: &Stages) -> String {
    let surely = stages.active.iter().map(|stage| in_stage(*stage).to_owned());
    let perhaps =
        (!stages.possible.is_empty()).then(|| format!("perhaps {}", any_of(stages.possible.iter().copied())));
    surely.chain(perhaps).collect::<Vec<_>>().join(", ")
}

/// A planting in a sentence: "tomatoes ‘Brindle’".
pub fn planting(standing: &Standing<'_>) -> String {
    let crop = plural(&standing.crop);
    match &standing.planting.variety {
        Some(variety) => format!("{crop} ‘{variety}’"),
        None => crop,
    }
}

/// A limit: whole degrees, or halves where the book says so.
pub fn limit(celsius: f64) -> String {
    if celsius == libm::floor(celsius) { format!("{celsius:.0}") } else { format!("{celsius:.1}") }
}

/// "rising 2.1 an hour".
pub fn pace(c_per_h: Option<f64>) -> String {
    match c_per_h {
        Some(slope) if slope >= 0.2 => format!(", rising {slope:.1} an hour"),
        Some(slope) if slope <= -0.2 => format!(", falling {:.1} an hour", -slope),
        Some(_) => ", steady".to_owned(),
        None => String::new(),
    }
}

/// The first act against heat in this place, by what is noted as done already. From outside first.
fn act(now: &PlaceNow<'_>) -> String {
    if !now.daylight {
        return act_by_night(now);
    }
    let crops = now.tenderest().map_or_else(|| "what stands there".to_owned(), |it| plural(&it.crop));
    match (now.kind.under_cover(), now.vents_open, now.shade_on) {
        (true, Some(true), Some(true)) => "Water the roots well; cooler hours for all else.".to_owned(),
        (true, Some(true), _) => "From outside, draw the shade; no ladder in this heat.".to_owned(),
        (true, ..) => "From outside, open the door and every vent.".to_owned(),
        (false, _, Some(true)) => format!("Water the {crops} at the root."),
        (false, ..) if now.kind == PlaceKind::Pots => {
            "Move the pots into shade; if one is light, water.".to_owned()
        }
        (false, ..) => format!("Shade the {crops}; water at the root."),
    }
}

/// The same while the sun is down: nothing is shaded or wetted before the morning.
fn act_by_night(now: &PlaceNow<'_>) -> String {
    let crops = now.tenderest().map_or_else(|| "what stands there".to_owned(), |it| plural(&it.crop));
    match (now.kind.under_cover(), now.vents_open, now.shade_on) {
        (true, Some(true), Some(true)) => "Leave it open; water the roots at dawn.".to_owned(),
        (true, Some(true), _) => "Leave it open; water at dawn, shade it by eight.".to_owned(),
        (true, ..) => "From outside, open the door and every vent.".to_owned(),
        (false, _, Some(true)) => format!("Water the {crops} at the root at dawn."),
        (false, ..) if now.kind == PlaceKind::Pots => {
            "Water the pots at dawn; into shade by eight.".to_owned()
        }
        (false, ..) => format!("Water the {crops} at dawn; shade them by eight."),
    }
}

/// The order against heat in this place. Where nobody should go in that comes first, and then only what is done from
/// outside.
pub fn order(now: &PlaceNow<'_>, stay_out: bool) -> String {
    if !stay_out {
        return act(now);
    }
    let from_outside = match (now.vents_open, now.shade_on) {
        (Some(true), Some(true)) => "Water from outside, or once it is cooler.".to_owned(),
        _ => act(now),
    };
    format!("Stay out of {}. {from_outside}", now.name)
}

/// The caution for a place.
pub fn caution(kind: PlaceKind) -> &'static str {
    if kind.under_cover() { IN_THE_HOUSE } else { IN_THE_OPEN }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_crop_of_the_book_has_its_plural_or_none() {
        let book = config::crop_book().unwrap();
        let plurals: Vec<String> = book.crops.values().map(plural).collect();
        let wanted = [
            "asparagus plants",
            "aubergines",
            "basil plants",
            "beetroots",
            "blueberries",
            "broccoli plants",
            "cabbages",
            "carrots",
            "chard plants",
            "cucumbers",
            "currants",
            "garlic plants",
            "green beans",
            "hot peppers",
            "kale plants",
            "lettuces",
            "melons",
            "napa cabbages",
            "onions",
            "peas",
            "potatoes",
            "radishes",
            "raspberries",
            "runner beans",
            "spinach plants",
            "strawberries",
            "summer squashes",
            "sweet corn plants",
            "sweet peppers",
            "tomatillos",
            "tomatoes",
            "winter squashes",
        ];
        let mut sorted: Vec<&str> = plurals.iter().map(String::as_str).collect();
        sorted.sort_unstable();
        sorted.dedup();
        assert_eq!(sorted, wanted);
    }

    #[test]
    fn stages_are_said_in_words_and_what_is_only_possible_with_perhaps() {
        let stages_of = |active: &[Stage], possible: &[Stage]| Stages {
            active: active.iter().copied().collect(),
            possible: possible.iter().copied().collect(),
        };
        assert_eq!(stages(&stages_of(&[], &[Stage::Vegetative])), "perhaps growing leaf");
        let both = stages_of(&[Stage::Flowering], &[Stage::Fruiting, Stage::Ripening]);
        assert_eq!(stages(&both), "in flower, perhaps setting fruit or ripening");
        assert_eq!(stages(&Stages::default()), "");
    }

    #[test]
    fn limits_are_whole_degrees_or_halves_and_a_pace_is_said_from_a_fifth_of_a_degree() {
        assert_eq!((limit(35.0), limit(15.5)), ("35".to_owned(), "15.5".to_owned()));
        assert_eq!(pace(Some(2.14)), ", rising 2.1 an hour");
        assert_eq!(pace(Some(-0.2)), ", falling 0.2 an hour");
        assert_eq!(pace(Some(0.19)), ", steady");
        assert_eq!(pace(None), "");
    }
}
