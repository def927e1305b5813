//! A second, stricter database (influxd 1.6 from Debian), behind a translator: it keeps the same line protocol, but not
//! the v2 call that our client makes.

use std::collections::BTreeMap;
use std::process::{Command, Stdio};

use serde_json::Value;
use tempfile::TempDir;

use super::http::{Answer, Request, Small, ask};
use super::process::{Process, free_port, need, until};

const DATABASE: &str = "/usr/bin/influxd";

/// Everything stored of a measurement: (measurement_field, tags as JSON text) to (ms, value) by time.
pub type Stored = BTreeMap<(String, String), Vec<(i64, Value)>>;

/// A running database with its translator.
pub struct Series {
    /// Its own port.
    pub port: u16,
    translator: Small,
    _folder: TempDir,
    _process: Process,
}

/// Whether the database can be started here; says so where not.
pub fn available() -> bool {
    need(DATABASE, "influxdb")
}

impl Series {
    /// Starts it with an empty database `glasshour` that keeps everything.
    pub fn start() -> Self {
        Self::start_with("25000000", "CREATE DATABASE glasshour")
    }

    /// Starts it with a largest body and a statement that makes the database.
    ///
    /// # Panics
    ///
    /// When it does not come up.
    pub fn start_with(largest_body: &str, create: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let (port, other) = (free_port(), free_port());
        let here = folder.path().display();
        let text = format!(
            "reporting-disabled = true\nbind-address = \"127.0.0.1:{other}\"\n[meta]\ndir = \"{here}/meta\"\n\
             [data]\ndir = \"{here}/data\"\nwal-dir = \"{here}/wal\"\n[http]\nbind-address = \"127.0.0.1:{port}\"\n\
             log-enabled = false\nmax-body-size = {largest_body}\n[monitor]\nstore-enabled = false\n"
        );
        let settings = folder.path().join("settings.toml");
        std::fs::write(&settings, text).expect("the folder takes a file");
        let mut command = Command::new(DATABASE);
        command.arg("-config").arg(settings).stdout(Stdio::null()).stderr(Stdio::null());
        let process = Process::start(&mut command);
        until("the database answers", || ask(port, "GET", "/ping", "", b""));
        let translator = Small::start(move |request| translate(port, request));
        let series = Self { port, translator, _folder: folder, _process: process };
        series.query(create);
        series
    }

    /// Where the mirror writes to.
    pub fn url(&self) -> String {
        self.translator.url()
    }

    /// How many calls the mirror made.
    pub fn calls(&self) -> usize {
        self.translator.asked()
    }

    /// Writes lines by its own call; status and words.
    ///
    /// # Panics
    ///
    /// When it does not answer.
    pub fn write(&self, lines: &str) -> (u16, String) {
        let path = "/write?db=glasshour&precision=ms";
        ask(self.port, "POST", path, "", lines.as_bytes()).expect("the database answers")
    }

    /// Asks by its own call.
    ///
    /// # Panics
    ///
    /// When it answers with an error.
    pub fn query(&self, text: &str) -> Value {
        let path = format!("/query?db=glasshour&epoch=ms&q={}", escaped(text));
        let (status, body) = ask(self.port, "POST", &path, "", b"").expect("the database answers");
        let answer: Value = serde_json::from_str(&body).expect("JSON");
        assert!(status == 200 && answer["results"][0]["error"].is_null(), "{text}: {status} {body}");
        answer["results"][0].clone()
    }

    /// Everything it stored of a measurement.
    ///
    /// # Panics
    ///
    /// When the database answers otherwise than it documents.
    pub fn stored(&self, measurement: &str) -> Stored {
        let answer = self.query(&format!("SELECT * FROM \"{measurement}\" GROUP BY *"));
        let mut stored = Stored::new();
        for series in answer["series"].as_array().into_iter().flatten() {
            let columns = series["columns"].as_array().expect("columns");
            for row in series["values"].as_array().expect("values") {
                let ms = row[0].as_i64().expect("a time");
                for (column, name) in columns.iter().enumerate().skip(1).filter(|(at, _)| !row[*at].is_null())
                {
                    let name = format!("{measurement}_{}", name.as_str().expect("a name"));
                    stored
                        .entry((name, series["tags"].to_string()))
                        .or_default()
                        .push((ms, row[column].clone()));
                }
            }
        }
        stored
    }
}

/// The v2 call into this server's own; everything else goes through as it is.
fn translate(port: u16, request: &Request) -> Answer {
    let path = match request.path.strip_prefix("/api/v2/write?") {
        Some(query) => {
            let mut of: BTreeMap<&str, &str> =
                query.split('&').filter_map(|pair| pair.split_once('=')).collect();
            let precision = match of.remove("precision") {
                Some("us") => "u",
                Some("ns") | None => "n",
                Some(other) => other,
            };
            format!("/write?db={}&precision={precision}", of.remove("bucket").unwrap_or_default())
        }
        None => request.path.clone(),
    };
    let encoded =
        request.headers.iter().find(|line| line.to_ascii_lowercase().starts_with("content-encoding"));
    let headers = encoded.map(|line| format!("{line}\r\n")).unwrap_or_default();
    let (status, body) = ask(port, &request.method, &path, &headers, &request.body)?;
    Some((status, String::new(), body.into_bytes()))
}

fn escaped(text: &str) -> String {
    text.bytes().fold(String::new(), |escaped, byte| escaped + &format!("%{byte:02X}"))
}
