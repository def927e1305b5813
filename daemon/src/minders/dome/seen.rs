//! Who says that heat is coming: a forecast, an authority, or whoever heard of it.
//!
//! Each says from when to when. What overlaps is one heat; of several, the nearest counts. A forecast wavers, so it is
//! believed when two in a row say so and no more when two in a row do not; a warning is believed at once, since people
//! who know have thought about it.

use super::foretold::HeatWave;
use crate::calendar::{Calendar, Day, day};
use crate::entry::{Entry, Note};
use crate::warnings::HeatWarning;

/// A warning that was heard, in force.
#[derive(Clone, Debug, PartialEq)]
pub struct Warning {
    /// First day.
    pub from: Day,
    /// Last day.
    pub to: Day,
    /// About how hot outside, °C.
    pub about_c: f64,
    /// Who said so.
    pub said_by: Option<String>,
}

/// The newest warning that was noted by `now` and is not over.
pub fn in_force(entries: &[Entry], today: Day, now_ms: i64) -> Option<Warning> {
    entries.iter().rev().filter(|entry| entry.at_ms <= now_ms).find_map(|entry| match &entry.note {
        Note::HeatWarning { from, to, about_c, said_by } => {
            let warning =
                Warning { from: day(from)?, to: day(to)?, about_c: *about_c, said_by: said_by.clone() };
            (warning.to >= today).then_some(warning)
        }
        _ => None,
    })
}

/// All that is known of heat to come at a moment.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sight {
    /// A warning that somebody heard.
    pub heard: Option<Warning>,
    /// Public warnings in force or to come.
    pub public: Vec<HeatWarning>,
    /// What the newest forecast foretells.
    pub newest: Option<HeatWave>,
    /// What the forecast before it foretells.
    pub before: Option<HeatWave>,
    /// Whether the newest forecast is fresh: a stale one opens nothing.
    pub fresh: bool,
    /// Highest that the forecast tells for outside in the coming days, by day, °C.
    pub outside: Vec<(Day, f64)>,
}

/// Who says so.
#[derive(Clone, Debug, PartialEq)]
pub enum Source {
    /// Somebody heard a warning.
    Heard(Warning),
    /// An authority.
    Public(HeatWarning),
    /// The forecast.
    Forecast(HeatWave),
}

/// The heat that is told: the nearest that is not over.
#[derive(Clone, Debug, PartialEq)]
pub struct Heat {
    /// First day.
    pub from: Day,
    /// Last day.
    pub to: Day,
    /// Who says so; the forecast first.
    pub sources: Vec<Source>,
    /// About how hot outside, °C, where anybody says.
    pub about_c: Option<f64>,
}

/// How the notice stands before it is judged.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Told {
    /// It is open.
    pub open: bool,
    /// It says that the heat has begun.
    pub begun: bool,
}

/// Civil hour at which a day of heat begins to be told, and from which heat days away is told of.
pub const DAWN_H: f64 = 5.0;
/// Civil hour at which the last day of heat is over: the worst of it is past.
pub const EVENING_H: f64 = 21.0;

impl Sight {
    /// The heat to tell of at a moment, if any.
    pub fn heat(&self, told: Told, calendar: &Calendar, now_ms: i64) -> Option<Heat> {
        let today = calendar.day_of(now_ms);
        let evening = calendar.civil_hour_of(now_ms) >= EVENING_H;
        let lasts = |to: Day| to > today || (to == today && !evening);
        let mut spans: Vec<(Day, Day, Source)> = Vec::new();
        let heard = self.heard.iter().map(|it| (it.from, it.to, Source::Heard(it.clone())));
        // One that says the same in a second language, or for a neighbouring area, is told once.
        let again = |it: &HeatWarning, seen: &HeatWarning| {
            (&it.sender_name, it.from_ms, it.to_ms) == (&seen.sender_name, seen.from_ms, seen.to_ms)
        };
        let public = self.public.iter().enumerate();
        let public = public.filter(|(at, it)| !self.public[..*at].iter().any(|seen| again(it, seen)));
        let public = public.map(|(_, it)| {
            let (from, to) = (calendar.day_of(it.from_ms), calendar.day_of(it.to_ms - 1));
            (from, to, Source::Public(it.clone()))
        });
        spans.extend(heard.chain(public).filter(|(_, to, _)| lasts(*to)));
        let warned = !spans.is_empty();
        // Days move into sight at midnight, and a forecast may come at any hour: what is days away can wait for the day.
        let hour = calendar.civil_hour_of(now_ms);
        let awake =
            |wave: &HeatWave| told.open || wave.from <= today + 1 || (DAWN_H..EVENING_H).contains(&hour);
        let wave = self.believed(told, warned, today).filter(|wave| lasts(wave.to) && awake(wave));
        if let Some(wave) = wave {
            spans.insert(0, (wave.from, wave.to, Source::Forecast(wave)));
        }
        let mut order: Vec<(Day, Day)> = spans.iter().map(|(from, to, _)| (*from, *to)).collect();
        order.sort_unstable();
        // What touches or overlaps is one heat.
        let joined = |near: (Day, Day), next: (Day, Day)| {
            if next.0 <= near.1 + 1 { (near.0, near.1.max(next.1)) } else { near }
        };
        let (from, to) = order.into_iter().reduce(joined)?;
        let sources: Vec<Source> =
            spans.into_iter().filter(|(first, ..)| *first <= to).map(|(.., source)| source).collect();
        let foretold = self.outside.iter().filter(|(day, _)| (from..=to).contains(day));
        let foretold = foretold.map(|(_, high)| *high).reduce(f64::max);
        let heard = self.heard.as_ref().filter(|it| it.from <= to).map(|it| it.about_c);
        Some(Heat { from, to, sources, about_c: heard.or(foretold) })
    }

    /// The forecast's heat as far as it is believed.
    fn believed(&self, told: Told, warned: bool, today: Day) -> Option<HeatWave> {
        match (&self.newest, &self.before) {
            _ if !told.open && !self.fresh => None,
            (Some(newest), Some(before)) => {
                // The two may waver about the day on which it begins and ends: what was told stays until both differ.
                let begins = [newest.from, before.from];
                let begun = begins.iter().filter(|from| **from <= today).count();
                let from = match (begun, told.begun) {
                    (1, true) => begins[0].min(begins[1]),
                    (1, false) => begins[0].max(begins[1]),
                    _ => newest.from,
                };
                let to = if told.open { newest.to.max(before.to) } else { newest.to };
                let to = to.max(from);
                Some(HeatWave { from, to, ..newest.clone() })
            }
            (Some(only), None) if told.open || warned => Some(only.clone()),
            (None, Some(only)) if told.open => Some(only.clone()),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const OPEN: Told = Told { open: true, begun: false };
    const BEGUN: Told = Told { open: true, begun: true };
    const CLOSED: Told = Told { open: false, begun: false };

    fn wave(from: Day, to: Day) -> HeatWave {
        HeatWave { from, to, places: Vec::new(), excess: None, out_of_the_ordinary: true }
    }

    fn sight(newest: impl Into<Option<HeatWave>>, before: impl Into<Option<HeatWave>>) -> Sight {
        let (newest, before) = (newest.into(), before.into());
        Sight { newest, before, fresh: true, ..Sight::default() }
    }

    fn span(sight: &Sight, told: Told) -> Option<(Day, Day)> {
        let calendar = Calendar::fixed(0);
        let noon = calendar.start_of(100) + 12 * 3_600_000;
        sight.heat(told, &calendar, noon).map(|heat| (heat.from, heat.to))
    }

    #[test]
    fn two_forecasts_in_a_row_open_it_and_only_two_in_a_row_ease_it() {
        assert_eq!(span(&sight(wave(102, 104), None), CLOSED), None);
        assert_eq!(span(&sight(None, wave(102, 104)), CLOSED), None);
        assert_eq!(span(&sight(wave(102, 104), wave(102, 104)), CLOSED), Some((102, 104)));
        assert_eq!(span(&sight(None, wave(102, 104)), OPEN), Some((102, 104)));
        assert_eq!(span(&sight(None, None), OPEN), None);
    }

    #[test]
    fn one_forecast_is_enough_beside_a_warning_and_a_stale_one_opens_nothing() {
        let heard = Some(Warning { from: 103, to: 103, about_c: 38.0, said_by: None });
        let warned = Sight { heard: heard.clone(), ..sight(wave(102, 105), None) };
        assert_eq!(span(&warned, CLOSED), Some((102, 105)));
        assert_eq!(span(&Sight { heard, ..Sight::default() }, CLOSED), Some((103, 103)));
        let stale = Sight { fresh: false, ..sight(wave(102, 104), wave(102, 104)) };
        assert_eq!(span(&stale, CLOSED), None);
        assert_eq!(span(&stale, OPEN), Some((102, 104)), "what was told stays until its days are over");
    }

    #[test]
    fn whether_it_has_begun_wavers_no_more_than_whether_it_comes() {
        let waver = sight(wave(100, 104), wave(101, 104));
        assert_eq!(span(&waver, OPEN), Some((101, 104)));
        assert_eq!(span(&waver, BEGUN), Some((100, 104)));
        let both = sight(wave(101, 104), wave(101, 103));
        assert_eq!(span(&both, BEGUN), Some((101, 104)), "both say that it begins tomorrow");
    }

    #[test]
    fn what_overlaps_is_one_heat_and_of_two_the_nearer_is_told() {
        let heard = |from, to| Sight {
            heard: Some(Warning { from, to, about_c: 38.0, said_by: None }),
            ..sight(wave(101, 102), wave(101, 102))
        };
        assert_eq!(span(&heard(103, 105), CLOSED), Some((101, 105)));
        assert_eq!(span(&heard(108, 110), CLOSED), Some((101, 102)));
    }
}
