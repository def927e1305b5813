//! What is to come, by the glance and the seasons of what stands: days, hours, words.

use chrono::{DateTime, Datelike, NaiveDate, TimeDelta};
use serde::{Deserialize, Serialize};

use crate::glance::Glance;
use crate::keeper::handle::{Season, SeasonMilestone};
use crate::minders::dome;
use crate::minders::drill::DRILL;

/// Minutes to which an hour is rounded: the sun is not later by a minute to a grower.
const QUARTER_MS: i64 = 15 * 60_000;
/// Milliseconds in a day.
const DAY_MS: i64 = 86_400_000;
/// How long before sunrise the watering of a hot day begins, ms (common practice: the hour before the sun).
const BEFORE_SUN_MS: i64 = 3_600_000;
/// A foretold range is told anew once an end of it has moved by more days than this: less is the weather of a week.
const MOVES_DAYS: i64 = 2;

/// When it is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Span {
    /// Whole days by the site's civil calendar, first and last.
    Days {
        /// The first.
        from: NaiveDate,
        /// The last; it counts.
        to: NaiveDate,
    },
    /// From a moment to another, UTC ms.
    Hours {
        /// The beginning.
        from_ms: i64,
        /// The end.
        to_ms: i64,
    },
}

/// One entry of the calendar.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Happening {
    /// What it is known by within this ledger: a notice or planting with what of it. Letters, digits, `_`, `-`, `.`.
    pub key: String,
    /// When.
    pub span: Span,
    /// Its one line.
    pub summary: String,
    /// What else is to be said.
    pub text: String,
    /// Foretold rather than fixed.
    pub foretold: bool,
    /// It has been: it stands as it is from now on.
    pub done: bool,
}

impl Happening {
    /// Whether this is news beside what was told before: not when only a foretold range has moved a little.
    pub fn is_news(&self, told: &Self) -> bool {
        if told.done {
            return false;
        }
        let near = |a: i64, b: i64, most: i64| (a - b).abs() <= most;
        let little = match (&self.span, &told.span) {
            (Span::Days { from, to }, Span::Days { from: was_from, to: was_to }) => {
                let moved = |a: &NaiveDate, b: &NaiveDate| (*a - *b).num_days();
                near(moved(from, was_from), 0, MOVES_DAYS) && near(moved(to, was_to), 0, MOVES_DAYS)
            }
            (Span::Hours { from_ms, to_ms }, Span::Hours { from_ms: was_from, to_ms: was_to }) => {
                near(*from_ms, *was_from, 2 * QUARTER_MS) && near(*to_ms, *was_to, 2 * QUARTER_MS)
            }
            _ => false,
        };
        // A day of a plan stays where it is: there other words are another task.
        let another = self.span == told.span && self.summary != told.summary;
        let still_foretold = self.foretold && told.foretold && little && !another;
        self != told && !still_foretold
    }

    /// Whether all of it lies before a day, or before a moment (UTC ms) of it.
    pub fn is_past(&self, today: NaiveDate, now_ms: i64) -> bool {
        match self.span {
            Span::Days { to, .. } => to < today,
            Span::Hours { to_ms, .. } => to_ms <= now_ms,
        }
    }
}

/// The civil day of a glance.
pub fn today(glance: &Glance) -> NaiveDate {
    civil_day(glance, glance.at_ms)
}

fn civil_day(glance: &Glance, at_ms: i64) -> NaiveDate {
    DateTime::from_timestamp_millis(at_ms + i64::from(glance.civil_offset_s) * 1000)
        .map_or(NaiveDate::MIN, |time| time.date_naive())
}

/// All that is to come, in the order of the keys. `seasons`: those of the plantings that stand.
pub fn happenings(glance: &Glance, seasons: &[Season]) -> Vec<Happening> {
    let mut all = heat_plan(glance);
    all.extend(seasons.iter().flat_map(|season| milestones(glance, season)));
    all.push(drill(glance));
    all.sort_by(|a, b| a.key.cmp(&b.key));
    all.dedup_by(|a, b| a.key == b.key);
    all
}

/// The days of heat that the open heat-dome notice speaks of.
#[derive(Clone, Debug, PartialEq)]
pub struct HeatDays {
    /// The notice.
    pub notice: String,
    /// First day.
    pub from: NaiveDate,
    /// Last day.
    pub to: NaiveDate,
    /// About how hot outside, whole °C; none where nobody says.
    pub about_c: Option<f64>,
    /// Something that stands here grows in pots.
    pub pots: bool,
}

/// The days of heat that are told of, by forecast, authority or grower; none while no heat-dome notice is open.
pub fn heat_days(glance: &Glance) -> Option<HeatDays> {
    let heat = glance.heat.as_ref()?;
    let (from, to) = (heat.from.parse().ok()?, heat.to.parse().ok()?);
    let days = HeatDays { notice: heat.notice.clone(), from, to, about_c: heat.about_c, pots: heat.pots };
    (days.from <= days.to && days.to >= today(glance)).then_some(days)
}

/// The plan, day by day: from its first day or today on, and each day of the heat with its watering.
fn heat_plan(glance: &Glance) -> Vec<Happening> {
    let Some(heat) = heat_days(glance) else { return Vec::new() };
    let today = today(glance);
    let first =
        heat.from.checked_sub_signed(TimeDelta::days(dome::FIRST_DAY)).unwrap_or(heat.from).max(today);
    let count = (heat.to - heat.from).num_days() + 1;
    let about = heat.about_c.map_or_else(String::new, |high| format!(", about {high:.0} °C outside"));
    let mut plan = Vec::new();
    for day in first.iter_days().take_while(|day| *day <= heat.to) {
        let ahead = (heat.from - day).num_days();
        let head = match ahead {
            1 => "Heat from tomorrow".to_owned(),
            2.. => format!("Heat in {ahead} days"),
            _ if count == 1 => format!("Heat{about}"),
            _ => format!("Heat, day {} of {count}{about}", 1 - ahead),
        };
        plan.push(Happening {
            key: format!("{}.{day}", plain(&heat.notice)),
            span: Span::Days { from: day, to: day },
            summary: format!("{head}: {}", dome::order(ahead, heat.pots, false)),
            text: format!(
                "{} {}",
                dome::task(ahead, heat.pots).unwrap_or_default(),
                agronomy::people::caution::IN_THE_OPEN
            ),
            foretold: ahead > 0,
            done: false,
        });
        if ahead <= 0 {
            plan.extend(watering(glance, &heat.notice, day));
        }
    }
    plan
}

/// The watering of a hot day, in the hour before the sun; none where nothing stands or the sun is not known.
fn watering(glance: &Glance, notice: &str, day: NaiveDate) -> Option<Happening> {
    if glance.plantings.is_empty() {
        return None;
    }
    let (sunrise_ms, _) = glance.places.iter().find_map(|place| place.sun)?;
    let days_on = (day - civil_day(glance, sunrise_ms)).num_days();
    let sunrise_ms = (sunrise_ms + days_on * DAY_MS).div_euclid(QUARTER_MS) * QUARTER_MS;
    let span = Span::Hours { from_ms: sunrise_ms - BEFORE_SUN_MS, to_ms: sunrise_ms };
    let names: Vec<&str> = glance.plantings.iter().map(|planting| planting.name.as_str()).collect();
    Some(Happening {
        key: format!("{}.{day}.water", plain(notice)),
        span,
        summary: "Water before sunrise".to_owned(),
        text: format!(
            "At the root: {}. The litres stand in the morning letter where they are reckoned. Pots again at 11 and 15: \
             lift them; if one is light, water.",
            names.join(", ")
        ),
        foretold: true,
        done: false,
    })
}

/// The milestones of a planting: what the sum foretells as a range, and the day on which one was seen.
fn milestones(glance: &Glance, season: &Season) -> Vec<Happening> {
    if season.planting.ended_ms.is_some() {
        return Vec::new();
    }
    let today = today(glance);
    let dated = season.milestones.iter().filter_map(|milestone| {
        let (from, to, done) = dates(milestone)?;
        let name = &season.planting.name;
        let (summary, text) = if done {
            (format!("{name}: {} seen", milestone.what), format!("Noted in the diary on {}.", words(from, to)))
        } else {
            (
                format!("{name}: {} {}", milestone.what, words(from, to)),
                format!(
                    "Reckoned from {} degree days ({}), if days go on as they have gone. A range, no promise.",
                    sums(milestone),
                    milestone.rule
                ),
            )
        };
        Some(Happening {
            key: format!("{}.{}", plain(&season.planting.planting), plain(&milestone.what)),
            span: Span::Days { from, to },
            summary,
            text,
            foretold: !done,
            done,
        })
    });
    dated.filter(|it| it.done || !it.is_past(today, glance.at_ms)).collect()
}

/// First and last day, and whether it was seen; none where no day is known.
fn dates(milestone: &SeasonMilestone) -> Option<(NaiveDate, NaiveDate, bool)> {
    let day = |text: &Option<String>| text.as_ref()?.parse::<NaiveDate>().ok();
    if let Some(seen) = day(&milestone.noted) {
        return Some((seen, seen, true));
    }
    if milestone.too_little_measured {
        return None;
    }
    let earliest = day(&milestone.earliest)?;
    // Without a last day in sight only the first is said.
    let latest = day(&milestone.latest).unwrap_or(earliest);
    Some((earliest, latest.max(earliest), false))
}

fn sums(milestone: &SeasonMilestone) -> String {
    let (from, to) = (format!("{:.0}", milestone.from_dd), format!("{:.0}", milestone.to_dd));
    if from == to { from } else { format!("{from} to {to}") }
}

/// "12 to 20 July", "28 June to 3 July", "about 12 July".
pub fn words(from: NaiveDate, to: NaiveDate) -> String {
    if from == to {
        format!("about {}", from.format("%-d %B"))
    } else if (from.year(), from.month()) == (to.year(), to.month()) {
        format!("{} to {}", from.format("%-d"), to.format("%-d %B"))
    } else {
        format!("{} to {}", from.format("%-d %B"), to.format("%-d %B"))
    }
}

/// The yearly trial of all couriers on 1 March, before the heat; once it was held this spring, the day it was.
fn drill(glance: &Glance) -> Happening {
    let today = today(glance);
    let held = glance.open.iter().chain(&glance.closed_lately).find(|notice| notice.minder == DRILL);
    let first_of_march = |year: i32| NaiveDate::from_ymd_opt(year, 3, 1).unwrap_or(NaiveDate::MAX);
    // A drill from new year on is this spring's; one later in the year is next spring's no longer.
    let this_year = first_of_march(today.year());
    if let Some(notice) = held.filter(|_| today < first_of_june(today.year())) {
        let day = civil_day(glance, notice.opened_ms);
        return Happening {
            key: format!("drill.{}", day.year()),
            span: Span::Days { from: day, to: day },
            summary: "Drill held: every courier was tried".to_owned(),
            text: "The page says how each courier did.".to_owned(),
            foretold: false,
            done: true,
        };
    }
    let day = if today <= this_year { this_year } else { first_of_march(today.year() + 1) };
    Happening {
        key: format!("drill.{}", day.year()),
        span: Span::Days { from: day, to: day },
        summary: "Hold a drill: try every courier before the heat".to_owned(),
        text: "A test notice goes out by every courier, marked as a test. Whoever should hear of heat says whether it \
               came."
            .to_owned(),
        foretold: false,
        done: false,
    }
}

fn first_of_june(year: i32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, 6, 1).unwrap_or(NaiveDate::MAX)
}

/// A part of a key.
fn plain(text: &str) -> String {
    text.chars().map(|c| if c.is_ascii_alphanumeric() || "_-.".contains(c) { c } else { '-' }).collect()
}

#[cfg(test)]
#[path = "happening_tests.rs"]
mod tests;
