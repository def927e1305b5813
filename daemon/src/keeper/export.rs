//! Everything reckoned and told, as `replay --json` and `export` print it.

use std::collections::BTreeMap;

use agronomy::degree_days;
use serde_json::{Value, json};

use super::engine::Engine;
use crate::almanac::account::{days_of, filled_days};
use crate::almanac::day_page::{DayPage, rounded};
use crate::almanac::pages::make;
use crate::almanac::planting_page::PlantingPage;
use crate::calendar::iso;
use crate::entry::{Step, Turn, UNDATED_BELOW_MS};
use crate::ledger::open_fences;

/// The export of an engine: `{edition, readings, day_pages, planting_pages, notices, damaged}`; damaged rows of the ledger
/// are those that it has named and nobody has mended.
///
/// The day that is not over yet is made from what was heard so far.
pub fn export(engine: &Engine) -> Value {
    let today = engine.site.calendar.day_of(engine.now_ms());
    let mut pages = engine.pages.clone();
    // While another edition is being reckoned, today's page would be its first: no sum holds pages of two.
    let places = engine.ground.places.iter().filter(|_| !engine.editions.renewing());
    for place in places {
        let made = make(&engine.site, &engine.ground, &engine.tracks, &place.id, today);
        if made.is_some() {
            pages.put(&engine.ground, &place.id, today, made);
        }
    }
    let day_pages: Vec<&DayPage> = pages.places.values().collect();
    let mut planting_pages = Vec::new();
    for planting in &engine.ground.plantings {
        let began = engine.site.calendar.day_of(planting.from_ms);
        let mut days =
            filled_days(&pages, &planting.id, began, engine.open_day(planting)).into_iter().peekable();
        let (mut total, mut filled) = (0.0, 0.0);
        for (day, page) in days_of(&pages, &planting.id) {
            total += page.degree_days.unwrap_or(0.0);
            while let Some((_, of_it)) = days.next_if(|(at, _)| *at <= day) {
                if let degree_days::Day::Filled(degree_days) = of_it {
                    filled += degree_days;
                }
            }
            planting_pages.push(with_total(page, total, filled));
        }
    }
    json!({
        "edition": engine.editions.served(),
        "readings": engine.counts.json(),
        "day_pages": day_pages,
        "planting_pages": planting_pages,
        "notices": notices(&engine.told),
        "damaged": open_fences(&engine.entries).into_values().map(|(_, fenced)| fenced).collect::<Vec<_>>(),
    })
}

/// A planting's page with the sum so far of the days that count, and what was filled for those that do not.
fn with_total(page: &PlantingPage, total: f64, filled: f64) -> Value {
    let mut value = json!(page);
    if let Value::Object(fields) = &mut value {
        fields.insert("total".to_owned(), json!(rounded(total, 2)));
        fields.insert("filled".to_owned(), json!(rounded(filled, 2)));
    }
    value
}

/// Steps in order of telling, gathered into notices in order of opening.
pub fn gather(told: &[Step]) -> Vec<Vec<&Step>> {
    let mut order: Vec<&str> = Vec::new();
    let mut by_notice: BTreeMap<&str, Vec<&Step>> = BTreeMap::new();
    for step in told {
        let steps = by_notice.entry(&step.notice).or_default();
        if steps.is_empty() {
            order.push(&step.notice);
        }
        steps.push(step);
    }
    order.into_iter().filter_map(|notice| by_notice.remove(notice)).collect()
}

/// When something was told; none while nobody knew the time.
fn told_at(ms: i64) -> Option<String> {
    (ms >= UNDATED_BELOW_MS).then(|| iso(ms))
}

/// `[{id, minder, place, planting, severity, pushed, opened_at, steps, closed_at}]`; the severity is the worst.
fn notices(told: &[Step]) -> Vec<Value> {
    gather(told)
        .into_iter()
        .filter_map(|steps| {
            let (first, last) = (*steps.first()?, *steps.last()?);
            let worst = steps.iter().map(|step| step.severity).max()?;
            let pushed_at = steps.iter().find(|step| step.push).map(|step| told_at(step.at_ms));
            Some(json!({
                "id": first.notice,
                "minder": first.minder,
                "place": first.place,
                "planting": first.planting,
                "severity": worst,
                "pushed": pushed_at.is_some(),
                "pushed_at": pushed_at,
                "opened_at": told_at(first.at_ms),
                "steps": steps.iter().map(|step| json!({
                    "at": told_at(step.at_ms),
                    "turn": step.turn,
                    "severity": step.severity,
                    "pushed": step.push,
                    "title": step.title,
                    "text": step.whole_text(),
                })).collect::<Vec<_>>(),
                "closed_at": (last.turn == Turn::Closed).then(|| told_at(last.at_ms)),
            }))
        })
        .collect()
}
