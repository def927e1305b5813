//! Quantities.
use serde::{Deserialize, Serialize};
/// What a probe measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Quantity {
    AirTemperature,
    RelativeHumidity,
    LeafTemperature,
    SoilTemperature,
    SoilMoisture,
    Light,
    Pressure,
    Co2,
    Rain,
    Wind,
    WaterFlow,
    Battery,
}
impl Quantity {
    /// Its name.
    pub fn as_str(self) -> &'static str {
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
        }
    }
    /// The canonical unit.
    pub fn unit(self) -> &'static str {
        match self {
            Self::AirTemperature | Self::LeafTemperature | Self::SoilTemperature => "°C",
            Self::RelativeHumidity => "%",
            _ => "",
        }
    }
    /// Decimals stored.
    pub fn decimals(self) -> u8 {
        2
    }
}
impl std::str::FromStr for Quantity {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        serde::Deserialize::deserialize(serde::de::value::StrDeserializer::<serde::de::value::Error>::new(
            text,
        ))
        .map_err(|e| e.to_string())
    }
}
