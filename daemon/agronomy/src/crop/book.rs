//! A whole crop book: the crops, the soils, and the limits that belong to no crop.

use std::collections::BTreeMap;

use serde::Serialize;

use super::{Crop, Figure};

/// Soil of one texture.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Soil {
    /// Water held at field capacity \[m³/m³\], lowest and highest.
    pub field_capacity: Option<[f64; 2]>,
    /// Water held at the wilting point \[m³/m³\].
    pub wilting_point: Option<[f64; 2]>,
    /// Readily evaporable water of the top 0.10 m \[mm\].
    pub readily_evaporable_mm: Option<[f64; 2]>,
    /// Totally evaporable water of the top 0.10 m \[mm\].
    pub totally_evaporable_mm: Option<[f64; 2]>,
    /// Share of the volume that plants can draw, for potting mixes (0 to 1).
    pub available_fraction: Option<[f64; 2]>,
    /// Sources.
    pub sources: Vec<String>,
}

/// Limits that belong to no crop.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Global {
    /// The heat line of every place under cover \[°C\].
    pub place_heat_c: Figure,
    /// How long it must hold \[min\].
    pub place_heat_minutes: Figure,
    /// Threshold for counting hours across crops \[°C\].
    pub heat_hour_default_c: Figure,
    /// Humidity at which a canopy is taken as wet \[%\].
    pub canopy_wet_rh_pct: Figure,
    /// Deficit below which disease is favoured \[kPa\].
    pub disease_low_vpd_kpa: Figure,
    /// Deficit above which growth slows \[kPa\].
    pub excess_vpd_kpa: Figure,
    /// Heat index from which work outdoors is looked at \[°C\].
    pub human_heat_index_screen_c: Figure,
    /// Heat index of moderate risk to people \[°C\].
    pub human_heat_index_moderate_c: Figure,
    /// Heat index of high risk to people \[°C\].
    pub human_heat_index_high_c: Figure,
    /// Heat index of extreme risk to people \[°C\].
    pub human_heat_index_extreme_c: Figure,
    /// Compost temperature that kills seed and pathogens \[°C\].
    pub compost_kill_c: Figure,
    /// Days at it in a vessel.
    pub compost_invessel_days: Figure,
    /// Days at it in a windrow.
    pub compost_windrow_days: Figure,
    /// Turns within those days.
    pub compost_windrow_turns: Figure,
    /// Compost is too hot above this \[°C\].
    pub compost_max_c: Figure,
}

/// A checked crop book.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CropBook {
    /// Names this exact text: the schema number and a checksum, so that figures reckoned with another
    /// text are never taken for these.
    pub edition: String,
    /// How far the book may be trusted, in its own words.
    pub status: String,
    /// Limits that belong to no crop.
    pub global: Global,
    /// Soils by texture.
    pub soils: BTreeMap<String, Soil>,
    /// Crops by key.
    pub crops: BTreeMap<String, Crop>,
}
