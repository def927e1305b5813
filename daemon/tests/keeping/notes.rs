//! Notes: back-dated ones remake the days they touch, an undone one leaves the same bytes as before.

use glasshour::entry::{Note, PlaceKind};
use glasshour::keeper::core::Core;

use super::garden::*;

/// Three warm days in a house where nothing stands yet.
fn empty_house() -> Core {
    let notes = [place("house", PlaceKind::House), hang("post", "house", 600), hang("beam", "house", 600)];
    let mut core = in_memory(&notes, june());
    days(&mut core, "post", june(), 10 * MINUTE, &[(16.0, 34.0), (17.0, 36.0), (18.0, 37.0)]);
    core.flush(moment(june() + 3 * DAY)).unwrap();
    core.advance(moment(june() + 3 * DAY + HOUR));
    core
}

fn note(core: &mut Core, note: Note, from_ms: i64) -> i64 {
    let now = core.engine().now_ms() + MINUTE;
    core.note(moment(now), note, Some(from_ms)).unwrap()
}

/// Pages and counts; the notices go on with the time.
fn reckoned(core: &mut Core) -> String {
    let mut all = everything(core);
    all.as_object_mut().unwrap().remove("notices");
    all.to_string()
}

#[test]
fn a_back_dated_planting_gets_the_pages_of_its_days() {
    let mut core = empty_house();
    note(&mut core, planting("red", "tomato", "house"), june() + DAY);
    let all = everything(&mut core);
    let pages = all["planting_pages"].as_array().unwrap();
    let dates: Vec<&str> = pages.iter().filter_map(|page| page["date"].as_str()).collect();
    assert_eq!(dates, ["2026-06-02", "2026-06-03"]);
    // Mean of the extremes capped at 28, base 7 (crop book): 26.5 − 7 and 27.5 − 7.
    assert_eq!((&pages[0]["degree_days"], &pages[1]["degree_days"]), (&19.5.into(), &20.5.into()));
    assert_eq!(pages[1]["total"], 40.0);
}

#[test]
fn each_kind_of_note_undone_leaves_the_same_bytes_as_before() {
    let mut core = empty_house();
    note(&mut core, planting("red", "tomato", "house"), june());
    let notes = [
        (planting("green", "lettuce", "house"), june() + DAY),
        (Note::End { planting: "red".into() }, june() + DAY + 12 * HOUR),
        (hang("post", "house", 60), june() + DAY + 6 * HOUR),
        (hang("beam", "house", 60), june() + DAY + 6 * HOUR),
        (Note::FirstFlower { planting: "red".into() }, june() + DAY),
        (own_figure("red", "gdd.t_base_c", 9.0), june() + DAY),
        (Note::FirstRipe { planting: "red".into() }, june() + DAY),
        (
            Note::Thermometer { place: "house".into(), now_c: None, low_c: Some(9.0), high_c: Some(39.0) },
            june() - DAY + 20 * HOUR,
        ),
        (place("bed", PlaceKind::Bed), june()),
    ];
    for (what, from_ms) in notes {
        let before = reckoned(&mut core);
        let entry = note(&mut core, what.clone(), from_ms);
        let with = reckoned(&mut core);
        note(&mut core, Note::Undo { entry }, from_ms);
        assert_eq!(reckoned(&mut core), before, "{what:?}");
        let silent = matches!(what, Note::Place { .. });
        // A probe that never spoke changes nothing by hanging elsewhere.
        let mute = matches!(&what, Note::Hang { probe, .. } if probe == "beam");
        assert!(silent || mute || with != before, "{what:?} changed nothing");
    }
}

#[test]
fn a_planting_noted_anew_under_an_undone_name_keeps_none_of_its_pages() {
    let mut core = empty_house();
    let entry = note(&mut core, planting("red", "tomato", "house"), june());
    assert_eq!(everything(&mut core)["planting_pages"].as_array().unwrap().len(), 3);
    note(&mut core, Note::Undo { entry }, june());
    assert!(everything(&mut core)["planting_pages"].as_array().unwrap().is_empty());
    note(&mut core, planting("red", "tomato", "house"), june() + 2 * DAY);
    assert_eq!(everything(&mut core)["planting_pages"].as_array().unwrap().len(), 1);
}

#[test]
fn a_probe_hung_anew_at_the_same_place_loses_no_part_of_the_day() {
    let mut core = empty_house();
    note(&mut core, hang("post", "house", 900), june() + DAY + 12 * HOUR);
    let all = everything(&mut core);
    assert_eq!(all["day_pages"][1]["measured_share"], 1.0);
    assert_eq!(all["day_pages"][1]["t_max_c"], 36.0);
}

#[test]
fn a_place_in_use_cannot_be_undone_and_says_what_is_in_the_way() {
    let mut core = empty_house();
    let entry = core.engine().ground().entries[0].id;
    let now = moment(core.engine().now_ms() + MINUTE);
    let refused = core.note(now, Note::Undo { entry }, None).unwrap_err();
    assert_eq!(refused.to_string(), "post is noted for house: undo that first");
}
