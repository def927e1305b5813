//! The real process is killed at a hundred random moments while a real broker feeds it and somebody writes the diary
//! (FAULTS.md S2: `kill -9`).
//!
//! Nothing that was promised may be lost by it: every stamped message that was published, every note that was
//! answered with a number, every step of a notice; each of them once.
//!
//! A thousand kills, with the figures:
//! `GLASSHOUR_COUNTS=full cargo test --release -p tests --test kill --test storage -- --nocapture`

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{scope, sleep};
use std::time::Duration;

use agronomy::quantity::Quantity;
use glasshour::calendar::{Calendar, date};
use glasshour::clock::{Clock, SystemClock};
use glasshour::demo::chance::{Stream, unit};
use glasshour::entry::{Entry, Note, Turn};
use glasshour::ledger::{Founding, Ledger};
use glasshour::reading::Reason;
use serde_json::{Value, json};
use tests::counts;
use tests::mosquitto::Mosquitto;
use tests::program::{Garden, Service};
use tests::publisher::Publisher;
use tests::servers::process::until;

const SEED: u64 = 20_310_702;
/// Of one garden.
const KILLS: i64 = 100;
/// The garden's standard offset.
const OFFSET_MS: i64 = 3_600_000;

fn garden(port: u16) -> Garden {
    Garden::new(&format!(
        "[broker]\nhost = \"127.0.0.1\"\nport = {port}\n\n\
         [[broker.topic]]\nfilter = \"yard/house\"\nprobe = \"post\"\nusual_interval_s = 60\n\
         fields.air_temperature = {{ pointer = \"/t\", unit = \"°C\" }}\n\
         time = {{ pointer = \"/at\", format = \"unix_ms\" }}\n\n\
         [start]\n[[start.place]]\nid = \"long\"\nname = \"Long House\"\nkind = \"house\"\n\
         [[start.planting]]\nid = \"reds\"\ncrop = \"tomato\"\nplace = \"long\"\nplanted_out = 2026-05-04\n\
         [[start.probe]]\nprobe = \"post\"\nplace = \"long\"\nshelter = \"screened\"\nusual_interval_s = 60\n"
    ))
}

/// Publishes a reading every few milliseconds, each with the time it was made, until told to stop; what was published.
fn feed(port: u16, stop: &AtomicBool) -> BTreeMap<i64, f64> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let clock = SystemClock::new(None);
    let mut published = BTreeMap::new();
    runtime.block_on(async {
        let mut probe = Publisher::new("post", port);
        while !stop.load(Ordering::Relaxed) {
            let newest = published.last_key_value().map_or(0, |(at, _)| *at);
            let at_ms = clock.wall_ms().max(newest + 1);
            let t_c = 20.0 + (published.len() % 150) as f64 / 10.0;
            let payload = json!({ "at": at_ms, "t": t_c }).to_string();
            probe.publish([("yard/house".to_owned(), payload)]).await;
            published.insert(at_ms, t_c);
            tokio::time::sleep(Duration::from_millis(4)).await;
        }
    });
    published
}

/// Notes one thing after the other until told to stop, service or not; the numbers of what was taken.
fn write(garden: &Garden, stop: &AtomicBool) -> BTreeMap<i64, String> {
    let today = Calendar::fixed(OFFSET_MS).day_of(SystemClock::new(None).wall_ms());
    let mut taken = BTreeMap::new();
    let mut count = 0;
    while !stop.load(Ordering::Relaxed) {
        count += 1;
        let words = format!("remark {count}");
        let from = date(if count % 6 == 0 { today + 1 } else { today - 1 });
        let to = date(today + 3);
        // A warning that now began yesterday and now begins tomorrow: the notice worsens and eases at any hour of the day.
        let what: Vec<&str> = if count % 3 == 0 {
            vec!["heat-warning", "--from", &from, "--to", &to, "--about", "41", "--said-by", &words]
        } else {
            vec!["remark", &words]
        };
        let output = garden.ask(&[&["note", "--json"], what.as_slice()].concat());
        if output.status.success() {
            let answer: Value = serde_json::from_slice(&output.stdout).unwrap();
            let before = taken.insert(answer["entry"].as_i64().unwrap(), words);
            assert_eq!(before, None, "a number given twice: {answer}");
        }
    }
    taken
}

/// Lets a random time go by. This is no waiting for anything: it is the moment at which the kill comes.
fn random_moment(draw: i64, most_ms: f64) {
    sleep(Duration::from_millis((unit(SEED, Stream::Pause, draw) * most_ms) as u64));
}

/// Starts the service; a note that found none may hold the ledger for a moment.
fn start(garden: &Garden) -> Service {
    until("the service starts", || garden.try_start().ok())
}

/// How many readings of the export are not repetitions.
fn sound(service: &Service) -> u64 {
    let (_, body) = service.get("/api/export");
    let export: Value = serde_json::from_str(&body).unwrap();
    export["readings"]["post"]["air_temperature"]["sound"].as_u64().unwrap_or(0)
}

/// A garden lives through a hundred kills, and a thousand are ten gardens: who never lives to the daily work, at which
/// a snapshot is kept, reads all that it was ever told at each start, and thousands would only be slow.
#[test]
fn kills_at_any_moment_lose_no_reading_no_note_and_no_step() {
    for round in 0..counts::of(1, 10) as i64 {
        a_hundred_kills(round * 2 * KILLS);
    }
}

/// Kills at moments drawn from a draw on.
fn a_hundred_kills(first_draw: i64) {
    let Some(broker) = Mosquitto::start() else { return };
    let garden = garden(broker.port());
    let first = start(&garden);
    until("the service subscribes", || broker.log().contains("Sending SUBACK to glasshour").then_some(()));
    let (stop, written) = (AtomicBool::new(false), Mutex::new(BTreeMap::new()));
    let (service, published) = scope(|threads| {
        let feeder = threads.spawn(|| feed(broker.port(), &stop));
        let writer = threads.spawn(|| *written.lock().unwrap() = write(&garden, &stop));
        let mut service = first;
        for kill in 0..KILLS {
            random_moment(first_draw + kill, 400.0);
            service.kill();
            if kill % 3 == 0 {
                // One kill more, while it is still opening its ledger.
                let mut early = garden.launch();
                random_moment(first_draw + KILLS + kill, 60.0);
                early.kill().unwrap();
                early.wait().unwrap();
            }
            service = start(&garden);
        }
        stop.store(true, Ordering::Relaxed);
        writer.join().unwrap();
        (service, feeder.join().unwrap())
    });
    until("everything published has come", || (sound(&service) >= published.len() as u64).then_some(()));
    assert!(service.stop().success(), "{}", garden.log());
    let written = written.into_inner().unwrap();
    println!("{KILLS} kills, {} readings, {} notes", published.len(), written.len());
    assert!(published.len() > 1_000 && written.len() > 50, "too little happened");

    let founding = Founding { offset_ms: OFFSET_MS, program: "test".to_owned() };
    let ledger = Ledger::open(&garden.ledger(), &founding).unwrap();
    let stored = ledger.readings("post", Quantity::AirTemperature, 0..i64::MAX).unwrap();
    let once: Vec<(i64, f64)> = stored
        .iter()
        .filter(|reading| reading.reason != Reason::Repeated)
        .map(|reading| (reading.at_ms, reading.value))
        .collect();
    let wanted: Vec<(i64, f64)> = published.into_iter().collect();
    assert_eq!(once.len(), wanted.len(), "readings in the ledger, and published");
    assert!(once == wanted, "the readings are not those that were published");
    notes_are_whole(&ledger.entries().unwrap(), &written);
    drop(ledger);
    pages_are_sane(&garden, wanted.len());
}

fn notes_are_whole(entries: &[Entry], written: &BTreeMap<i64, String>) {
    let numbers: Vec<i64> = entries.iter().map(|entry| entry.id).collect();
    let consecutive: Vec<i64> = (1..=numbers.len() as i64).collect();
    assert_eq!(numbers, consecutive);
    for (number, words) in written {
        let kept = match &entries[*number as usize - 1].note {
            Note::Remark { text } => Some(text),
            Note::HeatWarning { said_by, .. } => said_by.as_ref(),
            _ => None,
        };
        assert_eq!(kept, Some(words), "entry {number}");
    }
    let mut steps: BTreeMap<&str, Vec<(u32, Turn)>> = BTreeMap::new();
    let mut ids = BTreeSet::new();
    for entry in entries {
        if let Note::Step(step) = &entry.note {
            assert!(ids.insert((&step.notice, step.number)), "step {} of {} twice", step.number, step.notice);
            steps.entry(&step.notice).or_default().push((step.number, step.turn));
        }
    }
    println!("{} steps of {} notices", ids.len(), steps.len());
    assert!(ids.len() > 5, "too few steps were told to prove anything: {ids:?}");
    for (notice, steps) in steps {
        let counted: Vec<u32> = steps.iter().map(|(number, _)| *number).collect();
        assert_eq!(counted, (1..=steps.len() as u32).collect::<Vec<_>>(), "{notice}");
        assert_eq!(steps[0].1, Turn::Opened, "{notice}");
        assert!(steps[1..].iter().all(|(_, turn)| *turn != Turn::Opened), "{notice}");
    }
}

/// What is reckoned from the ledger afterwards fits what was published: 20 to 34.9 °C, each reading counted once.
fn pages_are_sane(garden: &Garden, published: usize) {
    let export = garden.json(&["export", "--json"]);
    let counted = &export["readings"]["post"]["air_temperature"];
    assert_eq!(counted["sound"], published);
    assert_eq!(counted["doubtful"], 0);
    let pages = export["day_pages"].as_array().unwrap();
    // Two where midnight fell into the test.
    assert!((1..=2).contains(&pages.len()), "{pages:?}");
    for page in pages {
        assert!(page["t_min_c"].as_f64() >= Some(20.0) && page["t_max_c"].as_f64() <= Some(34.9), "{page}");
    }
}
