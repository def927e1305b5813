//! The milestones of a planting's season: what the book says, when the sum came to it, what the grower saw.

use std::collections::BTreeMap;

use agronomy::crop::Milestone;
use agronomy::degree_days::Dated;

use crate::almanac::day_page::DayPage;
use crate::almanac::milestones::{begins_ms, by_rule, dates};
use crate::calendar::{Day, date};
use crate::ground::Planting;
use crate::keeper::engine::Engine;
use crate::keeper::handle::{SeasonDay, SeasonMilestone};

/// Milestones whose beginning is known, each by its own method: first those of the planting's own `rule`, then others.
pub(super) fn milestones(
    engine: &Engine,
    planting: &Planting,
    rule: &str,
    pages: &BTreeMap<Day, &DayPage>,
    days: &[SeasonDay],
) -> Vec<SeasonMilestone> {
    let Some(crop) = engine.site.crop_of(planting) else { return Vec::new() };
    let day_of = |at_ms: i64| engine.site.calendar.day_of(at_ms);
    let open = engine.open_day(planting);
    let goes_on = planting.stands_at(engine.now_ms());
    let mut milestones: Vec<SeasonMilestone> = crop
        .gdd
        .milestones
        .iter()
        .filter_map(|it| {
            let first = day_of(begins_ms(planting, &it.from)?);
            let target = crop.gdd.target(it).ok()?;
            let of_it = by_rule(&target.rule(), pages, first, open.max(first));
            let dates = dates(&target, first, &of_it, goes_on).ok()?;
            let day = |dated| match dated {
                Dated::Reached(day) | Dated::Expected(day) => Some(date(day)),
                Dated::NotInSight | Dated::TooLittleMeasured => None,
            };
            // A sum of nought is reached by planting, which says nothing.
            let reached = matches!(dates.earliest, Dated::Reached(_)) && it.lo > 0.0;
            Some(SeasonMilestone {
                what: what(it).replace('_', " "),
                rule: target.rule().to_string(),
                from_dd: it.lo,
                to_dd: it.hi,
                reached: day(dates.earliest).filter(|_| reached),
                earliest: day(dates.earliest),
                latest: day(dates.latest),
                too_little_measured: dates.earliest == Dated::TooLittleMeasured,
                noted: noted(planting, what(it)).map(|at| date(day_of(at))),
            })
        })
        .collect();
    for what in ["first_flower", "first_ripe"] {
        let (words, when) = (what.replace('_', " "), noted(planting, what).map(|at| date(day_of(at))));
        if let Some(when) = when.filter(|_| milestones.iter().all(|it| it.what != words)) {
            let total = days.iter().find(|day| day.date >= when).map_or(0.0, |day| day.total);
            let seen = SeasonMilestone { what: words, rule: rule.to_owned(), ..SeasonMilestone::default() };
            milestones.push(SeasonMilestone { from_dd: total, to_dd: total, noted: Some(when), ..seen });
        }
    }
    milestones.sort_by(|a, b| (a.rule != rule).cmp(&(b.rule != rule)).then(a.from_dd.total_cmp(&b.from_dd)));
    milestones
}

/// What a milestone leads to; the book names the scale with it where it is not degree days.
fn what(milestone: &Milestone) -> &str {
    milestone.to.strip_suffix("_ontario_units").unwrap_or(&milestone.to)
}

/// When the grower noted it.
fn noted(planting: &Planting, what: &str) -> Option<i64> {
    match what {
        "first_flower" => planting.first_flower_ms,
        "first_ripe" | "first_harvest" => planting.first_ripe_ms,
        _ => None,
    }
}
