//! A planting's season: its days, its sum, its milestones.

use std::collections::BTreeMap;

use agronomy::degree_days;

use super::milestones::milestones;
use super::planting::glance;
use crate::almanac::account::{days_of, filled_days};
use crate::almanac::day_page::{DayPage, rounded};
use crate::almanac::pages::{Pages, make};
use crate::almanac::planting_page::PlantingPage;
use crate::calendar::{Day, date};
use crate::ground::Planting;
use crate::keeper::engine::Engine;
use crate::keeper::handle::{Season, SeasonAnew, SeasonDay};

/// The season of a planting; none when there is no such planting.
pub fn season(engine: &Engine, id: &str) -> Option<Season> {
    let planting = engine.ground.planting(id)?;
    let glance = glance(engine, planting)?;
    let today = engine.site.calendar.day_of(engine.now_ms());
    let mut pages = engine.pages_of(id);
    let of_place = engine.pages_of_place(&planting.place);
    let renewing = engine.editions.renewing();
    // Today's page would be of the edition that is not served yet.
    if planting.stands_at(engine.now_ms())
        && !renewing
        && let Some(made) = make(&engine.site, &engine.ground, &engine.tracks, &planting.place, today)
    {
        pages.put(&engine.ground, &planting.place, today, Some(made));
    }
    let days = days(engine, planting, &pages, &of_place);
    // The book's milestones are the new book's as well.
    let milestones =
        if renewing { Vec::new() } else { milestones(engine, planting, &glance.rule, &of_place, &days) };
    let still_to_reckon = renewing.then_some(engine.marked() as u64);
    Some(Season { planting: glance, days, milestones, anew: anew(engine, id), still_to_reckon })
}

/// What the edition in service made of the sums there were.
fn anew(engine: &Engine, planting: &str) -> Option<SeasonAnew> {
    let served = engine.editions.in_service()?;
    Some(SeasonAnew {
        date: date(engine.site.calendar.day_of(served.since_ms)),
        edition: served.edition.clone(),
        because: served.because.clone(),
        sums: *served.anew.get(planting)?,
    })
}

/// The days of a season, from the first that has a page or was filled; days without a page lie between the others.
fn days(
    engine: &Engine,
    planting: &Planting,
    pages: &Pages,
    of_place: &BTreeMap<Day, &DayPage>,
) -> Vec<SeasonDay> {
    let began = engine.site.calendar.day_of(planting.from_ms);
    let mut counted: BTreeMap<Day, degree_days::Day> =
        filled_days(pages, &planting.id, began, engine.open_day(planting)).into_iter().collect();
    let made: BTreeMap<Day, &PlantingPage> = days_of(pages, &planting.id).collect();
    for (day, page) in &made {
        let stands = page.degree_days.map_or(degree_days::Day::Missing, degree_days::Day::Measured);
        counted.entry(*day).or_insert(stands);
    }
    let mut total = 0.0;
    let nothing =
        |day: &Day, of_it: &degree_days::Day| *of_it == degree_days::Day::Missing && !made.contains_key(day);
    let from_first = counted.iter().skip_while(|(day, of_it)| nothing(day, of_it));
    from_first
        .map(|(day, of_it)| {
            total += of_it.degree_days();
            let page = made.get(day);
            let here = pages.places.get(&(planting.place.clone(), *day));
            let here = here.or_else(|| of_place.get(day).copied()).filter(|_| page.is_some());
            SeasonDay {
                date: date(*day),
                degree_days: page.and_then(|page| page.degree_days),
                filled: match of_it {
                    degree_days::Day::Filled(filled) => Some(rounded(*filled, 2)),
                    degree_days::Day::Measured(_) | degree_days::Day::Missing => None,
                },
                total: rounded(total, 2),
                stress_h: page.map_or(0.0, |page| page.stress_hours),
                t_min_c: here.and_then(|page| page.t_min_c),
                t_max_c: here.and_then(|page| page.t_max_c),
                measured_share: page.map_or(0.0, |page| page.measured_share),
                by_hand: page.is_some_and(|page| page.read_by_hand),
                warm_night: page.is_some_and(|page| page.warm_night),
            }
        })
        .collect()
}
