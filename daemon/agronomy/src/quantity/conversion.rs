//! The units a site file may name for each quantity, and the way from each to the canonical one.

use std::fmt::Write as _;

use super::Quantity;

/// Why a value was not converted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum UnitError {
    /// The unit is not one in which this quantity is read.
    #[error("{quantity} is not read in {unit:?}; write one of {}", listed(*quantity))]
    Unknown {
        /// The quantity that was to be read.
        quantity: Quantity,
        /// The unit as it was written.
        unit: String,
    },
    /// The value is NaN or infinite.
    #[error("{quantity} of {value} is not a number to convert")]
    NotFinite {
        /// The quantity that was to be read.
        quantity: Quantity,
        /// The value given.
        value: f64,
    },
}

/// Canonical value = (value + `add`) × `times` / `by`: a product and a quotient, because a tenth is not a
/// binary fraction and 235 / 10 is 23.5 exactly.
struct Unit {
    /// The spelling to recommend, then those that are understood.
    names: &'static [&'static str],
    add: f64,
    times: f64,
    by: f64,
}

const fn unit(names: &'static [&'static str], times: f64, by: f64) -> Unit {
    Unit { names, add: 0.0, times, by }
}

const TEMPERATURE: &[Unit] = &[
    unit(&["°C", "C", "degC"], 1.0, 1.0),
    Unit { names: &["°F", "F", "degF"], add: -32.0, times: 5.0, by: 9.0 },
    Unit { names: &["K"], add: -273.15, times: 1.0, by: 1.0 },
    unit(&["0.1 °C", "0.1 C"], 1.0, 10.0),
    unit(&["0.01 °C", "0.01 C"], 1.0, 100.0),
];
const HUMIDITY: &[Unit] =
    &[unit(&["%"], 1.0, 1.0), unit(&["fraction"], 100.0, 1.0), unit(&["0.1 %"], 1.0, 10.0)];
const MOISTURE: &[Unit] = &[unit(&["%"], 1.0, 1.0), unit(&["fraction", "m³/m³", "m3/m3"], 100.0, 1.0)];
const PHOTONS_PER_JOULE: f64 = crate::light::PHOTONS_PER_JOULE_OF_SUN;
const LUX_PER_PHOTONS: f64 = crate::light::Spectrum::Daylight.lux_per_photon_flux();
const LIGHT: &[Unit] = &[
    unit(&["W/m²", "W/m2"], 1.0, 1.0),
    unit(&["lx"], 1.0, LUX_PER_PHOTONS * PHOTONS_PER_JOULE),
    unit(&["klx"], 1000.0, LUX_PER_PHOTONS * PHOTONS_PER_JOULE),
    unit(&["µmol/m²/s", "umol/m2/s"], 1.0, PHOTONS_PER_JOULE),
];
const PRESSURE: &[Unit] =
    &[unit(&["kPa"], 1.0, 1.0), unit(&["hPa", "mbar"], 1.0, 10.0), unit(&["Pa"], 1.0, 1000.0)];
const CO2: &[Unit] = &[unit(&["ppm"], 1.0, 1.0), unit(&["%"], 10_000.0, 1.0)];
const RAIN: &[Unit] = &[unit(&["mm"], 1.0, 1.0), unit(&["in"], 25.4, 1.0)];
const WIND: &[Unit] = &[
    unit(&["m/s"], 1.0, 1.0),
    unit(&["km/h"], 1.0, 3.6),
    unit(&["mph"], 0.44704, 1.0),
    unit(&["kn"], 1852.0, 3600.0),
];
const FLOW: &[Unit] = &[
    unit(&["L/min", "l/min"], 1.0, 1.0),
    unit(&["L/h", "l/h"], 1.0, 60.0),
    unit(&["m³/h", "m3/h"], 1000.0, 60.0),
];
const CHARGE: &[Unit] = &[unit(&["%"], 1.0, 1.0), unit(&["fraction"], 100.0, 1.0)];
const SUPPLY: &[Unit] = &[unit(&["1 or 0"], 1.0, 1.0)];
const SPACE: &[Unit] = &[unit(&["MiB"], 1.0, 1.0), unit(&["GiB"], 1024.0, 1.0)];
const FILES: &[Unit] = &[unit(&["files"], 1.0, 1.0)];
const BATTERY: &[Unit] = &[unit(&["V"], 1.0, 1.0), unit(&["mV"], 1.0, 1000.0)];

const fn units(quantity: Quantity) -> &'static [Unit] {
    match quantity {
        Quantity::AirTemperature
        | Quantity::LeafTemperature
        | Quantity::SoilTemperature
        | Quantity::BoardTemperature => TEMPERATURE,
        Quantity::RelativeHumidity => HUMIDITY,
        Quantity::SoilMoisture => MOISTURE,
        Quantity::Light => LIGHT,
        Quantity::Pressure => PRESSURE,
        Quantity::Co2 => CO2,
        Quantity::Rain => RAIN,
        Quantity::Wind => WIND,
        Quantity::WaterFlow => FLOW,
        Quantity::Battery => BATTERY,
        Quantity::BatteryCharge => CHARGE,
        Quantity::Supply => SUPPLY,
        Quantity::FreeSpace | Quantity::LedgerSpace => SPACE,
        Quantity::FreeFiles => FILES,
    }
}

fn listed(quantity: Quantity) -> String {
    let mut list = String::new();
    for unit in units(quantity) {
        let comma = if list.is_empty() { "" } else { ", " };
        // Writing to a String cannot fail.
        let _ = write!(list, "{comma}{:?}", unit.names[0]);
    }
    list
}

pub(super) fn names(quantity: Quantity) -> impl Iterator<Item = &'static str> + Clone {
    units(quantity).iter().flat_map(|unit| unit.names.iter().copied())
}

pub(super) fn to_canonical(quantity: Quantity, value: f64, name: &str) -> Result<f64, UnitError> {
    let Some(unit) = units(quantity).iter().find(|unit| unit.names.contains(&name)) else {
        return Err(UnitError::Unknown { quantity, unit: name.to_owned() });
    };
    let canonical = (value + unit.add) * unit.times / unit.by;
    if canonical.is_finite() { Ok(canonical) } else { Err(UnitError::NotFinite { quantity, value }) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fixed_points_of_the_temperature_scales_meet() {
        // Definitions: water freezes at 32 °F = 273.15 K and boils at 212 °F; -40 is the same on both.
        let air = Quantity::AirTemperature;
        for (value, unit, celsius) in [
            (32.0, "°F", 0.0),
            (212.0, "F", 100.0),
            (-40.0, "degF", -40.0),
            (273.15, "K", 0.0),
            (235.0, "0.1 °C", 23.5),
            (4404.0, "0.01 °C", 44.04),
            (23.5, "C", 23.5),
        ] {
            assert_eq!(air.from_unit(value, unit), Ok(celsius), "{value} {unit}");
        }
    }

    #[test]
    fn other_units_follow_their_definitions() {
        for (quantity, value, unit, canonical) in [
            (Quantity::RelativeHumidity, 0.54, "fraction", 54.0),
            (Quantity::Pressure, 1013.25, "hPa", 101.325),
            (Quantity::Pressure, 101_325.0, "Pa", 101.325),
            (Quantity::Wind, 36.0, "km/h", 10.0),
            (Quantity::Rain, 1.0, "in", 25.4),
            (Quantity::WaterFlow, 120.0, "L/h", 2.0),
            (Quantity::Battery, 3300.0, "mV", 3.3),
            (Quantity::Light, 111.24, "klx", 1000.0),
            (Quantity::SoilMoisture, 0.25, "m³/m³", 25.0),
        ] {
            let got = quantity.from_unit(value, unit).unwrap();
            assert!((got - canonical).abs() < 1e-9, "{quantity} {value} {unit}: {got}");
        }
    }

    #[test]
    fn the_canonical_unit_changes_nothing() {
        for quantity in Quantity::ALL {
            assert_eq!(quantity.from_unit(17.3, quantity.unit()), Ok(17.3), "{quantity}");
        }
    }

    #[test]
    fn every_unit_that_is_listed_converts_and_the_canonical_one_comes_first() {
        for quantity in Quantity::ALL {
            assert_eq!(quantity.units().next(), Some(quantity.unit()));
            for unit in quantity.units() {
                assert!(quantity.from_unit(17.3, unit).is_ok(), "{quantity} in {unit}");
            }
        }
        let light: Vec<_> = Quantity::Light.units().collect();
        assert_eq!(light, ["W/m²", "W/m2", "lx", "klx", "µmol/m²/s", "umol/m2/s"]);
    }

    #[test]
    fn a_wrong_unit_is_told_what_may_be_written() {
        let message = Quantity::Pressure.from_unit(1.0, "psi").unwrap_err().to_string();
        assert_eq!(message, r#"pressure is not read in "psi"; write one of "kPa", "hPa", "Pa""#);
    }

    #[test]
    fn nan_and_infinity_are_not_converted() {
        for bad in [f64::NAN, f64::INFINITY] {
            let refusal = Quantity::Light.from_unit(bad, "klx");
            assert!(matches!(refusal, Err(UnitError::NotFinite { .. })), "{refusal:?}");
        }
    }
}
