//! What differs between ledger and copy, day by day.
//!
//! Values are equal when they agree to the digits that every server keeps: 11 significant ones exactly, else to 2e-12 of
//! the value (seen: one of the servers cuts beyond).

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::points::Point;
use super::shown::Numbers;

/// How far two values may be apart, as a share of the value. Two numbers of 11 significant digits are either the same or
/// further apart.
const SAME: f64 = 2e-12;

/// One series on one day, where ledger and copy differ.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Difference {
    /// The day, `YYYY-MM-DD` in the site's standard offset.
    pub day: String,
    /// The series, as the other side shows it.
    pub series: String,
    /// Points in the ledger.
    pub ledger: usize,
    /// Points in the copy.
    pub copy: usize,
    /// In the ledger only.
    pub missing: usize,
    /// In both, with other values.
    pub other: usize,
    /// In the copy only.
    pub extra: usize,
    /// When the first of them is, UTC ms.
    pub first_ms: i64,
}

/// What a day came to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DayCompared {
    /// Numbers in the ledger.
    pub ledger: usize,
    /// What differs, by series.
    pub differences: Vec<Difference>,
    /// The points that the copy lacks, or has otherwise.
    pub to_send: Vec<Point>,
}

/// Whether two values agree to the stated digits.
pub fn agrees(ours: f64, theirs: f64) -> bool {
    ours == theirs || (ours - theirs).abs() <= SAME * ours.abs()
}

/// Holds a day of the ledger against what the other side shows of it.
pub fn compare(day: &str, points: Vec<Point>, shown: &Numbers) -> DayCompared {
    let ours = by_series(&points);
    let names: BTreeSet<&String> = ours.keys().chain(shown.keys()).collect();
    let nothing = BTreeMap::new();
    let mut differences = Vec::new();
    for name in names {
        let (ours, theirs) = (ours.get(name).unwrap_or(&nothing), shown.get(name).unwrap_or(&nothing));
        differences.extend(difference(day, name, ours, theirs));
    }
    let ledger = ours.values().map(BTreeMap::len).sum();
    // Names are the dear part of a day, and most days differ in nothing.
    let to_send = if differences.is_empty() {
        Vec::new()
    } else {
        points.into_iter().filter(|point| lacks(point, shown)).collect()
    };
    DayCompared { ledger, differences, to_send }
}

fn by_series(points: &[Point]) -> Numbers {
    let mut series = Numbers::new();
    for point in points {
        for (name, value) in point.numbers() {
            series.entry(name).or_default().entry(point.at_ms).or_default().push(value);
        }
    }
    series
}

type Series = BTreeMap<i64, Vec<f64>>;

fn difference(day: &str, name: &str, ours: &Series, theirs: &Series) -> Option<Difference> {
    // Where the ledger has two values of one time and series, the copy can only keep one of them: either will do.
    let same =
        |ours: &[f64], theirs: &[f64]| theirs.iter().all(|it| ours.iter().any(|own| agrees(*own, *it)));
    let missing: Vec<i64> = ours.keys().filter(|ms| !theirs.contains_key(ms)).copied().collect();
    let extra: Vec<i64> = theirs.keys().filter(|ms| !ours.contains_key(ms)).copied().collect();
    let in_both = ours.iter().filter_map(|(ms, own)| Some((*ms, own, theirs.get(ms)?)));
    let other: Vec<i64> = in_both.filter(|(_, own, it)| !same(own, it)).map(|(ms, ..)| ms).collect();
    let first_ms = missing.iter().chain(&extra).chain(&other).min()?;
    Some(Difference {
        day: day.to_owned(),
        series: name.to_owned(),
        ledger: ours.len(),
        copy: theirs.len(),
        missing: missing.len(),
        other: other.len(),
        extra: extra.len(),
        first_ms: *first_ms,
    })
}

fn lacks(point: &Point, shown: &Numbers) -> bool {
    point.numbers().any(|(name, value)| {
        let there = shown.get(&name).and_then(|series| series.get(&point.at_ms));
        !there.is_some_and(|values| values.iter().any(|it| agrees(value, *it)))
    })
}

#[cfg(test)]
mod tests {
    use agronomy::quantity::Quantity;

    use super::*;
    use crate::mirror::points::of_reading;
    use crate::reading::{Reading, Reason};

    const NAME: &str = r#"reading_value{grade="sound",probe="a",quantity="co2"}"#;

    fn points(values: &[(i64, f64)]) -> Vec<Point> {
        let reading = |(at_ms, value): &(i64, f64)| Reading {
            probe: "a".into(),
            quantity: Quantity::Co2,
            value: *value,
            at_ms: *at_ms,
            reason: Reason::None,
        };
        values.iter().map(reading).map(|reading| of_reading(&reading).unwrap()).collect()
    }

    fn shown(values: &[(i64, f64)]) -> Numbers {
        let series = values.iter().map(|(ms, value)| (*ms, vec![*value])).collect();
        Numbers::from([(NAME.to_owned(), series)])
    }

    #[test]
    fn what_is_missing_other_and_extra_is_counted_and_only_what_is_lacking_is_sent() {
        let ours = points(&[(1, 1.0), (2, 2.0), (3, 3.0)]);
        let compared = compare("2024-07-02", ours.clone(), &shown(&[(2, 2.5), (3, 3.0), (9, 9.0)]));
        let difference = &compared.differences[0];
        assert_eq!((difference.ledger, difference.copy), (3, 3));
        assert_eq!((difference.missing, difference.other, difference.extra), (1, 1, 1));
        assert_eq!(difference.first_ms, 1);
        assert_eq!(compared.to_send, ours[..2]);
    }

    #[test]
    fn a_copy_that_agrees_differs_in_nothing() {
        let compared = compare("2024-07-02", points(&[(1, 1.0)]), &shown(&[(1, 1.0)]));
        assert_eq!((compared.differences.len(), compared.to_send.len(), compared.ledger), (0, 0, 1));
    }

    #[test]
    fn values_agree_to_the_digits_that_were_seen_to_be_kept() {
        // WIRES of the design, measured: 11 significant digits are kept, 12 to 2e-12 of the value.
        assert!(agrees(-12.34, -12.34) && agrees(0.0, -0.0));
        assert!(agrees(1.234_567_890_123, 1.234_567_890_125));
        assert!(!agrees(21.374_000_000, 21.374_000_001));
        assert!(!agrees(9.999_999_999_9, 10.0) && !agrees(0.0, 1e-30));
    }

    #[test]
    fn of_two_values_of_one_time_the_copy_may_have_kept_either() {
        for kept in [1.0, 2.0] {
            let compared = compare("2024-07-02", points(&[(1, 1.0), (1, 2.0)]), &shown(&[(1, kept)]));
            assert_eq!(compared.differences, []);
        }
    }
}
