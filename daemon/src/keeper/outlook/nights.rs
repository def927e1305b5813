//! The nights ahead by what was forecast, moved to a place: what the minders of frost go by beside its own nights.

use std::ops::Range;

use agronomy::series::{MS_PER_DAY, MS_PER_HOUR};

use crate::almanac::shape::Expected;
use crate::calendar::Day;
use crate::keeper::engine::Engine;
use crate::minders::night_now::NightAhead;
use crate::outlook::past::Told;

/// How long before now a forecast may have been told that says something of the nights ahead, ms.
const REACHES_MS: i64 = 16 * MS_PER_DAY;
/// How late a forecast may begin, ms.
const BEGINS_MS: i64 = 6 * MS_PER_HOUR;

impl Engine {
    /// Whether forecasts were held against a place for some days, so that it is known what they are worth there.
    pub(in crate::keeper) fn knows_way(&self, place: &str) -> bool {
        self.expecting.learnt.get(place).is_some_and(|learnt| learnt.own_way)
    }

    /// The coldest moment of the rest of a night as a fresh forecast has it for a place, hung on its reading of now
    /// (UTC ms, °C); none where no forecast tells all of it, or the place's own way is not known.
    pub(in crate::keeper) fn coldest_told(
        &self,
        place: &str,
        night: &Range<i64>,
        air: (i64, f64),
    ) -> Option<Expected> {
        let now_ms = self.now_ms();
        let first = night.start.max(now_ms);
        let hours = (night.end - first).max(0) / MS_PER_HOUR;
        let moments = || (0..=hours).map(|hour| first + hour * MS_PER_HOUR).chain([night.end]);
        let told = self.hung_on_now(place, Vec::new(), moments(), air);
        if told.len() < moments().count() {
            return None;
        }
        told.into_iter().min_by(|a, b| a.middle_c.total_cmp(&b.middle_c))
    }

    /// What the two newest forecasts tell of the nights that end on these days, moved to a place; of a night that the
    /// newest does not reach, what was last told of it. Nights that none tells of are not there.
    pub(in crate::keeper) fn nights_ahead(&self, place: &str, dawns: Range<Day>) -> Vec<NightAhead> {
        let (newest, before) = self.expecting.outlooks.newest_two(self.now_ms());
        let low = |told: Option<&Told>, dawn: Day| self.low_told(place, told?, dawn);
        let last = |dawn: Day| {
            let mut told = self.expecting.outlooks.back_from(self.now_ms(), REACHES_MS);
            told.find_map(|told| self.low_told(place, told, dawn))
        };
        dawns
            .filter_map(|dawn| {
                let newest_c = low(newest, dawn);
                let last_c = newest_c.or_else(|| last(dawn))?;
                Some(NightAhead { dawn, last_c, reached: newest_c.is_some(), before_c: low(before, dawn) })
            })
            .collect()
    }

    /// The lowest from noon to noon about the dawn of a day by a forecast, corrected as it strays so far ahead, °C.
    fn low_told(&self, place: &str, told: &Told, dawn: Day) -> Option<f64> {
        let by_lead = self.expecting.learnt.get(place)?.by_lead.as_deref()?;
        let lead = (dawn - self.site.calendar.day_of(self.now_ms())).max(1) as usize;
        let made = by_lead.get(lead - 1).or(by_lead.last())?;
        let noon = self.site.calendar.start_of(dawn) - 12 * MS_PER_HOUR;
        // What is past of it is no news; a forecast may begin some hours from now.
        let (from, begins) = (noon.max(self.now_ms()), told.forecast.start_ms);
        if begins > from + BEGINS_MS {
            return None;
        }
        let moments =
            (0..=24).map(|hour| noon + hour * MS_PER_HOUR).filter(|at_ms| *at_ms >= from.max(begins));
        let lows: Option<Vec<f64>> = moments.map(|at_ms| told.forecast.air_at(at_ms)).collect();
        let low_c = lows?.into_iter().reduce(f64::min)?;
        Some(made.low_of_told(low_c).middle_c)
    }
}
