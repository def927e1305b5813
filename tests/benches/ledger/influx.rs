//! A time-series database of 2018: InfluxDB 1.6, as Debian has it.

use std::process::{Command, Stdio};

use tests::servers::process::{Process, free_port, need, until};

use super::http::{call, escaped, settled, times, try_call};
use super::made::{DAY, DAY_MS, FROM_MS, MINUTE_MS, Made, SERIES, push};
use super::proc::memory;
use super::stopwatch::Stopwatch;
use super::table::{Table, mb, spread};

const DATABASE: &str = "/usr/bin/influxd";
const WHO: &str = "InfluxDB 1.6";
/// Minutes in one request: ten thousand lines, as its manual advises.
const MINUTES: i64 = 500;

/// Measures and fills in.
pub(crate) fn measure(table: &mut Table, days: i64) {
    if !need(DATABASE, "influxdb") {
        return;
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (port, backup) = (free_port(), free_port());
    let at = |name: &str| folder.path().join(name).display().to_string();
    let settings = format!(
        "reporting-disabled = true\nbind-address = \"127.0.0.1:{backup}\"\n[meta]\ndir = \"{}\"\n[data]\ndir = \"{}\"\nwal-dir = \"{}\"\nquery-log-enabled = false\ncache-snapshot-write-cold-duration = \"1s\"\ncompact-full-write-cold-duration = \"2s\"\n[http]\nbind-address = \"127.0.0.1:{port}\"\nlog-enabled = false\n[monitor]\nstore-enabled = false\n",
        at("meta"),
        at("data"),
        at("wal")
    );
    std::fs::write(folder.path().join("influx.conf"), settings).expect("room for settings");
    let mut command = Command::new(DATABASE);
    command.args(["-config", &at("influx.conf")]).stdout(Stdio::null()).stderr(Stdio::null());
    let process = Process::start(&mut command);
    until("the database answers", || try_call(port, "/ping", b"").filter(|(status, _)| *status == 204));
    call(port, &format!("/query?q={}", escaped("CREATE DATABASE made")), b"x");
    let seconds = load(port, days);
    let readings = (days * DAY) as f64 * SERIES as f64;
    let most = mb(memory(process.0.id()).most);
    table.row(
        "loaded as line protocol",
        WHO,
        &format!("{:.2} M/s, {seconds:.1} s, {most}", readings / seconds / 1e6),
        "",
    );
    // The log is packed some seconds after the last write, and the files once more.
    let bytes = settled(folder.path());
    table.row("bytes per reading", WHO, &format!("{:.2} B", bytes as f64 / readings), "");
    let until_ms = FROM_MS + days * DAY_MS;
    let ask = |query: &str| {
        let path = format!("/query?db=made&epoch=ms&q={}", escaped(query));
        move || call(port, &path, b"")
    };
    let day = ask(&format!(
        "SELECT v FROM air WHERE time >= {}ms AND time < {until_ms}ms GROUP BY probe",
        until_ms - DAY_MS
    ));
    let much = format!("{} ms, {}", spread(&times(400_000, &day), 1), mb(memory(process.0.id()).most));
    table.row("last 24 h of twenty series", WHO, &much, "");
    let year = ask(&format!(
        "SELECT min(v), mean(v), max(v) FROM air WHERE probe = 'p7' AND time >= {FROM_MS}ms AND time < {until_ms}ms GROUP BY time(1h)"
    ));
    let much = format!("{} ms", spread(&times(10_000, &year), 1));
    table.row(&format!("{days} days of one series, hourly"), WHO, &much, "");
}

/// Seconds.
fn load(port: u16, days: i64) -> f64 {
    let watch = Stopwatch::start();
    let (mut made, mut body) = (Made::new(), Vec::new());
    for minute in 0..days * DAY {
        for (series, hundredths) in made.next().into_iter().enumerate() {
            body.extend_from_slice(format!("air,probe=p{series} v=").as_bytes());
            push(&mut body, hundredths);
            body.extend_from_slice(format!(" {}\n", FROM_MS + minute * MINUTE_MS).as_bytes());
        }
        if (minute + 1) % MINUTES == 0 || minute + 1 == days * DAY {
            call(port, "/write?db=made&precision=ms", &body);
            body.clear();
        }
    }
    watch.seconds()
}
