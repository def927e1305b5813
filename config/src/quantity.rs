//! What a file says is measured, and in which unit.
//!
//! Files name a quantity and a unit beside every value they describe; a unit that does not belong to the
//! quantity is a fault of the file, told before the first reading comes in. Words, units and the conversion
//! itself are those of [`agronomy::quantity`].

use agronomy::quantity::Quantity;

use crate::reader::{Table, one_of};

/// What is measured, and in which unit it arrives. The unit is one of the quantity's.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Measured {
    /// The quantity.
    pub quantity: Quantity,
    /// The unit it arrives in, such as `°C`; [`Quantity::from_unit`] takes it.
    pub unit: String,
}

/// Reads the word for a quantity that stands at a place of the text.
pub(crate) fn known_quantity(table: &Table<'_, '_>, at: usize, word: &str) -> Option<Quantity> {
    let words = Quantity::ALL.iter().map(|quantity| quantity.as_str());
    table.choose("quantity", at, word, words)?;
    word.parse().ok()
}

/// Reads `unit` of a table for a quantity already read.
pub(crate) fn unit_for(table: &Table<'_, '_>, key: &str, quantity: Quantity) -> Option<String> {
    let example = format!("{key} = \"{}\"", quantity.unit());
    let unit = table.need(key, &example, table.text(key))?;
    if quantity.units().any(|known| known == unit) {
        return Some(unit);
    }
    let instead = one_of(quantity.units());
    table.fault(key, format!("{quantity} is not measured in {unit}; write {instead}"));
    None
}

/// Reads `quantity` and `unit` of a table.
pub(crate) fn measured(table: &Table<'_, '_>) -> Option<Measured> {
    let word = table.need("quantity", "quantity = \"air_temperature\"", table.text("quantity"));
    let known = word.and_then(|word| known_quantity(table, table.place("quantity"), &word));
    let Some(quantity) = known else {
        // The unit cannot be judged without its quantity, but it is no unknown key either.
        table.text("unit");
        return None;
    };
    let unit = unit_for(table, "unit", quantity)?;
    Some(Measured { quantity, unit })
}
