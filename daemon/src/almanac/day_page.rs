//! The day page of a place: extremes, means, hours, degree days, and the share of the day that was measured.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use agronomy::degree_days::{Cutoff, Method, Rule, by_readings, daily};
use agronomy::heat_stress::Curve;
use agronomy::series::{self, COUNTS_IN_FULL_MS, Held, MS_PER_DAY, MS_PER_HOUR};
use agronomy::units::Celsius;
use agronomy::vapour;
use serde::{Deserialize, Serialize};

use super::heat_day::HeatDay;

/// Air temperatures above which every page counts hours, °C.
const HOURS_ABOVE_C: [f64; 5] = [30.0, 32.0, 35.0, 38.0, 40.0];
/// Deficits above which every page counts hours, kPa, as they are named.
const HOURS_ABOVE_KPA: [(&str, f64); 4] = [("1.6", 1.6), ("2.0", 2.0), ("2.5", 2.5), ("3.0", 3.0)];

/// Hours above thresholds, keyed by the threshold.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct HoursAbove {
    /// By air temperature, °C.
    pub t_c: BTreeMap<String, f64>,
    /// By vapour-pressure deficit, kPa.
    pub vpd_kpa: BTreeMap<String, f64>,
}

/// One place's day. Temperatures rounded to 0.01 °C, deficits to 0.001 kPa, hours and degree days to 0.01.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct DayPage {
    /// Which place.
    pub place: String,
    /// Calendar day in the site's standard offset.
    pub date: String,
    /// Share of the day for which a sound air temperature was held, 0..1.
    pub measured_share: f64,
    /// Lowest, °C.
    pub t_min_c: Option<f64>,
    /// Highest, °C.
    pub t_max_c: Option<f64>,
    /// Time-weighted mean, °C.
    pub t_mean_c: Option<f64>,
    /// Lowest of the night that ended this morning, °C.
    pub night_min_c: Option<f64>,
    /// Time-weighted mean of the deficit (never the deficit of means), kPa.
    pub vpd_mean_kpa: Option<f64>,
    /// Highest deficit, kPa.
    pub vpd_max_kpa: Option<f64>,
    /// Hours above thresholds.
    pub hours_above: HoursAbove,
    /// Degree days by rule, °C d; none on days that do not count (18 h held, or read by hand).
    pub degree_days: BTreeMap<String, Option<f64>>,
    /// Made from lows and highs read by hand, by the single sine.
    pub read_by_hand: bool,
}

/// What a day page is made from.
#[derive(Clone, Debug)]
pub struct DayInput {
    /// Which place.
    pub place: String,
    /// Calendar day.
    pub date: String,
    /// The day, UTC ms.
    pub day: Range<i64>,
    /// The night that ends this morning, UTC ms.
    pub night: Range<i64>,
    /// Sound air temperatures (°C) as they are held, from a day before: each begins where it was measured.
    pub air: Vec<Held>,
    /// Sound humidities (%) as they are held, from a day before.
    pub humidity: Vec<Held>,
    /// Lowest and highest read by hand, °C.
    pub by_hand: Option<(f64, f64)>,
    /// Degree-day rules of the crops that stand here.
    pub rules: BTreeSet<RuleKey>,
}

/// A degree-day rule that can be ordered and compared exactly: thresholds in hundredths of a degree.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct RuleKey {
    method: u8,
    base: i32,
    upper: Option<i32>,
}

impl RuleKey {
    /// The key of a rule with horizontal cutoff.
    pub fn new(method: Method, base: f64, upper: Option<f64>) -> Self {
        let index = Method::ALL.iter().position(|known| *known == method).unwrap_or(0);
        Self { method: index as u8, base: hundredths(base), upper: upper.map(hundredths) }
    }

    /// The rule itself; `None` when its thresholds contradict each other.
    pub fn rule(self) -> Option<Rule> {
        let celsius = |hundredths| Celsius::try_new(f64::from(hundredths) / 100.0).ok();
        let upper = match self.upper {
            Some(upper) => Some(celsius(upper)?),
            None => None,
        };
        let method = *Method::ALL.get(usize::from(self.method))?;
        Rule::try_new(method, celsius(self.base)?, upper, Cutoff::Horizontal).ok()
    }
}

fn hundredths(celsius: f64) -> i32 {
    libm::round(celsius * 100.0) as i32
}

/// Rounds to a number of decimals; outputs are rounded so that they are the same bytes everywhere.
pub fn rounded(value: f64, decimals: u8) -> f64 {
    let scale = [1.0, 10.0, 100.0, 1000.0, 10_000.0][usize::from(decimals.min(4))];
    let rounded = libm::round(value * scale) / scale;
    // Minus zero would print as -0.0.
    if rounded == 0.0 { 0.0 } else { rounded }
}

/// Hours with two decimals.
pub fn hours(ms: i64) -> f64 {
    rounded(ms as f64 / MS_PER_HOUR as f64, 2)
}

impl DayInput {
    /// Air temperature as held over a stretch.
    pub fn held(&self, window: &Range<i64>) -> impl Iterator<Item = Held> {
        self.air.iter().filter_map(|held| held.within(window))
    }

    /// The deficit as held over the day: where both temperature and humidity are held.
    fn deficit(&self) -> impl Iterator<Item = Held> {
        let humidity = self.humidity.iter().filter_map(|held| held.within(&self.day));
        vapour::deficits(self.held(&self.day), humidity)
    }

    /// Extremes of the readings measured in a stretch.
    fn extremes(&self, window: &Range<i64>) -> Option<(f64, f64)> {
        let measured = self.air.iter().filter(|held| window.contains(&held.start_ms));
        let mut values = measured.map(|held| held.value);
        let first = values.next()?;
        Some(values.fold((first, first), |(low, high), value| (low.min(value), high.max(value))))
    }

    /// How long air temperature was held that day, ms.
    pub fn held_ms(&self) -> i64 {
        series::held_ms(self.held(&self.day))
    }

    /// Whether the day is made from a reading by hand: there is one, and the probe did not hold 18 h.
    pub fn is_by_hand(&self) -> bool {
        self.by_hand.is_some() && self.held_ms() < COUNTS_IN_FULL_MS
    }

    /// The day as heat rules look at it.
    pub fn heat_day(&self) -> HeatDay {
        HeatDay::cut(&self.air, &self.day, &self.night, self.curve_by_hand())
    }

    /// The sine between lowest and highest of a day read by hand.
    fn curve_by_hand(&self) -> Option<Curve<'static>> {
        let (low, high) = self.day_extremes().filter(|_| self.is_by_hand())?;
        Some(Curve::Extremes { low: Celsius::try_new(low).ok()?, high: Celsius::try_new(high).ok()? })
    }

    /// Hours at or above a threshold that day: held, or along the single sine when read by hand.
    pub fn hours_at_or_above(&self, threshold: f64) -> f64 {
        self.hours_by_hand(threshold).unwrap_or_else(|| {
            hours(self.held(&self.day).filter(|held| held.value >= threshold).map(|held| held.ms()).sum())
        })
    }

    fn hours_above(&self, threshold: f64) -> f64 {
        self.hours_by_hand(threshold)
            .unwrap_or_else(|| hours(series::ms_above(self.held(&self.day), threshold)))
    }

    fn hours_by_hand(&self, threshold: f64) -> Option<f64> {
        let line = Celsius::try_new(threshold).ok()?;
        self.curve_by_hand()?.hours_above(line).map(|hours| rounded(hours, 2))
    }

    /// Makes the page.
    pub fn page(&self) -> DayPage {
        let held_ms = self.held_ms();
        let night = self.extremes(&self.night).filter(|_| self.heat_day().night_counts());
        let mut page = DayPage {
            place: self.place.clone(),
            date: self.date.clone(),
            measured_share: rounded(held_ms as f64 / MS_PER_DAY as f64, 4),
            night_min_c: night.map(|(low, _)| rounded(low, 2)),
            t_mean_c: series::time_weighted_mean(self.held(&self.day)).map(|mean| rounded(mean, 2)),
            vpd_mean_kpa: series::time_weighted_mean(self.deficit()).map(|mean| rounded(mean, 3)),
            vpd_max_kpa: self.deficit().map(|held| held.value).reduce(f64::max).map(|max| rounded(max, 3)),
            read_by_hand: self.is_by_hand(),
            ..DayPage::default()
        };
        if let Some((low, high)) = self.day_extremes() {
            page.t_min_c = Some(rounded(low, 2));
            page.t_max_c = Some(rounded(high, 2));
        }
        for threshold in HOURS_ABOVE_C {
            page.hours_above.t_c.insert(format!("{threshold:.0}"), self.hours_above(threshold));
        }
        for (name, threshold) in HOURS_ABOVE_KPA {
            let above = hours(series::ms_above(self.deficit(), threshold));
            page.hours_above.vpd_kpa.insert(name.to_owned(), above);
        }
        let always = [Method::Integral, Method::ExtremesClipped].map(|it| RuleKey::new(it, 10.0, Some(30.0)));
        for rule in self.rules.iter().chain(&always).filter_map(|key| key.rule()) {
            page.degree_days.insert(rule.to_string(), self.degree_days(&rule));
        }
        page
    }

    /// Extremes of the day: measured, read by hand, or both together.
    fn day_extremes(&self) -> Option<(f64, f64)> {
        let measured = self.extremes(&self.day);
        match (measured, self.by_hand.filter(|_| self.is_by_hand())) {
            (Some((low, high)), Some((by_hand_low, by_hand_high))) => {
                Some((low.min(by_hand_low), high.max(by_hand_high)))
            }
            (measured, by_hand) => measured.or(by_hand),
        }
    }

    /// Degree days of the day by a rule; `None` when the day does not count.
    pub fn degree_days(&self, rule: &Rule) -> Option<f64> {
        if !self.is_by_hand() && self.held_ms() < COUNTS_IN_FULL_MS {
            return None;
        }
        let (low, high) = self.day_extremes()?;
        let (low, high) = (Celsius::try_new(low).ok()?, Celsius::try_new(high).ok()?);
        let sum = match (rule.method(), self.is_by_hand()) {
            (method, false) if method.needs_readings() => by_readings(rule, self.held(&self.day)).ok()?,
            (Method::Integral, true) => {
                let sine =
                    Rule::try_new(Method::SingleSine, rule.base(), rule.upper(), Cutoff::Horizontal).ok()?;
                daily(&sine, low, high, None).ok()?.degree_days
            }
            _ => daily(rule, low, high, Some(low)).ok()?.degree_days,
        };
        Some(rounded(sum, 2))
    }
}
