//! The words a crop's rules are written in: how bad, in which stage, and what is measured.

use serde::{Deserialize, Serialize};

/// How bad a harm is, in the words of the Common Alerting Protocol 1.2, from least to worst.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// Quality slips; the crop goes on.
    Minor,
    /// Some loss of set, growth or quality.
    Moderate,
    /// Most of what is in the sensitive stage is lost or spoilt.
    Severe,
    /// The sensitive stage fails, or the plant is injured.
    Extreme,
}

impl Severity {
    /// All four, from least to worst.
    pub const ALL: [Self; 4] = [Self::Minor, Self::Moderate, Self::Severe, Self::Extreme];

    /// The word used in the crop book and on the wire.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Minor => "minor",
            Self::Moderate => "moderate",
            Self::Severe => "severe",
            Self::Extreme => "extreme",
        }
    }

    /// The severity of this word, if it is one.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|severity| severity.as_str() == word)
    }
}

/// A stage of growth. A planting is in several at once: a tomato flowers, swells and ripens together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// Sown, not yet up.
    Germination,
    /// Up, with its first leaves.
    Seedling,
    /// Growing leaf and root.
    Vegetative,
    /// Buds formed, none open.
    FlowerBud,
    /// Flowers open.
    Flowering,
    /// Fruit set and swelling.
    Fruiting,
    /// A head or heart is forming.
    Heading,
    /// Bulbs, roots or tubers swell.
    Bulking,
    /// Fruit colours and softens.
    Ripening,
    /// Being picked or cut.
    Picking,
    /// Lifted and drying.
    Curing,
    /// At rest.
    Dormant,
    /// Not a stage of its own: a rule for it runs in every stage.
    Any,
}

impl Stage {
    /// Every word the crop book may use, in the order of a season; `any` last.
    pub const ALL: [Self; 13] = [
        Self::Germination,
        Self::Seedling,
        Self::Vegetative,
        Self::FlowerBud,
        Self::Flowering,
        Self::Fruiting,
        Self::Heading,
        Self::Bulking,
        Self::Ripening,
        Self::Picking,
        Self::Curing,
        Self::Dormant,
        Self::Any,
    ];

    /// The word used in the crop book and on the wire.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Germination => "germination",
            Self::Seedling => "seedling",
            Self::Vegetative => "vegetative",
            Self::FlowerBud => "flower_bud",
            Self::Flowering => "flowering",
            Self::Fruiting => "fruiting",
            Self::Heading => "heading",
            Self::Bulking => "bulking",
            Self::Ripening => "ripening",
            Self::Picking => "picking",
            Self::Curing => "curing",
            Self::Dormant => "dormant",
            Self::Any => "any",
        }
    }

    /// The stage of this word, if it is one.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|stage| stage.as_str() == word)
    }
}

/// What a heat rule looks at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Measure {
    /// Highest air temperature of the day.
    DayMaxC,
    /// Lowest air temperature of the night, harmful when it stays at or above the threshold.
    NightMinC,
    /// Lowest air temperature of the night, harmful when it falls below the threshold.
    NightMinBelowC,
    /// Mean air temperature of the day, weighted by time.
    DailyMeanC,
    /// Hours of the day at or above the threshold.
    HoursAboveC,
    /// Highest soil temperature of the day at seed or root depth.
    SoilMaxC,
    /// Soil temperature 10 cm down.
    #[serde(rename = "soil_10cm_c")]
    Soil10cmC,
    /// Temperature of the soil's surface.
    SoilSurfaceC,
    /// A hot day and a warm night together; the night's threshold stands beside the day's.
    DayMaxAndNightMinC,
}

impl Measure {
    /// Every measure a rule may name.
    pub const ALL: [Self; 9] = [
        Self::DayMaxC,
        Self::NightMinC,
        Self::NightMinBelowC,
        Self::DailyMeanC,
        Self::HoursAboveC,
        Self::SoilMaxC,
        Self::Soil10cmC,
        Self::SoilSurfaceC,
        Self::DayMaxAndNightMinC,
    ];

    /// The word used in the crop book and on the wire.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::DayMaxC => "day_max_c",
            Self::NightMinC => "night_min_c",
            Self::NightMinBelowC => "night_min_below_c",
            Self::DailyMeanC => "daily_mean_c",
            Self::HoursAboveC => "hours_above_c",
            Self::SoilMaxC => "soil_max_c",
            Self::Soil10cmC => "soil_10cm_c",
            Self::SoilSurfaceC => "soil_surface_c",
            Self::DayMaxAndNightMinC => "day_max_and_night_min_c",
        }
    }

    /// The measure of this word, if it is one.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|measure| measure.as_str() == word)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn severities_stand_in_the_order_of_cap() {
        // OASIS CAP 1.2, section 3.2.2, severity: Minor, Moderate, Severe, Extreme from least to worst.
        assert!(Severity::ALL.is_sorted());
        assert!(Severity::Minor < Severity::Moderate && Severity::Severe < Severity::Extreme);
    }

    #[test]
    fn every_word_leads_back_to_its_meaning() {
        for severity in Severity::ALL {
            assert_eq!(Severity::from_word(severity.as_str()), Some(severity));
        }
        for stage in Stage::ALL {
            assert_eq!(Stage::from_word(stage.as_str()), Some(stage));
        }
        for measure in Measure::ALL {
            assert_eq!(Measure::from_word(measure.as_str()), Some(measure));
        }
        assert_eq!(Stage::from_word("blooming"), None);
    }
}
