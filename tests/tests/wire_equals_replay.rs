//! The tunnel record row by row through a real broker into the running service gives what `replay` gives of it.

use std::fmt::Write as _;

use agronomy::quantity::Quantity;
use config::zone::Zones;
use glasshour::reading::Heard;
use serde_json::{Value, json};
use tests::mosquitto::Mosquitto;
use tests::program::{Garden, Service, VOUCHED, run, said};
use tests::publisher::publish;
use tests::records::{records, shipped};

/// The topics of the two files; each message carries its own time.
const TOPICS: [(Quantity, &str); 2] =
    [(Quantity::AirTemperature, "tunnel/air"), (Quantity::RelativeHumidity, "tunnel/humidity")];

/// The ground file's own site and start, with a broker and its topics between.
fn garden(port: u16) -> Garden {
    let ground = std::fs::read_to_string(shipped("tunnel-ground.toml")).unwrap();
    Garden::of(|folder| {
        let mut text = format!(
            "{ground}\n{VOUCHED}\n[ledger]\nfolder = \"{}\"\ncommit_every_s = 0.2\n\n[page]\nlisten = \"127.0.0.1:0\"\n\
             \n[broker]\nhost = \"127.0.0.1\"\nport = {port}\n",
            folder.join("ledger").display()
        );
        for (quantity, topic) in TOPICS {
            let name = quantity.as_str();
            let unit = if quantity == Quantity::AirTemperature { "°C" } else { "%" };
            let _ = write!(
                text,
                "\n[[broker.topic]]\nfilter = {topic:?}\nprobe = \"ref\"\nusual_interval_s = 900\n\
                 fields.{name} = {{ pointer = \"/value\", unit = {unit:?} }}\n\
                 time = {{ pointer = \"/at\", format = \"unix_ms\" }}\n"
            );
        }
        text
    })
}

/// A row as a probe would publish it; a missing value is a null.
fn message(heard: &Heard) -> (String, String) {
    let topic = TOPICS.iter().find(|(quantity, _)| *quantity == heard.quantity).unwrap().1;
    (topic.to_owned(), json!({ "at": heard.measured_ms, "value": heard.value }).to_string())
}

/// Waits until as many readings as were published have been counted. Looks seldom: an answer is a whole export.
fn settled(service: &Service, published: u64) -> Value {
    let mut counted = 0;
    for _ in 0..300 {
        let (status, body) = service.get("/api/export");
        assert_eq!(status, 200);
        let export: Value = serde_json::from_str(&body).unwrap();
        counted = count(&export["readings"]);
        if counted >= published {
            return export;
        }
        std::thread::sleep(std::time::Duration::from_secs(1));
    }
    panic!("{counted} of {published} readings after five minutes")
}

fn count(readings: &Value) -> u64 {
    let probes = readings.as_object().unwrap().values();
    let quantities = probes.flat_map(|probe| probe.as_object().unwrap().values());
    quantities
        .map(|it| {
            ["sound", "doubtful", "refused"].map(|grade| it[grade].as_u64().unwrap()).iter().sum::<u64>()
        })
        .sum()
}

fn text(export: &Value, key: &str) -> String {
    serde_json::to_string(&export[key]).unwrap()
}

/// The same bytes; where not, says at which place they part rather than printing a year.
fn same(what: &str, found: &str, wanted: &str) {
    if found == wanted {
        return;
    }
    let part = found.bytes().zip(wanted.bytes()).take_while(|(a, b)| a == b).count();
    let around = |text: &str| {
        let bytes = &text.as_bytes()[part.saturating_sub(200)..text.len().min(part + 200)];
        String::from_utf8_lossy(bytes).into_owned()
    };
    panic!("{what} part at byte {part}:\n{}\n---\n{}", around(found), around(wanted));
}

#[test]
fn a_record_published_row_by_row_gives_the_bytes_of_its_replay() {
    // The broker need not survive anything here, and saving itself at each message takes it minutes.
    let settings =
        "message_size_limit 65536\nallow_anonymous true\nautosave_on_changes false\nautosave_interval 1800\n";
    let broker = Mosquitto::start_with(|_| settings.to_owned());
    let (Some(folder), Some(broker)) = (records(), broker) else { return };
    let files =
        ["Ref_AirTemp.csv", "Ref_RH.csv"].map(|file| folder.join("it-tunnel-greenhouse-1").join(file));
    let (map, ground) = (shipped("tunnel-ref.toml"), shipped("tunnel-ground.toml"));
    let mut args = vec!["replay", "--json", "--record", map.to_str().unwrap()];
    args.extend(["--ground", ground.to_str().unwrap()]);
    args.extend(files.iter().map(|file| file.to_str().unwrap()));
    let replayed = run(&args);
    assert!(replayed.status.success(), "{}", said(&replayed));
    let replayed: Value = serde_json::from_slice(&replayed.stdout).unwrap();

    let record = config::read_record(&std::fs::read_to_string(&map).unwrap(), &Zones::system()).unwrap();
    let rows = glasshour::record::read(&record, &files).unwrap().readings;
    // The rows of both files, by the record's own account.
    assert_eq!(rows.len(), 29_031 + 23_476);
    assert!(rows.iter().any(|heard| heard.value.is_none()), "missing values are published too");

    let garden = garden(broker.port());
    let service = garden.start();
    tests::servers::process::until("the service subscribes", || {
        broker.log().contains("Sending SUBACK to glasshour").then_some(())
    });
    publish(broker.port(), rows.iter().map(message));
    let live = settled(&service, rows.len() as u64);
    for key in ["readings", "day_pages", "planting_pages"] {
        same(key, &text(&live, key), &text(&replayed, key));
    }
    assert!(service.stop().success(), "{}", garden.log());
    // What the ledger holds by itself is the same again.
    let kept = garden.json(&["export", "--json"]);
    for key in ["readings", "day_pages", "planting_pages"] {
        same(key, &text(&kept, key), &text(&replayed, key));
    }
}
