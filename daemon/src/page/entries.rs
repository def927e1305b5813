//! Notes in words: what the diary, the ground and the line "noted 13:16" say of an entry.

use super::cloth::tenth_or_whole;
use super::figures::{Civil, day_words, half, tenth};
use crate::entry::{Began, MessageKind, Note, PlaceKind, PublicWarning};
use crate::figure_words::capital;
use crate::figure_words::{label, span_words};
use crate::glance::Glance;

/// What a kind of place is called.
pub(crate) fn kind_words(kind: PlaceKind) -> &'static str {
    match kind {
        PlaceKind::House => "house of glass or film",
        PlaceKind::Bed => "bed",
        PlaceKind::Seedbed => "seedbed",
        PlaceKind::Pots => "pots",
        PlaceKind::Heap => "heap",
        PlaceKind::Shed => "shed",
        PlaceKind::Outdoors => "outdoors",
    }
}

/// All kinds of place with their names in forms.
pub(crate) const KINDS: [(&str, PlaceKind); 7] = [
    ("house", PlaceKind::House),
    ("bed", PlaceKind::Bed),
    ("seedbed", PlaceKind::Seedbed),
    ("pots", PlaceKind::Pots),
    ("heap", PlaceKind::Heap),
    ("shed", PlaceKind::Shed),
    ("outdoors", PlaceKind::Outdoors),
];

/// What the grower calls a place or planting; its identifier where the glance does not know it (any more).
pub(crate) fn name(glance: &Glance, subject: &str) -> String {
    let place = glance.places.iter().find(|place| place.place == subject).map(|place| &place.name);
    let planting = glance.plantings.iter().find(|planting| planting.planting == subject).map(|one| &one.name);
    place.or(planting).cloned().unwrap_or_else(|| subject.to_owned())
}

/// A crop's key as a word: `sweet_pepper` reads "sweet pepper".
pub(crate) fn crop_words(crop: &str) -> String {
    crop.replace('_', " ")
}

/// The note in words, and what else it says.
pub(crate) fn words(note: &Note, glance: &Glance) -> (String, String) {
    (said(note, glance), more(note, glance))
}

/// The note in words.
fn said(note: &Note, glance: &Glance) -> String {
    let named = |subject: &str| name(glance, subject);
    match note {
        Note::Place { name, .. } => format!("{name} added"),
        Note::Planting { crop, place, variety, began, .. } => {
            let verb = if *began == Began::Sown { "sown" } else { "planted out" };
            let variety = variety.as_ref().map(|variety| format!(" ‘{variety}’")).unwrap_or_default();
            format!("{}{variety} {verb} in {}", capital(&crop_words(crop)), named(place))
        }
        Note::OwnFigure { planting, .. } => format!("Own figure for {}", named(planting)),
        Note::End { planting } => format!("{} ended", named(planting)),
        Note::Hang { probe, place, .. } => format!("Probe {probe} hangs in {}", named(place)),
        Note::BatteryLine { probe, low_v } => format!("Battery of {probe} is low under {low_v} V"),
        Note::Marks { probe, .. } => format!("Marks of probe {probe}"),
        Note::Undo { entry } => format!("Entry {entry} undone"),
        Note::Vents { place, open: true } => format!("Opened {}", named(place)),
        Note::Vents { place, open: false } => format!("Closed {}", named(place)),
        Note::Shade { place, on: true } => format!("Shade on {}", named(place)),
        Note::Shade { place, on: false } => format!("Shade off {}", named(place)),
        Note::Watered { subject, .. } => format!("Watered {}", named(subject)),
        Note::Turned { place } => format!("Turned {}", named(place)),
        Note::FirstFlower { planting } => format!("First flower: {}", named(planting)),
        Note::FirstRipe { planting } => format!("First ripe: {}", named(planting)),
        Note::Damage { planting, .. } => format!("Damage seen: {}", named(planting)),
        Note::Thermometer { place, .. } => format!("Read the thermometer: {}", named(place)),
        Note::HeatWarning { .. } => "Heard a heat warning".to_owned(),
        Note::PublicWarning(PublicWarning { kind: MessageKind::Cancel, .. }) => {
            "A public warning was taken back".to_owned()
        }
        Note::PublicWarning(_) => "A public warning was heard".to_owned(),
        Note::Remark { text } => text.clone(),
        Note::Reply { on_it: true, .. } => "Answered “on it”".to_owned(),
        Note::Reply { on_it: false, .. } => "Answered “later”".to_owned(),
        Note::Seen { .. } => "Seen".to_owned(),
        Note::Drill {} => "Asked for a drill".to_owned(),
        Note::Digest { .. } => "What did not buzz that day".to_owned(),
        Note::Phone { name, .. } => format!("{name} receives notices"),
        Note::PhoneGone { phone, .. } => format!("Phone {phone} no longer receives"),
        Note::Outlook(_) => "A forecast was taken in".to_owned(),
        Note::Step(step) => step.title.clone(),
        Note::Letter { .. } => "The morning letter".to_owned(),
        Note::Edition { .. } => "Reckoned anew".to_owned(),
        Note::Fence(_) => "A row of the ledger is damaged".to_owned(),
        Note::Mended { .. } => "A damaged row of the ledger came back".to_owned(),
        Note::Restored { other_board: true, .. } => "The ledger came to this board".to_owned(),
        Note::Restored { .. } => "The ledger was restored".to_owned(),
        Note::Forgotten { readings, .. } => format!("{readings} old readings thrown away"),
        Note::Clock { by, .. } => format!("The time, by {by}"),
        Note::Board(news) => news.words().0,
        Note::SentUnrecorded { .. } => "Sent while nothing could be stored".to_owned(),
    }
}

/// What else the note says; most say nothing more.
fn more(note: &Note, glance: &Glance) -> String {
    match note {
        Note::Place { kind, .. } => kind_words(*kind).to_owned(),
        Note::Planting { count, container_l, .. } => {
            let container =
                container_l.map(|litres| format!("{} litres of mix each", tenth_or_whole(litres)));
            listed(count.map(plants).into_iter().chain(container))
        }
        Note::OwnFigure { figure, from, to, .. } => {
            format!("{}: {}", label(figure), span_words(*from, to.unwrap_or(*from), ""))
        }
        Note::Hang { height_m, shelter, .. } => {
            let height = height_m.map(|height| format!("{} m up", tenth(height)));
            listed(height.into_iter().chain(shelter.clone()))
        }
        Note::Marks { dry_pct, wet_pct, .. } => {
            format!("dry at {} %, wet at {} %", tenth(*dry_pct), tenth(*wet_pct))
        }
        Note::Vents { .. } => "vents or doors".to_owned(),
        Note::Watered { litres, .. } => format!("{} litres", half(*litres)),
        Note::Damage { text, .. } => text.clone(),
        Note::Thermometer { now_c, low_c, high_c, .. } => thermometer_words(*now_c, *low_c, *high_c),
        Note::HeatWarning { from, to, about_c, said_by } => {
            let by = said_by.as_ref().map(|by| format!(", said by {by}")).unwrap_or_default();
            format!("{} to {}, about {} °C{by}", day_words(from), day_words(to), half(*about_c))
        }
        Note::PublicWarning(warning) => {
            let who = warning.says.iter().find_map(|said| said.sender_name.as_ref());
            format!("by {}", who.unwrap_or(&warning.name.sender))
        }
        Note::Digest { lines, .. } => lines.join(" "),
        Note::PhoneGone { why, .. } => why.clone(),
        Note::Step(step) => step.text.clone(),
        Note::Letter { date } => date.clone(),
        Note::Edition { edition, .. } => edition.clone(),
        Note::Clock { dated_back_ms: Some(ms), .. } => {
            format!("dated back to {}", Civil(glance.civil_offset_s).when(*ms, glance.at_ms))
        }
        Note::Board(news) => news.words().1,
        Note::SentUnrecorded { couriers, .. } => format!("by {}", couriers.join(", ")),
        _ => String::new(),
    }
}

fn listed(parts: impl Iterator<Item = String>) -> String {
    parts.collect::<Vec<_>>().join(", ")
}

fn thermometer_words(now_c: Option<f64>, low_c: Option<f64>, high_c: Option<f64>) -> String {
    let parts = [("now", now_c), ("low", low_c), ("high", high_c)];
    let known = parts.into_iter().filter_map(|(word, value)| Some(format!("{word} {}", tenth(value?))));
    listed(known)
}

/// Whether the grower may undo a note.
pub(crate) fn undoable(note: &Note) -> bool {
    !note.is_told()
        && !matches!(
            note,
            Note::Undo { .. }
                | Note::Reply { .. }
                | Note::Drill {}
                | Note::Phone { .. }
                | Note::PhoneGone { .. }
        )
}

/// How many plants, in words.
pub(crate) fn plants(count: u32) -> String {
    if count == 1 { "1 plant".to_owned() } else { format!("{count} plants") }
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;

    #[test]
    fn a_note_is_said_with_the_growers_own_names() {
        let glance = fixtures::calm();
        let watered = Note::Watered { subject: "tomato-1".to_owned(), litres: 12.25 };
        assert_eq!(words(&watered, &glance), ("Watered Tomato ‘Amber Thimble’".into(), "12.5 litres".into()));
        let gone = Note::End { planting: "bean-9".to_owned() };
        assert_eq!(words(&gone, &glance).0, "bean-9 ended");
    }

    #[test]
    fn what_was_told_cannot_be_undone() {
        assert!(!undoable(&Note::Undo { entry: 3 }));
        assert!(undoable(&Note::End { planting: "x".to_owned() }));
    }
}
