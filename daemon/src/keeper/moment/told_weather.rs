//! The weather of a day in the open as a fresh forecast has it: what pots will ask for before anybody has measured it.

use std::ops::Range;

use agronomy::series::MS_PER_HOUR;

use crate::calendar::Day;
use crate::entry::Forecast;
use crate::ground::Place;
use crate::keeper::engine::Engine;
use crate::minders::demand::{Basis, DayWeather, Span, Sun, shone};
use crate::outlook::ahead::{DayAhead, Origin};

/// Share of a day's sun that a forecast must tell before the whole of it is reckoned from that.
const TOLD_SUN: f64 = 0.5;

impl Engine {
    /// Lowest and highest air in the open on a day by a fresh forecast: at this place or another in the open, as it is
    /// corrected there, else as it is told. Of today with what was measured so far.
    pub(super) fn span_told(&self, place: &Place, day: Day) -> Option<Span> {
        let of = |ahead: Vec<DayAhead>| {
            let told = ahead.into_iter().find(|it| it.day == day && it.origin == Origin::Forecast)?;
            Some(Span { low_c: told.low.middle_c, high_c: told.high.middle_c, basis: Basis::Forecast })
        };
        let there = self.in_the_open(place).find_map(|it| of(self.days_ahead(&it.id)));
        there.or_else(|| of(self.days_ahead_outside()))
    }

    /// The sun of a day in the open by a fresh forecast; none where it tells of less than half of it.
    pub(super) fn sun_told(&self, up: &Range<i64>) -> Option<Sun> {
        let forecast = self.forecast()?;
        let (mut share, mut joules) = (0.0, 0.0);
        for (at_ms, tenths) in moments(forecast, &forecast.light) {
            let half = forecast.step_ms() / 2;
            let (from, until) = ((at_ms - half).max(up.start), (at_ms + half).min(up.end));
            if from < until {
                share += shone(up, until) - shone(up, from);
                joules += tenths.max(0.0) / 10.0 * (until - from) as f64 / 1000.0;
            }
        }
        (share >= TOLD_SUN).then(|| Sun::Told(joules / 1e6 / share))
    }

    /// The weather of a day to come by a fresh forecast; none where it does not tell of its temperatures.
    pub(super) fn weather_told(&self, place: &Place, day: Day, up: &Range<i64>) -> Option<DayWeather> {
        let span = self.span_told(place, day)?;
        let start = self.site.calendar.start_of(day);
        let hours = start..start + 24 * MS_PER_HOUR;
        let humidity = self.forecast().map_or_else(Vec::new, |forecast| {
            let told = moments(forecast, &forecast.humidity).filter(|(at_ms, _)| hours.contains(at_ms));
            told.map(|(_, tenths)| tenths / 10.0).collect::<Vec<f64>>()
        });
        let mean = humidity.iter().sum::<f64>() / humidity.len().max(1) as f64;
        let humidity_pct = (!humidity.is_empty()).then_some(mean);
        Some(DayWeather { span: Some(span), humidity_pct, sun: self.sun_told(up) })
    }
}

/// What a forecast tells at its moments: (UTC ms, tenths).
fn moments<'a>(forecast: &'a Forecast, values: &'a [Option<i16>]) -> impl Iterator<Item = (i64, f64)> + 'a {
    let moment = |at: usize| forecast.start_ms.saturating_add(at as i64 * forecast.step_ms());
    values.iter().enumerate().filter_map(move |(at, value)| Some((moment(at), f64::from((*value)?))))
}
