//! Diary: what the grower did or saw, noted in two taps, newest first.

use maud::{Markup, html};

use super::entries;
use super::figures::{Civil, half};
use super::frame::{Did, Lintel, View, page, undo};
use crate::entry::{Entry, Note, PlaceKind};
use crate::glance::{Glance, Tone};

/// What can be noted: its word in the address and on the page.
pub(crate) const ACTS: [(&str, &str); 11] = [
    ("watered", "Watered"),
    ("opened", "Opened"),
    ("closed", "Closed"),
    ("shade-on", "Shade on"),
    ("shade-off", "Shade off"),
    ("first-flower", "First flower"),
    ("first-ripe", "First ripe"),
    ("damage", "Damage seen"),
    ("turned", "Turned the heap"),
    ("thermometer", "Read the thermometer"),
    ("remark", "Something else"),
];

/// Entries that stand open; the days before are folded.
const OPEN_ENTRIES: usize = 24;

/// The page Diary; `act`: what was tapped.
pub(crate) fn view(glance: &Glance, act: Option<&str>, did: Did) -> Markup {
    let lintel = Lintel {
        tone: Tone::Well,
        place: glance.site.clone(),
        order: "Tap what you did, then to what.".to_owned(),
        why: "It is dated now unless you say otherwise; each entry can be undone.".to_owned(),
        more: html! {},
    };
    let chosen = ACTS.iter().find(|known| Some(known.0) == act);
    let main = html! {
        section.pg aria-labelledby="what" {
            h2 id="what" { "What did you do?" }
            p.taps {
                @for (key, word) in ACTS.into_iter().filter(|(key, _)| *key != "turned" || !heaps(glance).is_empty()) {
                    a href={ "/diary?did=" (key) "#to-what" } aria-current=[(Some(key) == act).then_some("true")] { (word) }
                }
            }
            @if let Some((key, word)) = chosen { (second(glance, key, word)) }
        }
        (list(glance))
    };
    page(View::Diary, glance, did, &lintel, &main)
}

/// The second tap: to what; with the figures that belong to it before.
fn second(glance: &Glance, act: &str, word: &str) -> Markup {
    html! {
        form.fields id="to-what" method="post" action="/diary" {
            input type="hidden" name="did" value=(act);
            @match act {
                "watered" => label { "litres in all" input name="litres" inputmode="decimal" value=(last_litres(glance)) required; },
                "thermometer" => {
                    label { "now, °C" input name="now" inputmode="decimal"; }
                    label { "lowest, °C" input name="low" inputmode="decimal"; }
                    label { "highest, °C" input name="high" inputmode="decimal"; }
                },
                "damage" => label.whole { "what you saw" input.wide name="text" maxlength="500" placeholder="dropped flowers" required; },
                "remark" => label.whole { "in your words" input.wide name="text" maxlength="500" required; },
                _ => {},
            }
            label { "when, empty for now" input.wide type="datetime-local" name="when"; }
            fieldset.answers {
                legend { (word) @if act == "remark" { "" } @else { ": what?" } }
                @for (subject, called) in subjects(glance, act) { button name="subject" value=(subject) { (called) } }
                @if act == "remark" { button.first { "note it" } }
            }
        }
    }
}

/// What an act can be done to: identifiers and names.
fn subjects(glance: &Glance, act: &str) -> Vec<(String, String)> {
    let covered = glance.places.iter().any(|place| place.kind.under_cover());
    let places = |all: bool| {
        let wanted = glance.places.iter().filter(move |place| all || !covered || place.kind.under_cover());
        wanted.map(|place| (place.place.clone(), place.name.clone())).collect::<Vec<_>>()
    };
    let plantings = || {
        let named = glance.plantings.iter().map(|one| (one.planting.clone(), one.name.clone()));
        named.collect::<Vec<_>>()
    };
    match act {
        "watered" => plantings().into_iter().chain(places(true)).collect(),
        "opened" | "closed" | "shade-on" | "shade-off" => places(false),
        "first-flower" | "first-ripe" | "damage" => plantings(),
        "turned" => heaps(glance),
        "thermometer" => places(true),
        _ => Vec::new(),
    }
}

fn heaps(glance: &Glance) -> Vec<(String, String)> {
    let heaps = glance.places.iter().filter(|place| place.kind == PlaceKind::Heap);
    heaps.map(|place| (place.place.clone(), place.name.clone())).collect()
}

/// The litres of the last watering: the likeliest answer.
fn last_litres(glance: &Glance) -> String {
    let last = glance.entries.iter().find_map(|entry| match entry.note {
        Note::Watered { litres, .. } => Some(half(litres)),
        _ => None,
    });
    last.unwrap_or_else(|| "10".to_owned())
}

fn list(glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let mut diary: Vec<&Entry> =
        glance.entries.iter().filter(|entry| matches!(entry.note.kind(), "diary" | "outlook")).collect();
    diary.sort_by_key(|entry| (std::cmp::Reverse(entry.from_ms), std::cmp::Reverse(entry.id)));
    let mut days: Vec<(String, Vec<&Entry>)> = Vec::new();
    for entry in diary {
        let its_day = civil.long_day(entry.from_ms);
        match days.last_mut().filter(|(day, _)| *day == its_day) {
            Some((_, entries)) => entries.push(entry),
            None => days.push((its_day, vec![entry])),
        }
    }
    let (newest, rest) = days.split_at(newest(&days));
    html! {
        section.pg aria-labelledby="noted-lately" {
            h2 id="noted-lately" { "Noted" }
            @if newest.is_empty() { p { "Nothing yet." } }
            @for day in newest { (of_day(day, glance)) }
            @if !rest.is_empty() {
                details id="noted-before" {
                    summary { "the days before, " (rest.iter().map(|(_, entries)| entries.len()).sum::<usize>()) " entries" }
                    @for day in rest { (of_day(day, glance)) }
                }
            }
        }
    }
}

/// How many of the days, newest first, stand open: as many as make a few screens, at least one.
fn newest(days: &[(String, Vec<&Entry>)]) -> usize {
    let mut entries = 0;
    let fits = |(_, of_day): &&(String, Vec<&Entry>)| {
        entries += of_day.len();
        entries <= OPEN_ENTRIES
    };
    days.iter().take_while(fits).count().max(1).min(days.len())
}

fn of_day((day, entries): &(String, Vec<&Entry>), glance: &Glance) -> Markup {
    html! { h3 { (day) } @for entry in entries { (row(entry, glance)) } }
}

fn row(entry: &Entry, glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let (words, more) = entries::words(&entry.note, glance);
    let late = entry.at_ms - entry.from_ms > 10 * 60_000;
    html! {
        div.entry {
            div {
                p { time { (civil.clock(entry.from_ms)) } " " (words) }
                @if !more.is_empty() || late {
                    small { (more) @if late { @if !more.is_empty() { "; " } "noted " (civil.when(entry.at_ms, glance.at_ms)) } }
                }
            }
            (undo(entry.id, "/diary", "undo"))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;

    #[test]
    fn the_first_tap_opens_the_second_with_the_likeliest_litres() {
        let glance = fixtures::calm();
        let html = view(&glance, Some("watered"), Did::default()).into_string();
        assert!(html.contains("name=\"litres\" inputmode=\"decimal\" value=\"12\""));
        assert!(html.contains("value=\"tomato-1\"") && html.contains("value=\"bed\""));
        assert!(!view(&glance, None, Did::default()).into_string().contains("to-what\" method"));
    }

    #[test]
    fn vents_are_offered_for_places_under_cover_only() {
        let html = view(&fixtures::calm(), Some("opened"), Did::default()).into_string();
        assert!(html.contains("value=\"house\"") && !html.contains("name=\"subject\" value=\"bed\""));
    }

    #[test]
    fn damage_is_offered_for_plantings_with_room_for_words() {
        let html = view(&fixtures::calm(), Some("damage"), Did::default()).into_string();
        assert!(html.contains("name=\"text\"") && html.contains("value=\"tomato-1\""));
        assert!(!html.contains("name=\"subject\" value=\"bed\""));
    }

    #[test]
    fn turning_is_offered_where_there_is_a_heap_only() {
        let mut glance = fixtures::calm();
        assert!(!view(&glance, None, Did::default()).into_string().contains("did=turned"));
        glance.places[1].kind = PlaceKind::Heap;
        assert!(view(&glance, None, Did::default()).into_string().contains("did=turned"));
        let html = view(&glance, Some("turned"), Did::default()).into_string();
        assert!(html.contains("name=\"subject\" value=\"bed\"") && !html.contains("value=\"house\""));
    }

    #[test]
    fn entries_stand_newest_first_with_their_undo() {
        let html = view(&fixtures::calm(), None, Did { noted: Some(9), undone: None }).into_string();
        assert!(html.find("Watered Tomato").unwrap() < html.find("Opened Long House").unwrap());
        assert!(html.contains("noted 12:15") && html.contains("name=\"entry\" value=\"9\""));
        assert!(!html.contains("planted out in Long House</p>"), "ground entries stand on the page Ground");
    }

    #[test]
    fn an_unknown_act_in_the_address_is_ignored() {
        let html = view(&fixtures::calm(), Some("\"><script>"), Did::default()).into_string();
        assert!(!html.contains("\"><script>"));
    }

    #[test]
    fn the_newest_days_stand_open_and_the_days_before_are_folded() {
        let mut glance = fixtures::calm();
        let day_ms = 86_400_000;
        let entry = |id: i64| Entry {
            id,
            at_ms: glance.at_ms - (100 - id) / 10 * day_ms,
            from_ms: glance.at_ms - (100 - id) / 10 * day_ms,
            note: Note::Remark { text: format!("remark {id} ends") },
        };
        glance.entries = (1..=100).rev().map(entry).collect();
        let html = view(&glance, None, Did::default()).into_string();
        let folded = html.find("the days before, ").unwrap();
        assert!(
            html.find("remark 100 ends").unwrap() < folded && html.find("remark 1 ends").unwrap() > folded
        );
        assert_eq!(html[..folded].matches(" ends").count(), 20, "two whole days of ten");
        assert!(html.contains("the days before, 80 entries"), "{html}");
        glance.entries.truncate(5);
        assert!(!view(&glance, None, Did::default()).into_string().contains("noted-before"));
    }
}
