//! What the two newest forecasts tell of a place, for the minders that look days ahead.

use super::MEASURED;
use crate::calendar::Day;
use crate::entry::PlaceKind;
use crate::ground::Place;
use crate::keeper::engine::Engine;
use crate::minders::place_now::Foretold;
use crate::outlook::ahead::{DAYS, days_ahead};
use crate::outlook::correct::ByDay;
use crate::outlook::past::Told;
use crate::outlook::skill::missed_lately;

/// Days before today that a heat wave is followed back.
const HIGHS_DAYS: Day = 7;

impl Engine {
    /// Today and the next days at a place by the two newest forecasts, fresh or not, and the days that came before.
    pub(in crate::keeper) fn foretold(&self, place: &str) -> Foretold {
        let (newest, before) = self.expecting.outlooks.newest_two(self.now_ms());
        let Some(newest) = newest else { return Foretold::default() };
        let by_lead = self.expecting.learnt.get(place).and_then(|learnt| learnt.by_lead.as_deref());
        let today = self.site.calendar.day_of(self.now_ms());
        let days =
            |told: &Told| days_ahead(today, &|day| self.told_by(&told.forecast, day), by_lead, None, None);
        let came = |day: Day| {
            let page = self.pages.places.get(&(place.to_owned(), day))?;
            page.t_max_c.filter(|_| page.measured_share >= MEASURED || page.read_by_hand)
        };
        // A day that nobody measured is taken as it was told: it does not make the heat begin anew.
        let as_told = |day: Day| {
            let made = by_lead.and_then(<[ByDay]>::first)?;
            Some(made.of_told(self.told_by(&newest.forecast, day)?).0.middle_c)
        };
        let highs =
            (today - HIGHS_DAYS..today).filter_map(|day| Some((day, came(day).or_else(|| as_told(day))?)));
        Foretold {
            newest: days(newest),
            before: before.map(days).unwrap_or_default(),
            fresh: self.forecast().is_some(),
            highs: highs.collect(),
            of_outside: false,
            missed_lately: self.expecting.learnt.get(place).map_or((0, 0), |it| missed_lately(&it.past)),
        }
    }

    /// What the forecasts tell of a place, and of which place they tell it. Of one under cover whose air nobody measures
    /// they tell that of outside: in the sun it is no cooler inside a house without its own cooling.
    pub(in crate::keeper) fn foretold_there<'a>(
        &'a self,
        place: &'a Place,
        measured: bool,
    ) -> (Foretold, &'a str) {
        let own = self.foretold(&place.id);
        if measured || !place.kind.under_cover() || !own.newest.is_empty() {
            return (own, &place.id);
        }
        let outdoors = self.ground.places.iter().find(|it| it.kind == PlaceKind::Outdoors);
        let of_outside = Foretold { of_outside: true, ..self.foretold_outside() };
        (of_outside, outdoors.map_or(place.id.as_str(), |it| &it.id))
    }

    /// Outside by the two newest forecasts: at the place outdoors, or as told where there is none.
    pub(in crate::keeper) fn foretold_outside(&self) -> Foretold {
        if let Some(place) = self.ground.places.iter().find(|place| place.kind == PlaceKind::Outdoors) {
            return self.foretold(&place.id);
        }
        let (newest, before) = self.expecting.outlooks.newest_two(self.now_ms());
        let today = self.site.calendar.day_of(self.now_ms());
        let as_told: Vec<ByDay> = (1..DAYS).map(ByDay::as_told).collect();
        let days = |told: &Told| {
            days_ahead(today, &|day| self.told_by(&told.forecast, day), Some(&as_told), None, None)
        };
        Foretold {
            newest: newest.map(days).unwrap_or_default(),
            before: before.map(days).unwrap_or_default(),
            fresh: self.forecast().is_some(),
            highs: Vec::new(),
            of_outside: false,
            missed_lately: (0, 0),
        }
    }
}
