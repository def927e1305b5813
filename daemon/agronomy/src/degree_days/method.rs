//! The names of the methods and of what warmth above the upper threshold does.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// How a day's degree days are found. The sources are at [`daily`](super::daily()).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// Mean of lowest and highest less the base, not below nought. Has no upper threshold.
    Mean,
    /// The same with the mean held between base and upper.
    MeanCapped,
    /// Lowest and highest are each held between base and upper before they are averaged.
    ExtremesClipped,
    /// The highest alone; what it has above the upper threshold is taken off again.
    MaximumReflected,
    /// A sine from the lowest to the highest and back.
    SingleSine,
    /// Two half sines; the second falls to the next day's lowest.
    DoubleSine,
    /// Straight lines from the lowest to the highest and back.
    SingleTriangle,
    /// Straight lines; the second falls to the next day's lowest.
    DoubleTriangle,
    /// The area under the readings themselves.
    Integral,
    /// The same with a brake: above the upper threshold the rate falls evenly, to nought at the stop.
    IntegralPeak,
    /// Ontario units: a curved scale by day and a straight one by night, with thresholds of their own.
    OntarioUnits,
}

impl Method {
    /// Every method, in the order used wherever they are listed.
    pub const ALL: [Self; 11] = [
        Self::Mean,
        Self::MeanCapped,
        Self::ExtremesClipped,
        Self::MaximumReflected,
        Self::SingleSine,
        Self::DoubleSine,
        Self::SingleTriangle,
        Self::DoubleTriangle,
        Self::Integral,
        Self::IntegralPeak,
        Self::OntarioUnits,
    ];

    /// The name used everywhere: commands, files, pages.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Mean => "mean",
            Self::MeanCapped => "mean-capped",
            Self::ExtremesClipped => "extremes-clipped",
            Self::MaximumReflected => "maximum-reflected",
            Self::SingleSine => "single-sine",
            Self::DoubleSine => "double-sine",
            Self::SingleTriangle => "single-triangle",
            Self::DoubleTriangle => "double-triangle",
            Self::Integral => "integral",
            Self::IntegralPeak => "integral-peak",
            Self::OntarioUnits => "ontario-units",
        }
    }

    /// Whether the method follows a curve, so that the kinds of cutoff differ.
    pub const fn offers_cutoffs(self) -> bool {
        matches!(self, Self::SingleSine | Self::DoubleSine | Self::SingleTriangle | Self::DoubleTriangle)
    }

    /// Whether the method is nothing without an upper threshold.
    pub const fn needs_upper(self) -> bool {
        matches!(self, Self::MeanCapped | Self::ExtremesClipped | Self::MaximumReflected | Self::IntegralPeak)
    }

    /// Whether the method asks for the readings through the day; the others take its lowest and highest.
    pub const fn needs_readings(self) -> bool {
        matches!(self, Self::Integral | Self::IntegralPeak)
    }

    /// Whether the method asks for the next day's lowest.
    pub const fn uses_next_minimum(self) -> bool {
        matches!(self, Self::DoubleSine | Self::DoubleTriangle)
    }
}

impl fmt::Display for Method {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.pad(self.as_str())
    }
}

/// A word that names no method.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "{0:?} is no degree-day method; write one of mean, mean-capped, extremes-clipped, maximum-reflected, \
     single-sine, double-sine, single-triangle, double-triangle, integral, integral-peak, ontario-units"
)]
pub struct UnknownMethod(pub String);

impl FromStr for Method {
    type Err = UnknownMethod;

    fn from_str(name: &str) -> Result<Self, UnknownMethod> {
        Self::ALL
            .into_iter()
            .find(|method| method.as_str() == name)
            .ok_or_else(|| UnknownMethod(name.to_owned()))
    }
}

/// What warmth above the upper threshold does.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cutoff {
    /// Development goes on at the rate of the upper threshold.
    #[default]
    Horizontal,
    /// Development slows by as much as the upper threshold is passed, and may count back.
    Intermediate,
    /// Development stands still.
    Vertical,
}

impl Cutoff {
    /// Every cutoff.
    pub const ALL: [Self; 3] = [Self::Horizontal, Self::Intermediate, Self::Vertical];

    /// The name used everywhere.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Horizontal => "horizontal",
            Self::Intermediate => "intermediate",
            Self::Vertical => "vertical",
        }
    }
}

impl fmt::Display for Cutoff {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.pad(self.as_str())
    }
}

/// A word that names no cutoff.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is no cutoff; write one of horizontal, intermediate, vertical")]
pub struct UnknownCutoff(pub String);

impl FromStr for Cutoff {
    type Err = UnknownCutoff;

    fn from_str(name: &str) -> Result<Self, UnknownCutoff> {
        Self::ALL
            .into_iter()
            .find(|cutoff| cutoff.as_str() == name)
            .ok_or_else(|| UnknownCutoff(name.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde::de::IntoDeserializer;
    use serde::de::value::{Error, StrDeserializer};

    #[test]
    fn names_read_back_in_text_and_in_files() {
        for method in Method::ALL {
            assert_eq!(method.as_str().parse(), Ok(method));
            let word: StrDeserializer<'_, Error> = method.as_str().into_deserializer();
            assert_eq!(Method::deserialize(word), Ok(method));
        }
        for cutoff in Cutoff::ALL {
            assert_eq!(cutoff.as_str().parse(), Ok(cutoff));
            let word: StrDeserializer<'_, Error> = cutoff.as_str().into_deserializer();
            assert_eq!(Cutoff::deserialize(word), Ok(cutoff));
        }
    }

    #[test]
    fn the_crop_book_may_name_every_method() {
        assert_eq!(Method::ALL.map(Method::as_str), crate::crop::METHODS);
    }

    #[test]
    fn an_unknown_word_is_told_every_known_one() {
        let message = "sine".parse::<Method>().unwrap_err().to_string();
        assert!(Method::ALL.iter().all(|method| message.contains(method.as_str())), "{message}");
        let message = "none".parse::<Cutoff>().unwrap_err().to_string();
        assert!(Cutoff::ALL.iter().all(|cutoff| message.contains(cutoff.as_str())), "{message}");
    }
}
