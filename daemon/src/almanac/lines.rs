//! The lines a planting can bear, by the stages it is in.
//!
//! Stages are a set: a tomato flowers, swells and ripens at once. A stage that nobody has noted is
//! *possible*: its rules run, and the words say "if it is in flower".

use agronomy::crop::{Crop, Severity, Stage, Stages, crop_line, line, night_line};

use crate::entry::Began;
use crate::ground::Planting;

/// From planting out to here a young plant may still be a seedling, ms (common practice: three weeks).
const SEEDLING_MS: i64 = 21 * 86_400_000;

/// Stages in words: `flowering, (ripening)`; possible ones in brackets.
pub fn words(stages: &Stages) -> String {
    let active = stages.active.iter().map(|stage| stage.as_str().replace('_', " "));
    let possible = stages.possible.iter().map(|stage| format!("({})", stage.as_str().replace('_', " ")));
    active.chain(possible).collect::<Vec<_>>().join(", ")
}

/// The stages a planting is in at an instant, by its notes: active where noted, possible where nothing
/// speaks against them.
pub fn stages(planting: &Planting, crop: &Crop, at_ms: i64) -> Stages {
    let age_ms = at_ms - planting.from_ms;
    let flowered = planting.first_flower_ms.is_some_and(|noted| noted <= at_ms);
    let ripened = planting.first_ripe_ms.is_some_and(|noted| noted <= at_ms);
    let mut stages = Stages::default();
    for stage in crop.heat_rules.iter().flat_map(|rule| rule.stages.iter().copied()) {
        let noted = match stage {
            Stage::Flowering => flowered,
            Stage::Fruiting | Stage::Ripening | Stage::Picking => ripened,
            _ => false,
        };
        let possible = match stage {
            Stage::Any | Stage::Dormant | Stage::Curing => false,
            Stage::Germination => planting.began == Began::Sown && age_ms < SEEDLING_MS,
            Stage::Seedling => age_ms < SEEDLING_MS,
            _ => true,
        };
        if noted {
            stages.active.insert(stage);
        } else if possible {
            stages.possible.insert(stage);
        }
    }
    stages
}

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
