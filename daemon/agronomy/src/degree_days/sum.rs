//! Degree days gathered over a season, with the rule they were reckoned by.

use super::rule::Rule;

/// Degree days so far, inseparable from their rule.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sum {
    rule: Rule,
    total: f64,
}

/// Two sums that must not be added: their numbers mean different things.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("degree days by {left} cannot be added to degree days by {right}")]
pub struct UnlikeSums {
    /// The rule of the sum added to.
    pub left: Rule,
    /// The rule of the sum that was to be added.
    pub right: Rule,
}

impl Sum {
    /// A sum of nothing yet.
    pub const fn new(rule: Rule) -> Self {
        Self { rule, total: 0.0 }
    }

    /// Adds one day's degree days, reckoned by this sum's own rule.
    pub fn add_day(&mut self, degree_days: f64) {
        self.total += degree_days;
    }

    /// Adds another stretch of the same season.
    ///
    /// # Errors
    ///
    /// [`UnlikeSums`] when method, base, upper or cutoff differ; the sum is then as it was.
    pub fn add(&mut self, other: &Self) -> Result<(), UnlikeSums> {
        if self.rule != other.rule {
            return Err(UnlikeSums { left: self.rule, right: other.rule });
        }
        self.total += other.total;
        Ok(())
    }

    /// The rule of every day in it.
    pub const fn rule(&self) -> Rule {
        self.rule
    }

    /// Degree days so far, °C d.
    pub const fn total(&self) -> f64 {
        self.total
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Cutoff, Method};
    use super::*;

    fn rule(method: Method, base: f64, upper: f64) -> Rule {
        Rule::try_new(method, base, Some(upper), Cutoff::Horizontal).unwrap()
    }

    #[test]
    fn like_sums_add_up() {
        let mut spring = Sum::new(rule(Method::Integral, 10.0, 30.0));
        spring.add_day(12.5);
        let mut summer = Sum::new(rule(Method::Integral, 10.0, 30.0));
        summer.add_day(15.0);
        assert_eq!(spring.add(&summer), Ok(()));
        assert_eq!(spring.total(), 27.5);
    }

    #[test]
    fn unlike_sums_are_an_error_and_change_nothing() {
        let mut sum = Sum::new(rule(Method::Integral, 10.0, 30.0));
        sum.add_day(12.5);
        for other in [
            rule(Method::SingleSine, 10.0, 30.0),
            rule(Method::Integral, 7.0, 30.0),
            rule(Method::Integral, 10.0, 32.0),
        ] {
            let refusal = sum.add(&Sum::new(other)).unwrap_err();
            assert_eq!(refusal.right, other);
            assert!(refusal.to_string().contains("integral 10/30"), "{refusal}");
        }
        assert_eq!(sum.total(), 12.5);
    }
}
