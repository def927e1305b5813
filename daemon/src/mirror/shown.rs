//! A day as the other side shows it, by its own reading call.
//!
//! Two kinds of servers take our writing call: those that answer `OK` at `/health` export series as JSON lines
//! (`/api/v1/export`); the others answer InfluxQL (`/query`). Only numbers of our measurements are read.

use std::collections::BTreeMap;
use std::ops::Range;

use reqwest011::Client;
use serde_json::Value;

use super::pipe::{self, Pipe, Trouble};
use super::points::{MEASUREMENTS, TEXTS, series_name};
use super::server::{Settings, Unusable, line};
use super::words::one_line;

/// The largest answer for one day, bytes; a day of a hundred series in seconds has about as many.
const LARGEST: usize = 256 * 1024 * 1024;

/// By series (`measurement_field{tag="…"}`) and UTC ms: the values there, usually one.
pub type Numbers = BTreeMap<String, BTreeMap<i64, Vec<f64>>>;

/// Why a day could not be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("reading the mirror back: {0}")]
pub struct Unread(String);

/// Which reading call the other side has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Export,
    InfluxQl,
}

/// The other side, to be read.
pub struct Shown {
    http: Client,
    near: String,
    bucket: String,
    token: String,
    kind: Option<Kind>,
    trouble: Option<Trouble>,
}

impl Shown {
    /// Sets the client up; nothing is asked yet. A pipe that comes with it must run meanwhile.
    ///
    /// # Errors
    ///
    /// [`Unusable`], in words for the grower.
    pub fn new(settings: &Settings) -> Result<(Self, Option<Pipe>), Unusable> {
        let (http, near, pipe) = line(settings)?;
        let http = http.build().map_err(|error| Unusable::Client(error.to_string()))?;
        let (bucket, token) = (settings.bucket.clone(), settings.token.clone());
        let trouble = pipe.as_ref().map(Pipe::trouble);
        Ok((Self { http, near, bucket, token, kind: None, trouble }, pipe))
    }

    /// The numbers shown for a stretch of time, UTC ms.
    ///
    /// # Errors
    ///
    /// [`Unread`], in words.
    pub async fn numbers(&mut self, range: &Range<i64>) -> Result<Numbers, Unread> {
        let kind = match self.kind {
            Some(kind) => kind,
            None => *self.kind.insert(self.ask_kind().await?),
        };
        match kind {
            Kind::Export => self.exported(range).await,
            Kind::InfluxQl => self.queried(range).await,
        }
    }

    async fn ask_kind(&self) -> Result<Kind, Unread> {
        let (status, body) = self.get("/health", &[]).await?;
        if status != 200 || body.trim_ascii() != b"OK" {
            return Ok(Kind::InfluxQl);
        }
        // What was written a moment ago is shown sooner for it; a server that will not is no worse.
        self.get("/internal/force_flush", &[]).await?;
        Ok(Kind::Export)
    }

    async fn exported(&self, range: &Range<i64>) -> Result<Numbers, Unread> {
        let which = format!("{{__name__=~\"({})_.+\"}}", MEASUREMENTS.join("|"));
        let (start, end) = (seconds(range.start), seconds(range.end - 1));
        let query = [("match[]", which.as_str()), ("start", start.as_str()), ("end", end.as_str())];
        let body = self.get_well("/api/v1/export", &query).await?;
        let mut numbers = Numbers::new();
        for row in body.split(|byte| *byte == b'\n').filter(|row| !row.is_empty()) {
            let row: Value = serde_json::from_slice(row).map_err(|error| Unread(error.to_string()))?;
            add_exported(&mut numbers, &row, range);
        }
        Ok(numbers)
    }

    async fn queried(&self, range: &Range<i64>) -> Result<Numbers, Unread> {
        let from: Vec<String> = MEASUREMENTS.iter().map(|name| format!("\"{name}\"")).collect();
        let (start, end, from) = (range.start, range.end, from.join(","));
        let ask = format!("SELECT * FROM {from} WHERE time >= {start}ms AND time < {end}ms GROUP BY *");
        let query = [("db", self.bucket.as_str()), ("epoch", "ms"), ("q", ask.as_str())];
        let body = self.get_well("/query", &query).await?;
        let answer: Value = serde_json::from_slice(&body).map_err(|error| Unread(error.to_string()))?;
        let result = &answer["results"][0];
        if let Some(error) = result["error"].as_str() {
            return Err(Unread(one_line(error)));
        }
        let mut numbers = Numbers::new();
        for series in result["series"].as_array().into_iter().flatten() {
            add_queried(&mut numbers, series);
        }
        Ok(numbers)
    }

    async fn get_well(&self, path: &str, query: &[(&str, &str)]) -> Result<Vec<u8>, Unread> {
        let (status, body) = self.get(path, query).await?;
        if status == 200 {
            return Ok(body);
        }
        Err(Unread(format!("{path}: status {status}: {}", one_line(&String::from_utf8_lossy(&body)))))
    }

    async fn get(&self, path: &str, query: &[(&str, &str)]) -> Result<(u16, Vec<u8>), Unread> {
        let wrong = |error: reqwest011::Error| Unread(pipe::why(self.trouble.as_ref(), &error));
        let mut request = self.http.get(format!("{}{path}", self.near)).query(query);
        if !self.token.is_empty() {
            request = request.header("Authorization", format!("Token {}", self.token));
        }
        let mut answer = request.send().await.map_err(wrong)?;
        let mut body = Vec::new();
        while let Some(piece) = answer.chunk().await.map_err(wrong)? {
            if body.len() + piece.len() > LARGEST {
                return Err(Unread(format!("{path}: more than {LARGEST} bytes for one day")));
            }
            body.extend_from_slice(&piece);
        }
        Ok((answer.status().as_u16(), body))
    }
}

/// UTC ms as seconds with three decimals.
fn seconds(ms: i64) -> String {
    format!("{}.{:03}", ms.div_euclid(1000), ms.rem_euclid(1000))
}

/// One line of an export: `{metric: {__name__, tags}, values: [], timestamps: [ms]}`.
fn add_exported(numbers: &mut Numbers, row: &Value, range: &Range<i64>) {
    // A text is shown as nought, which is no number of ours.
    let name = row["metric"]["__name__"].as_str().filter(|name| !TEXTS.contains(name));
    let Some(name) = name else { return };
    let tags = tags(&row["metric"]).filter(|(tag, _)| *tag != "__name__");
    let series = numbers.entry(series_name(name, tags)).or_default();
    let (times, values) = (row["timestamps"].as_array(), row["values"].as_array());
    for (time, value) in times.into_iter().flatten().zip(values.into_iter().flatten()) {
        if let (Some(ms), Some(value)) = (time.as_i64(), value.as_f64())
            && range.contains(&ms)
        {
            series.entry(ms).or_default().push(value);
        }
    }
}

/// One series of an answer: `{name, tags, columns: [time, fields], values: [[ms, …]]}`.
fn add_queried(numbers: &mut Numbers, series: &Value) {
    let Some(name) = series["name"].as_str() else { return };
    let fields: Vec<&str> =
        series["columns"].as_array().into_iter().flatten().skip(1).filter_map(Value::as_str).collect();
    for row in series["values"].as_array().into_iter().flatten() {
        let Some(ms) = row[0].as_i64() else { continue };
        for (column, field) in fields.iter().enumerate() {
            if let Some(value) = row[column + 1].as_f64() {
                // A tag that a series of the measurement lacks is shown as an empty one.
                let tags = tags(&series["tags"]).filter(|(_, text)| !text.is_empty());
                let of = numbers.entry(series_name(&format!("{name}_{field}"), tags)).or_default();
                of.entry(ms).or_default().push(value);
            }
        }
    }
}

fn tags(of: &Value) -> impl Iterator<Item = (&str, &str)> {
    of.as_object().into_iter().flatten().filter_map(|(tag, text)| Some((tag.as_str(), text.as_str()?)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_export_and_a_query_answer_read_the_same() {
        // The form of each server's answer; the whole-program tests have the servers themselves give it.
        let exported = serde_json::json!({"metric": {"__name__": "reading_value", "grade": "sound", "probe": "a",
            "quantity": "co2"}, "values": [1.5, 2], "timestamps": [1_000, 2_000]});
        let queried = serde_json::json!({"name": "reading", "tags": {"edition": "", "grade": "sound", "probe": "a",
            "quantity": "co2"}, "columns": ["time", "text", "value"], "values": [[1_000, "x", 1.5], [2_000, null, 2]]});
        let (mut one, mut other) = (Numbers::new(), Numbers::new());
        add_exported(&mut one, &exported, &(0..3_000));
        add_queried(&mut other, &queried);
        assert_eq!(one, other);
        let name = r#"reading_value{grade="sound",probe="a",quantity="co2"}"#;
        assert_eq!(one[name], BTreeMap::from([(1_000, vec![1.5]), (2_000, vec![2.0])]));
    }

    #[test]
    fn texts_that_are_shown_as_nought_are_no_numbers() {
        // Seen of the server that exports (1.79.5): a text field comes out as a series of noughts.
        let mut numbers = Numbers::new();
        for name in TEXTS {
            let row = serde_json::json!({"metric": {"__name__": name, "place": "house"}, "values": [0],
                "timestamps": [1_000]});
            add_exported(&mut numbers, &row, &(0..2_000));
        }
        assert_eq!(numbers, Numbers::new());
    }

    #[test]
    fn what_lies_outside_the_stretch_is_left_out() {
        let row = serde_json::json!({"metric": {"__name__": "reading_value"}, "values": [1, 2],
            "timestamps": [999, 1_000]});
        let mut numbers = Numbers::new();
        add_exported(&mut numbers, &row, &(1_000..2_000));
        assert_eq!(numbers["reading_value{}"], BTreeMap::from([(1_000, vec![2.0])]));
    }

    #[test]
    fn seconds_keep_their_milliseconds() {
        assert_eq!(seconds(1_719_878_400_007), "1719878400.007");
    }
}
