//! A planting for the tests of whatever looks at plantings.

use agronomy::crop::figures::OwnFigures;

use super::Planting;
use crate::entry::Began;

/// Planted out in the house in 1970, with nothing noted since.
pub(crate) fn planted(crop: &str) -> Planting {
    Planting {
        id: "red".into(),
        crop: crop.into(),
        place: "house".into(),
        variety: None,
        count: None,
        container_l: None,
        began: Began::PlantedOut,
        from_ms: 0,
        ended_ms: None,
        first_flower_ms: None,
        first_ripe_ms: None,
        figures: OwnFigures::new(),
    }
}
