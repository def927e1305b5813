//! What makes two degree-day sums alike: method, thresholds and cutoff.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::method::{Cutoff, Method};
use crate::units::{Celsius, OutOfRange};

/// How far above the upper threshold `integral-peak` stands still where nothing else is said, °C (common practice).
const STOP_ABOVE_UPPER: f64 = 12.0;
/// The day's threshold of Ontario units, °C; the night's is 4.4 °C.
pub(super) const ONTARIO_DAY: f64 = 10.0;

/// Method, thresholds (°C) and cutoff of a degree-day sum. Shown as `integral 10/30`.
///
/// In files it is a map of `method`, `base_c`, `upper_c`, `stop_c` and `cutoff`, checked as it is read.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Written", into = "Written")]
pub struct Rule {
    method: Method,
    base: Celsius,
    upper: Option<Celsius>,
    stop: Option<Celsius>,
    cutoff: Cutoff,
}

/// A rule as it stands in a file.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    method: Method,
    base_c: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    upper_c: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    stop_c: Option<f64>,
    #[serde(default)]
    cutoff: Cutoff,
}

impl TryFrom<Written> for Rule {
    type Error = RuleError;

    fn try_from(written: Written) -> Result<Self, RuleError> {
        let rule = Self::of_numbers(written.method, written.base_c, written.upper_c, written.cutoff)?;
        written.stop_c.map_or(Ok(rule), |stop| rule.with_stop(Celsius::try_new(stop)?))
    }
}

impl From<Rule> for Written {
    fn from(rule: Rule) -> Self {
        let Rule { method, base, upper, stop, cutoff } = rule;
        let number = |threshold: Option<Celsius>| threshold.map(Celsius::get);
        Self { method, base_c: base.get(), upper_c: number(upper), stop_c: number(stop), cutoff }
    }
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
    /// Only `integral-peak` stands still at a temperature of its own.
    #[error("{0} has no temperature at which it stands still; only integral-peak has")]
    StopNotOffered(Method),
    /// The stop does not lie above the upper threshold.
    #[error("the stop {stop} °C must lie above the upper threshold {upper} °C")]
    StopNotAboveUpper {
        /// The upper threshold.
        upper: f64,
        /// The stop given.
        stop: f64,
    },
    /// Ontario units are one formula: their thresholds are not for choosing.
    #[error("ontario-units has its own thresholds; write base 10 and no upper one")]
    FixedThresholds,
}

impl Rule {
    /// Makes a rule from its thresholds.
    ///
    /// [`Method::Mean`] has no upper threshold: one given with it is checked and left out, so that sums by
    /// that method are alike. [`Method::IntegralPeak`] stands still 12 °C above the upper threshold unless
    /// [`with_stop`](Self::with_stop) says otherwise. [`Method::OntarioUnits`] wants its own base, 10.
    ///
    /// # Errors
    ///
    /// [`RuleError`]: an upper threshold not above the base, one that is missing though the method or the cutoff needs it, a cutoff the method does not offer, or
    /// thresholds of choice for Ontario units.
    pub fn try_new(
        method: Method,
        base: Celsius,
        upper: Option<Celsius>,
        cutoff: Cutoff,
    ) -> Result<Self, RuleError> {
        if let Some(upper) = upper {
            if upper <= base {
                return Err(RuleError::UpperNotAboveBase { base: base.get(), upper: upper.get() });
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
        if method == Method::OntarioUnits && (base.get() != ONTARIO_DAY || upper.is_some()) {
            return Err(RuleError::FixedThresholds);
        }
        let upper = if method == Method::Mean { None } else { upper };
        let stop = upper
            .filter(|_| method == Method::IntegralPeak)
            .map(|upper| Celsius::try_new(upper.get() + STOP_ABOVE_UPPER))
            .transpose()?;
        Ok(Self { method, base, upper, stop, cutoff })
    }

    /// The same of the bare numbers of a file, °C.
    pub(crate) fn of_numbers(
        method: Method,
        base_c: f64,
        upper_c: Option<f64>,
        cutoff: Cutoff,
    ) -> Result<Self, RuleError> {
        let upper = upper_c.map(Celsius::try_new).transpose()?;
        Self::try_new(method, Celsius::try_new(base_c)?, upper, cutoff)
    }

    /// The same rule with another temperature at which `integral-peak` stands still.
    ///
    /// # Errors
    ///
    /// [`RuleError`]: another method, or a stop not above the upper threshold.
    pub fn with_stop(self, stop: Celsius) -> Result<Self, RuleError> {
        let Some(upper) = self.upper.filter(|_| self.method == Method::IntegralPeak) else {
            return Err(RuleError::StopNotOffered(self.method));
        };
        if stop <= upper {
            return Err(RuleError::StopNotAboveUpper { upper: upper.get(), stop: stop.get() });
        }
        Ok(Self { stop: Some(stop), ..self })
    }

    /// How a day's degree days are found.
    pub const fn method(&self) -> Method {
        self.method
    }

    /// Below this nothing counts.
    pub const fn base(&self) -> Celsius {
        self.base
    }

    /// Above this more warmth does not help.
    pub const fn upper(&self) -> Option<Celsius> {
        self.upper
    }

    /// Where `integral-peak` stands still; `None` for every other method.
    pub const fn stop(&self) -> Option<Celsius> {
        self.stop
    }

    /// What warmth above the upper threshold does.
    pub const fn cutoff(&self) -> Cutoff {
        self.cutoff
    }
}

impl fmt::Display for Rule {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{}", self.method)?;
        if self.method == Method::OntarioUnits {
            return Ok(());
        }
        write!(out, " {}", self.base.get())?;
        if let Some(upper) = self.upper {
            write!(out, "/{}", upper.get())?;
        }
        if let Some(stop) = self.stop {
            write!(out, "/{}", stop.get())?;
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

    #[test]
    fn a_rule_is_shown_by_method_and_thresholds() {
        let shown =
            |method, upper, cutoff| Rule::of_numbers(method, 10.0, upper, cutoff).unwrap().to_string();
        assert_eq!(shown(Method::Integral, Some(30.0), Cutoff::Horizontal), "integral 10/30");
        assert_eq!(shown(Method::Mean, None, Cutoff::Horizontal), "mean 10");
        assert_eq!(shown(Method::SingleSine, Some(31.5), Cutoff::Vertical), "single-sine 10/31.5 vertical");
        assert_eq!(shown(Method::IntegralPeak, Some(30.0), Cutoff::Horizontal), "integral-peak 10/30/42");
        assert_eq!(shown(Method::OntarioUnits, None, Cutoff::Horizontal), "ontario-units");
    }

    #[test]
    fn rules_with_another_stop_are_other_rules() {
        let peak = Rule::of_numbers(Method::IntegralPeak, 10.0, Some(30.0), Cutoff::Horizontal).unwrap();
        assert_eq!(peak.with_stop(Celsius::try_new(42.0).unwrap()), Ok(peak));
        assert_ne!(peak.with_stop(Celsius::try_new(40.0).unwrap()), Ok(peak));
        let refused = peak.with_stop(Celsius::try_new(30.0).unwrap());
        assert_eq!(refused, Err(RuleError::StopNotAboveUpper { upper: 30.0, stop: 30.0 }));
        let plain = Rule::of_numbers(Method::Integral, 10.0, Some(30.0), Cutoff::Horizontal).unwrap();
        assert_eq!(
            plain.with_stop(Celsius::try_new(42.0).unwrap()),
            Err(RuleError::StopNotOffered(Method::Integral))
        );
    }

    #[test]
    fn ontario_units_take_no_thresholds_but_their_own() {
        let with = |base, upper| Rule::of_numbers(Method::OntarioUnits, base, upper, Cutoff::Horizontal);
        assert_eq!(with(10.0, None).map(|rule| rule.base().get()), Ok(10.0));
        assert_eq!(with(7.0, None), Err(RuleError::FixedThresholds));
        assert_eq!(with(10.0, Some(30.0)), Err(RuleError::FixedThresholds));
    }

    #[test]
    fn a_rule_comes_back_from_a_file_as_it_was_and_a_senseless_one_is_refused() {
        let rule = Rule::of_numbers(Method::IntegralPeak, 10.0, Some(30.0), Cutoff::Horizontal).unwrap();
        let text = serde_json::to_string(&rule).unwrap();
        assert_eq!(serde_json::from_str::<Rule>(&text).unwrap(), rule);
        for (text, why) in [
            (r#"{"method":"integral","base_c":30,"upper_c":10}"#, "must lie above the base"),
            (r#"{"method":"mean-capped","base_c":10}"#, "needs an upper threshold"),
            (r#"{"method":"integral","base_c":10,"upper_c":30,"stop_c":42}"#, "only integral-peak"),
            (r#"{"method":"sine","base_c":10}"#, "unknown variant"),
            (r#"{"method":"mean","base_c":10,"cap":30}"#, "unknown field"),
        ] {
            let refusal = serde_json::from_str::<Rule>(text).unwrap_err().to_string();
            assert!(refusal.contains(why), "{refusal}");
        }
    }

    #[test]
    fn the_mean_keeps_no_upper_threshold() {
        let capped = Rule::of_numbers(Method::Mean, 10.0, Some(30.0), Cutoff::Horizontal);
        assert_eq!(capped, Rule::of_numbers(Method::Mean, 10.0, None, Cutoff::Horizontal));
    }

    #[test]
    fn a_rule_that_makes_no_sense_is_refused_with_its_reason() {
        let refusal =
            |method, base, upper, cutoff| Rule::of_numbers(method, base, upper, cutoff).unwrap_err();
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
