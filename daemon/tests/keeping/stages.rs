//! What heat says to seed, to leaf and to flowers: AGRONOMY 2.18 (note, then degree days, then dates).

use glasshour::entry::{Began, Note, PlaceKind};
use glasshour::keeper::core::Core;
use glasshour::keeper::view::season;

use super::garden::*;

/// A bed that has been watched for forty mild days, and in it tomatoes, begun so many days before June.
fn bed(began: Began, days_before: i64) -> Core {
    let mut core = in_memory(&[place("bed", PlaceKind::Bed), hang("post", "bed", 3_600)], june() - 40 * DAY);
    let Note::Planting { planting, crop, place, variety, count, container_l, .. } =
        planting("red", "tomato", "bed")
    else {
        unreachable!("the garden's planting is one")
    };
    let note = Note::Planting { planting, crop, place, variety, count, container_l, began };
    live(&mut core, -40..-days_before);
    core.note(moment(june() - days_before * DAY), note, None).unwrap();
    live(&mut core, -days_before..4);
    core
}

/// Lives through days by the hour: 26 °C from noon to three, else 18.
fn live(core: &mut Core, days: std::ops::Range<i64>) {
    for hour in days.start * 24..days.end * 24 {
        let t_c = if (12..15).contains(&hour.rem_euclid(24)) { 26.0 } else { 18.0 };
        hear(core, june() + hour * HOUR, &[("post", AIR, t_c)]);
    }
}

/// One more mild day, and then an hour at 36 °C at noon of the sixth of June: what was told of it.
fn heat_comes(core: &mut Core) -> Vec<Told> {
    live(core, 4..5);
    let noon = june() + 5 * DAY + 12 * HOUR;
    hear(core, noon - HOUR, &[("post", AIR, 26.0)]);
    for minute in [0, 20, 40, 60] {
        hear(core, noon + minute * MINUTE, &[("post", AIR, 36.0)]);
    }
    told(core, "too-hot").into_iter().filter(|step| step.at_ms >= noon).collect()
}

fn stages(core: &Core) -> String {
    season(core.engine(), "red").unwrap().planting.stages
}

#[test]
fn on_seed_that_was_sown_five_days_ago_no_flower_is_named_and_no_crops_line_rings() {
    let mut core = bed(Began::Sown, 0);
    let told = heat_comes(&mut core);
    // Crop book: the soonest that tomato seed came up took 6 days; this is the sixth of June.
    assert_eq!(stages(&core), "not up yet");
    assert!(told.iter().all(|step| !step.pushed), "{told:#?}");
    for word in ["flower", "ripen", "bear 35", "feel heat from 32", "pollen", "shoulders"] {
        assert!(!told.iter().any(|step| step.title.contains(word) || step.text.contains(word)), "{told:#?}");
    }
    let page = everything(&mut core)["planting_pages"].as_array().unwrap().last().unwrap().clone();
    // No rule of the book speaks of tomato seed in air: the place's line stands in.
    assert_eq!((page["line_c"].as_f64(), &page["worst"]), (Some(40.0), &serde_json::Value::Null));
}

#[test]
fn the_same_heat_rings_where_flowers_are_possible_and_says_if_in_flower() {
    // Crop book: 0 to 250 degree days above 10 °C after planting out. By hand: 21 h of 18 and 3 h of 26 °C are 9.0 a day.
    let mut core = bed(Began::PlantedOut, 10);
    let told = heat_comes(&mut core);
    assert_eq!(stages(&core), "perhaps growing leaf or in flower", "15 days: 135");
    let severe = told.iter().find(|step| step.severity == "severe").unwrap();
    assert!(severe.pushed, "{severe:?}");
    assert!(severe.text.contains("bear 35 (severe, if in flower)"), "{}", severe.text);
}

#[test]
fn flowers_that_degree_days_or_the_grower_make_certain_are_told_without_an_if() {
    // 33 days of 9.0: 297 of 250. The sown are 38 days old, and in flower by the grower's word only.
    let mut summed = bed(Began::PlantedOut, 30);
    let mut noted = bed(Began::Sown, 35);
    for (core, words) in
        [(&summed, "in flower"), (&noted, "perhaps still seedlings or growing leaf or in flower")]
    {
        assert_eq!(stages(core), words);
    }
    let flower = Note::FirstFlower { planting: "red".into() };
    noted.note(moment(june() + 3 * DAY + 23 * HOUR), flower, None).unwrap();
    assert_eq!(stages(&noted), "in flower, perhaps still seedlings");
    for core in [&mut summed, &mut noted] {
        let told = heat_comes(core);
        let severe = told.iter().find(|step| step.severity == "severe").unwrap();
        assert!(severe.pushed && severe.text.contains("bear 35 (severe)"), "{}", severe.text);
    }
}

#[test]
fn stages_are_the_same_after_a_restart_and_a_note_remakes_the_days_before_it() {
    let folder = tempfile::tempdir().unwrap();
    let mut notes = tomato_bed();
    notes[1] = hang("post", "bed", 600);
    let mut core = again(folder.path(), &notes, june());
    days(&mut core, "post", june(), 10 * MINUTE, &[(20.0, 40.0); 3]);
    let end = moment(june() + 3 * DAY + HOUR);
    core.flush(end).unwrap();
    core.advance(end);
    let ran = |core: &mut Core| {
        let all = everything(core);
        let pages = all["planting_pages"].as_array().unwrap().iter();
        pages.map(|page| page["rule_days"]["day_severe"].as_str().is_some()).collect::<Vec<_>>()
    };
    assert_eq!(ran(&mut core), [true; 3], "forty days after planting out flowers are possible");
    let flower = Note::FirstFlower { planting: "red".into() };
    core.note(end, flower, Some(june() + 2 * DAY)).unwrap();
    assert_eq!(ran(&mut core), [false, false, true], "before its first flower it had none");
    core.flush(end).unwrap();
    let before = (stages(&core), everything(&mut core));
    drop(core);
    let mut back = again(folder.path(), &notes, end.wall_ms);
    assert_eq!((stages(&back), everything(&mut back)), before);
}
