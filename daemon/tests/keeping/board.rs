//! The board, its sources and its probes: told to the page, once, and the same after a restart.

use agronomy::quantity::Quantity;
use glasshour::entry::{BoardNews, Note, PlaceKind};
use glasshour::keeper::core::{Core, Message, Moment};
use glasshour::keeper::view::{Shell, glance};
use glasshour::ledger::Ledger;
use glasshour::reading::Heard;

use super::bench::{Bench, Machine};
use super::garden::*;

const NOON: i64 = 12 * HOUR;

/// A house with five probes and a bed with one, each heard every ten minutes, air at a temperature.
fn six_probes() -> Vec<Note> {
    let mut notes =
        vec![place("house", PlaceKind::House), place("bed", PlaceKind::Bed), hang("stake", "bed", 600)];
    notes.extend(["a", "b", "c", "d", "e"].map(|probe| hang(probe, "house", 600)));
    notes.push(planting("red", "tomato", "house"));
    notes
}

fn all_speak(core: &mut Core, from_ms: i64, until_ms: i64, t_c: f64) {
    for at in (from_ms..until_ms).step_by((10 * MINUTE) as usize) {
        let readings = ["a", "b", "c", "d", "e", "stake"].map(|probe| (probe, AIR, t_c));
        hear(core, at, &readings);
    }
}

fn broker(away_since_ms: Option<i64>) -> BoardNews {
    BoardNews::Source { source: "broker".to_owned(), away_since_ms }
}

#[test]
fn p5_a_probe_that_dies_at_two_in_the_heat_pushes_after_twice_its_interval_and_a_minute() {
    let mut notes = tomato_house();
    notes[1] = hang("post", "house", 600);
    let mut core = in_memory(&notes, june());
    let last = june() + 14 * HOUR;
    // Within three degrees of tomato's severe line, 35 (crop book).
    hear(&mut core, last - 10 * MINUTE, &[("post", AIR, 33.0)]);
    hear(&mut core, last, &[("post", AIR, 33.4)]);
    core.advance(moment(last + 2 * HOUR));
    let told = told(&core, "probe-silent");
    assert_eq!(outline(&told, last), [(21, "opened", "moderate")]);
    assert!(told[0].pushed && told[0].title.starts_with("Go and look at house"), "{told:?}");
    assert!(told[0].text.contains("33.4"), "{}", told[0].text);
}

#[test]
fn probes_that_fall_silent_with_their_broker_are_one_notice() {
    let mut core = in_memory(&six_probes(), june());
    let gone = june() + NOON;
    all_speak(&mut core, june() + 11 * HOUR, gone, 22.0);
    core.befell(moment(gone + MINUTE), broker(Some(gone)));
    core.advance(moment(gone + 3 * HOUR));
    let silent = told(&core, "probe-silent");
    assert_eq!(silent.len(), 1, "{silent:?}");
    assert!(
        silent[0].title.contains("6 probes are silent") && silent[0].text.contains("the broker went away")
    );
    core.befell(moment(gone + 3 * HOUR), broker(None));
    all_speak(&mut core, gone + 3 * HOUR, gone + 4 * HOUR, 22.0);
    let silent = told(&core, "probe-silent");
    assert_eq!(silent.iter().filter(|step| step.turn == "opened").count(), 1);
    assert_eq!(silent.last().unwrap().turn, "closed");
}

#[test]
fn a_place_that_goes_dark_without_a_known_cause_is_one_notice_for_the_place() {
    let mut core = in_memory(&six_probes(), june());
    let gone = june() + NOON;
    all_speak(&mut core, june() + 11 * HOUR, gone, 22.0);
    walk(&mut core, "stake", gone, 10 * MINUTE, &[(0, 22.0), (2 * HOUR, 22.0)]);
    let silent = told(&core, "probe-silent");
    assert_eq!(outline(&silent, gone - 10 * MINUTE), [(21, "opened", "moderate")]);
    assert!(silent[0].title.contains("house: 5 probes are silent"), "{}", silent[0].title);
}

#[test]
fn what_befell_the_board_is_known_after_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    let notes = six_probes();
    let gone = june() + NOON;
    let mut core = again(folder.path(), &notes, june());
    all_speak(&mut core, june() + 11 * HOUR, gone, 22.0);
    core.befell(moment(gone + MINUTE), broker(Some(gone)));
    core.befell(moment(gone + MINUTE), broker(Some(gone)));
    core.flush(moment(gone + MINUTE)).unwrap();
    let entered = |core: &Core| {
        let entries = core.ledger().entries().unwrap();
        entries.iter().filter(|entry| matches!(entry.note, Note::Board(_))).count()
    };
    assert_eq!(entered(&core), 1, "what is known is not entered again");
    drop(core);
    let mut core = again(folder.path(), &notes, gone + 2 * MINUTE);
    assert_eq!(core.engine().news().away().get("broker"), Some(&gone));
    core.advance(moment(gone + 3 * HOUR));
    assert_eq!(told(&core, "probe-silent").len(), 1);
}

#[test]
fn s9_the_third_slow_write_of_a_day_is_told_and_a_quiet_day_takes_it_back() {
    let mut core = in_memory(&tomato_house(), june());
    for (hour, seconds) in [(1, 6), (3, 22), (5, 7)] {
        core.befell(moment(june() + hour * HOUR), BoardNews::SlowWrite { seconds });
    }
    let slow = told(&core, "slow-card");
    assert_eq!(outline(&slow, june()), [(300, "opened", "minor")]);
    assert!(slow[0].text.contains("took 22 s for one write at 03:00") && !slow[0].pushed, "{slow:?}");
    core.advance(moment(june() + 2 * DAY));
    assert_eq!(told(&core, "slow-card").last().unwrap().turn, "closed");
}

#[test]
fn c5_a_clock_that_is_not_believed_is_told_until_it_is() {
    let mut core = in_memory(&tomato_house(), june());
    let doubt = Some("The clock jumped 4 years ahead; not believed".to_owned());
    core.befell(moment(june() + HOUR), BoardNews::Clock { doubt });
    core.befell(moment(june() + 2 * HOUR), BoardNews::Clock { doubt: None });
    let clock = told(&core, "board-clock");
    assert_eq!(outline(&clock, june()), [(60, "opened", "minor"), (120, "closed", "minor")]);
    assert!(clock[0].text.contains("jumped 4 years"), "{}", clock[0].text);
}

#[test]
fn c1_an_hour_after_a_start_without_the_time_that_is_told() {
    let mut core = in_memory(&tomato_house(), june());
    let unknown = |mono_ms| Moment { wall_ms: june(), mono_ms, trusted: false };
    core.advance(unknown(0));
    core.advance(unknown(HOUR - 1));
    // It has no date, so it is looked for on the page and not in the export.
    let open = |core: &Core| glance(core.engine(), &Shell::default()).open;
    assert!(open(&core).is_empty());
    core.advance(unknown(HOUR));
    let clock = open(&core);
    assert_eq!((clock.len(), clock[0].minder.as_str()), (1, "board-clock"));
    assert!(clock[0].steps[0].text.contains("The clock is not trusted yet"), "{clock:?}");
}

#[test]
fn s10_a_hot_board_a_sagging_supply_and_a_filling_disk_are_told_and_are_no_air() {
    let mut core = in_memory(&tomato_house(), june());
    for ten in 0..(2 * 144) {
        let at = june() + ten * 10 * MINUTE;
        // 1,000 MiB a day from 4,000: after a day 3,000 are left for three days.
        let free = 4_000.0 - 1_000.0 * ten as f64 / 144.0;
        let warm = if (6..12).contains(&ten) { 81.0 } else { 55.0 };
        let readings = [
            (Quantity::BoardTemperature, warm),
            (Quantity::Supply, f64::from(ten != 3)),
            (Quantity::FreeSpace, free),
        ];
        hear(&mut core, at, &readings.map(|(quantity, value)| ("board", quantity, value)));
    }
    let hot = told(&core, "board-hot");
    assert_eq!(hot.iter().map(|step| step.turn.as_str()).collect::<Vec<_>>(), ["opened", "closed"]);
    let supply = told(&core, "board-supply");
    assert_eq!(outline(&supply, june()), [(60, "opened", "moderate"), (420, "closed", "moderate")]);
    let disk = told(&core, "disk");
    assert_eq!((disk[0].turn.as_str(), disk[0].severity.as_str()), ("opened", "minor"));
    assert!(disk[0].at_ms - june() >= DAY && disk[0].text.contains("about 3 days"), "{disk:?}");
    for step in [hot, supply, disk].concat() {
        assert!(!step.pushed);
    }
    assert!(told(&core, "too-hot").is_empty(), "81 °C of the board are no air");
}

#[test]
fn a_probe_that_is_refused_for_three_hours_is_doubtful_and_sound_again_after_one() {
    let mut core = in_memory(&tomato_house(), june());
    walk(&mut core, "post", june(), MINUTE, &[(0, 15.0), (HOUR, 16.0)]);
    for minute in 60..300 {
        let at = june() + minute * MINUTE;
        let nothing =
            Heard { probe: "post".into(), quantity: AIR, value: None, measured_ms: Some(at), stale: false };
        core.hear(moment(at), &[Message { readings: vec![nothing], arrived_ms: at }]);
    }
    walk(&mut core, "post", june() + 5 * HOUR, MINUTE, &[(0, 18.0), (3 * HOUR, 22.0)]);
    let doubtful = told(&core, "probe-doubtful");
    // Half of three hours is passed 90 minutes after it began, looked at each half hour.
    assert_eq!(outline(&doubtful, june()), [(180, "opened", "minor"), (390, "closed", "minor")]);
    assert!(doubtful[0].text.contains("no value"), "{}", doubtful[0].text);
}

#[test]
fn a_probe_that_strays_is_one_notice_until_it_agrees_by_night() {
    let folder = tempfile::tempdir().unwrap();
    let notes = [place("house", PlaceKind::House), hang("post", "house", 600), hang("ridge", "house", 600)];
    let mut core = again(folder.path(), &notes, june());
    // Four days four degrees apart, which by day is nothing; on the third the other is silent; a restart at noon.
    for ten in 0..6 * 24 * 5 {
        let at = ten * 10 * MINUTE;
        let (day, hour) = (at / DAY, (at % DAY) as f64 / HOUR as f64);
        let (t_c, by_c) = (curve(12.0, 26.0, hour), if day < 4 { 4.0 } else { 0.5 });
        let both = [("ridge", AIR, t_c + by_c), ("post", AIR, t_c)];
        hear(&mut core, june() + at, if day == 2 { &both[..1] } else { &both });
        if at == DAY + 12 * HOUR {
            core.flush(moment(june() + at)).unwrap();
            drop(core);
            core = again(folder.path(), &[], june() + at + MINUTE);
        }
    }
    // Three hours of night after it began, and after it ended; the first by what was heard in half of it.
    let doubtful = told(&core, "probe-doubtful");
    let ended = 4 * 24 * 60 + 150;
    assert_eq!(outline(&doubtful, june()), [(150, "opened", "minor"), (ended, "closed", "minor")]);
    assert!(doubtful[0].text.contains("4 °C warmer than post"), "{}", doubtful[0].text);
}

#[test]
fn a_battery_is_low_by_the_line_that_was_noted_for_it() {
    let mut notes = tomato_house();
    notes.push(Note::BatteryLine { probe: "post".to_owned(), low_v: 2.4 });
    let mut core = in_memory(&notes, june());
    for ten in 0..36 {
        let volts = if ten < 18 { 2.6 } else { 2.3 };
        hear(&mut core, june() + ten * 10 * MINUTE, &[("post", Quantity::Battery, volts)]);
    }
    let battery = told(&core, "battery");
    assert_eq!(battery.len(), 1, "{battery:?}");
    assert!(battery[0].text.contains("2.30 V, low under 2.4 V"), "{}", battery[0].text);
}

/// A keeper on the ledger in a folder, on a board that has been on for `mono_ms`.
fn service(folder: &std::path::Path, wall_ms: i64, mono_ms: i64) -> Bench {
    let mut ledger = Ledger::open(folder, &founding()).unwrap();
    let boot = ledger.begin_boot(mono_ms, Some((wall_ms - mono_ms, "the time service"))).unwrap();
    let now = Moment { wall_ms, mono_ms, trusted: true };
    let core = Core::start(site(), ledger, boot, now, Vec::new()).unwrap();
    Bench::on(core, boot, Machine::on_for(wall_ms, mono_ms))
}

/// Waits until the page says so many things of the last day, and gives them.
async fn lately(bench: &Bench, many: usize) -> Vec<String> {
    bench.rounds().await;
    // Glances are made by the machine's clock.
    bench.machine.pass(1_000);
    bench.until("the page says it", |bench| bench.handle.now().board.lately.len() == many).await;
    bench.handle.now().board.lately.clone()
}

#[tokio::test(flavor = "multi_thread")]
async fn s1_s2_that_power_was_off_is_told_once_and_still_shown_after_another_start() {
    let (folder, copies) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    drop(again(folder.path(), &tomato_house(), june()));
    let bench = service(folder.path(), june() + 14 * HOUR, HOUR);
    bench.machine.pass(2 * MINUTE);
    bench.hear(21.0).await;
    let handle = bench.handle.clone();
    assert!(
        bench.handle.tend(move |_, _| handle.is_tending()).await.unwrap(),
        "it is known while it goes on"
    );
    assert!(!bench.handle.is_tending());
    lately(&bench, 0).await;
    // The card as a power cut at this moment leaves it.
    for name in ["ledger", "ledger-wal"] {
        std::fs::copy(folder.path().join(name), copies.path().join(name)).unwrap();
    }
    bench.stop().await;

    let bench = service(copies.path(), june() + 14 * HOUR + 9 * MINUTE, MINUTE / 2);
    let cut = lately(&bench, 1).await;
    let told =
        "The board was off or started anew for up to 7 min until 14:09; it last stored anything at 14:02.";
    assert_eq!(cut, [told]);
    bench.stop().await;
    // A restart that was asked for is no news, and what was told is still known.
    let bench = service(copies.path(), june() + 14 * HOUR + 10 * MINUTE, MINUTE);
    assert_eq!(lately(&bench, 1).await, cut);
    let entered = bench.reader.entries().unwrap();
    assert_eq!(entered.iter().filter(|entry| matches!(entry.note, Note::Board(_))).count(), 1, "told once");
    bench.machine.pass(DAY);
    lately(&bench, 0).await;
    bench.stop().await;

    // The other card went on to a clean stop; the board is switched on an hour later.
    let bench = service(folder.path(), june() + 15 * HOUR + 2 * MINUTE, MINUTE);
    let asked = lately(&bench, 1).await;
    assert!(asked[0].starts_with("The board was off or started anew 14:02 to 15:02, after"), "{asked:?}");
    bench.stop().await;
}
