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
    /// Two of three nights under cover were long damp.
    GreyMouldNights,
    /// The leaf was wet long enough for grey mould, by the rule for any leaf disease.
    GreyMouldSpell,
    /// The same for downy mildew.
    DownyMildewSpell,
    /// Hot dry days for spider mites.
    SpiderMites,
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

const MOULD: &str =
    "Look for grey fur on stubs, wounds, old flowers and touching fruit, low down and where leaves crowd.";

/// Mould dust: usual caution, as for musty straw and compost.
macro_rules! clean_up {
    () => {
        "Take out what is dead on a dry morning. Do not shake what is mouldy: put it in a bag where it stands, face \
         away, with gloves and a well-fitting mask (P2 or N95), and wash your hands."
    };
}

const WET_HOURS: &str = "The figures of each disease are from memory, and wet hours are reckoned from the air's \
                         humidity and the rain, not seen.";

impl Sign {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::HuttonPeriod,
        Self::SmithPeriod,
        Self::MildewPressure,
        Self::TomatoSeverity,
        Self::GreyMouldNights,
        Self::GreyMouldSpell,
        Self::DownyMildewSpell,
        Self::SpiderMites,
    ];

    /// What is looked for, by the name growers use.
    pub const fn name(self) -> &'static str {
        match self {
            Self::HuttonPeriod | Self::SmithPeriod => "late blight",
            Self::MildewPressure => "powdery mildew",
            Self::TomatoSeverity => "leaf spots",
            Self::GreyMouldNights | Self::GreyMouldSpell => "grey mould",
            Self::DownyMildewSpell => "downy mildew",
            Self::SpiderMites => "spider mites",
        }
    }

    /// Whether it goes by hours of damp air, which a probe above the leaves understates.
    pub const fn goes_by_damp(self) -> bool {
        !matches!(self, Self::MildewPressure | Self::SpiderMites)
    }

    /// The words for a sign.
    ///
    /// # Source
    ///
    /// What is looked for: common practice. The rules: see [`late_blight`](super::late_blight),
    /// [`mildew`](super::mildew), [`severity`](super::severity), [`grey_mould`](super::grey_mould),
    /// [`infection`](super::infection) and [`spider_mite`](super::spider_mite).
    pub const fn scouting(self) -> Scouting {
        match self {
            Self::HuttonPeriod => HUTTON,
            Self::SmithPeriod => SMITH,
            Self::MildewPressure => MILDEW,
            Self::TomatoSeverity => LEAF_SPOTS,
            Self::GreyMouldNights => MOULD_NIGHTS,
            Self::GreyMouldSpell => MOULD_SPELL,
            Self::DownyMildewSpell => DOWNY,
            Self::SpiderMites => MITES,
        }
    }
}

const HUTTON: Scouting = Scouting {
    look_for: BLIGHT,
    meanwhile: LET_IT_DRY,
    rule: "Hutton criteria: on each of two days the lowest was 10 °C or more, and the air was at 90 % or \
           more for 6 hours.",
    standing: Standing::Published,
    bounds: "Made for potatoes in the field; it is not known to hold under cover.",
    defer: DEFER,
};

const SMITH: Scouting = Scouting {
    look_for: BLIGHT,
    meanwhile: LET_IT_DRY,
    rule: "Smith period: on each of two days the lowest was 10 °C or more, and the air was at 90 % or \
           more for 11 hours.",
    standing: Standing::Memory,
    bounds: "The older rule, made for potatoes in the field; outbreaks have come before it was met.",
    defer: DEFER,
};

const MILDEW: Scouting = Scouting {
    look_for: "Look for white, floury spots on both sides of older leaves, first where they are crowded.",
    meanwhile: "Thin crowded leaves on a dry morning, keep the water even, clear away what has fallen.",
    rule: "Powdery mildew index: days with 6 hours in a row from 21 to 29 °C raise it, other days and \
           heat of 35 °C lower it.",
    standing: Standing::Memory,
    bounds: "Made for grape; other crops have mildews of their own, so read it as low, medium or high.",
    defer: DEFER,
};

const LEAF_SPOTS: Scouting = Scouting {
    look_for: "Look for brown spots with rings, and for small grey spots, on the lowest tomato leaves.",
    meanwhile: LET_IT_DRY,
    rule: "Severity values: each day counts 0 to 4 by how long and how warm the leaves were wet, added \
           up since planting out.",
    standing: Standing::Memory,
    bounds: "The table is known from memory and one public copy; the hours are reckoned from the air's \
             humidity.",
    defer: DEFER,
};

const MOULD_NIGHTS: Scouting = Scouting {
    look_for: MOULD,
    meanwhile: concat!("Leave a vent ajar at night, unless frost comes. ", clean_up!()),
    rule: "On 2 of the last 3 nights the air was at 90 % or more, or its deficit below 0.2 kPa, for 8 hours \
           from 12 to 25 °C.",
    standing: Standing::Practice,
    bounds: "What growers go by under cover; no trial stands behind the hours.",
    defer: DEFER,
};

const MOULD_SPELL: Scouting = Scouting {
    look_for: MOULD,
    meanwhile: clean_up!(),
    rule: "Wet leaves for as long as an infection needs: 8 hours at 20 °C, longer where it was colder or \
           hotter.",
    standing: Standing::Memory,
    bounds: WET_HOURS,
    defer: DEFER,
};

const DOWNY: Scouting = Scouting {
    look_for: "Look for pale patches between the veins above, and grey or violet down below them, in the \
               early morning.",
    meanwhile: LET_IT_DRY,
    rule: "Wet leaves for as long as an infection needs, by how warm it was: 4 hours at best (basil: 6). \
           Spots come 4 to 10 days later.",
    standing: Standing::Memory,
    bounds: WET_HOURS,
    defer: DEFER,
};

const MITES: Scouting = Scouting {
    look_for: "Look for pale speckles on the leaves and fine webs below, with a lens, in the cool of the \
               morning.",
    meanwhile: "Keep the roots evenly moist; rinse the undersides early with fresh mains water, never from \
                a warm butt; take out the worst leaves in a closed bag.",
    rule: "Spider mites: five days in a row of 30 °C or more, with a mean humidity below 50 %.",
    standing: Standing::Practice,
    bounds: "What growers go by; mites also come without it.",
    defer: DEFER,
};
