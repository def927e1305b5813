//! The heat rules of a planting: those that speak by now, for the words of the heat minder, and how each stands after the
//! days and nights that are over, for the minder of warm spells.

use agronomy::crop::HeatRule;
use agronomy::heat_stress::DayAtLine;
use agronomy::quantity::Quantity;
use agronomy::series::MS_PER_DAY;

use crate::almanac::heat_day::HeatDay;
use crate::almanac::pages;
use crate::almanac::planting_page::PlantingPage;
use crate::calendar::Day;
use crate::keeper::engine::Engine;
use crate::minders::book::Book;
use crate::minders::heat_rules::speaking;
use crate::minders::place_now::{PlaceNow, Standing};
use crate::minders::warm_spell::{Course, Last, Ruled, WARM_SPELL, WarmSpell, is_judged, is_of_night, judge};
use crate::minders::word::Verdict;

/// Earlier days among which days in a row are counted: no rule wants more than a week.
const COUNTED_DAYS: Day = 14;
/// Earlier days from which a warm spell is known: what was met before them has been over, or nobody measured since.
const SPELL_DAYS: Day = 30;

impl Engine {
    /// The rules of a planting that speak at the present moment, today as far as it has come.
    pub(super) fn rules_speaking<'r>(
        &self,
        now: &PlaceNow<'_>,
        standing: &'r Standing<'_>,
    ) -> Vec<&'r HeatRule> {
        let today = self.site.calendar.day_of(now.now_ms);
        let planting = &standing.planting.id;
        let range = (planting.clone(), today - COUNTED_DAYS)..(planting.clone(), today);
        let earlier: Vec<&PlantingPage> = self.pages.plantings.range(range).map(|(_, page)| page).collect();
        speaking(standing, &earlier, &self.day_so_far(now))
    }

    /// Today as far as it has come, with the night before it.
    fn day_so_far(&self, now: &PlaceNow<'_>) -> HeatDay {
        let today = self.site.calendar.day_of(now.now_ms);
        let window = now.day.start - MS_PER_DAY..now.now_ms + 1;
        let air = pages::held(&self.ground, &self.tracks, now.place, Quantity::AirTemperature, &window);
        HeatDay::cut(&air, &now.day, &self.light_of(today).night_before, None)
    }

    /// Lets the minder of warm spells look at a place. It decides once a night has ended, and when something was noted;
    /// in between it says the same. `whole`: it is time to look at days.
    pub(super) fn judge_warm_spell(
        &self,
        now: &PlaceNow<'_>,
        mind: &mut WarmSpell,
        whole: bool,
        book: &Book,
    ) -> Option<Verdict> {
        let today = self.site.calendar.day_of(now.now_ms);
        let night_is_over = now.now_ms >= self.light_of(today).night_before.end;
        let morning = if night_is_over { today } else { today - 1 };
        let noted = self.ground.entries.len();
        let open = book.get(now.place, WARM_SPELL).is_some();
        if whole && mind.is_due(morning, noted) {
            let tonight = night_is_over.then(|| self.day_so_far(now));
            let ruled: Vec<Ruled<'_>> = now
                .standing
                .iter()
                .flat_map(|standing| self.ruled(standing, morning, tonight.as_ref()))
                .collect();
            let last = self.last_figures(now, morning, night_is_over);
            let says = judge(now, &ruled, last, open, &self.site.calendar);
            mind.decide(morning, noted, Some(says));
        }
        mind.says(open)
    }

    /// How each rule of a planting stands on a morning. `tonight`: the night that ended this morning, where that is today's.
    fn ruled<'r>(
        &'r self,
        standing: &'r Standing<'r>,
        morning: Day,
        tonight: Option<&HeatDay>,
    ) -> Vec<Ruled<'r>> {
        let planting = &standing.planting.id;
        let known = |day: Day| self.pages.plantings.get(&(planting.clone(), day));
        let pages: Vec<Option<&PlantingPage>> = (morning - SPELL_DAYS..=morning).map(known).collect();
        let rules = standing.crop.heat_rules.iter();
        let rules = rules.filter(|rule| is_judged(rule) && standing.stages.certainty(rule).is_some());
        let course = |rule: &HeatRule| {
            let said = |day: Day, page: Option<&PlantingPage>| match tonight.filter(|_| day == morning) {
                Some(tonight) => tonight.says(rule),
                None => page.and_then(|it| it.rule_days.get(&rule.id).copied()).unwrap_or(DayAtLine::Unknown),
            };
            let days =
                (morning - SPELL_DAYS..=morning).zip(&pages).map(|(day, page)| (day, said(day, *page)));
            // A night that has ended belongs to this morning; the day itself has only begun.
            Course::of(rule, days.filter(|(day, _)| *day < morning || is_of_night(rule)))
        };
        rules.map(|rule| Ruled { standing, rule, course: course(rule) }).collect()
    }

    /// The figures of the last night and of the day before it.
    fn last_figures(&self, now: &PlaceNow<'_>, morning: Day, night_is_over: bool) -> Last {
        let page = |day: Day| self.pages.places.get(&(now.place.to_owned(), day));
        let before = page(morning - 1);
        Last {
            low_c: if night_is_over {
                now.low.map(|(low, _)| low)
            } else {
                page(morning).and_then(|page| page.night_min_c)
            },
            mean_c: before.and_then(|page| page.t_mean_c),
            high_c: before.and_then(|page| page.t_max_c),
        }
    }
}
