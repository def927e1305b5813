//! What a probe can measure, the unit we keep it in, and the units it may arrive in.
//!
//! Every quantity has one canonical unit; readings are converted once, at the door, and never again. The
//! hard range is what an instrument that works can say: outside it a reading is refused, whatever the
//! weather.

use std::fmt;
use std::ops::RangeInclusive;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

mod conversion;

pub use conversion::UnitError;

/// What is around a probe, for what it may say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Surroundings {
    /// The open air, or open ground.
    Open,
    /// Glass or film.
    UnderCover,
    /// A compost heap.
    Compost,
}

/// One kind of thing that is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Temperature of the air in shade, °C.
    AirTemperature,
    /// Relative humidity of the air over water, %.
    RelativeHumidity,
    /// Temperature of a leaf, °C.
    LeafTemperature,
    /// Temperature of the soil at the probe's depth, °C.
    SoilTemperature,
    /// Water in the soil by volume, %.
    SoilMoisture,
    /// Sunlight on a level surface, W/m².
    Light,
    /// Air pressure at the place, kPa.
    Pressure,
    /// Carbon dioxide in the air by volume, ppm.
    Co2,
    /// Rain since the reading before, mm.
    Rain,
    /// Wind speed, m/s.
    Wind,
    /// Water through a pipe, L/min.
    WaterFlow,
    /// A probe's battery, V.
    Battery,
    /// What is left in a probe's battery, by its own reckoning, %.
    BatteryCharge,
    /// Temperature of the board's own processor, °C.
    BoardTemperature,
    /// Whether the board's supply holds its voltage: 1, or 0 while the board says that it is weak.
    Supply,
    /// Room left on the disk of the data folder, MiB.
    FreeSpace,
    /// Files that can still be made on that disk.
    FreeFiles,
    /// What the data folder itself takes, MiB.
    LedgerSpace,
}

impl Quantity {
    /// Every quantity, in the order used wherever they are listed.
    pub const ALL: [Self; 18] = [
        Self::AirTemperature,
        Self::RelativeHumidity,
        Self::LeafTemperature,
        Self::SoilTemperature,
        Self::SoilMoisture,
        Self::Light,
        Self::Pressure,
        Self::Co2,
        Self::Rain,
        Self::Wind,
        Self::WaterFlow,
        Self::Battery,
        Self::BatteryCharge,
        Self::BoardTemperature,
        Self::Supply,
        Self::FreeSpace,
        Self::FreeFiles,
        Self::LedgerSpace,
    ];

    /// The name used in files, messages and the ledger.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::AirTemperature => "air_temperature",
            Self::RelativeHumidity => "relative_humidity",
            Self::LeafTemperature => "leaf_temperature",
            Self::SoilTemperature => "soil_temperature",
            Self::SoilMoisture => "soil_moisture",
            Self::Light => "light",
            Self::Pressure => "pressure",
            Self::Co2 => "co2",
            Self::Rain => "rain",
            Self::Wind => "wind",
            Self::WaterFlow => "water_flow",
            Self::Battery => "battery",
            Self::BatteryCharge => "battery_charge",
            Self::BoardTemperature => "board_temperature",
            Self::Supply => "supply",
            Self::FreeSpace => "free_space",
            Self::FreeFiles => "free_files",
            Self::LedgerSpace => "ledger_space",
        }
    }

    /// Whether it is measured of the board itself, and not of the garden or of a probe.
    pub const fn is_of_the_board(self) -> bool {
        matches!(
            self,
            Self::BoardTemperature | Self::Supply | Self::FreeSpace | Self::FreeFiles | Self::LedgerSpace
        )
    }

    /// The canonical unit, as it is shown.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::AirTemperature | Self::LeafTemperature | Self::SoilTemperature | Self::BoardTemperature => {
                "°C"
            }
            Self::RelativeHumidity | Self::SoilMoisture | Self::BatteryCharge => "%",
            Self::Light => "W/m²",
            Self::Pressure => "kPa",
            Self::Co2 => "ppm",
            Self::Rain => "mm",
            Self::Wind => "m/s",
            Self::WaterFlow => "L/min",
            Self::Battery => "V",
            Self::Supply => "1 or 0",
            Self::FreeSpace | Self::LedgerSpace => "MiB",
            Self::FreeFiles => "files",
        }
    }

    /// Decimals of the canonical unit that are stored: one tick is 10 to the power of minus this.
    ///
    /// Each is at least ten times finer than a good instrument of its kind is exact.
    pub const fn decimals(self) -> u8 {
        match self {
            Self::Co2 | Self::Supply | Self::FreeFiles => 0,
            Self::Light | Self::BatteryCharge | Self::BoardTemperature => 1,
            Self::AirTemperature
            | Self::LeafTemperature
            | Self::SoilTemperature
            | Self::RelativeHumidity
            | Self::SoilMoisture
            | Self::FreeSpace
            | Self::LedgerSpace
            | Self::Wind => 2,
            Self::Pressure | Self::Rain | Self::WaterFlow | Self::Battery => 3,
        }
    }

    /// What a working instrument can say where it hangs, in the canonical unit.
    ///
    /// Humidity runs to 105 because a wet film over-reads; see
    /// [`RelativeHumidity::from_probe`](crate::units::RelativeHumidity::from_probe).
    ///
    /// # Source
    ///
    /// Common practice for all; wind as the range asked of a station anemometer (WMO-No. 8, from memory).
    pub const fn hard_range(self, around: Surroundings) -> RangeInclusive<f64> {
        match self {
            Self::AirTemperature if matches!(around, Surroundings::UnderCover) => -30.0..=70.0,
            Self::AirTemperature => -30.0..=65.0,
            // A leaf in full sun runs some ten degrees above the air.
            Self::LeafTemperature => -30.0..=75.0,
            // A heap that heats itself passes 80; at the boil nothing grows hotter by rotting.
            Self::SoilTemperature if matches!(around, Surroundings::Compost) => -15.0..=100.0,
            // The depth is not known here, so this is the range of the top 5 cm.
            Self::SoilTemperature => -15.0..=65.0,
            Self::RelativeHumidity => 0.0..=105.0,
            Self::SoilMoisture => 0.0..=60.0,
            Self::Light => 0.0..=1400.0,
            Self::Pressure => 50.0..=110.0,
            Self::Co2 => 0.0..=40_000.0,
            Self::Rain | Self::BatteryCharge => 0.0..=100.0,
            Self::Wind => 0.0..=75.0,
            Self::WaterFlow => 0.0..=500.0,
            Self::Battery => 0.0..=30.0,
            Self::BoardTemperature => -40.0..=125.0,
            Self::Supply => 0.0..=1.0,
            // Sixteen TiB: what the hundredths of a ledger's numbers hold.
            Self::FreeSpace | Self::LedgerSpace => 0.0..=16_777_216.0,
            Self::FreeFiles => 0.0..=2_000_000_000.0,
        }
    }

    /// Every unit that a site file may name for this quantity: the canonical one first, and the spelling to
    /// recommend before those that are only understood.
    pub fn units(self) -> impl Iterator<Item = &'static str> + Clone {
        conversion::names(self)
    }

    /// Converts a value in a unit that a site file may name into the canonical unit.
    ///
    /// Light in lux or in photons is converted as daylight: 1 W/m² of sun is 2.06 µmol/m²/s of
    /// photosynthetic light, and 54 lx are 1 µmol/m²/s, so 1 W/m² is 111.24 lx. Under lamps it is wrong.
    ///
    /// # Errors
    ///
    /// [`UnitError`] when the unit is not one for this quantity (it lists those that are), or the value is
    /// not a finite number.
    ///
    /// # Source
    ///
    /// Daylight: Thimijan & Heins (1983), HortScience 18, 818-822, both factors from memory. The others are
    /// definitions.
    pub fn from_unit(self, value: f64, unit: &str) -> Result<f64, UnitError> {
        conversion::to_canonical(self, value, unit)
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.pad(self.as_str())
    }
}

/// A word that names no quantity.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "{0:?} is no quantity; write one of air_temperature, relative_humidity, leaf_temperature, \
     soil_temperature, soil_moisture, light, pressure, co2, rain, wind, water_flow, battery, \
     battery_charge, board_temperature, supply, free_space, free_files, ledger_space"
)]
pub struct UnknownQuantity(pub String);

impl FromStr for Quantity {
    type Err = UnknownQuantity;

    fn from_str(name: &str) -> Result<Self, UnknownQuantity> {
        Self::ALL
            .into_iter()
            .find(|quantity| quantity.as_str() == name)
            .ok_or_else(|| UnknownQuantity(name.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde::de::IntoDeserializer;
    use serde::de::value::{Error, StrDeserializer};

    #[test]
    fn a_name_reads_back_as_its_quantity_in_text_and_in_files() {
        for quantity in Quantity::ALL {
            assert_eq!(quantity.as_str().parse(), Ok(quantity));
            let word: StrDeserializer<'_, Error> = quantity.as_str().into_deserializer();
            assert_eq!(Quantity::deserialize(word), Ok(quantity));
        }
    }

    #[test]
    fn an_unknown_name_is_told_every_known_one() {
        let message = "heat".parse::<Quantity>().unwrap_err().to_string();
        for quantity in Quantity::ALL {
            assert!(message.contains(quantity.as_str()), "{message}");
        }
    }

    #[test]
    fn cover_lets_the_air_be_hotter_and_a_heap_its_inside_and_neither_changes_anything_else() {
        for quantity in Quantity::ALL {
            let [open, covered, heap] = [Surroundings::Open, Surroundings::UnderCover, Surroundings::Compost]
                .map(|it| quantity.hard_range(it));
            assert_eq!(open == covered, quantity != Quantity::AirTemperature);
            assert_eq!(open == heap, quantity != Quantity::SoilTemperature);
        }
        assert_eq!(Quantity::AirTemperature.hard_range(Surroundings::UnderCover), -30.0..=70.0);
    }
}
