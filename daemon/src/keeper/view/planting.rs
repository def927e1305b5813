//! One planting at a glance.

use agronomy::crop::{Crop, HeatRule, Stage};
use config::book::refusal;

use crate::almanac::account::{account, days_of};
use crate::almanac::day_page::rounded;
use crate::almanac::figures_read::is_read;
use crate::almanac::heat_course::worst_heat;
use crate::almanac::pages::{Pages, make};
use crate::almanac::planting_page::rule_of;
use crate::calendar::date;
use crate::figure_words::{capital, label, span_words, value_words};
use crate::glance::{LitresGlance, OwnGlance, PlantingGlance, State, WorstGlance};
use crate::ground::Planting;
use crate::keeper::engine::Engine;
use crate::minders::place_now::Standing;
use crate::minders::words::{any_of, plural, stages as stages_words};

/// How near to its severe line a planting counts as pressed, °C.
const PRESSED_C: f64 = 2.0;

/// Makes the glance of a planting; none when its crop is not in the book.
pub(super) fn glance(engine: &Engine, planting: &Planting) -> Option<PlantingGlance> {
    let Standing { crop, stages, lines, .. } = engine.standing(planting)?;
    let crop = crop.as_ref();
    let now_ms = engine.now_ms();
    let calendar = &engine.site.calendar;
    let place = engine.ground.place(&planting.place)?;
    let air = engine.place_now(place).air.map(|(_, t)| t);
    let today = calendar.day_of(now_ms);
    let mut pages = engine.pages_of(&planting.id);
    let made = make(&engine.site, &engine.ground, &engine.tracks, &planting.place, today);
    let of_today = made.as_ref().and_then(|made| made.plantings.iter().find(|it| it.planting == planting.id));
    let stress_today_h = of_today.map_or(0.0, |page| page.stress_hours);
    // No sum holds pages of two editions.
    let served = engine.editions.renewing().then(|| days_of(&pages, &planting.id).last());
    let rule = match served {
        Some(last) => last.map_or_else(String::new, |(_, page)| page.rule.clone()),
        None => rule_of(crop).rule().map_or_else(String::new, |rule| rule.to_string()),
    };
    if let Some(made) = made.filter(|_| !engine.editions.renewing()) {
        pages.put(&engine.ground, &planting.place, today, Some(made));
    }
    let account = account(&pages, &planting.id, calendar.day_of(planting.from_ms), engine.open_day(planting));
    let past_line_c = air.map(|t| rounded(t - lines.severe_c, 1));
    let name = match &planting.variety {
        Some(variety) => format!("{} ‘{variety}’", capital(&plural(crop))),
        None => capital(&plural(crop)),
    };
    Some(PlantingGlance {
        planting: planting.id.clone(),
        name,
        crop: planting.crop.clone(),
        place: planting.place.clone(),
        count: planting.count,
        since_ms: planting.from_ms,
        ended_ms: planting.ended_ms,
        state: state(past_line_c),
        stages: stages_words(&stages),
        line_c: lines.severe_c,
        past_line_c,
        litres_today: litres_today(engine, planting),
        stress_today_h,
        stress_season_h: rounded(account.stress_hours, 1),
        degree_days: rounded(account.degree_days, 2),
        filled: rounded(account.filled, 2),
        filled_days: account.filled_days,
        missing_days: account.missing_days,
        rule,
        measured_share: rounded(account.measured_share(), 3),
        warm_nights: account.warm_nights,
        worst: worst(engine, planting, crop, &pages),
        own: own(engine, planting),
    })
}

/// The worst that heat did by the crop's rules; none while another edition is being reckoned, as the rules at hand are
/// the new book's.
fn worst(engine: &Engine, planting: &Planting, crop: &Crop, pages: &Pages) -> Option<WorstGlance> {
    let ran = |day, rule: &HeatRule| engine.stages(planting, day).certainty(rule);
    let days = days_of(pages, &planting.id).filter(|_| !engine.editions.renewing());
    let worst = worst_heat(days, crop, ran)?;
    let possible = |stage: &&Stage| {
        [worst.first, worst.last].iter().any(|day| engine.stages(planting, *day).possible.contains(*stage))
    };
    let stages: Vec<Stage> = worst.only_if.iter().filter(possible).copied().collect();
    Some(WorstGlance {
        severity: worst.severity,
        first: date(worst.first),
        last: date(worst.last),
        days: worst.days,
        effect: worst.effect,
        only_if: (!stages.is_empty()).then(|| any_of(stages)),
    })
}

/// What each plant needs today.
fn litres_today(engine: &Engine, planting: &Planting) -> Option<LitresGlance> {
    let standing = engine.standing(planting)?;
    let (each, assumption) = engine.litres_today(&standing)?;
    Some(LitresGlance { each: rounded(each, 2), assumption })
}

/// How the air stands to the severe line.
fn state(past_line_c: Option<f64>) -> State {
    match past_line_c {
        None => State::NotKnown,
        Some(past) if past >= 0.0 => State::Suffering,
        Some(past) if past >= -PRESSED_C => State::Pressed,
        Some(_) => State::AtEase,
    }
}

/// The grower's own figures of a planting, beside what the book says.
fn own(engine: &Engine, planting: &Planting) -> Vec<OwnGlance> {
    let Some(book) = engine.site.book.crops.get(&planting.crop) else { return Vec::new() };
    let faults = book.with_own(&planting.figures).1;
    let glance = |(name, [lo, hi]): (&String, &[f64; 2])| {
        let listed = book.figures.get(name);
        let unit = listed.map_or("", |listed| listed.kind.unit());
        OwnGlance {
            figure: name.clone(),
            words: label(name),
            own: span_words(*lo, *hi, unit),
            book: listed.map(value_words),
            read: is_read(planting, book, name),
            wrong: faults.iter().find(|fault| fault.concerns(name)).map(|fault| refusal(book, fault)),
        }
    };
    planting.figures.iter().map(glance).collect()
}
