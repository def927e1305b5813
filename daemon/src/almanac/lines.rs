//! The lines a planting can bear, by the stages it is in.
//!
//! Stages are a set: a tomato flowers, swells and ripens at once. A stage that is only *possible* has its lines too,
//! and the words say "if in flower".

use agronomy::crop::{Crop, Severity, Stages, crop_line, line, night_line};

/// The limits in force for a planting, °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lines {
    /// Lowest moderate day line, where the crop has one.
    pub moderate_c: Option<f64>,
    /// Lowest severe (or worse) day line; the place line where the crop has none. Never absent.
    pub severe_c: f64,
    /// Lowest moderate night line.
    pub night_moderate_c: Option<f64>,
}

impl Lines {
    /// The lines of a crop in these stages; `place_line_c` stands in where the crop has none.
    pub fn of(crop: &Crop, stages: &Stages, place_line_c: f64) -> Self {
        let worse = [Severity::Severe, Severity::Extreme];
        let severe_c = worse.map(|severity| line(crop, severity, stages, place_line_c).celsius);
        Self {
            moderate_c: crop_line(crop, Severity::Moderate, stages).map(|line| line.celsius),
            severe_c: severe_c.into_iter().fold(place_line_c, f64::min),
            night_moderate_c: night_line(crop, Severity::Moderate, stages)
                .or_else(|| night_line(crop, Severity::Severe, stages))
                .map(|line| line.celsius),
        }
    }
}
