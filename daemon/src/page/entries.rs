//! Notes in words: what the diary, the ground and the line "noted 13:16" say of an entry.

use super::cloth::tenth_or_whole;
use super::figures::{Civil, day_words, half, tenth};
use crate::entry::{Began, MessageKind, Note, PlaceKind, PublicWarning};
use crate::figure_words::{label, span_words};
use crate::glance::Glance;
use crate::minders::words::capital;

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
    let named = |subject: &str| name(glance, subject);
    match note {
        Note::Place { name, kind, .. } => (format!("{name} added"), kind_words(*kind).to_owned()),
        Note::Planting { .. } => planting_words(note, glance),
        Note::OwnFigure { planting, figure, from, to } => {
            let value = span_words(*from, to.unwrap_or(*from), "");
            (format!("Own figure for {}", named(planting)), format!("{}: {value}", label(figure)))
        }
        Note::End { planting } => (format!("{} ended", named(planting)), String::new()),
        Note::Hang { probe, place, height_m, shelter, .. } => {
            let height = height_m.map(|height| format!("{} m up", tenth(height)));
            let more: Vec<_> = height.into_iter().chain(shelter.clone()).collect();
            (format!("Probe {probe} hangs in {}", named(place)), more.join(", "))
        }
        Note::BatteryLine { probe, low_v } => {
            (format!("Battery of {probe} is low under {low_v} V"), String::new())
        }
        Note::Marks { probe, dry_pct, wet_pct } => (
            format!("Marks of probe {probe}"),
            format!("dry at {} %, wet at {} %", tenth(*dry_pct), tenth(*wet_pct)),
        ),
        Note::Undo { entry } => (format!("Entry {entry} undone"), String::new()),
        Note::Vents { place, open } => (
            format!("{} {}", if *open { "Opened" } else { "Closed" }, named(place)),
            "vents or doors".to_owned(),
        ),
        Note::Shade { place, on } => {
            (format!("Shade {} {}", if *on { "on" } else { "off" }, named(place)), String::new())
        }
        Note::Watered { subject, litres } => {
            (format!("Watered {}", named(subject)), format!("{} litres", half(*litres)))
        }
        Note::Turned { place } => (format!("Turned {}", named(place)), String::new()),
        Note::FirstFlower { planting } => (format!("First flower: {}", named(planting)), String::new()),
        Note::FirstRipe { planting } => (format!("First ripe: {}", named(planting)), String::new()),
        Note::Damage { planting, text } => (format!("Damage seen: {}", named(planting)), text.clone()),
        Note::Thermometer { place, now_c, low_c, high_c } => {
            (format!("Read the thermometer: {}", named(place)), thermometer_words(*now_c, *low_c, *high_c))
        }
        Note::HeatWarning { from, to, about_c, said_by } => {
            let by = said_by.as_ref().map(|by| format!(", said by {by}")).unwrap_or_default();
            let days = format!("{} to {}", day_words(from), day_words(to));
            ("Heard a heat warning".to_owned(), format!("{days}, about {} °C{by}", half(*about_c)))
        }
        Note::PublicWarning(warning) => warning_words(warning),
        Note::Remark { text } => (text.clone(), String::new()),
        Note::Reply { on_it, .. } => {
            (format!("Answered “{}”", if *on_it { "on it" } else { "later" }), String::new())
        }
        Note::Seen { .. } => ("Seen".to_owned(), String::new()),
        Note::Drill {} => ("Asked for a drill".to_owned(), String::new()),
        Note::Digest { lines, .. } => ("What did not buzz that day".to_owned(), lines.join(" ")),
        Note::Phone { name, .. } => (format!("{name} receives notices"), String::new()),
        Note::PhoneGone { phone, why } => (format!("Phone {phone} no longer receives"), why.clone()),
        Note::Outlook(_) => ("A forecast was taken in".to_owned(), String::new()),
        Note::Step(step) => (step.title.clone(), step.text.clone()),
        Note::Letter { date } => ("The morning letter".to_owned(), date.clone()),
        Note::Edition { edition, .. } => ("Reckoned anew".to_owned(), edition.clone()),
        Note::Fence(_) => ("A row of the ledger is damaged".to_owned(), String::new()),
        Note::Mended { .. } => ("A damaged row of the ledger came back".to_owned(), String::new()),
        Note::Restored { other_board: true, .. } => {
            ("The ledger came to this board".to_owned(), String::new())
        }
        Note::Restored { .. } => ("The ledger was restored".to_owned(), String::new()),
        Note::Forgotten { readings, .. } => (format!("{readings} old readings thrown away"), String::new()),
        Note::Clock { by, dated_back_ms, .. } => {
            let civil = Civil(glance.civil_offset_s);
            let back = dated_back_ms.map(|ms| format!("dated back to {}", civil.when(ms, glance.at_ms)));
            (format!("The time, by {by}"), back.unwrap_or_default())
        }
        Note::Board(news) => news.words(),
        Note::SentUnrecorded { couriers, .. } => {
            ("Sent while nothing could be stored".to_owned(), format!("by {}", couriers.join(", ")))
        }
    }
}

fn planting_words(note: &Note, glance: &Glance) -> (String, String) {
    let Note::Planting { crop, place, variety, count, began, container_l, .. } = note else {
        return Default::default();
    };
    let verb = if *began == Began::Sown { "sown" } else { "planted out" };
    let variety = variety.as_ref().map(|variety| format!(" ‘{variety}’")).unwrap_or_default();
    let container = container_l.map(|litres| format!("{} litres of mix each", tenth_or_whole(litres)));
    let more: Vec<_> = count.map(plants).into_iter().chain(container).collect();
    (format!("{}{variety} {verb} in {}", capital(&crop_words(crop)), name(glance, place)), more.join(", "))
}

fn thermometer_words(now_c: Option<f64>, low_c: Option<f64>, high_c: Option<f64>) -> String {
    let parts = [("now", now_c), ("low", low_c), ("high", high_c)];
    let known = parts.into_iter().filter_map(|(word, value)| Some(format!("{word} {}", tenth(value?))));
    known.collect::<Vec<_>>().join(", ")
}

fn warning_words(warning: &PublicWarning) -> (String, String) {
    let who = warning.says.iter().find_map(|said| said.sender_name.as_ref());
    let by = format!("by {}", who.unwrap_or(&warning.name.sender));
    match warning.kind {
        MessageKind::Cancel => ("A public warning was taken back".to_owned(), by),
        _ => ("A public warning was heard".to_owned(), by),
    }
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
