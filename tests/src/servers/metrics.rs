//! A real time-series database (victoria-metrics) that takes the v2 write call.

use std::collections::BTreeMap;
use std::process::{Command, Stdio};

use serde_json::Value;
use tempfile::TempDir;

use super::http::ask;
use super::process::{Process, free_port, listens, need, until};
use super::smtp::certificate_with;

const DATABASE: &str = "/usr/bin/victoria-metrics";

/// A running database.
#[derive(Debug)]
pub struct Metrics {
    /// Where it listens, on 127.0.0.1.
    pub port: u16,
    folder: TempDir,
    further: Vec<String>,
    process: Option<Process>,
}

/// Whether the database can be started here; says so where not.
pub fn available() -> bool {
    need(DATABASE, "victoria-metrics")
}

impl Metrics {
    /// Starts it empty; it keeps everything.
    ///
    /// # Panics
    ///
    /// When it does not come up.
    pub fn start() -> Self {
        Self::start_with(&["-retentionPeriod=100y"])
    }

    /// Starts it empty, with these further arguments.
    ///
    /// # Panics
    ///
    /// When it does not come up.
    pub fn start_with(arguments: &[&str]) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let further = arguments.iter().map(|argument| (*argument).to_owned()).collect();
        let mut metrics = Self { port: free_port(), folder, further, process: None };
        metrics.resume();
        metrics
    }

    /// Starts it empty behind HTTPS, with a certificate of its own.
    ///
    /// # Panics
    ///
    /// When it does not come up.
    pub fn start_encrypted() -> Self {
        Self::start_certified("CA:FALSE")
    }

    /// The same, with a certificate of these constraints.
    ///
    /// # Panics
    ///
    /// When it does not come up.
    pub fn start_certified(constraints: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        certificate_with(folder.path(), constraints, None);
        let here = folder.path().display();
        let further = vec![
            "-retentionPeriod=100y".to_owned(),
            "-tls".to_owned(),
            format!("-tlsCertFile={here}/cert.pem"),
            format!("-tlsKeyFile={here}/key.pem"),
        ];
        let mut metrics = Self { port: free_port(), folder, further, process: None };
        metrics.launch();
        until("the database listens", || listens(metrics.port).then_some(()));
        metrics
    }

    /// Its own certificate, to be trusted.
    pub fn authority(&self) -> std::path::PathBuf {
        self.folder.path().join("cert.pem")
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
        self.launch();
        until("the database answers", || self.try_get("/health").filter(|(status, _)| *status == 200));
    }

    fn launch(&mut self) {
        let mut command = Command::new(DATABASE);
        command
            .arg(format!("-storageDataPath={}", self.folder.path().join("data").display()))
            .arg(format!("-httpListenAddr=127.0.0.1:{}", self.port))
            .args(&self.further)
            // Repeats count once only with the first of these.
            .args(["-dedup.minScrapeInterval=1ms", "-search.latencyOffset=0s", "-search.disableCache"])
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        self.process = Some(Process::start(&mut command));
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

    /// Writes lines by the call the mirror makes, without the mirror; the status.
    ///
    /// # Panics
    ///
    /// When it does not answer.
    pub fn write(&self, lines: &str) -> u16 {
        let path = "/api/v2/write?precision=ms";
        ask(self.port, "POST", path, "", lines.as_bytes()).expect("the database answers").0
    }

    fn try_get(&self, path: &str) -> Option<(u16, String)> {
        ask(self.port, "GET", path, "", b"")
    }
}
