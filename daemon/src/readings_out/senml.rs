//! SenML (RFC 8428): records with base fields, in the units of its registry (section 12.1).
//!
//! A base name holds until the next, so each piece begins with the names and units of its probe. Names begin with the
//! ledger's own name, that nobody else's records may be taken for ours. The registry has one unit for a quantity:
//! humidity goes out in `%RH`, the share of water in soil as a ratio (`/`), pressure in pascal, rain in metres, flow
//! in litres a second, carbon dioxide in `ppm` and room on a disk in bytes, `B` (both registered by RFC 8798).
//!
//! A reading without a value has no record: SenML cannot say "none". One that is refused or doubtful goes out like
//! any other; whoever needs the grades takes another form.

use agronomy::quantity::Quantity;
use serde_json::{Map, Value, json};

use crate::reading::{Reading, Reason};

/// The registered unit of a quantity, and how many of it one of ours is: times the first, over the second.
fn unit(quantity: Quantity) -> (&'static str, f64, f64) {
    match quantity {
        Quantity::AirTemperature
        | Quantity::LeafTemperature
        | Quantity::SoilTemperature
        | Quantity::BoardTemperature => ("Cel", 1.0, 1.0),
        Quantity::RelativeHumidity => ("%RH", 1.0, 1.0),
        Quantity::SoilMoisture => ("/", 1.0, 100.0),
        Quantity::Light => ("W/m2", 1.0, 1.0),
        Quantity::Pressure => ("Pa", 1_000.0, 1.0),
        Quantity::Co2 => ("ppm", 1.0, 1.0),
        Quantity::Rain => ("m", 1.0, 1_000.0),
        Quantity::Wind => ("m/s", 1.0, 1.0),
        Quantity::WaterFlow => ("l/s", 1.0, 60.0),
        Quantity::Battery => ("V", 1.0, 1.0),
        Quantity::BatteryCharge => ("%EL", 1.0, 1.0),
        Quantity::Supply => ("/", 1.0, 1.0),
        Quantity::FreeSpace | Quantity::LedgerSpace => ("B", 1_048_576.0, 1.0),
        Quantity::FreeFiles => ("count", 1.0, 1.0),
    }
}

/// The records of one probe and quantity. `begun`: whether any record stands before them in the pack.
pub(super) fn records(text: &mut String, readings: &[Reading], ledger: &str, begun: &mut bool) {
    let valued = readings.iter().filter(|reading| reading.reason != Reason::Missing);
    let mut base = None;
    for reading in valued {
        let (unit, times, over) = unit(reading.quantity);
        let mut record = Map::new();
        let base_ms = *base.get_or_insert_with(|| {
            // Whole seconds, so that the differences are short.
            let base_ms = reading.at_ms.div_euclid(1_000) * 1_000;
            record.insert("bn".to_owned(), json!(format!("{ledger}:{}:", reading.probe)));
            record.insert("bt".to_owned(), json!(base_ms / 1_000));
            record.insert("bu".to_owned(), json!(unit));
            base_ms
        });
        record.insert("n".to_owned(), json!(reading.quantity.as_str()));
        let since_ms = reading.at_ms - base_ms;
        if since_ms != 0 {
            let whole = since_ms % 1_000 == 0;
            let since = if whole { json!(since_ms / 1_000) } else { json!(since_ms as f64 / 1_000.0) };
            record.insert("t".to_owned(), since);
        }
        record.insert("v".to_owned(), json!(reading.value * times / over));
        text.push_str(if *begun { ",\n" } else { "\n" });
        text.push_str(&Value::Object(record).to_string());
        *begun = true;
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;
    use std::path::Path;

    use super::super::{Form, Sheet};
    use super::*;

    /// The moment that relative times of the table count from.
    const NOW: f64 = 1_700_000_000.0;

    /// RFC 8428, section 4.6: every record with its base fields put in, by time. Relative times (below 2^28) count
    /// from now.
    fn resolved(pack: &Value) -> Vec<BTreeMap<String, Value>> {
        let mut bases: BTreeMap<&str, Value> = BTreeMap::new();
        let mut all = Vec::new();
        for record in pack.as_array().unwrap() {
            let record = record.as_object().unwrap();
            for key in ["bn", "bt", "bu", "bv", "bs", "bver"] {
                if let Some(value) = record.get(key) {
                    bases.insert(key, value.clone());
                }
            }
            let number = |value: Option<&Value>| value.and_then(Value::as_f64);
            let value = number(record.get("v")).map(|own| own + number(bases.get("bv")).unwrap_or(0.0));
            let (own, base) = (number(record.get("s")), number(bases.get("bs")));
            let sum = own.or(base).map(|_| own.unwrap_or(0.0) + base.unwrap_or(0.0));
            let mut out: BTreeMap<String, Value> = BTreeMap::new();
            for key in ["vs", "vb", "vd", "ut"] {
                out.extend(record.get(key).map(|value| (key.to_owned(), value.clone())));
            }
            out.extend(value.map(|value| ("v".to_owned(), json!(value))));
            out.extend(sum.map(|sum| ("s".to_owned(), json!(sum))));
            if !["v", "vs", "vb", "vd", "s"].iter().any(|key| out.contains_key(*key)) {
                continue;
            }
            let text = |value: Option<&Value>| value.and_then(Value::as_str).unwrap_or_default().to_owned();
            out.insert("n".to_owned(), json!(text(bases.get("bn")) + &text(record.get("n"))));
            let unit = record.get("u").or(bases.get("bu"));
            out.extend(unit.map(|unit| ("u".to_owned(), unit.clone())));
            let time = number(bases.get("bt")).unwrap_or(0.0) + number(record.get("t")).unwrap_or(0.0);
            let time = if time < 268_435_456.0 { time + NOW } else { time };
            out.insert("t".to_owned(), json!(time));
            let version = bases.get("bver").filter(|version| **version != json!(10));
            out.extend(version.map(|version| ("bver".to_owned(), version.clone())));
            all.push(out);
        }
        all.sort_by(|a, b| a["t"].as_f64().unwrap().total_cmp(&b["t"].as_f64().unwrap()));
        all
    }

    fn as_floats(mut record: BTreeMap<String, Value>) -> BTreeMap<String, Value> {
        for value in record.values_mut().filter(|value| value.is_number()) {
            *value = json!(value.as_f64());
        }
        record
    }

    #[test]
    fn the_resolver_of_this_test_does_as_the_rfc_does() {
        // Golden table: RFC 8428's own examples and corners made for it; see the table's head.
        let table = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/reference/wire_senml.csv");
        let mut rows = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(table).unwrap();
        let mut checked = 0;
        for row in rows.records() {
            let row = row.unwrap();
            if &row[2] != "true" || row[3].is_empty() {
                continue;
            }
            let ours = resolved(&serde_json::from_str(&row[3]).unwrap());
            let theirs: Vec<BTreeMap<String, Value>> = serde_json::from_str(&row[5]).unwrap();
            let floats = |list: Vec<_>| list.into_iter().map(as_floats).collect::<Vec<_>>();
            assert_eq!(floats(ours), floats(theirs), "{}", &row[0]);
            checked += 1;
        }
        assert!(checked >= 15, "{checked}");
    }

    fn reading(probe: &str, quantity: Quantity, at_ms: i64, value: f64, reason: Reason) -> Reading {
        Reading { probe: probe.into(), quantity, value, at_ms, reason }
    }

    #[test]
    fn what_goes_out_resolves_to_the_readings_in_the_registrys_units() {
        let mut sheet = Sheet::new(Form::Senml, "0f5a");
        let at = 1_780_272_000_250;
        let moisture = |seconds: i64, value| {
            reading("-bed", Quantity::SoilMoisture, at + seconds * 1_000, value, Reason::None)
        };
        let mut text = sheet.head().to_owned();
        text += &sheet.piece(&[moisture(0, 45.5), moisture(60, 45.25)]);
        text += &sheet.piece(&[reading("post", Quantity::Pressure, at, 101.325, Reason::Missing)]);
        text += &sheet.piece(&[reading("post", Quantity::Pressure, at, 101.325, Reason::None)]);
        text += &sheet.piece(&[reading("post", Quantity::Rain, at, 2.5, Reason::None)]);
        text += sheet.tail();
        let resolved = resolved(&serde_json::from_str(&text).unwrap());
        let told: Vec<(&str, f64, f64, &str)> = resolved
            .iter()
            .map(|record| {
                let number = |key: &str| record[key].as_f64().unwrap();
                (record["n"].as_str().unwrap(), number("t"), number("v"), record["u"].as_str().unwrap())
            })
            .collect();
        let expected = [
            ("0f5a:-bed:soil_moisture", 1_780_272_000.25, 0.455, "/"),
            ("0f5a:post:pressure", 1_780_272_000.25, 101_325.0, "Pa"),
            ("0f5a:post:rain", 1_780_272_000.25, 0.0025, "m"),
            ("0f5a:-bed:soil_moisture", 1_780_272_060.25, 0.4525, "/"),
        ];
        assert_eq!(told, expected);
    }

    #[test]
    fn an_empty_pack_is_a_pack() {
        let sheet = Sheet::new(Form::Senml, "a");
        assert_eq!(
            serde_json::from_str::<Value>(&(sheet.head().to_owned() + sheet.tail())).unwrap(),
            json!([])
        );
    }

    #[test]
    fn every_name_is_one_that_senml_allows() {
        // RFC 8428, section 4.5.1: letters, digits and - : . / _, and a letter or digit first.
        for quantity in Quantity::ALL {
            let name = format!("0f5a:{}:{quantity}", "-_.Az9");
            assert!(name.starts_with(|first: char| first.is_ascii_alphanumeric()));
            assert!(name.chars().all(|c| c.is_ascii_alphanumeric() || "-:./_".contains(c)), "{name}");
        }
    }
}
