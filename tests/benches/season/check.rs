//! What a contender found and what it cost, and whether it found what the others did.

use std::collections::BTreeMap;

/// The sums of all days, from a check line.
#[derive(Clone, Debug)]
pub(crate) struct Check(BTreeMap<String, f64>);

/// How far two contenders may lie apart. Days and readings: not at all. Hours: a reading whose deficit is the line to
/// the seventh digit may fall on either side, in single floats more easily: three of five million. Sums of extremes and
/// of degrees, and the mean: single floats, and another order of summation.
const MAY_DIFFER: [(&str, f64); 8] = [
    ("days", 0.0),
    ("rows", 0.0),
    ("low", 1e-2),
    ("high", 1e-2),
    ("degree_days", 1e-3),
    ("hours_above", 1e-5),
    ("deficit_hours", 3.01 / 60.0),
    ("mean_vpd", 1e-6),
];

impl Check {
    /// Reads `check days=3653 rows=…`, the last line that a contender printed.
    pub(crate) fn read(text: &str) -> Option<Self> {
        let line = text.lines().rfind(|line| line.starts_with("check "))?;
        let figures = line.split(' ').skip(1).map(|figure| {
            let (name, value) = figure.split_once('=')?;
            Some((name.to_owned(), value.parse().ok()?))
        });
        figures.collect::<Option<_>>().map(Self)
    }

    /// Adds up the days that `glasshour season` printed.
    pub(crate) fn of_days(csv: &str) -> Option<Self> {
        let mut rows = csv.lines();
        let names: Vec<&str> = rows.next()?.split(',').collect();
        let mut sums = BTreeMap::<&str, f64>::new();
        for row in rows {
            let cells = names.iter().copied().zip(row.split(',')).skip(1);
            let day: BTreeMap<&str, f64> =
                cells.map(|(name, cell)| Some((name, cell.parse().ok()?))).collect::<Option<_>>()?;
            for (name, value) in &day {
                *sums.entry(name).or_default() += value;
            }
            *sums.entry("days").or_default() += 1.0;
            *sums.entry("deficits").or_default() += day.get("mean_vpd_kpa")? * day.get("readings")?;
        }
        let sum = |name: &str| sums.get(name).copied();
        let rows = sum("readings")?;
        let found = [
            ("days", sum("days")?),
            ("rows", rows),
            ("low", sum("low_c")?),
            ("high", sum("high_c")?),
            ("degree_days", sum("degree_days")?),
            ("hours_above", sum("hours_above")?),
            ("deficit_hours", sum("deficit_hours")?),
            ("mean_vpd", sum("deficits")? / rows),
        ];
        Some(Self(found.into_iter().map(|(name, value)| (name.to_owned(), value)).collect()))
    }

    /// A figure; NaN where it was not printed.
    pub(crate) fn figure(&self, name: &str) -> f64 {
        self.0.get(name).copied().unwrap_or(f64::NAN)
    }

    /// Where two differ by more than they may, in words.
    pub(crate) fn differs(&self, other: &Self) -> Option<String> {
        let apart = MAY_DIFFER.iter().find(|(name, by)| {
            let apart = (self.figure(name) - other.figure(name)).abs();
            // Not a number is further apart than anything.
            apart.is_nan() || apart > *by
        });
        apart.map(|(name, _)| format!("{name} {} against {}", self.figure(name), other.figure(name)))
    }

    /// The sums as a line, for the report.
    pub(crate) fn line(&self) -> String {
        let told = MAY_DIFFER.iter().map(|(name, _)| format!("{name} {}", self.figure(name)));
        told.collect::<Vec<_>>().join(", ")
    }
}
