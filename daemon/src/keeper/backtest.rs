//! Back-test: what a replay came to, for setting limits by one's own past.
//!
//! A limit is right when it speaks before damage and seldom without it. So three things are counted of what was told:
//! how much and how often it buzzed; how long before a line was passed the first word came; and which notices were
//! followed by damage that the grower noted, and which damage by no notice.

use std::collections::{BTreeMap, BTreeSet};

use agronomy::crop::Severity;
use agronomy::series::MS_PER_DAY;
use serde::Serialize;

use super::engine::Engine;
use super::export::gather;
use crate::almanac::day_page::rounded;
use crate::calendar::{Calendar, Day, date};
use crate::entry::{Note, Step, Turn};
use crate::ground::Ground;
use crate::minders::dome::HEAT_DOME;
use crate::minders::drill::DRILL;
use crate::minders::heat::{DWELL_MS, ON_COURSE, TOO_HOT};

/// How long after its last step a notice still counts as having come before damage, ms (common practice: what heat or
/// frost did shows within a week).
const FOLLOWS_MS: i64 = 7 * MS_PER_DAY;

/// What a replay came to.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Tally {
    /// Notices in all; drills aside.
    pub notices: usize,
    /// By minder and by the worst they were.
    pub by_minder: BTreeMap<String, BTreeMap<Severity, usize>>,
    /// Notices that would have buzzed a phone.
    pub pushed: usize,
    /// Days on which they would have begun to, in the site's standard time.
    pub push_days: BTreeSet<String>,
    /// The first word of a course on a day on which a crop's severe line was passed.
    pub severe_line: Lead,
    /// The first buzz of a course on a day on which the place's own line was passed.
    pub place_line: Lead,
    /// The word of a heat wave, before the first severe line that was passed in it.
    pub heat_dome: Lead,
    /// Damage noted.
    pub damage: Vec<DamageSeen>,
    /// Notices that were followed by damage, by minder.
    pub followed: BTreeMap<String, usize>,
}

/// How early something was told.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Lead {
    /// How often a line was passed and held for its dwell.
    pub passed: usize,
    /// How often that was told ahead.
    pub told_ahead: usize,
    /// Median lead of those told ahead, minutes.
    pub median_min: Option<f64>,
    /// Shortest lead of those told ahead, minutes.
    pub worst_min: Option<f64>,
}

/// Damage that was noted, and what had been told of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DamageSeen {
    /// The day it was seen.
    pub date: String,
    /// On which planting.
    pub planting: String,
    /// In the grower's words.
    pub text: String,
    /// Notices about the planting, its place or the whole site that ran in the seven days before.
    pub after: Vec<String>,
    /// Whether one of them would have buzzed a phone.
    pub buzzed: bool,
}

impl Lead {
    /// Of how early each passing was told, ms; none where it was not told ahead.
    fn of(leads: &[Option<i64>]) -> Self {
        let mut told: Vec<f64> = leads.iter().flatten().map(|ms| *ms as f64 / 60_000.0).collect();
        let median = crate::almanac::shape::median(&mut told);
        Self {
            passed: leads.len(),
            told_ahead: told.len(),
            median_min: median.map(|minutes| rounded(minutes, 1)),
            worst_min: told.first().map(|minutes| rounded(*minutes, 1)),
        }
    }
}

/// What an engine's replay came to.
pub fn tally(engine: &Engine) -> Tally {
    let site = engine.site();
    Tally::of(engine.told(), engine.ground(), &site.calendar, site.place_line_ms())
}

impl Tally {
    /// Of the steps told on a ground. `place_line_ms`: how long the place's own line must be held.
    pub fn of(told: &[Step], ground: &Ground, calendar: &Calendar, place_line_ms: i64) -> Self {
        let told: Vec<Step> = told.iter().filter(|step| step.minder != DRILL).cloned().collect();
        let notices = gather(&told);
        let mut tally = Self { notices: notices.len(), ..Self::default() };
        for steps in &notices {
            let (Some(first), Some(worst)) = (steps.first(), steps.iter().map(|it| it.severity).max()) else {
                continue;
            };
            *tally.by_minder.entry(first.minder.clone()).or_default().entry(worst).or_default() += 1;
            // An all-clear goes where the alarm went: it is no alarm.
            let mut alarms = steps.iter().filter(|step| step.push && step.turn != Turn::Closed).peekable();
            tally.pushed += usize::from(alarms.peek().is_some());
            tally.push_days.extend(alarms.map(|step| date(calendar.day_of(step.at_ms))));
        }
        let passings = Passings { told: &told, calendar, place_line_ms };
        tally.severe_line = Lead::of(&passings.leads(Severity::Severe));
        tally.place_line = Lead::of(&passings.leads(Severity::Extreme));
        tally.heat_dome = Lead::of(&passings.of_domes(&notices));
        tally.see_damage(&notices, ground, calendar);
        tally
    }

    fn see_damage(&mut self, notices: &[Vec<&Step>], ground: &Ground, calendar: &Calendar) {
        let mut followed: BTreeSet<&str> = BTreeSet::new();
        for entry in &ground.entries {
            let Note::Damage { planting, text } = &entry.note else { continue };
            let place = ground.planting(planting).map_or("", |it| it.place.as_str());
            let concerns = |first: &Step| {
                let whose = first.planting.as_deref() == Some(planting.as_str());
                whose || first.place == place || first.place.is_empty()
            };
            let before: Vec<&Vec<&Step>> = notices
                .iter()
                .filter(|steps| {
                    steps.first().zip(steps.last()).is_some_and(|(first, last)| {
                        let span = first.at_ms..=last.at_ms.saturating_add(FOLLOWS_MS);
                        concerns(first) && span.contains(&entry.from_ms)
                    })
                })
                .collect();
            let names = before.iter().filter_map(|steps| steps.first().map(|first| first.notice.as_str()));
            let names: Vec<&str> = names.collect();
            followed.extend(names.iter().copied());
            self.damage.push(DamageSeen {
                date: date(calendar.day_of(entry.from_ms)),
                planting: planting.clone(),
                text: text.clone(),
                after: names.iter().map(|name| (*name).to_owned()).collect(),
                buzzed: before.iter().any(|steps| steps.iter().any(|step| step.push)),
            });
        }
        for first in notices.iter().filter_map(|steps| steps.first()) {
            if followed.contains(first.notice.as_str()) {
                *self.followed.entry(first.minder.clone()).or_default() += 1;
            }
        }
    }
}

/// When lines were passed, as the heat notices tell it.
struct Passings<'a> {
    told: &'a [Step],
    calendar: &'a Calendar,
    place_line_ms: i64,
}

impl Passings<'_> {
    /// When a place first passed a line on each day, UTC ms: a heat notice is told once the line's dwell is over.
    fn passed(&self, severity: Severity) -> BTreeMap<(&str, Day), i64> {
        let mut passed = BTreeMap::new();
        for step in self.told.iter().filter(|step| step.minder == TOO_HOT) {
            let up = matches!(step.turn, Turn::Opened | Turn::Worsened);
            // A severe line lies under the place's own line: who passes the one has passed the other.
            if up && step.severity >= severity {
                let dwell_ms = if step.severity == Severity::Extreme { self.place_line_ms } else { DWELL_MS };
                let day = self.calendar.day_of(step.at_ms);
                passed.entry((step.place.as_str(), day)).or_insert(step.at_ms - dwell_ms);
            }
        }
        passed
    }

    /// How early each passing of a line was told by a course of the same day.
    fn leads(&self, severity: Severity) -> Vec<Option<i64>> {
        let lead = |((place, day), passed_ms): ((&str, Day), i64)| {
            // By a notice of its own or inside the heat notice; of courses only that to the place's own line buzzes.
            let tells = |step: &Step| step.minder == ON_COURSE || step.inside.contains_key(ON_COURSE);
            let buzzes = |step: &Step| {
                step.push && (step.minder == ON_COURSE || step.joined.iter().any(|it| it == ON_COURSE))
            };
            let mut course = self.told.iter().filter(|step| {
                step.place == place
                    && step.turn != Turn::Closed
                    && tells(step)
                    && (severity < Severity::Extreme || buzzes(step))
                    && self.calendar.day_of(step.at_ms) == day
            });
            course.next().map(|step| passed_ms - step.at_ms).filter(|lead| *lead > 0)
        };
        self.passed(severity).into_iter().map(lead).collect()
    }

    /// How early each heat wave was told before the first severe line passed in it; those in which none was do not count.
    fn of_domes(&self, notices: &[Vec<&Step>]) -> Vec<Option<i64>> {
        let passed: BTreeSet<i64> = self.passed(Severity::Severe).into_values().collect();
        let domes = notices.iter().filter_map(|steps| steps.first().zip(steps.last()));
        let domes = domes.filter(|(first, _)| first.minder == HEAT_DOME);
        let lead = |(first, last): (&&Step, &&Step)| {
            let until = if last.turn == Turn::Closed { last.at_ms } else { i64::MAX };
            passed.range(first.at_ms..=until).next().map(|passed_ms| Some(passed_ms - first.at_ms))
        };
        domes.filter_map(lead).collect()
    }
}

#[cfg(test)]
#[path = "backtest_tests.rs"]
mod tests;
