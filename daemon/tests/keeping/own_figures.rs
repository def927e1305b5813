//! A grower's own figures for one planting reach minders, pages and sums, and go when they are undone.

use glasshour::entry::Note;
use glasshour::keeper::core::Core;
use glasshour::keeper::view::season;

use super::garden::*;

/// Tomatoes in a house at 36.2 °C for twenty minutes, from ten in the morning.
fn at_36(notes: &[Note]) -> Vec<String> {
    let mut core = in_memory(notes, june());
    let ten = june() + 10 * HOUR;
    walk(&mut core, "post", ten, MINUTE, &[(0, 36.2), (20 * MINUTE, 36.2)]);
    told(&core, "too-hot").into_iter().map(|step| step.severity).collect()
}

#[test]
fn an_own_line_moves_the_notices_of_its_planting_and_of_no_other() {
    // Crop book: tomatoes in flower bear 35; the grower's own figure is 37; the moderate line stays at 32.
    let mut notes = tomato_house();
    assert!(at_36(&notes).contains(&"severe".to_owned()));
    notes.push(own_figure("red", "heat_rule.day_severe.threshold", 37.0));
    assert_eq!(at_36(&notes), ["moderate"]);
    notes.push(planting("other", "tomato", "house"));
    assert!(at_36(&notes).contains(&"severe".to_owned()), "the other planting goes by the book");
}

/// Two days of 16 to 34 and 17 to 36 °C in the tomato house.
fn two_days(notes: &[Note]) -> Core {
    let mut core = in_memory(notes, june());
    days(&mut core, "post", june(), 10 * MINUTE, &[(16.0, 34.0), (17.0, 36.0)]);
    core.flush(moment(june() + 2 * DAY)).unwrap();
    core.advance(moment(june() + 2 * DAY + HOUR));
    core
}

fn house() -> Vec<Note> {
    let mut notes = tomato_house();
    notes[1] = hang("post", "house", 600);
    notes
}

fn sums(core: &mut Core) -> Vec<f64> {
    let all = everything(core);
    let pages = all["planting_pages"].as_array().unwrap();
    pages.iter().map(|page| page["degree_days"].as_f64().unwrap()).collect()
}

#[test]
fn an_own_base_noted_late_makes_all_days_of_the_planting_afresh_and_undone_gives_them_back() {
    let mut core = two_days(&house());
    // Mean of the extremes capped at 28, base 7 (crop book): 25 − 7 and 26.5 − 7; by the own base of 9 two less.
    let by_book = sums(&mut core);
    assert_eq!(by_book, [18.0, 19.5]);
    let now = core.engine().now_ms() + MINUTE;
    let entry = core.note(moment(now), own_figure("red", "gdd.t_base_c", 9.0), None).unwrap();
    assert_eq!(sums(&mut core), [16.0, 17.5]);
    let rule = season(core.engine(), "red").unwrap().planting.rule;
    assert_eq!(rule, "mean-capped 9/28");
    core.note(moment(now + MINUTE), Note::Undo { entry }, None).unwrap();
    assert_eq!(sums(&mut core), by_book);
    assert!(season(core.engine(), "red").unwrap().planting.own.is_empty());
}

#[test]
fn it_does_not_matter_whether_an_own_figure_was_noted_first_or_last() {
    let figure = own_figure("red", "gdd.t_base_c", 9.0);
    let mut first = two_days(&[house(), vec![figure.clone()]].concat());
    let mut last = two_days(&house());
    let now = last.engine().now_ms() + MINUTE;
    last.note(moment(now), figure, None).unwrap();
    let (first, last) = (everything(&mut first), everything(&mut last));
    assert_eq!(first["planting_pages"], last["planting_pages"]);
    assert_eq!(first["day_pages"], last["day_pages"]);
}

#[test]
fn the_season_says_an_own_figure_beside_the_books() {
    let mut core = two_days(&house());
    let now = core.engine().now_ms() + MINUTE;
    core.note(moment(now), own_figure("red", "heat_rule.day_severe.threshold", 37.0), None).unwrap();
    let planting = season(core.engine(), "red").unwrap().planting;
    assert_eq!(planting.line_c, 37.0);
    let own = &planting.own[0];
    assert_eq!((own.own.as_str(), own.book.as_deref(), &own.wrong), ("37 °C", Some("35 °C"), &None));
}

#[test]
fn an_own_figure_that_cannot_stand_is_refused_with_what_to_write() {
    let mut core = two_days(&house());
    let mut refused = |note: Note| {
        let now = core.engine().now_ms() + MINUTE;
        core.note(moment(now), note, None).unwrap_err().to_string()
    };
    for (note, why) in [
        (own_figure("red", "gdd.t_base_f", 46.0), "tomato has no figure gdd.t_base_f; write gdd.t_base_c"),
        (own_figure("red", "gdd.t_base_c", 104.0), "gdd.t_base_c 104 is out of range; write -60 to 90 °C"),
        (own_figure("red", "gdd.t_base_c", f64::NAN), "gdd.t_base_c NaN is out of range"),
        (own_figure("red", "gdd.t_base_c", 28.0), "gdd.t_upper_c 28 is not above gdd.t_base_c 28"),
        (
            own_figure("red", "heat_rule.day_severe.threshold", 30.0),
            "is below heat_rule.day_moderate.threshold 32",
        ),
        (own_figure("red", "heat_rule.day_moderate.threshold", -5.0), "is not above gdd.t_base_c 7"),
        (own_figure("red", "heat_rule.day_moderate.threshold", 36.0), "day_severe.threshold 35 is below"),
        (own_figure("blue", "gdd.t_base_c", 9.0), "unknown planting \"blue\"; known: red"),
    ] {
        let told = refused(note);
        assert!(told.contains(why), "{told}");
    }
}
