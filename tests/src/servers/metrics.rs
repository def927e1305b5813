//! A real time-series database (victoria-metrics) that takes the v2 write call.

use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::process::{Command, Stdio};

use serde_json::Value;
use tempfile::TempDir;

use super::process::{Process, free_port, need, until};

const DATABASE: &str = "/usr/bin/victoria-metrics";

/// A running database.
#[derive(Debug)]
pub struct Metrics {
    /// Where it listens, on 127.0.0.1.
    pub port: u16,
    folder: TempDir,
    process: Option<Process>,
}

/// Whether the database can be started here; says so where not.
pub fn available() -> bool {
    need(DATABASE, "victoria-metrics")
}

impl Metrics {
    /// Starts it empty.
    ///
    /// # Panics
    ///
    /// When it does not come up.
    pub fn start() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let mut metrics = Self { port: free_port(), folder, process: None };
        metrics.resume();
        metrics
    }

    /// Ends it; it writes everything to its folder first.
    ///
    /// # Panics
    ///
    /// When it does not end.
    pub fn stop(&mut self) {
        if let Some(process) = self.process.take() {
            process.end();
        }
    }

    /// Starts it again on the same folder and port.
    ///
    /// # Panics
    ///
    /// When it does not come up.
    pub fn resume(&mut self) {
        let mut command = Command::new(DATABASE);
        command
            .arg(format!("-storageDataPath={}", self.folder.path().join("data").display()))
            .arg(format!("-httpListenAddr=127.0.0.1:{}", self.port))
            // It keeps a month by default and throws older points away with a 204; repeats count once only with
            // the third setting.
            .args(["-retentionPeriod=100y", "-dedup.minScrapeInterval=1ms"])
            .args(["-search.latencyOffset=0s", "-search.disableCache"])
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        self.process = Some(Process::start(&mut command));
        until("the database answers", || self.try_get("/health").filter(|(status, _)| *status == 200));
    }

    /// Where to write to.
    pub fn url(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    /// Everything stored under `name`: labels as JSON text, then (ms, value) by time.
    ///
    /// # Panics
    ///
    /// When the database answers otherwise than it documents.
    pub fn export(&self, name: &str) -> BTreeMap<String, Vec<(i64, f64)>> {
        self.get("/internal/force_flush");
        let text = self.get(&format!("/api/v1/export?match[]={name}&start=0&end=4102444800"));
        let mut series = BTreeMap::new();
        for line in text.lines() {
            let line: Value = serde_json::from_str(line).expect("a JSON object a line");
            let numbers = |key: &str| line[key].as_array().cloned().unwrap_or_default();
            let times = numbers("timestamps").into_iter().filter_map(|time| time.as_i64());
            let values = numbers("values").into_iter().filter_map(|value| value.as_f64());
            let mut points: Vec<_> = times.zip(values).collect();
            points.sort_by_key(|point| point.0);
            series.insert(line["metric"].to_string(), points);
        }
        series
    }

    /// Rows it took and then threw away, or could not read: `vm_rows_ignored_total` and `vm_rows_invalid_total`.
    ///
    /// # Panics
    ///
    /// When it shows no such counters.
    pub fn thrown_away(&self) -> f64 {
        let text = self.get("/metrics");
        let lines = text.lines().filter(|line| {
            line.starts_with("vm_rows_ignored_total") || line.starts_with("vm_rows_invalid_total")
        });
        let counts: Vec<f64> =
            lines.filter_map(|line| line.rsplit(' ').next()).filter_map(|count| count.parse().ok()).collect();
        assert!(!counts.is_empty(), "the database shows no counters");
        counts.into_iter().sum()
    }

    fn get(&self, path: &str) -> String {
        let (status, body) = self.try_get(path).expect("the database answers");
        assert_eq!(status / 100, 2, "{path}: {status} {body}");
        body
    }

    /// HTTP/1.0, so that the answer is neither chunked nor kept open.
    fn try_get(&self, path: &str) -> Option<(u16, String)> {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).ok()?;
        write!(stream, "GET {path} HTTP/1.0\r\nHost: localhost\r\n\r\n").ok()?;
        let mut answer = String::new();
        stream.read_to_string(&mut answer).ok()?;
        let (head, body) = answer.split_once("\r\n\r\n")?;
        let status = head.split(' ').nth(1)?.parse().ok()?;
        Some((status, body.to_owned()))
    }
}
