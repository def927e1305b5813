//! Heat to come and heat that is over: gathered for the minders of the site.

use std::collections::{BTreeMap, BTreeSet};

use agronomy::crop::{Certainty, HeatRule, Measure, Severity, Stage};
use agronomy::heat_stress::damage::{damage, touches_flowers};
use agronomy::heat_stress::{Curve, Day as HeatDay, DayAtLine, Recovery, Run, recovery};
use agronomy::units::Celsius;

use crate::almanac::lines::Lines;
use crate::almanac::planting_page::PlantingPage;
use crate::calendar::Day;
use crate::entry::PlaceKind;
use crate::glance::HeatAhead;
use crate::ground::Planting;
use crate::keeper::engine::Engine;
use crate::minders::book::Book;
use crate::minders::dome::after::{self, AFTER_HEAT, Spell, Touched};
use crate::minders::dome::foretold::{ExcessWave, HeatWave, Swing, Which, excess};
use crate::minders::dome::seen::{Sight, Told};
use crate::minders::dome::{self, Garden, HEAT_DOME, Pot, in_force};
use crate::minders::place_now::{PlaceNow, Standing};
use crate::minders::word::Verdict;
use crate::minders::words::{any_of, planting as words};
use crate::outlook::ahead::Origin;
use crate::warnings::heat_in_force;

/// Days before a spell from which days in a row are counted into it.
const COUNTED_DAYS: Day = 10;

impl Engine {
    /// Lets the minders of heat to come and of heat that is over look at the site.
    pub(super) fn judge_dome(
        &self,
        places: &[PlaceNow<'_>],
        whole: bool,
        book: &Book,
        verdicts: &mut Vec<Verdict>,
    ) {
        let calendar = &self.site.calendar;
        let now_ms = self.now_ms();
        let sight = self.sight(places);
        let garden = || self.garden(places);
        verdicts.push(dome::judge(&sight, told(book), &garden, calendar, now_ms));
        if whole {
            let spell = after::spell(&self.told, calendar, now_ms);
            let touched = spell.map(|spell| self.touched_by_heat(spell)).unwrap_or_default();
            let open = book.get("", AFTER_HEAT).is_some();
            verdicts.extend(after::judge(spell, &touched, open, calendar, now_ms));
        }
    }

    /// The heat that the open notice speaks of, for the calendar and the letter.
    pub(in crate::keeper) fn heat_ahead(&self) -> Option<HeatAhead> {
        let open = self.book.get("", HEAT_DOME)?;
        let places: Vec<_> = self.ground.places.iter().map(|place| self.place_now(place)).collect();
        let heat = self.sight(&places).heat(told(&self.book), &self.site.calendar, self.now_ms())?;
        let date = crate::calendar::date;
        let about_c = heat.about_c.map(libm::round);
        let notice = open.id.clone();
        let pots = places.iter().any(|now| now.standing.iter().any(|it| in_pots(now, it)));
        Some(HeatAhead { notice, from: date(heat.from), to: date(heat.to), about_c, pots })
    }

    /// Whether a heat warning is in force at this moment: an authority's, or one that somebody heard.
    pub(super) fn is_warned_of_heat(&self) -> bool {
        let now_ms = self.now_ms();
        let today = self.site.calendar.day_of(now_ms);
        let heard = in_force(&self.ground.entries, today, now_ms);
        let public = || heat_in_force(self.entries(), now_ms);
        heard.is_some_and(|it| it.from <= today) || public().iter().any(|it| it.from_ms <= now_ms)
    }

    fn sight(&self, places: &[PlaceNow<'_>]) -> Sight {
        let now_ms = self.now_ms();
        let today = self.site.calendar.day_of(now_ms);
        let mut sight = Sight {
            heard: in_force(&self.ground.entries, today, now_ms),
            public: heat_in_force(self.entries(), now_ms),
            ..Sight::default()
        };
        if self.expecting.outlooks.is_empty() {
            return sight;
        }
        let outside = self.foretold_outside();
        let wave = |which, excess| HeatWave::of(places, which, today, excess);
        sight.newest = wave(Which::Newest, self.excess_ahead(&outside.newest, today));
        sight.before = wave(Which::Before, self.excess_ahead(&outside.before, today));
        sight.fresh = outside.fresh;
        sight.outside = outside.newest.iter().map(|it| (it.day, it.high.middle_c)).collect();
        sight
    }

    /// Days ahead that are hot beyond what the place outdoors knows.
    fn excess_ahead(&self, days: &[crate::outlook::ahead::DayAhead], today: Day) -> Option<ExcessWave> {
        let (reference, came) = self.known_heat()?;
        let told = days.iter().filter(|it| it.origin == Origin::Forecast && it.day >= today);
        let told = told.map(|it| Swing { day: it.day, low_c: it.low.middle_c, high_c: it.high.middle_c });
        // What lies further back than the month before changes nothing.
        let lately = came.iter().filter(|it| (today - 40..today).contains(&it.day)).copied();
        let swings: Vec<Swing> = lately.chain(told).collect();
        excess(&swings, reference, today)
    }

    /// What a heat wave did to each planting that still stands; those that no rule of their crop spoke of are left out.
    fn touched_by_heat(&self, spell: Spell) -> Vec<Touched> {
        let now_ms = self.now_ms();
        let standing = self.ground.places.iter().flat_map(|place| self.ground.standing(&place.id, now_ms));
        standing.filter_map(|planting| self.touched(planting, spell)).collect()
    }

    fn touched(&self, planting: &Planting, spell: Spell) -> Option<Touched> {
        let crop = self.site.crop_of(planting)?;
        let now_ms = self.now_ms();
        let today = self.site.calendar.day_of(now_ms);
        let pages = self.pages_between(&planting.id, spell.first - COUNTED_DAYS, today);
        let mut spoken = spoken(&crop.heat_rules, &pages, spell);
        spoken.retain(|(day, rule)| self.stages(planting, *day).certainty(rule).is_some());
        let worst = spoken.iter().map(|(_, rule)| rule.severity).max()?;
        if worst < Severity::Moderate {
            return None;
        }
        let days = spoken.iter().map(|(day, _)| *day).collect::<BTreeSet<Day>>().len() as u32;
        let in_flower = spoken.iter().filter(|(_, rule)| touches_flowers(rule)).map(|(day, _)| *day);
        let flowers = in_flower.clone().min().zip(in_flower.max());
        let stages = self.stages(planting, spell.last);
        let graves = || spoken.iter().filter(|(_, rule)| rule.severity == worst);
        let certain = graves().any(|(_, rule)| stages.certainty(rule) == Some(Certainty::Certain));
        let possible = graves().flat_map(|(_, rule)| rule.stages.iter().copied());
        let possible: BTreeSet<Stage> = possible.filter(|stage| stages.possible.contains(stage)).collect();
        let lines = Lines::of(&crop, &stages, self.site.place_line_c());
        let lines_c = (lines.moderate_c.unwrap_or(lines.severe_c), lines.night_moderate_c);
        let (recovery, recovered) = self.recovery_of(planting, spell.last, lines_c)?;
        let bolts =
            spoken.iter().any(|(_, rule)| rule.effect.contains("bolt") || rule.effect.contains("seed-stalk"));
        Some(Touched {
            planting: planting.id.clone(),
            name: words(&self.standing(planting)?),
            days,
            only_if: if certain || possible.is_empty() {
                String::new()
            } else {
                format!(", if {}", any_of(possible))
            },
            flowers: flowers.map(|(first, last)| damage(&crop, first..=last).collect()).unwrap_or_default(),
            bolts,
            lines_c,
            recovery,
            recovered,
        })
    }

    /// How far a planting's place is from three cooler days and two cooler nights, and when it had them.
    fn recovery_of(
        &self,
        planting: &Planting,
        last: Day,
        (day_c, night_c): (f64, Option<f64>),
    ) -> Option<(Recovery, Option<Day>)> {
        let line = Celsius::try_new(day_c).ok()?;
        let night_line = night_c.and_then(|line| Celsius::try_new(line).ok());
        let today = self.site.calendar.day_of(self.now_ms());
        let days: Vec<HeatDay<'_>> =
            (last + 1..today).map(|day| self.heat_day(&planting.place, day)).collect();
        let done = (1..=days.len()).find(|count| recovery(&days[..*count], line, night_line).is_complete());
        let so_far = recovery(&days[..done.unwrap_or(days.len())], line, night_line);
        Some((so_far, done.map(|count| last + count as Day)))
    }

    /// A day of a place as its page has it; nothing known where there is none that counts.
    fn heat_day(&self, place: &str, day: Day) -> HeatDay<'static> {
        let Some(page) = self.pages.places.get(&(place.to_owned(), day)) else { return HeatDay::default() };
        let curve = |low: Option<f64>, high: Option<f64>| {
            let celsius = |value: Option<f64>| value.and_then(|value| Celsius::try_new(value).ok());
            celsius(low)
                .zip(celsius(high))
                .map_or(Curve::Unknown, |(low, high)| Curve::Extremes { low, high })
        };
        let counts = page.measured_share >= 0.75 || page.read_by_hand;
        HeatDay {
            air: if counts { curve(page.t_min_c, page.t_max_c) } else { Curve::Unknown },
            night: curve(page.night_min_c, page.night_min_c),
            night_ms: 1,
            ..HeatDay::default()
        }
    }

    /// What the plan names.
    fn garden(&self, places: &[PlaceNow<'_>]) -> Garden {
        let now_ms = self.now_ms();
        let mut garden = Garden::default();
        for now in places {
            for standing in &now.standing {
                let (planting, name) = (standing.planting, words(standing));
                if in_pots(now, standing) {
                    garden.pots.push(Pot { name: name.clone(), days: self.pot_days(standing) });
                }
                if planting.first_ripe_ms.is_some_and(|noted| noted <= now_ms) {
                    garden.bearing.push(name.clone());
                }
                garden.asks.extend(self.litres_today(standing).map(|(each, _)| (name, each)));
            }
            let left = self.roots_left(now.place, now.kind);
            garden.roots.extend(left.map(|left| (now.name.to_owned(), left)));
        }
        garden
    }

    fn pages_between(&self, planting: &str, from: Day, until: Day) -> BTreeMap<Day, &PlantingPage> {
        let range = (planting.to_owned(), from)..(planting.to_owned(), until);
        self.pages.plantings.range(range).map(|((_, day), page)| (*day, page)).collect()
    }
}

fn in_pots(now: &PlaceNow<'_>, standing: &Standing<'_>) -> bool {
    now.kind == PlaceKind::Pots || standing.planting.container_l.is_some()
}

/// How the notice of coming heat stands.
fn told(book: &Book) -> Told {
    let open = book.get("", HEAT_DOME);
    Told { open: open.is_some(), begun: open.is_some_and(|open| open.severity == Severity::Extreme) }
}

/// The days of a spell on which rules spoke, and which: days in a row are counted from before it.
fn spoken<'r>(
    rules: &'r [HeatRule],
    pages: &BTreeMap<Day, &PlantingPage>,
    spell: Spell,
) -> Vec<(Day, &'r HeatRule)> {
    let mut found = Vec::new();
    for rule in rules.iter().filter(|rule| rule.measure != Measure::NightMinBelowC) {
        let mut run = Run::default();
        for (day, page) in pages.range(..=spell.last) {
            let said = page.rule_days.get(&rule.id).copied().unwrap_or(DayAtLine::Unknown);
            run = run.step(said);
            if *day >= spell.first && run.speaks(rule, said) {
                found.push((*day, rule));
            }
        }
    }
    found
}
