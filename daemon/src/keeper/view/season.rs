//! A planting's season: its days, its sum, its milestones.

use crate::almanac::account::days_of;
use crate::almanac::day_page::rounded;
use crate::almanac::pages::make;
use crate::calendar::date;
use crate::entry::Began;
use crate::ground::Planting;
use crate::keeper::engine::Engine;
use crate::keeper::handle::{Season, SeasonAnew, SeasonDay, SeasonMilestone};

/// The season of a planting; none when there is no such planting.
pub fn season(engine: &Engine, id: &str) -> Option<Season> {
    let planting = engine.ground.planting(id)?;
    let glance = super::planting::glance(engine, planting)?;
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
    let mut total = 0.0;
    let days: Vec<SeasonDay> = days_of(&pages, id)
        .map(|(day, page)| {
            total += page.degree_days.unwrap_or(0.0);
            let here = pages.places.get(&(planting.place.clone(), day));
            let here = here.or_else(|| of_place.get(&day).copied());
            SeasonDay {
                date: page.date.clone(),
                degree_days: page.degree_days,
                total: rounded(total, 2),
                stress_h: page.stress_hours,
                t_min_c: here.and_then(|page| page.t_min_c),
                t_max_c: here.and_then(|page| page.t_max_c),
                measured_share: page.measured_share,
                by_hand: page.read_by_hand,
                warm_night: page.warm_night,
            }
        })
        .collect();
    // The book's milestones are the new book's as well.
    let milestones = if renewing { Vec::new() } else { milestones(engine, planting, &days) };
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

/// Milestones of the book that count from where this planting began, by the crop's own method.
fn milestones(engine: &Engine, planting: &Planting, days: &[SeasonDay]) -> Vec<SeasonMilestone> {
    let Some(crop) = engine.site.crop_of(planting) else { return Vec::new() };
    let start = match planting.began {
        Began::PlantedOut => ["transplant", "planting"],
        Began::Sown => ["sowing", "sow"],
    };
    let noted = |what: &str| {
        let at = match what {
            "first_flower" => planting.first_flower_ms,
            "first_ripe" | "first_harvest" => planting.first_ripe_ms,
            _ => None,
        };
        at.map(|at| date(engine.site.calendar.day_of(at)))
    };
    let mut milestones: Vec<SeasonMilestone> = crop
        .gdd
        .milestones
        .iter()
        .filter(|it| it.model == "main" && start.contains(&it.from.as_str()))
        .map(|it| SeasonMilestone {
            what: it.to.replace('_', " "),
            from_dd: it.lo,
            to_dd: it.hi,
            reached: days.iter().find(|day| day.total >= it.lo).map(|day| day.date.clone()),
            noted: noted(&it.to),
        })
        .collect();
    for what in ["first_flower", "first_ripe"] {
        let words = what.replace('_', " ");
        if let Some(when) = noted(what).filter(|_| milestones.iter().all(|it| it.what != words)) {
            let total = days.iter().find(|day| day.date >= when).map_or(0.0, |day| day.total);
            milestones.push(SeasonMilestone {
                what: words,
                from_dd: total,
                to_dd: total,
                reached: None,
                noted: Some(when),
            });
        }
    }
    milestones.sort_by(|a, b| a.from_dd.total_cmp(&b.from_dd));
    milestones
}
