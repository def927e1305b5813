//! A published sum, with the method it was published by.
//!
//! "First ripe fruit at 650 to 950 degree days" says nothing without base, cap and method; by another
//! method the same day has another sum. So a target carries its rule, is compared only with sums of that
//! rule, and is carried over to another rule only by a ratio learned between those two.

use super::method::{Cutoff, UnknownMethod};
use super::ratio::Ratio;
use super::rule::{ONTARIO_DAY, Rule, RuleError};
use super::sum::UnlikeSums;
use super::{Method, NoNumber};
use crate::crop::{Gdd, Milestone};

/// A sum at which a step of the crop's life is reached, as a range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Target {
    rule: Rule,
    low: f64,
    high: f64,
}

/// Why there is no target.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TargetError {
    /// The crop names a method that is none.
    #[error(transparent)]
    Method(#[from] UnknownMethod),
    /// The crop's thresholds make no rule.
    #[error(transparent)]
    Rule(#[from] RuleError),
    /// An end of the range is no number.
    #[error(transparent)]
    NoNumber(#[from] NoNumber),
    /// The range is the wrong way round, or below nought.
    #[error("a target from {low} to {high} degree days is none; write the lower end first, from nought up")]
    Range {
        /// The lower end given.
        low: f64,
        /// The upper end given.
        high: f64,
    },
    /// The milestone names the second method, and the crop has none.
    #[error("the milestone goes by the crop's second method, but it has none")]
    NoAlternative,
    /// The milestone names a model that is none.
    #[error("{0:?} is no model; write main, alt or ontario_units")]
    UnknownModel(String),
}

impl Target {
    /// A target from `low` to `high` by `rule`; both alike where only one number is known.
    ///
    /// # Errors
    ///
    /// [`TargetError::NoNumber`] or [`TargetError::Range`].
    pub fn try_new(rule: Rule, low: f64, high: f64) -> Result<Self, TargetError> {
        for end in [low, high] {
            if !end.is_finite() {
                return Err(NoNumber(end).into());
            }
        }
        if low < 0.0 || high < low {
            return Err(TargetError::Range { low, high });
        }
        Ok(Self { rule, low, high })
    }

    /// The rule it belongs to.
    pub const fn rule(&self) -> Rule {
        self.rule
    }

    /// The lower end, °C d (Ontario units for that method).
    pub const fn low(&self) -> f64 {
        self.low
    }

    /// The upper end, °C d (Ontario units for that method).
    pub const fn high(&self) -> f64 {
        self.high
    }

    /// The same target by the site's own method: widened by the lowest and the highest season's ratio.
    ///
    /// # Errors
    ///
    /// [`UnlikeSums`] when the ratio was learned on sums of another rule than this target's.
    pub fn by_own_method(&self, ratio: &Ratio) -> Result<Self, UnlikeSums> {
        if ratio.published() != self.rule {
            return Err(UnlikeSums { left: self.rule, right: ratio.published() });
        }
        let (lowest, highest) = ratio.span();
        Ok(Self { rule: ratio.own(), low: self.low * lowest, high: self.high * highest })
    }
}

impl Gdd {
    /// The rule a milestone's sum belongs to: the crop's main method, its second one, or Ontario units.
    ///
    /// # Errors
    ///
    /// [`TargetError`]: a method or model that is none, thresholds that make no rule.
    pub fn rule(&self, model: &str) -> Result<Rule, TargetError> {
        let made = |method: &str, base, upper| -> Result<Rule, TargetError> {
            Ok(Rule::of_numbers(method.parse()?, base, upper, Cutoff::Horizontal)?)
        };
        match model {
            "main" => made(&self.method, self.base, self.upper),
            "alt" => {
                let alt = self.alt.as_ref().ok_or(TargetError::NoAlternative)?;
                made(&alt.method, alt.base, alt.upper)
            }
            "ontario_units" => {
                Ok(Rule::of_numbers(Method::OntarioUnits, ONTARIO_DAY, None, Cutoff::Horizontal)?)
            }
            other => Err(TargetError::UnknownModel(other.to_owned())),
        }
    }

    /// A milestone as a target, with the rule its sum belongs to.
    ///
    /// # Errors
    ///
    /// See [`rule`](Self::rule) and [`Target::try_new`].
    pub fn target(&self, milestone: &Milestone) -> Result<Target, TargetError> {
        Target::try_new(self.rule(&milestone.model)?, milestone.lo, milestone.hi)
    }
}

#[cfg(test)]
mod tests {
    use super::super::Sum;
    use super::*;
    use crate::crop::Alternative;

    /// The tomato's heat clock, read by eye from the crop book.
    fn tomato() -> Gdd {
        Gdd {
            method: "mean-capped".to_owned(),
            base: 7.0,
            upper: Some(28.0),
            alt: Some(Alternative { method: "integral".to_owned(), base: 10.0, upper: Some(30.0) }),
            milestones: Vec::new(),
        }
    }

    fn milestone(model: &str, lo: f64, hi: f64) -> Milestone {
        let (from, to) = ("transplant".to_owned(), "first_ripe".to_owned());
        Milestone { from, to, lo, hi, model: model.to_owned(), note: None, sources: Vec::new() }
    }

    #[test]
    fn each_milestone_is_read_with_its_own_method() {
        let shown = |model| tomato().target(&milestone(model, 650.0, 950.0)).unwrap().rule().to_string();
        assert_eq!(shown("main"), "mean-capped 7/28");
        assert_eq!(shown("alt"), "integral 10/30");
        assert_eq!(shown("ontario_units"), "ontario-units");
    }

    #[test]
    fn a_target_that_cannot_be_is_refused() {
        let refusal = |model, lo, hi| tomato().target(&milestone(model, lo, hi)).unwrap_err();
        assert_eq!(refusal("main", 950.0, 650.0), TargetError::Range { low: 950.0, high: 650.0 });
        assert_eq!(refusal("main", -1.0, 650.0), TargetError::Range { low: -1.0, high: 650.0 });
        assert!(matches!(refusal("main", f64::NAN, 650.0), TargetError::NoNumber(_)));
        assert_eq!(refusal("third", 1.0, 2.0), TargetError::UnknownModel("third".to_owned()));
        let mut single = tomato();
        single.alt = None;
        assert_eq!(single.rule("alt"), Err(TargetError::NoAlternative));
        single.method = "sine".to_owned();
        assert!(matches!(single.rule("main"), Err(TargetError::Method(_))));
    }

    #[test]
    fn a_target_is_carried_over_only_by_a_ratio_of_its_own_method() {
        let sum = |rule, total| {
            let mut sum = Sum::new(rule);
            sum.add_day(total).unwrap();
            sum
        };
        let (main, alt) = (tomato().rule("main").unwrap(), tomato().rule("alt").unwrap());
        let seasons = [(1000.0, 700.0), (1000.0, 800.0)];
        let pairs = seasons.map(|(published, own)| (sum(main, published), sum(alt, own)));
        let ratio = Ratio::learn(&pairs).unwrap();
        let target = Target::try_new(main, 1000.0, 1200.0).unwrap();
        let own = target.by_own_method(&ratio).unwrap();
        assert_eq!((own.rule(), own.low(), own.high()), (alt, 700.0, 960.0));
        assert!(own.by_own_method(&ratio).is_err());
    }
}
