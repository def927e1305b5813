//! A time-series database of today: VictoriaMetrics, as Debian has it.

use std::process::{Command, Stdio};

use tests::servers::process::{Process, free_port, need, until};

use super::http::{call, escaped, settled, times, try_call};
use super::made::{DAY, DAY_MS, FROM_MS, MINUTE_MS, Made, SERIES, push};
use super::proc::memory;
use super::stopwatch::Stopwatch;
use super::table::{Table, mb, spread};

const DATABASE: &str = "/usr/bin/victoria-metrics";
const WHO: &str = "VictoriaMetrics";

/// Measures and fills in.
pub(crate) fn measure(table: &mut Table, days: i64) {
    if !need(DATABASE, "victoria-metrics") {
        return;
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    let data = folder.path().join("data");
    let port = free_port();
    let mut command = Command::new(DATABASE);
    command
        .arg(format!("-storageDataPath={}", data.display()))
        .arg(format!("-httpListenAddr=127.0.0.1:{port}"))
        // It keeps a month by default.
        .args(["-retentionPeriod=100y", "-search.latencyOffset=0s", "-search.disableCache"])
        .args(["-search.maxPointsPerTimeseries=1000000"])
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    let process = Process::start(&mut command);
    until("the database answers", || try_call(port, "/health", b"").filter(|(status, _)| *status == 200));
    let seconds = load(port, days);
    let readings = (days * DAY) as f64 * SERIES as f64;
    let most = mb(memory(process.0.id()).most);
    table.row(
        "loaded as JSON, a series and day a line",
        WHO,
        &format!("{:.2} M/s, {seconds:.1} s, {most}", readings / seconds / 1e6),
        "",
    );
    call(port, "/internal/force_flush", b"");
    call(port, "/internal/force_merge", b"");
    // What is new stays in memory for some seconds.
    let bytes = settled(&data);
    table.row("bytes per reading", WHO, &format!("{:.2} B", bytes as f64 / readings), "");
    let until_ms = FROM_MS + days * DAY_MS;
    let name = escaped("{__name__=\"air\"}");
    let day = format!(
        "/api/v1/export?match[]={name}&start={}&end={}",
        (until_ms - DAY_MS) / 1000,
        until_ms / 1000 - 1
    );
    let much = format!(
        "{} ms, {}",
        spread(&times(400_000, || call(port, &day, b"")), 1),
        mb(memory(process.0.id()).most)
    );
    table.row("last 24 h of twenty series", WHO, &much, "");
    let hourly = |of: &str| {
        let query = escaped(&format!("{of}(air{{probe=\"p7\"}}[1h])"));
        format!(
            "/api/v1/query_range?query={query}&start={}&end={}&step=1h",
            FROM_MS / 1000 + 3600,
            until_ms / 1000
        )
    };
    let paths = ["min_over_time", "avg_over_time", "max_over_time"].map(hourly);
    let much = times(10_000, || paths.iter().flat_map(|path| call(port, path, b"")).collect());
    table.row(&format!("{days} days of one series, hourly"), WHO, &format!("{} ms", spread(&much, 1)), "");
}

/// Seconds.
fn load(port: u16, days: i64) -> f64 {
    let watch = Stopwatch::start();
    let mut made = Made::new();
    for day in 0..days {
        let mut values: Vec<Vec<u8>> = vec![Vec::new(); SERIES];
        let mut times = String::new();
        for minute in 0..DAY {
            let comma = if minute > 0 { "," } else { "" };
            times += &format!("{comma}{}", FROM_MS + day * DAY_MS + minute * MINUTE_MS);
            for (values, hundredths) in values.iter_mut().zip(made.next()) {
                values.extend_from_slice(comma.as_bytes());
                push(values, hundredths);
            }
        }
        let mut body = Vec::new();
        for (series, values) in values.iter().enumerate() {
            body.extend_from_slice(
                format!("{{\"metric\":{{\"__name__\":\"air\",\"probe\":\"p{series}\"}},\"values\":[")
                    .as_bytes(),
            );
            body.extend_from_slice(values);
            body.extend_from_slice(format!("],\"timestamps\":[{times}]}}\n").as_bytes());
        }
        call(port, "/api/v1/import", &body);
    }
    watch.seconds()
}
