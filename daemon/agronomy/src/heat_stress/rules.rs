//! A crop's heat rules, judged over a run of days.
//!
//! Each day by itself has *met* a rule, *missed* it clearly, come *near*, or is *unknown*. Days in a row are
//! counted from these: a met day adds one, a clear miss (a degree or more short) starts anew, and a near or an
//! unknown day holds the count: one cloudy noon or one silent probe does not end a hot spell. What was seen
//! of a half-measured day may meet a rule; it cannot clear one.

use super::at_line::{CLEAR_MISS_C, DayAtLine};
use super::day::{Curve, Day};
use crate::crop::{Certainty, Crop, HeatRule, Measure, Severity, Stages};
use crate::units::Celsius;

/// What `today` says to a rule.
///
/// A rule of a hot day *and* a warm night pairs yesterday's heat with the night that followed it, the one that
/// ended this morning; without `yesterday` it is unknown.
///
/// # Errors
///
/// None: a threshold that is no temperature is never met and never cleared.
///
/// # Source
///
/// The measures are those of the crop book; each rule names the trial behind it.
pub fn met(rule: &HeatRule, yesterday: Option<&Day<'_>>, today: &Day<'_>) -> DayAtLine {
    let day = |curve: &Curve<'_>| highest(rule, curve);
    match rule.measure {
        Measure::DayMaxC | Measure::HoursAboveC => day(&today.air),
        Measure::SoilMaxC => day(&today.soil),
        Measure::Soil10cmC => day(&today.soil_10cm),
        Measure::SoilSurfaceC => day(&today.surface),
        Measure::NightMinC => warm_night(rule.threshold, today),
        Measure::NightMinBelowC => cold_night(rule.threshold, today),
        Measure::DailyMeanC => match today.air.mean().filter(|_| today.air.in_full()) {
            Some(mean) => DayAtLine::at_least(mean, rule.threshold),
            None => DayAtLine::Unknown,
        },
        Measure::DayMaxAndNightMinC => {
            let hot = yesterday.map_or(DayAtLine::Unknown, |yesterday| day(&yesterday.air));
            hot.and(rule.night_threshold.map_or(DayAtLine::Unknown, |line| warm_night(line, today)))
        }
    }
}

/// The day's highest against the threshold, for as many hours as the rule wants.
fn highest(rule: &HeatRule, curve: &Curve<'_>) -> DayAtLine {
    let Some((_, high)) = curve.extremes() else { return DayAtLine::Unknown };
    let seen = match (DayAtLine::at_least(high, rule.threshold), rule.min_hours_per_day) {
        (DayAtLine::Met, Some(least)) => {
            let hours = Celsius::try_new(rule.threshold).ok().and_then(|line| curve.hours_above(line));
            hours.map_or(
                DayAtLine::Unknown,
                |hours| if hours >= least { DayAtLine::Met } else { DayAtLine::Near },
            )
        }
        (seen, _) => seen,
    };
    if seen == DayAtLine::Met || curve.in_full() { seen } else { DayAtLine::Unknown }
}

/// A night is warm when its lowest stays at or above the threshold: one cooler reading is enough to say no.
fn warm_night(threshold: f64, today: &Day<'_>) -> DayAtLine {
    let Some((low, _)) = today.night.extremes() else { return DayAtLine::Unknown };
    let seen = DayAtLine::at_least(low, threshold);
    if seen == DayAtLine::Met && !today.night_counts() { DayAtLine::Unknown } else { seen }
}

/// A night is cold when its lowest falls below the threshold: one cold reading is enough to say yes.
fn cold_night(threshold: f64, today: &Day<'_>) -> DayAtLine {
    let Some((low, _)) = today.night.extremes() else { return DayAtLine::Unknown };
    let seen = if low < threshold {
        DayAtLine::Met
    } else if low > threshold + CLEAR_MISS_C {
        DayAtLine::Missed
    } else if low >= threshold {
        DayAtLine::Near
    } else {
        DayAtLine::Unknown
    };
    if seen == DayAtLine::Met || today.night_counts() { seen } else { DayAtLine::Unknown }
}

/// The days in a row that have met a rule.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Run {
    days: u32,
}

impl Run {
    /// Takes the next day: a met one adds, a clear miss starts anew, anything else holds.
    #[must_use]
    pub const fn step(self, day: DayAtLine) -> Self {
        match day {
            DayAtLine::Met => Self { days: self.days.saturating_add(1) },
            DayAtLine::Missed => Self { days: 0 },
            DayAtLine::Near | DayAtLine::Unknown => self,
        }
    }

    /// How many days have met it since the last clear miss.
    pub const fn days(self) -> u32 {
        self.days
    }

    /// Whether a rule speaks when `last` was the day just taken: it was met, and as many in a row as the rule wants.
    pub fn speaks(self, rule: &HeatRule, last: DayAtLine) -> bool {
        last == DayAtLine::Met && self.days >= rule.consecutive_days.unwrap_or(1)
    }
}

/// What a run of days says to a rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Verdict {
    /// What the last day says.
    pub last: DayAtLine,
    /// The days in a row up to it.
    pub run: Run,
    /// Whether the rule speaks: the last day has met it, and so have as many in a row as it wants.
    pub speaks: bool,
}

/// Judges one rule over days in a row, the last of them the day in question.
///
/// # Errors
///
/// None: no day at all is [`DayAtLine::Unknown`].
pub fn judge(rule: &HeatRule, days: &[Day<'_>]) -> Verdict {
    let (mut run, mut last, mut yesterday) = (Run::default(), DayAtLine::Unknown, None);
    for today in days {
        last = met(rule, yesterday, today);
        run = run.step(last);
        yesterday = Some(today);
    }
    Verdict { last, run, speaks: run.speaks(rule, last) }
}

/// A rule that speaks, and whether its stage is certain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Finding<'a> {
    /// The rule.
    pub rule: &'a HeatRule,
    /// Whether a stage of the rule is certain, or only possible ("if it is in flower").
    pub certainty: Certainty,
    /// Days in a row.
    pub run: Run,
}

/// Every rule of the crop that runs in these stages and speaks on the last of these days, in the book's order.
pub fn findings<'a>(crop: &'a Crop, stages: &Stages, days: &[Day<'_>]) -> impl Iterator<Item = Finding<'a>> {
    crop.heat_rules.iter().filter_map(move |rule| {
        let certainty = stages.certainty(rule)?;
        let verdict = judge(rule, days);
        verdict.speaks.then_some(Finding { rule, certainty, run: verdict.run })
    })
}

/// The severity of a day: that of the worst rule that speaks.
pub fn worst<'a>(findings: impl Iterator<Item = Finding<'a>>) -> Option<Severity> {
    findings.map(|finding| finding.rule.severity).max()
}
