//! Everything there is to say about air of one temperature, humidity and pressure.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::{ashrae, density, fao56, heat, mixing};
use crate::units::{AirPressure, Celsius, RelativeHumidity};

/// Which published set of equations.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Formula {
    /// FAO-56: saturation over water throughout, wet bulb of a ventilated psychrometer.
    #[default]
    Fao56,
    /// ASHRAE Handbook: over ice below 0.01 °C, thermodynamic wet bulb.
    Ashrae,
}

impl Formula {
    /// Both sets.
    pub const ALL: [Self; 2] = [Self::Fao56, Self::Ashrae];

    /// The name used on the command line.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Fao56 => "fao56",
            Self::Ashrae => "ashrae",
        }
    }

    fn saturation(self, t: f64) -> f64 {
        match self {
            Self::Fao56 => fao56::saturation(t),
            Self::Ashrae => ashrae::saturation(t),
        }
    }
}

impl fmt::Display for Formula {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.pad(self.as_str())
    }
}

/// A word that names no set of equations.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is no formula; write fao56 or ashrae")]
pub struct UnknownFormula(pub String);

impl FromStr for Formula {
    type Err = UnknownFormula;

    fn from_str(name: &str) -> Result<Self, UnknownFormula> {
        Self::ALL.into_iter().find(|set| set.as_str() == name).ok_or_else(|| UnknownFormula(name.to_owned()))
    }
}

/// The vapour alone would reach the air pressure: water boils, and there is no air to speak of.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("at {air} and {humidity} the vapour reaches {vapour_kpa:.1} kPa, which boils under {pressure}")]
pub struct Boils {
    /// Temperature given.
    pub air: Celsius,
    /// Humidity given.
    pub humidity: RelativeHumidity,
    /// Pressure given.
    pub pressure: AirPressure,
    /// The vapour pressure they make.
    pub vapour_kpa: f64,
}

/// Air, fully described. Each field is named as the column the command `air` prints.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AirState {
    /// Saturation vapour pressure, kPa.
    pub svp_kpa: f64,
    /// Vapour pressure, kPa.
    pub vp_kpa: f64,
    /// Vapour-pressure deficit of the air, kPa.
    pub vpd_kpa: f64,
    /// Deficit from leaf to air, kPa, where a leaf temperature is given; negative when dew forms.
    pub leaf_vpd_kpa: Option<f64>,
    /// Dew point (ASHRAE: frost point below 0.01 °C); `None` for air with next to no vapour.
    pub dew_point_c: Option<f64>,
    /// Wet-bulb temperature.
    pub wet_bulb_c: f64,
    /// Vapour for each mass of dry air, kg/kg.
    pub humidity_ratio_kg_kg: f64,
    /// Vapour in a volume of air, g/m³.
    pub absolute_humidity_g_m3: f64,
    /// Vapour that volume could still take up, g/m³.
    pub humidity_deficit_g_m3: f64,
    /// Heat for each mass of dry air, kJ/kg.
    pub enthalpy_kj_kg: f64,
}

impl AirState {
    /// Reckons all fields by one set of equations.
    ///
    /// # Errors
    ///
    /// [`Boils`] when the vapour pressure reaches the air pressure.
    pub fn try_new(
        formula: Formula,
        air: Celsius,
        humidity: RelativeHumidity,
        pressure: AirPressure,
        leaf: Option<Celsius>,
    ) -> Result<Self, Boils> {
        let t = air.get();
        let saturated = formula.saturation(t);
        let vapour = saturated * humidity.get() / 100.0;
        let deficit = saturated * (1.0 - humidity.get() / 100.0);
        let ratio = mixing(vapour, pressure.get());
        let ratio = ratio.ok_or(Boils { air, humidity, pressure, vapour_kpa: vapour })?;
        let (dew, wet) = match formula {
            Formula::Fao56 => {
                (fao56::dew_temperature(vapour), fao56::wet_temperature(t, vapour, pressure.get()))
            }
            Formula::Ashrae => {
                let dew = ashrae::dew_temperature(vapour);
                let low = dew.unwrap_or(Celsius::MIN).get();
                (dew, ashrae::wet_temperature(t, low, ratio, pressure.get()))
            }
        };
        Ok(Self {
            svp_kpa: saturated,
            vp_kpa: vapour,
            vpd_kpa: deficit,
            leaf_vpd_kpa: leaf.map(|leaf| formula.saturation(leaf.get()) - vapour),
            dew_point_c: dew.map(Celsius::get),
            wet_bulb_c: wet,
            humidity_ratio_kg_kg: ratio,
            absolute_humidity_g_m3: density(vapour, air),
            humidity_deficit_g_m3: density(deficit, air),
            enthalpy_kj_kg: heat(t, ratio),
        })
    }
}
