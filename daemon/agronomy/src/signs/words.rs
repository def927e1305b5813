//! What a rule that is met says to the grower: what to look for, and how well the rule is known.
//!
//! It never says more than to look and to let the leaves dry. Sprays are the label's business, and a rule of the
//! weather has seen no leaf.

use crate::crop::Standing;

/// A sign of disease that the weather gives.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sign {
    /// Two days that meet the Hutton criteria.
    HuttonPeriod,
    /// Two days that meet the older Smith period.
    SmithPeriod,
    /// The powdery mildew index stands high.
    MildewPressure,
    /// The severity values of tomato leaf spots have reached a look.
    TomatoSeverity,
}

/// A reason to go and look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Scouting {
    /// What to look for, and where.
    pub look_for: &'static str,
    /// What else helps, whether or not anything is found.
    pub meanwhile: &'static str,
    /// The published rule behind it, in words.
    pub rule: &'static str,
    /// How well the rule is known.
    pub standing: Standing,
    /// What the rule does not know.
    pub bounds: &'static str,
    /// Who has the last word on anything beyond looking and airing; shown with every sign.
    pub defer: &'static str,
}

/// The label of a product and local rules go before any rule of the weather.
const DEFER: &str = "A rule of the weather has seen no leaf. For anything you would put on a crop the label of the \
                     product and local rules come first.";

const LET_IT_DRY: &str = "Let the leaves dry: water early and at the foot, open up at dawn before the sun is on the \
                          glass, thin leaves on a dry morning, clear away what has fallen.";

const BLIGHT: &str = "Look for dark, wet-looking patches on potato and tomato leaves, with a pale fringe below in the \
                      morning.";

impl Sign {
    /// All of them.
    pub const ALL: [Self; 4] =
        [Self::HuttonPeriod, Self::SmithPeriod, Self::MildewPressure, Self::TomatoSeverity];

    /// The words for a sign.
    ///
    /// # Source
    ///
    /// What is looked for: common practice. The rules: see [`late_blight`](super::late_blight),
    /// [`mildew`](super::mildew) and [`severity`](super::severity).
    pub const fn scouting(self) -> Scouting {
        match self {
            Self::HuttonPeriod => Scouting {
                look_for: BLIGHT,
                meanwhile: LET_IT_DRY,
                rule: "Hutton criteria: on each of two days the lowest was 10 °C or more, and the air was at 90 % or \
                       more for 6 hours.",
                standing: Standing::Published,
                bounds: "Made for potatoes in the field; it is not known to hold under cover.",
                defer: DEFER,
            },
            Self::SmithPeriod => Scouting {
                look_for: BLIGHT,
                meanwhile: LET_IT_DRY,
                rule: "Smith period: on each of two days the lowest was 10 °C or more, and the air was at 90 % or \
                       more for 11 hours.",
                standing: Standing::Memory,
                bounds: "The older rule, made for potatoes in the field; outbreaks have come before it was met.",
                defer: DEFER,
            },
            Self::MildewPressure => Scouting {
                look_for: "Look for white, floury spots on both sides of older leaves, first where they are crowded.",
                meanwhile: "Thin crowded leaves on a dry morning, keep the water even, clear away what has fallen.",
                rule: "Powdery mildew index: days with 6 hours in a row from 21 to 29 °C raise it, other days and \
                       heat of 35 °C lower it.",
                standing: Standing::Memory,
                bounds: "Made for grape; other crops have mildews of their own, so read it as low, medium or high.",
                defer: DEFER,
            },
            Self::TomatoSeverity => Scouting {
                look_for: "Look for brown spots with rings, and for small grey spots, on the lowest tomato leaves.",
                meanwhile: LET_IT_DRY,
                rule: "Severity values: each day counts 0 to 4 by how long and how warm the leaves were wet, added \
                       up since planting out.",
                standing: Standing::Memory,
                bounds: "The table is known from memory and one public copy; the hours are reckoned from the air's \
                         humidity.",
                defer: DEFER,
            },
        }
    }
}
