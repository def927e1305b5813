//! Degree days gathered over a season, with the rule they were reckoned by.

use serde::{Deserialize, Serialize};

use super::rule::Rule;

/// Degree days so far, inseparable from their rule. In files a map of `rule` and `total`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Written")]
pub struct Sum {
    rule: Rule,
    total: f64,
}

/// A sum as it stands in a file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    rule: Rule,
    total: f64,
}

impl TryFrom<Written> for Sum {
    type Error = NoNumber;

    fn try_from(written: Written) -> Result<Self, NoNumber> {
        let mut sum = Self::new(written.rule);
        sum.add_day(written.total)?;
        Ok(sum)
    }
}

/// A day whose degree days are no number: NaN or infinite.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("{0} is no number of degree days")]
pub struct NoNumber(pub f64);

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
    ///
    /// # Errors
    ///
    /// [`NoNumber`] for NaN, an infinity, or a total that would be one; the sum is then as it was.
    pub fn add_day(&mut self, degree_days: f64) -> Result<(), NoNumber> {
        let total = self.total + degree_days;
        if !total.is_finite() {
            return Err(NoNumber(degree_days));
        }
        self.total = total;
        Ok(())
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

/// Sums of one rule, such as the stretches of one season kept in a file.
///
/// A list with one unlike sum is refused as a whole, when it is made and when it is read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Vec<Sum>", into = "Vec<Sum>")]
pub struct LikeSums(Vec<Sum>);

impl TryFrom<Vec<Sum>> for LikeSums {
    type Error = UnlikeSums;

    fn try_from(sums: Vec<Sum>) -> Result<Self, UnlikeSums> {
        let unlike = sums.windows(2).find(|pair| pair[0].rule != pair[1].rule);
        match unlike {
            Some(pair) => Err(UnlikeSums { left: pair[0].rule, right: pair[1].rule }),
            None => Ok(Self(sums)),
        }
    }
}

impl From<LikeSums> for Vec<Sum> {
    fn from(sums: LikeSums) -> Self {
        sums.0
    }
}

impl LikeSums {
    /// All of them together; `None` when there are none.
    pub fn total(&self) -> Option<Sum> {
        let rule = self.0.first()?.rule;
        Some(Sum { rule, total: self.0.iter().map(Sum::total).sum() })
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Cutoff, Method};
    use super::*;

    fn rule(method: Method, base: f64, upper: f64) -> Rule {
        Rule::of_numbers(method, base, Some(upper), Cutoff::Horizontal).unwrap()
    }

    #[test]
    fn like_sums_add_up() {
        let mut spring = Sum::new(rule(Method::Integral, 10.0, 30.0));
        spring.add_day(12.5).unwrap();
        let mut summer = Sum::new(rule(Method::Integral, 10.0, 30.0));
        summer.add_day(15.0).unwrap();
        assert_eq!(spring.add(&summer), Ok(()));
        assert_eq!(spring.total(), 27.5);
    }

    #[test]
    fn unlike_sums_are_an_error_and_change_nothing() {
        let mut sum = Sum::new(rule(Method::Integral, 10.0, 30.0));
        sum.add_day(12.5).unwrap();
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

    #[test]
    fn a_day_that_is_no_number_is_refused_and_changes_nothing() {
        let mut sum = Sum::new(rule(Method::Integral, 10.0, 30.0));
        sum.add_day(12.5).unwrap();
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(sum.add_day(bad).is_err(), "{bad}");
        }
        sum.add_day(f64::MAX).unwrap();
        assert_eq!(sum.add_day(f64::MAX), Err(NoNumber(f64::MAX)));
        assert_eq!(sum.total(), f64::MAX);
    }

    #[test]
    fn a_file_of_like_sums_adds_up_and_one_with_an_unlike_sum_is_refused() {
        let like = r#"[{"rule":{"method":"integral","base_c":10,"upper_c":30},"total":12.5},
                       {"rule":{"method":"integral","base_c":10.0,"upper_c":30.0},"total":15}]"#;
        let sums: LikeSums = serde_json::from_str(like).unwrap();
        assert_eq!(sums.total().map(|sum| sum.total()), Some(27.5));
        let again = serde_json::to_string(&sums).unwrap();
        assert_eq!(serde_json::from_str::<LikeSums>(&again).unwrap(), sums);
        for other in
            [r#""single-sine","base_c":10"#, r#""integral","base_c":7"#, r#""integral-peak","base_c":10"#]
        {
            let unlike = like.replacen(r#""integral","base_c":10,"#, &format!("{other},"), 1);
            let refusal = serde_json::from_str::<LikeSums>(&unlike).unwrap_err().to_string();
            assert!(refusal.contains("cannot be added to degree days by integral 10/30"), "{refusal}");
        }
        assert!(serde_json::from_str::<LikeSums>("[]").unwrap().total().is_none());
    }
}
