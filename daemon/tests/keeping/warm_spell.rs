//! Warm nights, high means and hot days in a row: told though no noon passes a line, once, and over when it is.
//!
//! Limits are the crop book's. What ends them is common practice: three cooler days, two cooler nights.

use glasshour::entry::{Note, PlaceKind};

use super::garden::*;

/// How often the probe speaks in these tests, ms.
const EVERY: i64 = 10 * MINUTE;

/// A house of tomatoes whose probe is held from one reading to the next.
fn house() -> Vec<Note> {
    vec![place("house", PlaceKind::House), hang("post", "house", 600), planting("red", "tomato", "house")]
}

/// The day after `june()` on which each step was told, with its turn and severity.
fn by_day(steps: &[Told]) -> Vec<(i64, &str, &str)> {
    steps
        .iter()
        .map(|step| ((step.at_ms - june()).div_euclid(DAY), step.turn.as_str(), step.severity.as_str()))
        .collect()
}

#[test]
fn two_weeks_of_30_by_day_and_24_by_night_open_one_notice_that_worsens_eases_and_closes() {
    let mut core = in_memory(&house(), june());
    // No noon passes tomato's lines of the day (32 and 35). The first night that was heard whole ends on the second day: past
    // 21, and past 24 on the second in a row. The mean of each day is past 26.
    let spell = [(24.2, 30.5); 14];
    let after = [(15.0, 26.0); 5];
    days(&mut core, "post", june(), EVERY, &[&spell[..], &after[..]].concat());
    assert!(told(&core, "too-hot").is_empty(), "{:?}", told(&core, "too-hot"));
    let steps = told(&core, "warm-spell");
    // Cooler are the nights to the 15th and the 16th of June, and the days of the 15th, 16th and 17th.
    let wanted = [
        (1, "opened", "moderate"),
        (2, "worsened", "severe"),
        (15, "eased", "moderate"),
        (17, "closed", "moderate"),
    ];
    assert_eq!(by_day(&steps), wanted, "{steps:#?}");
    assert!(steps.iter().all(|step| !step.pushed));
    let severe = &steps[1];
    assert_eq!(severe.title, "From outside, open door and vents from evening to morning.");
    assert!(
        severe.text.contains("Tomatoes want nights below 24 (severe); 2 were not, the first that to 2 June"),
        "{}",
        severe.text
    );
    assert!(severe.text.contains("If in flower, expect: pollen tube growth and set fail"), "{}", severe.text);
    assert!(steps[2].text.contains("a mean below 26 (moderate)"), "{}", steps[2].text);
    for step in &steps {
        let hour = (step.at_ms - june()).rem_euclid(DAY) / HOUR;
        assert!((4..6).contains(&hour), "after sunrise and before the letter of six: {step:?}");
    }
}

#[test]
fn hot_noons_neither_close_nor_open_again_what_stands_by_its_nights() {
    let mut core = in_memory(&house(), june());
    days(&mut core, "post", june(), EVERY, &[(22.0, 33.5); 6]);
    let heat = told(&core, "too-hot");
    assert!(heat.iter().filter(|step| step.turn == "opened").count() >= 5, "each noon is past 32: {heat:?}");
    let steps = told(&core, "warm-spell");
    assert_eq!(by_day(&steps), [(1, "opened", "moderate")], "{steps:#?}");
}

#[test]
fn it_is_said_inside_a_heat_notice_that_stands_when_it_is_decided() {
    let mut core = in_memory(&house(), june());
    // It stays past 32 all night.
    days(&mut core, "post", june(), EVERY, &[(33.0, 38.0); 3]);
    assert!(told(&core, "warm-spell").is_empty(), "{:?}", told(&core, "warm-spell"));
    assert!(!told(&core, "too-hot").is_empty());
    // When the heat notice closes, the spell is not over.
    walk(&mut core, "post", june() + 3 * DAY, EVERY, &[(0, 30.0), (3 * HOUR, 29.0)]);
    assert_eq!(told(&core, "too-hot").last().unwrap().turn, "closed");
    assert_eq!(by_day(&told(&core, "warm-spell")), [(3, "opened", "severe")]);
}

#[test]
fn days_in_a_row_open_it_for_a_crop_in_the_open() {
    let notes = [place("bed", PlaceKind::Bed), hang("post", "bed", 600), planting("head", "broccoli", "bed")];
    let mut core = in_memory(&notes, june());
    // Crop book, broccoli: 30 °C on three days in a row; nights stay below 20.
    days(&mut core, "post", june(), EVERY, &[(14.0, 31.0), (14.0, 31.0), (14.0, 31.0), (14.0, 25.0)]);
    let steps = told(&core, "warm-spell");
    assert_eq!(by_day(&steps), [(3, "opened", "moderate")], "on the morning after the third: {steps:#?}");
    assert!(
        steps[0]
            .text
            .contains("Broccoli plants want days below 30 (moderate); 3 were not, the first that of 1 June"),
        "{}",
        steps[0].text
    );
}

#[test]
fn a_probe_that_falls_silent_in_the_spell_ends_nothing_and_taking_the_plants_out_does() {
    let mut core = in_memory(&house(), june());
    days(&mut core, "post", june(), EVERY, &[(24.2, 30.5); 3]);
    core.advance(moment(june() + 12 * DAY));
    assert_eq!(told(&core, "warm-spell").last().unwrap().turn, "worsened", "nobody knows that it is cooler");
    let over = Note::End { planting: "red".to_owned() };
    core.note(moment(june() + 12 * DAY), over, None).unwrap();
    core.advance(moment(june() + 12 * DAY + HOUR));
    assert_eq!(told(&core, "warm-spell").last().unwrap().turn, "closed");
}

#[test]
fn a_restart_in_the_spell_tells_nothing_again_and_ends_it_as_if_there_had_been_none() {
    let folder = tempfile::tempdir().unwrap();
    let spell = [(24.2, 30.5); 4];
    let after = [(15.0, 26.0); 4];
    let open = |at_ms| again(folder.path(), &house(), at_ms);
    let mut core = open(june());
    days(&mut core, "post", june(), EVERY, &spell);
    let before = told(&core, "warm-spell");
    core.flush(moment(june() + 4 * DAY)).unwrap();
    drop(core);
    let mut core = open(june() + 4 * DAY);
    assert_eq!(told(&core, "warm-spell"), before);
    days(&mut core, "post", june() + 4 * DAY, EVERY, &after);
    let wanted = [
        (1, "opened", "moderate"),
        (2, "worsened", "severe"),
        (5, "eased", "moderate"),
        (7, "closed", "moderate"),
    ];
    assert_eq!(by_day(&told(&core, "warm-spell")), wanted);
}

#[test]
fn a_second_planting_that_joins_the_spell_is_told_by_a_step_of_its_own_that_buzzes_nobody() {
    let mut notes = house();
    notes.push(planting("hot", "sweet_pepper", "house"));
    let mut core = in_memory(&notes, june());
    // Crop book: tomato wants nights below 24 (severe, after two), sweet pepper days below 33 (moderate, after some in a row)
    // and nights below 24 too. From the fourth day on the nights pass 24 as well.
    days(&mut core, "post", june(), EVERY, &[(22.0, 30.5), (22.0, 30.5), (22.0, 30.5)]);
    let before = told(&core, "warm-spell");
    assert_eq!(by_day(&before), [(1, "opened", "moderate")], "{before:#?}");
    assert!(!before[0].text.contains("Sweet peppers"), "{}", before[0].text);
    let note = Note::Planting {
        planting: "late".to_owned(),
        crop: "tomato".to_owned(),
        place: "house".to_owned(),
        variety: Some("Brindle".to_owned()),
        count: None,
        began: glasshour::entry::Began::PlantedOut,
        container_l: None,
    };
    core.note(moment(june() + 3 * DAY), note, Some(june() + 3 * DAY)).unwrap();
    days(&mut core, "post", june() + 3 * DAY, EVERY, &[(22.0, 30.5), (22.0, 30.5)]);
    let steps = told(&core, "warm-spell");
    // It stands from the fourth of June on; the night to the fifth is its first.
    let late: Vec<_> = steps.iter().filter(|step| step.text.contains("‘Brindle’")).collect();
    assert_eq!(late.len(), 1, "{steps:#?}");
    assert_eq!(
        (late[0].turn.as_str(), late[0].severity.as_str(), late[0].pushed),
        ("worsened", "moderate", false)
    );
    assert_eq!(steps.len(), 2, "and nothing is told again for it: {steps:#?}");
}
