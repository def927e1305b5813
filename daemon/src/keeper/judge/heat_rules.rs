//! The heat rules of a planting that speak by now: gathered for the words of the heat minder.

use agronomy::crop::HeatRule;
use agronomy::quantity::Quantity;
use agronomy::series::MS_PER_DAY;

use crate::almanac::heat_day::HeatDay;
use crate::almanac::pages;
use crate::almanac::planting_page::PlantingPage;
use crate::calendar::Day;
use crate::keeper::engine::Engine;
use crate::minders::heat_rules::speaking;
use crate::minders::place_now::{PlaceNow, Standing};

/// Earlier days among which days in a row are counted: no rule wants more than a week.
const COUNTED_DAYS: Day = 14;

impl Engine {
    /// The rules of a planting that speak at the present moment, today as far as it has come.
    pub(super) fn rules_speaking<'r>(
        &self,
        now: &PlaceNow<'_>,
        standing: &'r Standing<'_>,
    ) -> Vec<&'r HeatRule> {
        let today = self.site.calendar.day_of(now.now_ms);
        let window = now.day.start - MS_PER_DAY..now.now_ms + 1;
        let air = pages::held(&self.ground, &self.tracks, now.place, Quantity::AirTemperature, &window);
        let heat_day = HeatDay::cut(&air, &now.day, &self.light_of(today).night_before, None);
        let planting = &standing.planting.id;
        let range = (planting.clone(), today - COUNTED_DAYS)..(planting.clone(), today);
        let earlier: Vec<&PlantingPage> = self.pages.plantings.range(range).map(|(_, page)| page).collect();
        speaking(standing, &earlier, &heat_day)
    }
}
