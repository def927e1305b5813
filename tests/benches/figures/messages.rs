//! Stamped messages at QoS 1 out of a broker: how many a second are durable and acknowledged.
//!
//! The service is held still (SIGSTOP) while the broker takes the messages for it, and the clock runs from the moment
//! it goes on: so neither the sender nor a start is measured. It ends when the last reading is on the page and an
//! export has been answered, before which everything that waits is committed. The peer takes the same messages from
//! the same broker and keeps nothing.

use std::process::{Command, Stdio};
use std::time::Duration;

use serde_json::json;
use tests::mosquitto::Mosquitto;
use tests::program::signal;
use tests::publisher::publish;
use tests::servers::process::{Process, need};

use super::Extent;
use super::http::{body, until_200};
use super::product::{Installed, PROBES};
use super::stopwatch::{Stopwatch, wall_ms};
use super::table::{Table, spread};

/// The last reading, °C: nothing else in the record has it.
const LAST_C: f64 = 17.77;
const RUNS: usize = 3;

/// Measures and prints.
pub(crate) fn measure(extent: Extent) {
    let count = extent.pick(20_000, 80_000);
    let how = format!(
        "{count} messages of a temperature and a humidity with the sender's time, QoS 1, waiting in mosquitto; {RUNS} runs."
    );
    let mut table = Table::new("Messages: stamped, acknowledged after they are durable", &how);
    for (inflight, words, design) in [
        (2_000, "2,000 in flight, as we ship it", "aim 20 k/s"),
        (20, "20 in flight, the broker's own default", ""),
    ] {
        let Some(rates) = (0..RUNS).map(|_| ours(inflight, count)).collect::<Option<Vec<f64>>>() else {
            return;
        };
        table.row(words, "Glasshour", &format!("{}/s", spread(&rates, 0)), design);
        if need("/usr/bin/mosquitto_sub", "mosquitto-clients") {
            let rates: Vec<f64> = (0..RUNS).filter_map(|_| peer(inflight, count)).collect();
            table.row(words, "mosquitto_sub, keeps nothing", &format!("{}/s", spread(&rates, 0)), "");
        }
    }
    table.print();
}

/// A broker that keeps nothing on disk: with our settings it would write its whole queue anew at every message, and
/// that is what would be measured.
fn broker(inflight: u32) -> Option<Mosquitto> {
    let settings = format!(
        "allow_anonymous true\npersistence false\nmax_inflight_messages {inflight}\nlog_type subscribe\n"
    );
    Mosquitto::start_with(|_| settings)
}

/// The messages of all probes in turn, a second apart, up to now.
fn messages(count: usize) -> Vec<(String, String)> {
    let now = wall_ms();
    let first = now - (count / PROBES) as i64 * 1000;
    let message = |number: usize| {
        let at = first + (number / PROBES) as i64 * 1000;
        let t = if number + 1 == count { LAST_C } else { 20.0 + (number % 97) as f64 / 100.0 };
        let payload = json!({ "at": at, "t": t, "rh": 60.0 + (number % 53) as f64 / 10.0 });
        (format!("figures/p{}", number % PROBES), payload.to_string())
    };
    (0..count).map(message).collect()
}

fn ours(inflight: u32, count: usize) -> Option<f64> {
    let broker = broker(inflight)?;
    let installed = Installed::listening_to(wall_ms(), broker.port());
    let service = installed.start();
    until_200(installed.page, "/");
    wait_for("the service has subscribed", || broker.log().contains("glasshour 1 figures/p9"));
    signal(service.0.id(), "STOP");
    publish(broker.port(), messages(count));
    signal(service.0.id(), "CONT");
    let watch = Stopwatch::start();
    let last = LAST_C.to_string();
    wait_for("the last reading is on the page", || {
        body(installed.page, "/api/now").is_some_and(|body| body.contains(&last))
    });
    let export = body(installed.page, "/api/export").expect("the page answers");
    let seconds = watch.seconds();
    let export: serde_json::Value = serde_json::from_str(&export).expect("a JSON document");
    let kept: u64 = (0..PROBES)
        .map(|probe| {
            let counts = &export["readings"][format!("p{probe}")]["air_temperature"];
            counts.as_object().map_or(0, |counts| counts.values().filter_map(serde_json::Value::as_u64).sum())
        })
        .sum();
    assert!(kept >= count as u64, "{kept} of {count} were kept");
    service.end();
    Some(count as f64 / seconds)
}

fn peer(inflight: u32, count: usize) -> Option<f64> {
    let broker = broker(inflight)?;
    let mut command = Command::new("/usr/bin/mosquitto_sub");
    command.args(["-p", &broker.port().to_string(), "-i", "peer", "-c", "-q", "1", "-t", "figures/#"]);
    command.args(["-C", &count.to_string()]).stdout(Stdio::null());
    let mut peer = Process::start(&mut command);
    wait_for("the peer has subscribed", || broker.log().contains("peer 1 figures/#"));
    signal(peer.0.id(), "STOP");
    publish(broker.port(), messages(count));
    signal(peer.0.id(), "CONT");
    let watch = Stopwatch::start();
    peer.0.wait().ok()?;
    Some(count as f64 / watch.seconds())
}

/// Looks every two milliseconds; gives up after five minutes.
fn wait_for(what: &str, mut look: impl FnMut() -> bool) {
    for _ in 0..150_000 {
        if look() {
            return;
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    panic!("waited five minutes in vain until {what}");
}
