//! Readings on their way out: as a table (CSV, RFC 4180), a line of JSON each (NDJSON), or a SenML pack (RFC 8428).
//!
//! A [`Sheet`] is handed readings piece by piece and gives text piece by piece; it remembers only whether anything
//! came before, so years go through in the room of one piece.

use std::fmt::Write;
use std::str::FromStr;

use agronomy::quantity::Quantity;
use serde_json::json;

use crate::calendar::iso;
use crate::reading::{Grade, Reading, Reason};

mod senml;

/// In which form readings go out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Form {
    /// A table, one reading a row.
    Csv,
    /// A JSON object a line.
    Ndjson,
    /// A SenML pack in JSON.
    Senml,
}

impl Form {
    /// Its word in addresses.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Csv => "csv",
            Self::Ndjson => "ndjson",
            Self::Senml => "senml",
        }
    }

    /// Its media type.
    pub const fn media(self) -> &'static str {
        match self {
            Self::Csv => "text/csv; charset=utf-8",
            Self::Ndjson => "application/x-ndjson",
            Self::Senml => "application/senml+json",
        }
    }
}

/// One probe and quantity, as `PROBE/QUANTITY`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SeriesName {
    /// Which instrument.
    pub probe: String,
    /// What it measures.
    pub quantity: Quantity,
}

impl FromStr for SeriesName {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let parts = text.rsplit_once('/').filter(|(probe, _)| !probe.is_empty());
        let (probe, quantity) = parts
            .ok_or_else(|| format!("{text:?} names no series; write PROBE/QUANTITY, as in post/light"))?;
        let quantity =
            quantity.parse().map_err(|unknown: agronomy::quantity::UnknownQuantity| unknown.to_string())?;
        Ok(Self { probe: probe.to_owned(), quantity })
    }
}

/// Readings being written out.
#[derive(Clone, Debug)]
pub struct Sheet {
    form: Form,
    /// What the names of a SenML pack begin with: the ledger's own name.
    ledger: String,
    begun: bool,
}

impl Sheet {
    /// A sheet that holds nothing yet. `ledger`: the name of the ledger, for the one form that needs names that no
    /// other garden uses.
    pub fn new(form: Form, ledger: &str) -> Self {
        Self { form, ledger: ledger.to_owned(), begun: false }
    }

    /// What stands before everything.
    pub fn head(&self) -> &'static str {
        match self.form {
            Form::Csv => "time,probe,quantity,unit,value,grade,reason\r\n",
            Form::Ndjson => "",
            Form::Senml => "[",
        }
    }

    /// Readings of one probe and quantity, in order of time.
    pub fn piece(&mut self, readings: &[Reading]) -> String {
        let mut text = String::new();
        match self.form {
            Form::Csv => readings.iter().for_each(|reading| row(&mut text, reading)),
            Form::Ndjson => readings.iter().for_each(|reading| line(&mut text, reading)),
            Form::Senml => senml::records(&mut text, readings, &self.ledger, &mut self.begun),
        }
        text
    }

    /// What stands after everything.
    pub fn tail(&self) -> &'static str {
        if self.form == Form::Senml { "\n]\n" } else { "" }
    }
}

fn grade_word(grade: Grade) -> &'static str {
    match grade {
        Grade::Sound => "sound",
        Grade::Doubtful => "doubtful",
        Grade::Refused => "refused",
    }
}

/// The reason's word in the ledger's own JSON; empty where there is nothing to say.
fn reason_word(reason: Reason) -> String {
    let word = serde_json::to_value(reason).ok().and_then(|value| value.as_str().map(str::to_owned));
    word.filter(|_| reason != Reason::None).unwrap_or_default()
}

fn row(text: &mut String, reading: &Reading) {
    let value = if reading.reason == Reason::Missing { String::new() } else { reading.value.to_string() };
    let cells = [
        iso(reading.at_ms),
        text_cell(&reading.probe),
        reading.quantity.as_str().to_owned(),
        text_cell(reading.quantity.unit()),
        value,
        grade_word(reading.grade()).to_owned(),
        reason_word(reading.reason),
    ];
    text.push_str(&cells.join(","));
    text.push_str("\r\n");
}

/// Text as a cell: in quotation marks where it must be (RFC 4180, section 2), and with an apostrophe before anything
/// that a spreadsheet would take for a formula. Numbers never come this way.
fn text_cell(text: &str) -> String {
    let risky = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let text = if risky { format!("'{text}") } else { text.to_owned() };
    if risky || text.contains([',', '"', '\r', '\n']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text
    }
}

fn line(text: &mut String, reading: &Reading) {
    let value = (reading.reason != Reason::Missing).then_some(reading.value);
    let object = json!({
        "time": iso(reading.at_ms),
        "probe": &*reading.probe,
        "quantity": reading.quantity.as_str(),
        "unit": reading.quantity.unit(),
        "value": value,
        "grade": grade_word(reading.grade()),
        "reason": (reading.reason != Reason::None).then(|| reason_word(reading.reason)),
    });
    // Writing into a text cannot fail.
    let _ = writeln!(text, "{object}");
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(probe: &str, value: f64, reason: Reason) -> Reading {
        let at_ms = 1_780_272_000_500;
        Reading { probe: probe.into(), quantity: Quantity::AirTemperature, value, at_ms, reason }
    }

    #[test]
    fn a_table_has_its_headings_and_no_value_where_none_was() {
        let mut sheet = Sheet::new(Form::Csv, "a");
        let rows = sheet.piece(&[reading("post", -0.5, Reason::None), reading("post", 0.0, Reason::Missing)]);
        assert_eq!(sheet.head(), "time,probe,quantity,unit,value,grade,reason\r\n");
        assert_eq!(
            rows,
            "2026-06-01T00:00:00.500Z,post,air_temperature,°C,-0.5,sound,\r\n\
             2026-06-01T00:00:00.500Z,post,air_temperature,°C,,refused,missing\r\n"
        );
    }

    #[test]
    fn text_that_looks_like_a_formula_is_made_harmless_and_numbers_are_left_alone() {
        // First characters: the common practice against formulas in tables (FAULTS H4); quotation: RFC 4180, 2.5 to 2.7.
        for (text, cell) in [
            ("post", "post"),
            ("-post", "\"'-post\""),
            ("=1+1", "\"'=1+1\""),
            ("+a", "\"'+a\""),
            ("@a", "\"'@a\""),
            ("\ta", "\"'\ta\""),
            ("a,b", "\"a,b\""),
            ("a\"b", "\"a\"\"b\""),
            ("a\r\nb", "\"a\r\nb\""),
        ] {
            assert_eq!(text_cell(text), cell);
        }
        assert!(Sheet::new(Form::Csv, "a").piece(&[reading("p", -3.25, Reason::None)]).contains(",-3.25,"));
    }

    #[test]
    fn a_line_of_json_says_the_same_as_a_row() {
        let line = Sheet::new(Form::Ndjson, "a").piece(&[reading("post", 21.37, Reason::FromTheFuture)]);
        let value: serde_json::Value = serde_json::from_str(&line).unwrap();
        let expected = json!({"time": "2026-06-01T00:00:00.500Z", "probe": "post", "quantity": "air_temperature",
            "unit": "°C", "value": 21.37, "grade": "doubtful", "reason": "from_the_future"});
        assert_eq!(value, expected);
    }

    #[test]
    fn a_series_is_named_by_probe_and_quantity() {
        let name: SeriesName = "post.2/soil_moisture".parse().unwrap();
        assert_eq!((name.probe.as_str(), name.quantity), ("post.2", Quantity::SoilMoisture));
        assert!("post".parse::<SeriesName>().unwrap_err().contains("PROBE/QUANTITY"));
        assert!("post/heat".parse::<SeriesName>().unwrap_err().contains("air_temperature"));
    }
}
