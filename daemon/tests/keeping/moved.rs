//! Probes that were carried about, or exchanged for others: asked about until it is noted where they hang.

use glasshour::entry::{BoardNews, Entry, Note, PlaceKind};
use glasshour::keeper::core::Core;
use glasshour::keeper::event::Event;
use glasshour::keeper::view::{Shell, glance};

use super::bench::Bench;
use super::garden::*;

fn two_probes() -> [Note; 3] {
    [place("house", PlaceKind::House), hang("post", "house", 600), hang("ridge", "house", 600)]
}

/// Both speak each ten minutes of a stretch; `ridge` says `more_c` more.
fn both_speak(core: &mut Core, from_ms: i64, until_ms: i64, more_c: f64) {
    for at in (from_ms..until_ms).step_by((10 * MINUTE) as usize) {
        let t_c = 12.0 + (at / (10 * MINUTE) % 3) as f64 / 10.0;
        hear(core, at, &[("post", AIR, t_c), ("ridge", AIR, t_c + more_c)]);
    }
}

#[test]
fn u4_a_probe_that_is_carried_away_by_night_is_asked_about_until_it_is_noted_where_it_hangs() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = again(folder.path(), &two_probes(), june());
    let carried = june() + 3 * HOUR;
    both_speak(&mut core, june(), carried, 0.5);
    both_speak(&mut core, carried, carried + 2 * HOUR, 6.5);
    core.flush(moment(carried + 2 * HOUR)).unwrap();
    drop(core);
    let mut core = again(folder.path(), &[], carried + 2 * HOUR);
    both_speak(&mut core, carried + 2 * HOUR, carried + 9 * HOUR, 6.5);
    let asked = told(&core, "probe-doubtful");
    assert_eq!(outline(&asked, carried), [(30, "opened", "minor")], "{asked:?}");
    assert_eq!(asked[0].title, "Has probe ridge in house been moved?");
    assert!(
        asked[0].text.contains("it rose by 6 °C within an hour, and post beside it did not"),
        "{asked:?}"
    );
    let condition = &glance(core.engine(), &Shell::default()).probes[1].condition;
    assert!(condition.starts_with("doubtful since 03:30"), "{condition}");

    let asks = |core: &Core| glance(core.engine(), &Shell::default()).probes[1].asks_where;
    let answered = carried + 9 * HOUR;
    // What is noted of a time before it was hung here says nothing of where it hangs now.
    core.note(moment(answered), hang("ridge", "house", 600), Some(june() - 60 * DAY)).unwrap();
    assert!(asks(&core));
    core.note(moment(answered), hang("ridge", "house", 600), None).unwrap();
    assert!(!asks(&core));
    both_speak(&mut core, answered, answered + HOUR, 6.5);
    let told = told(&core, "probe-doubtful");
    assert_eq!(told.last().map(|step| step.turn.as_str()), Some("closed"), "{told:?}");
}

#[test]
fn v2_air_that_is_sound_again_is_not_in_doubt_for_what_else_is_wrong_with_the_probe() {
    let notes = [place("house", PlaceKind::House), hang("post", "house", 600)];
    let mut core = in_memory(&notes, june());
    let speak = |core: &mut Core, hours: std::ops::Range<i64>, stuck: bool| {
        for step in hours.start * 6..hours.end * 6 {
            let t_c = if stuck { 15.0 } else { 15.0 + (step % 3) as f64 / 10.0 };
            hear(core, june() + step * 10 * MINUTE, &[("post", AIR, t_c), ("post", HUMIDITY, 60.0)]);
        }
    };
    let in_doubt = |core: &Core| glance(core.engine(), &Shell::default()).places[0].in_doubt;
    speak(&mut core, 0..5, true);
    assert!(in_doubt(&core));
    speak(&mut core, 5..10, false);
    let told = told(&core, "probe-doubtful");
    assert_ne!(told.last().unwrap().turn, "closed", "its humidity stands still");
    assert!(!in_doubt(&core));
}

#[test]
fn u4_a_chip_in_the_place_of_another_is_asked_about_until_it_is_noted_or_the_old_one_is_back() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = again(folder.path(), &two_probes(), june());
    let chip = |core: &mut Core, at_ms: i64, probe: &str, serial: u32| {
        both_speak(core, at_ms, at_ms + 2 * HOUR, 0.5);
        core.befell(moment(at_ms + 2 * HOUR), BoardNews::Chip { probe: probe.to_owned(), serial });
    };
    chip(&mut core, june() + HOUR, "post", 11);
    chip(&mut core, june() + 3 * HOUR, "ridge", 22);
    chip(&mut core, june() + 5 * HOUR, "ridge", 22);
    core.advance(moment(june() + 8 * HOUR));
    assert!(told(&core, "probe-doubtful").is_empty(), "the first of each is no news");

    chip(&mut core, june() + 8 * HOUR, "ridge", 11);
    both_speak(&mut core, june() + 10 * HOUR, june() + 11 * HOUR, 0.5);
    let asked = told(&core, "probe-doubtful");
    assert_eq!(outline(&asked, june()), [(630, "opened", "minor")]);
    assert!(asked[0].text.contains("the chip that was post answers as ridge"), "{asked:?}");
    core.flush(moment(june() + 11 * HOUR)).unwrap();
    drop(core);
    let mut core = again(folder.path(), &[], june() + 11 * HOUR);
    chip(&mut core, june() + 11 * HOUR, "ridge", 22);
    both_speak(&mut core, june() + 13 * HOUR, june() + 14 * HOUR, 0.5);
    assert_eq!(told(&core, "probe-doubtful").last().unwrap().turn, "closed", "put back");

    chip(&mut core, june() + 14 * HOUR, "post", 33);
    both_speak(&mut core, june() + 16 * HOUR, june() + 17 * HOUR, 0.5);
    let asked = told(&core, "probe-doubtful");
    assert!(asked.last().unwrap().text.contains("another chip (number 33) answers as post"), "{asked:?}");
    core.note(moment(june() + 17 * HOUR), hang("post", "house", 600), None).unwrap();
    both_speak(&mut core, june() + 17 * HOUR, june() + 18 * HOUR, 0.5);
    assert_eq!(told(&core, "probe-doubtful").last().unwrap().turn, "closed", "answered");
}

#[tokio::test(flavor = "multi_thread")]
async fn u4_which_chip_answers_is_entered_once_and_again_when_it_is_another() {
    let bench = Bench::new(true);
    let entered = |bench: &Bench| -> Vec<u32> {
        let chip = |entry: Entry| match entry.note {
            Note::Board(BoardNews::Chip { serial, .. }) => Some(serial),
            _ => None,
        };
        bench.reader.entries().unwrap().into_iter().filter_map(chip).collect()
    };
    for (serial, expected) in [(11, 1), (11, 1), (22, 2), (22, 2)] {
        let chip = Event::Chip { probe: "post".into(), serial };
        assert!(bench.handle.events.send(chip).await.is_ok());
        let entered = |bench: &Bench| {
            bench.machine.pass(1_000);
            entered(bench).len() == expected
        };
        bench.until("it is entered", entered).await;
    }
    bench.hear(21.0).await;
    assert_eq!(entered(&bench), [11, 22]);
    bench.stop().await;
}
