//! Cautions for work in heat: bands of the heat index, limits of the wet-bulb globe temperature, and words.
//!
//! These are for a grower alone with hot work, to say when to stop sooner. They are no proof that a workplace
//! keeps a rule, and **being below one of them does not make an hour safe**: there is no such word here. Local
//! rules for work in heat go first.

use crate::units::{Celsius, MetabolicRate};

/// Heat index from which people are to be warned, °C (Tustin et al. 2018, MMWR 67, 733: 85 °F).
pub const SCREENING_C: f64 = 29.4;

/// Air of a closed house from which nobody should go in to work, °C (common practice).
pub const CLOSED_HOUSE_C: f64 = 40.0;

/// For which conditions the figures hold.
pub const SHADE: &str =
    "This is for shade and a light breeze. Full sun can add 8 °C, and a still house counts as full sun.";

/// For those who have not worked in heat lately.
pub const NEW_TO_HEAT: &str =
    "New to the heat, or back after a week away: start short and add a little each day, for 7 to 14 days.";

/// When to stop at once.
pub const STOP: &str = "Dizzy, confused, or the skin hot, dry or drenched: stop, cool with water now, and call the emergency \
     number.";

/// Before anyone opens a house this hot.
pub const CLOSED_HOUSE: &str =
    "Do not go in to work. Open from outside and let the air change first; look for children and animals.";

/// What all of this is worth.
pub const DEFER: &str = "A caution, not medical advice. Local rules for work in heat go first.";

macro_rules! last {
    () => {
        "Local rules, the label and a licensed trade come first."
    };
}

macro_rules! air_first {
    () => {
        "Let it blow through before going in; look for children and animals."
    };
}

/// Before anyone goes into a hot house.
pub const AIR_FIRST: &str = air_first!();

/// The last words of every caution.
pub const LAST: &str = last!();

/// All of it in brief, as it stands beside every notice of heat under cover.
pub const IN_THE_HOUSE: &str = concat!(
    air_first!(),
    " A still house counts as full sun: drink often, rest in shade, not alone; dizzy or confused: out, cool with \
     water, call emergency help. ",
    last!()
);

/// In brief, as it stands beside every notice of heat in the open.
pub const IN_THE_OPEN: &str =
    concat!("Early and late are the cooler hours: drink often, rest in shade, not alone. ", last!());

/// How much the heat index asks of a person in shade; from least to worst.
///
/// # Source
///
/// Bands of the US OSHA guide "Using the heat index" (91, 103 and 115 °F); the lowest begins at
/// [`SCREENING_C`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Strain {
    /// 29.4 up to 32.8 °C.
    Caution,
    /// 32.8 up to 39.4 °C.
    Moderate,
    /// 39.4 to 46.1 °C.
    High,
    /// Above 46.1 °C.
    Extreme,
}

impl Strain {
    /// All bands, from least to worst.
    pub const ALL: [Self; 4] = [Self::Caution, Self::Moderate, Self::High, Self::Extreme];

    /// The heat index at which the band begins \[°C\].
    pub const fn begins_at_c(self) -> f64 {
        match self {
            Self::Caution => SCREENING_C,
            Self::Moderate => 32.8,
            Self::High => 39.4,
            Self::Extreme => 46.1,
        }
    }

    /// The band of a heat index \[°C\]; `None` below [`SCREENING_C`], which is no promise of safety, and for NaN.
    pub fn of(heat_index_c: f64) -> Option<Self> {
        if heat_index_c > Self::Extreme.begins_at_c() {
            return Some(Self::Extreme);
        }
        let below = [Self::High, Self::Moderate, Self::Caution];
        below.into_iter().find(|band| heat_index_c >= band.begins_at_c())
    }

    /// What to do about it, for the grower who has to go in.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Caution => {
                "Warm enough to harm someone at hard work. Drink a quarter of a litre every 15 to 20 \
                 minutes and rest in shade."
            }
            Self::Moderate => {
                "Go in pairs, at the cooler hours if you must go in. Drink a quarter of a litre every 15 to \
                 20 minutes; sit in shade between turns."
            }
            Self::High => {
                "Put off what can wait. If you must go in: the least hot hour, short turns, in pairs, one \
                 of you outside and looking in."
            }
            Self::Extreme => {
                "Leave the work. Do from outside what keeps the plants alive: open, shade, water; then away \
                 from the heat."
            }
        }
    }
}

/// How hard the work is, in the classes of ISO 8996 that the limits use.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Work {
    /// Sitting.
    Resting,
    /// Sowing, pricking out, picking at bench height.
    Light,
    /// Hoeing, tying in, carrying cans.
    Moderate,
    /// Digging, wheeling full barrows.
    Hard,
    /// Digging or loading against time.
    VeryHard,
}

impl Work {
    /// All classes, from least to hardest.
    pub const ALL: [Self; 5] = [Self::Resting, Self::Light, Self::Moderate, Self::Hard, Self::VeryHard];

    /// The heat a grown person makes at it.
    ///
    /// # Source
    ///
    /// ISO 7243:2017, Annex A, representative values; from memory.
    pub const fn metabolic_rate(self) -> MetabolicRate {
        let watts = match self {
            Self::Resting => 115.0,
            Self::Light => 180.0,
            Self::Moderate => 300.0,
            Self::Hard => 415.0,
            Self::VeryHard => 520.0,
        };
        MetabolicRate::reckoned(watts)
    }

    /// Wet-bulb globe temperature above which ISO 7243 asks for measures.
    ///
    /// # Source
    ///
    /// ISO 7243:2017, Annex A; from memory.
    pub const fn reference_value(self, person: Person) -> Celsius {
        let (used_to_it, new_to_it) = match self {
            Self::Resting => (33.0, 32.0),
            Self::Light => (30.0, 29.0),
            Self::Moderate => (28.0, 26.0),
            Self::Hard => (26.0, 23.0),
            Self::VeryHard => (25.0, 20.0),
        };
        Celsius::reckoned(match person {
            Person::UsedToHeat => used_to_it,
            Person::NewToHeat => new_to_it,
        })
    }
}

/// Whether a body has had the one to two weeks in heat that it takes to sweat well.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Person {
    /// Has worked in such heat for the last 7 to 14 days.
    UsedToHeat,
    /// Has not.
    NewToHeat,
}

/// Wet-bulb globe temperature above which NIOSH asks for measures: the recommended exposure limit for those used
/// to heat, the recommended alert limit for those new to it.
///
/// # Equation
///
/// ```text
/// REL = 56.7 − 11.5 log10 M        RAL = 59.9 − 14.1 log10 M        (°C, M in W)
/// ```
///
/// # Domain
///
/// All of [`MetabolicRate`]; the criteria document draws the curves from about 115 to 580 W.
///
/// # Errors
///
/// None.
///
/// # Source
///
/// NIOSH (2016), Criteria for a recommended standard: occupational exposure to heat and hot environments,
/// publication 2016-106; equations from memory.
pub fn niosh_limit(rate: MetabolicRate, person: Person) -> Celsius {
    let log = libm::log10(rate.get());
    Celsius::reckoned(match person {
        Person::UsedToHeat => 56.7 - 11.5 * log,
        Person::NewToHeat => 59.9 - 14.1 * log,
    })
}

/// The caution for work at a wet-bulb globe temperature: where it exceeds the lower of the limits of ISO 7243 and
/// NIOSH; `None` where it exceeds neither, which is no promise of safety.
///
/// An estimate for shade ([`wet_bulb_globe_in_shade`](super::wet_bulb_globe_in_shade)) is too low in sun and under
/// hot glass.
pub fn work_caution(wet_bulb_globe: Celsius, work: Work, person: Person) -> Option<&'static str> {
    let niosh = niosh_limit(work.metabolic_rate(), person);
    let iso = work.reference_value(person);
    (wet_bulb_globe > iso || wet_bulb_globe > niosh).then_some(match work {
        Work::Resting => "Too hot even to sit in: leave for somewhere cooler.",
        Work::Light | Work::Moderate => {
            "Too hot for this work without long rests: do the lighter part, in short turns, or leave it for \
             a cooler hour."
        }
        Work::Hard | Work::VeryHard => "Too hot for heavy work: leave it for a cooler hour or a cooler day.",
    })
}
