//! An invented house with one probe in it: the start of a site file or ground file, and records of the probe.

use std::path::Path;

use serde_json::Value;

use crate::program::Garden;

/// The record's column of air temperature, `t`, °C.
pub const AIR: [&str; 3] = ["t", "air_temperature", "°C"];
/// The record's column of humidity, `rh`, %.
pub const HUMIDITY: [&str; 3] = ["rh", "relative_humidity", "%"];

/// The house `long` and the probe `post`, which speaks every so many seconds. Plantings may follow.
pub fn start(usual_interval_s: u32) -> String {
    format!(
        "[start]
[[start.place]]
id = \"long\"
name = \"Long House\"
kind = \"house\"
[[start.probe]]
probe = \"post\"
place = \"long\"
shelter = \"screened\"
usual_interval_s = {usual_interval_s}
"
    )
}

/// A planting in the house, planted out on 1 June 2026. Keys of its own may follow.
pub fn planting(id: &str, crop: &str) -> String {
    format!(
        "[[start.planting]]\nid = \"{id}\"\ncrop = \"{crop}\"\nplace = \"long\"\nplanted_out = 2026-06-01\n"
    )
}

/// Writes a record of the probe, `air.csv`, and its field map, `map.toml`; their paths, the map's first.
///
/// Each row begins with its time by the garden's own clock, an hour ahead of UTC: `2026-07-01 12:00`.
///
/// # Panics
///
/// When there is no room for them.
pub fn write_record(folder: &Path, usual_interval_s: u32, columns: &[[&str; 3]], rows: &str) -> [String; 2] {
    let mut map = format!(
        "[usual]
probe = \"post\"
usual_interval_s = {usual_interval_s}
time = {{ column = \"at\", formats = [\"%Y-%m-%d %H:%M\"], offset = \"+01:00\" }}
"
    );
    for [column, quantity, unit] in columns {
        map += &format!(
            "[[series]]\nfile = \"air.csv\"\ncolumn = \"{column}\"\nquantity = \"{quantity}\"\nunit = \"{unit}\"\n"
        );
    }
    let names: Vec<&str> = columns.iter().map(|[column, ..]| *column).collect();
    let head = format!("at,{}\n", names.join(","));
    [("map.toml", map), ("air.csv", head + rows)].map(|(name, text)| {
        let path = folder.join(name);
        std::fs::write(&path, text).expect("room for a record");
        path.display().to_string()
    })
}

/// Takes such a record into a garden; what the program says of it.
pub fn take_in(garden: &Garden, [map, air]: &[String; 2]) -> Value {
    garden.json(&["take-in", "--json", "--record", map, air])
}
