//! Where a site is, and which clock it lives by.

use crate::reader::Table;
use crate::words::nearest;
use crate::zone::{Zone, ZoneError, Zones, offset_text, parse_offset};

/// A site's name, position and time.
#[derive(Clone, Debug, PartialEq)]
pub struct Position {
    /// What the grower calls it.
    pub name: String,
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// Metres above the sea.
    pub altitude_m: f64,
    /// The civil clock, for showing times.
    pub zone: Zone,
    /// The offset that fixes the site's days \[s east of UTC\].
    pub standard_offset_s: i32,
}

/// Reads `[site]`.
pub(crate) fn position(root: &Table<'_, '_>, zones: &Zones) -> Option<Position> {
    let site = root.need("site", "a table [site]", root.table("site", "[site]"))?;
    let name = site.need("name", "name = \"Bindweed Yard\"", site.line("name"));
    let latitude =
        site.need("latitude", "latitude = 45.30", site.number("latitude", "° north", -90.0..=90.0));
    let longitude =
        site.need("longitude", "longitude = 11.90", site.number("longitude", "° east", -180.0..=180.0));
    let altitude_m = site.number("altitude_m", "m", -430.0..=6000.0);
    let (zone, standard_offset_s) = clock(&site, zones).unzip();
    Some(Position {
        name: name?,
        latitude: latitude?,
        longitude: longitude?,
        altitude_m: altitude_m.unwrap_or(0.0),
        zone: zone?,
        standard_offset_s: standard_offset_s?,
    })
}

fn clock(site: &Table<'_, '_>, zones: &Zones) -> Option<(Zone, i32)> {
    let written = site.text("zone");
    let offset = site.text("standard_offset").map(|text| (parse_offset(&text), text));
    if let Some((None, text)) = &offset {
        site.fault("standard_offset", format!("standard_offset {text} is no offset; write it as \"+01:00\""));
    }
    let offset = offset.and_then(|(offset, _)| offset);
    if !site.has("zone") {
        let offset = site.need(
            "zone",
            "zone = \"Europe/Rome\", or standard_offset = \"+01:00\"",
            offset.or_else(|| {
                // A wrong offset has been told already; do not ask for a zone beside it.
                site.has("standard_offset").then_some(0)
            }),
        )?;
        return Some((Zone::fixed(offset), offset));
    }
    let zone = load(site, "zone", zones, &written?)?;
    let standard = zone.standard_offset();
    if offset.is_some_and(|offset| offset != standard) {
        let right = offset_text(standard);
        site.fault(
            "standard_offset",
            format!("{} keeps another standard time; write {right} or leave it out", zone.name()),
        );
    }
    Some((zone, standard))
}

/// Loads the zone named at a key, or says which name was meant.
pub(crate) fn load(table: &Table<'_, '_>, key: &str, zones: &Zones, name: &str) -> Option<Zone> {
    match zones.load(name) {
        Ok(zone) => Some(zone),
        Err(ZoneError::Unknown { .. }) => {
            let names = zones.names();
            let instead =
                nearest(name, names.iter().map(String::as_str)).unwrap_or("a name such as Europe/Rome");
            table.fault(key, format!("unknown time zone {name}; write {instead}"));
            None
        }
        Err(error) => {
            table.fault(key, format!("{error}; write an offset instead, or mend the tzdata package"));
            None
        }
    }
}
