use super::*;
use crate::entry::{Began, Entry};

const NOW: i64 = 1_780_000_000_000;
const DAY: i64 = 86_400_000;

fn house(id: &str) -> Note {
    Note::Place { place: id.into(), name: "The house".into(), kind: PlaceKind::House }
}

fn planting(id: &str, crop: &str, place: &str, count: Option<u32>) -> Note {
    Note::Planting {
        planting: id.into(),
        crop: crop.into(),
        place: place.into(),
        variety: None,
        count,
        began: Began::Sown,
        container_l: None,
    }
}

fn hang(probe: &str, place: &str, height_m: Option<f64>, usual_interval_s: u32) -> Note {
    Note::Hang { probe: probe.into(), place: place.into(), height_m, shelter: None, usual_interval_s }
}

fn by_hand(now_c: Option<f64>, low_c: Option<f64>, high_c: Option<f64>) -> Note {
    Note::Thermometer { place: "house".into(), now_c, low_c, high_c }
}

fn warning(from: &str, to: &str, about_c: f64) -> Note {
    Note::HeatWarning { from: from.into(), to: to.into(), about_c, said_by: None }
}

fn damage(planting: &str, text: &str) -> Note {
    Note::Damage { planting: planting.into(), text: text.into() }
}

fn watered(subject: &str, litres: f64) -> Note {
    Note::Watered { subject: subject.into(), litres }
}

/// A house (entry 1) and an empty shed (entry 2), tomatoes since ten days ago (entry 3).
fn ground() -> Ground {
    let notes = [house("house"), house("shed"), planting("red", "tomato", "house", None)];
    let entries =
        (1..).zip(notes).map(|(id, note)| Entry { id, at_ms: NOW - 10 * DAY, from_ms: NOW - 10 * DAY, note });
    Ground::of(&entries.collect::<Vec<_>>())
}

fn checked(note: &Note, from_ms: i64) -> Result<(), String> {
    check(&ground(), &config::crop_book().unwrap(), note, from_ms, NOW)
}

#[test]
fn what_makes_sense_is_taken() {
    let notes = [
        house("house-2"),
        planting("Grün_1.b", "lettuce", "shed", Some(1)),
        planting("green", "lettuce", "shed", Some(1)),
        Note::End { planting: "red".into() },
        hang("post", "shed", Some(20.0), 86_400),
        watered("red", 0.1),
        watered("shed", 100_000.0),
        by_hand(Some(21.0), None, None),
        by_hand(None, Some(-30.0), Some(70.0)),
        warning("2026-06-01", "2026-07-01", 55.0),
        Note::Undo { entry: 2 },
        Note::Undo { entry: 3 },
    ];
    for note in notes {
        // A name with an umlaut is the one that does not fit.
        let fits = !matches!(&note, Note::Planting { planting, .. } if !planting.is_ascii());
        assert_eq!(checked(&note, NOW).is_ok(), fits, "{note:?}");
    }
}

#[test]
fn each_refusal_says_what_is_wrong_and_what_may_be_written_instead() {
    let long = "x".repeat(501);
    let cases = [
        (house("house"), "there is a place called house already"),
        (house("my house"), "place \"my house\" is no identifier: use up to 40 letters, digits, _ - ."),
        (house(&"x".repeat(41)), "is no identifier"),
        (house(""), "is no identifier"),
        (Note::Place { place: "a".into(), name: " ".into(), kind: PlaceKind::Bed }, "the name is empty"),
        (planting("red", "tomato", "house", None), "there is a planting called red already"),
        (planting("a", "tomatoe", "house", None), "unknown crop \"tomatoe\"; did you mean tomato?"),
        (
            planting("a", "pepper", "house", None),
            "unknown crop \"pepper\"; did you mean hot_pepper or sweet_pepper?",
        ),
        (planting("a", "okra", "house", None), "unknown crop \"okra\"; known: asparagus, "),
        (planting("a", "tomato", "hous", None), "unknown place \"hous\"; did you mean house?"),
        (planting("a", "tomato", "house", Some(0)), "a planting has at least one plant"),
        (Note::End { planting: "blue".into() }, "unknown planting \"blue\"; known: red"),
        (Note::FirstRipe { planting: "blue".into() }, "unknown planting"),
        (damage("blue", "dropped flowers"), "unknown planting \"blue\"; known: red"),
        (damage("red", " "), "the damage is empty"),
        (hang("post", "roof", None, 60), "unknown place"),
        (hang("post", "house", Some(20.1), 60), "height 20.1 m cannot be: write 0 to 20"),
        (hang("post", "house", Some(f64::NAN), 60), "height NaN m cannot be"),
        (hang("post", "house", None, 0), "usual interval 0 s cannot be: write 1 to 86400"),
        (Note::Vents { place: "roof".into(), open: true }, "unknown place"),
        (watered("red", 0.0), "water 0 litres cannot be"),
        (watered("roof", 5.0), "unknown place or planting \"roof\""),
        (by_hand(None, None, None), "needs what it shows now, or lowest and highest"),
        (by_hand(None, Some(5.0), None), "lowest and highest are noted together"),
        (by_hand(None, Some(31.0), Some(5.0)), "were they exchanged?"),
        (by_hand(Some(95.0), None, None), "now 95 °C cannot be: write -30 to 70"),
        (warning("15.7.2026", "2026-07-19", 40.0), "are written like 2026-07-15"),
        (warning("2026-07-19", "2026-07-15", 40.0), "ends (2026-07-15) before it begins (2026-07-19)"),
        (warning("2026-07-01", "2026-08-01", 40.0), "at most a month"),
        (warning("2026-07-01", "2026-07-02", 104.0), "heat of about 104 °C cannot be: write 25 to 55"),
        (Note::Remark { text: long }, "the remark is longer than 500 characters"),
        (Note::Undo { entry: 99 }, "there is no entry 99 that could be undone"),
        (Note::Undo { entry: 1 }, "red is noted for house: undo that first"),
    ];
    for (note, words) in cases {
        let refused = checked(&note, NOW).unwrap_err();
        assert!(refused.contains(words), "{note:?}: {refused}");
    }
}

#[test]
fn only_a_heap_is_turned_and_marks_of_a_moisture_probe_lie_apart() {
    let mut ground = ground();
    let heap = Note::Place { place: "heap".into(), name: "Heap".into(), kind: PlaceKind::Heap };
    ground.places.push(Ground::of(&[Entry { id: 9, at_ms: 0, from_ms: 0, note: heap }]).places.remove(0));
    let book = config::crop_book().unwrap();
    let of = |note: Note| check(&ground, &book, &note, NOW, NOW);
    assert_eq!(of(Note::Turned { place: "heap".into() }), Ok(()));
    assert_eq!(
        of(Note::Turned { place: "house".into() }),
        Err("house is no heap; only a heap is turned".into())
    );
    let marks = |dry_pct, wet_pct| of(Note::Marks { probe: "pot".into(), dry_pct, wet_pct });
    assert_eq!(marks(12.0, 34.0), Ok(()));
    assert_eq!(marks(12.0, 13.0), Err("the wet mark lies at least 2 % above the dry mark".into()));
    assert!(marks(-1.0, 34.0).is_err() && marks(12.0, 61.0).is_err());
}

#[test]
fn steps_are_told_by_the_minders_only() {
    let step = crate::entry::fixtures::step(NOW, agronomy::crop::Severity::Severe, "");
    assert!(checked(&Note::Step(step), NOW).unwrap_err().contains("told, not noted"));
}

#[test]
fn only_a_heat_warning_may_hold_from_a_time_to_come() {
    let late = NOW + 120_001;
    assert!(checked(&Note::Remark { text: "dry".into() }, NOW + 120_000).is_ok());
    assert!(checked(&Note::Remark { text: "dry".into() }, late).is_err());
    assert!(checked(&warning("2026-07-15", "2026-07-16", 40.0), late).is_ok());
}

#[test]
fn nothing_happens_to_a_planting_before_it_began() {
    for note in [
        Note::End { planting: "red".into() },
        Note::FirstFlower { planting: "red".into() },
        Note::FirstRipe { planting: "red".into() },
        damage("red", "dropped flowers"),
    ] {
        assert!(checked(&note, NOW - 10 * DAY).is_ok());
        assert!(checked(&note, NOW - 10 * DAY - 1).unwrap_err().contains("before it began"), "{note:?}");
    }
}

#[test]
fn a_shelter_is_one_of_four_words_as_in_the_site_file() {
    let hung = |shelter: &str| Note::Hang {
        probe: "post".into(),
        place: "house".into(),
        height_m: None,
        shelter: Some(shelter.into()),
        usual_interval_s: 60,
    };
    for word in ["open", "shaded", "screened", "fanned"] {
        assert_eq!(checked(&hung(word), NOW), Ok(()), "{word}");
    }
    let refused = checked(&hung("in a box"), NOW).unwrap_err();
    assert_eq!(refused, "unknown shelter \"in a box\"; write open, shaded, screened or fanned");
}
