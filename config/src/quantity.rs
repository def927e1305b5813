//! The words for what is measured, and the units each may arrive in.
//!
//! Files name a quantity and a unit beside every value they describe; a unit that does not belong to the
//! quantity is a fault of the file, told before the first reading comes in. The conversion itself is no
//! business of this crate.

use crate::reader::{Table, one_of};

/// Every quantity with its units; the canonical one first.
const KNOWN: [(&str, &[&str]); 12] = [
    ("air_temperature", TEMPERATURE),
    ("relative_humidity", &["%", "fraction", "0.1 %"]),
    ("leaf_temperature", TEMPERATURE),
    ("soil_temperature", TEMPERATURE),
    ("soil_moisture", &["%", "fraction", "m³/m³", "m3/m3"]),
    ("light", &["W/m²", "W/m2", "lx", "klx", "µmol/m²/s", "umol/m2/s"]),
    ("pressure", &["kPa", "hPa", "mbar", "Pa"]),
    ("co2", &["ppm", "%"]),
    ("rain", &["mm", "in"]),
    ("wind", &["m/s", "km/h", "mph", "kn"]),
    ("water_flow", &["L/min", "l/min", "L/h", "l/h", "m³/h", "m3/h"]),
    ("battery", &["V", "mV"]),
];

const TEMPERATURE: &[&str] =
    &["°C", "C", "degC", "°F", "F", "degF", "K", "0.1 °C", "0.1 C", "0.01 °C", "0.01 C"];

/// What is measured, and in which unit it arrives. Both words are known and belong together.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Measured {
    /// The quantity, such as `air_temperature`.
    pub quantity: String,
    /// The unit it arrives in, such as `°C`.
    pub unit: String,
}

/// All quantities, in the order used wherever they are listed.
pub fn quantities() -> impl Iterator<Item = &'static str> + Clone {
    KNOWN.iter().map(|(quantity, _)| *quantity)
}

/// The units a quantity may arrive in, canonical one first; none for an unknown quantity.
pub fn units_of(quantity: &str) -> &'static [&'static str] {
    KNOWN.iter().find(|(known, _)| *known == quantity).map_or(&[], |(_, units)| units)
}

/// Checks a quantity that stands at a place of the text.
pub(crate) fn known_quantity(table: &Table<'_, '_>, at: usize, quantity: &str) -> Option<()> {
    table.choose("quantity", at, quantity, quantities()).map(|_| ())
}

/// Reads `unit` of a table for a quantity already read.
pub(crate) fn unit_for(table: &Table<'_, '_>, key: &str, quantity: &str) -> Option<String> {
    let units = units_of(quantity);
    let example = units.first().map_or_else(String::new, |unit| format!("{key} = \"{unit}\""));
    let unit = table.need(key, &example, table.text(key))?;
    if units.contains(&unit.as_str()) {
        return Some(unit);
    }
    let instead = one_of(units.iter().copied());
    table.fault(key, format!("{quantity} is not measured in {unit}; write {instead}"));
    None
}

/// Reads `quantity` and `unit` of a table.
pub(crate) fn measured(table: &Table<'_, '_>) -> Option<Measured> {
    let quantity = table.need("quantity", "quantity = \"air_temperature\"", table.text("quantity"));
    let known =
        quantity.filter(|quantity| known_quantity(table, table.place("quantity"), quantity).is_some());
    let Some(quantity) = known else {
        // The unit cannot be judged without its quantity, but it is no unknown key either.
        table.text("unit");
        return None;
    };
    let unit = unit_for(table, "unit", &quantity)?;
    Some(Measured { quantity, unit })
}
