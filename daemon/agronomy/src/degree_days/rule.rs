//! What makes two degree-day sums alike: method, thresholds and cutoff.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::units::{Celsius, OutOfRange};

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
}

impl Method {
    /// Every method, in the order used wherever they are listed.
    pub const ALL: [Self; 9] = [
        Self::Mean,
        Self::MeanCapped,
        Self::ExtremesClipped,
        Self::MaximumReflected,
        Self::SingleSine,
        Self::DoubleSine,
        Self::SingleTriangle,
        Self::DoubleTriangle,
        Self::Integral,
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
        }
    }

    /// Whether the method follows a curve, so that the kinds of cutoff differ.
    pub const fn offers_cutoffs(self) -> bool {
        matches!(self, Self::SingleSine | Self::DoubleSine | Self::SingleTriangle | Self::DoubleTriangle)
    }

    /// Whether the method is nothing without an upper threshold.
    pub const fn needs_upper(self) -> bool {
        matches!(self, Self::MeanCapped | Self::ExtremesClipped | Self::MaximumReflected)
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
     single-sine, double-sine, single-triangle, double-triangle, integral"
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

/// Method, thresholds (°C) and cutoff of a degree-day sum. Shown as `integral 10/30`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rule {
    method: Method,
    base: f64,
    upper: Option<f64>,
    cutoff: Cutoff,
}

/// Why thresholds and a method make no rule.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RuleError {
    /// A threshold is no temperature.
    #[error("degree-day threshold: {0}")]
    Threshold(#[from] OutOfRange),
    /// The upper threshold does not lie above the base.
    #[error("the upper threshold {upper} °C must lie above the base {base} °C")]
    UpperNotAboveBase {
        /// The base given.
        base: f64,
        /// The upper threshold given.
        upper: f64,
    },
    /// The method, or the cutoff, has no meaning without an upper threshold.
    #[error("{0} needs an upper threshold")]
    NeedsUpper(&'static str),
    /// The method follows no curve that could be cut off in more than one way.
    #[error("{0} knows only the horizontal cutoff")]
    CutoffNotOffered(Method),
}

impl Rule {
    /// Makes a rule from thresholds in °C.
    ///
    /// [`Method::Mean`] has no upper threshold: one given with it is checked and left out, so that sums by
    /// that method are alike.
    ///
    /// # Errors
    ///
    /// [`RuleError`]: a threshold that is no temperature (NaN too), an upper one not above the base, one
    /// that is missing though the method or the cutoff needs it, a cutoff the method does not offer.
    pub fn try_new(method: Method, base: f64, upper: Option<f64>, cutoff: Cutoff) -> Result<Self, RuleError> {
        Celsius::try_new(base)?;
        if let Some(upper) = upper {
            Celsius::try_new(upper)?;
            if upper <= base {
                return Err(RuleError::UpperNotAboveBase { base, upper });
            }
        } else if method.needs_upper() {
            return Err(RuleError::NeedsUpper(method.as_str()));
        }
        if cutoff != Cutoff::Horizontal {
            if !method.offers_cutoffs() {
                return Err(RuleError::CutoffNotOffered(method));
            }
            if upper.is_none() {
                return Err(RuleError::NeedsUpper(cutoff.as_str()));
            }
        }
        let upper = if method == Method::Mean { None } else { upper };
        Ok(Self { method, base, upper, cutoff })
    }

    /// How a day's degree days are found.
    pub const fn method(&self) -> Method {
        self.method
    }

    /// Below this nothing counts, °C.
    pub const fn base(&self) -> f64 {
        self.base
    }

    /// Above this more warmth does not help, °C.
    pub const fn upper(&self) -> Option<f64> {
        self.upper
    }

    /// What warmth above the upper threshold does.
    pub const fn cutoff(&self) -> Cutoff {
        self.cutoff
    }
}

impl fmt::Display for Rule {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{} {}", self.method, self.base)?;
        if let Some(upper) = self.upper {
            write!(out, "/{upper}")?;
        }
        if self.cutoff != Cutoff::Horizontal {
            write!(out, " {}", self.cutoff)?;
        }
        Ok(())
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
    fn an_unknown_word_is_told_every_known_one() {
        let message = "sine".parse::<Method>().unwrap_err().to_string();
        assert!(Method::ALL.iter().all(|method| message.contains(method.as_str())), "{message}");
        let message = "none".parse::<Cutoff>().unwrap_err().to_string();
        assert!(Cutoff::ALL.iter().all(|cutoff| message.contains(cutoff.as_str())), "{message}");
    }

    #[test]
    fn a_rule_is_shown_by_method_and_thresholds() {
        let shown = |method, upper, cutoff| Rule::try_new(method, 10.0, upper, cutoff).unwrap().to_string();
        assert_eq!(shown(Method::Integral, Some(30.0), Cutoff::Horizontal), "integral 10/30");
        assert_eq!(shown(Method::Mean, None, Cutoff::Horizontal), "mean 10");
        assert_eq!(shown(Method::SingleSine, Some(31.5), Cutoff::Vertical), "single-sine 10/31.5 vertical");
    }

    #[test]
    fn the_mean_keeps_no_upper_threshold() {
        let capped = Rule::try_new(Method::Mean, 10.0, Some(30.0), Cutoff::Horizontal);
        assert_eq!(capped, Rule::try_new(Method::Mean, 10.0, None, Cutoff::Horizontal));
    }

    #[test]
    fn a_rule_that_makes_no_sense_is_refused_with_its_reason() {
        let refusal = |method, base, upper, cutoff| Rule::try_new(method, base, upper, cutoff).unwrap_err();
        let nan = refusal(Method::Mean, f64::NAN, None, Cutoff::Horizontal);
        assert!(matches!(nan, RuleError::Threshold(_)), "{nan:?}");
        let nan = refusal(Method::SingleSine, 10.0, Some(f64::NAN), Cutoff::Horizontal);
        assert!(matches!(nan, RuleError::Threshold(_)), "{nan:?}");
        assert_eq!(
            refusal(Method::Integral, 10.0, Some(10.0), Cutoff::Horizontal),
            RuleError::UpperNotAboveBase { base: 10.0, upper: 10.0 }
        );
        assert_eq!(
            refusal(Method::MeanCapped, 10.0, None, Cutoff::Horizontal),
            RuleError::NeedsUpper("mean-capped")
        );
        assert_eq!(
            refusal(Method::SingleSine, 10.0, None, Cutoff::Vertical),
            RuleError::NeedsUpper("vertical")
        );
        assert_eq!(
            refusal(Method::Integral, 10.0, Some(30.0), Cutoff::Vertical),
            RuleError::CutoffNotOffered(Method::Integral)
        );
    }
}
