//! The night of a place at a moment: what frost and chill look at.
//!
//! After sunset the ground gives its warmth to the sky and the air beside it cools, fast at first and ever slower,
//! until the sun is up. How far it falls from a given hour is much the same on nights that follow each other. It seldom
//! falls much below the dew point of the evening, for then dew forms and gives its heat back. So the lowest is guessed
//! from the air now and from how far it fell from this hour on the last nights, no lower than a degree below the dew
//! point. It is a guess: cloud that comes or goes in the night is not in it.
//!
//! A forecast has the cloud. Where one reaches the night that was held against this place's own probe for some days, it
//! goes first, hung on the reading of the moment; earlier nights stand in where there is none. What is said names what
//! it rests on. The two are not weighed together: earlier nights that were all alike look surer than they are on the
//! evening on which the sky clears.

use std::ops::Range;

use agronomy::crop::Severity;
use agronomy::heat_stress::cold::{ColdLines, Sky, Threat};
use agronomy::units::Celsius;

use super::place_now::{PlaceNow, Standing};
use super::words::planting;
use crate::almanac::shape::Expected;
use crate::calendar::Day;

/// From this civil hour on the coming night is guessed.
const EVENING_H: f64 = 16.0;
/// How far below the evening's dew point a night may fall, °C (common practice).
const BELOW_DEW_POINT_C: f64 = 1.0;
/// How much colder than air a leaf is under a clear sky, at least and at most, °C (from memory).
const CLEAR_SKY_C: [f64; 2] = [1.0, 3.0];
/// A crop that dies at this or warmer is tender: it comes from lands without frost, °C (common practice).
const TENDER_C: f64 = -3.0;
/// Most plantings named in one sentence.
const NAMED: usize = 3;

/// A place's night at a moment.
#[derive(Clone, Debug)]
pub struct NightNow<'a> {
    /// The place.
    pub place: &'a PlaceNow<'a>,
    /// Sunset to sunrise of the night that runs, or of the next one, UTC ms.
    pub night: Range<i64>,
    /// Dew point of the air now, °C.
    pub dew_point_c: Option<f64>,
    /// How far the air fell from this hour to the lowest of the night, on each of the last nights, °C.
    pub falls_c: Vec<f64>,
    /// The coldest moment that a fresh forecast, moved to this place, tells of the rest of the night; none where it is
    /// nothing to go by.
    pub told: Option<Expected>,
    /// Whether it is known how forecasts stray here, so that what they tell is moved to this place.
    pub moved: bool,
    /// Whether what stands here is hardened, by the means of the last ten days; none where they are not all known.
    pub hardened: Option<bool>,
    /// Hours below its crop's chilling line in the night that runs, of each planting in `place.standing`; none for a
    /// crop that does not chill.
    pub chilled_h: Vec<Option<f64>>,
}

/// The lowest of the night as it is guessed, °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guess {
    /// By the night that fell furthest; by a forecast, one night in five is colder.
    pub low_c: f64,
    /// By all of them.
    pub middle_c: f64,
    /// By the night that fell least; by a forecast, one night in five is warmer.
    pub high_c: f64,
    /// What it rests on.
    pub from: From,
}

/// What a guess rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum From {
    /// A forecast, moved to the place where its way is known.
    Forecast,
    /// So many earlier nights.
    Nights(usize),
}

/// What forecasts tell of the lowest of a night, moved to a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NightAhead {
    /// The day on which it ends.
    pub dawn: Day,
    /// By the newest that tells of all of it, °C.
    pub last_c: f64,
    /// Whether that is the newest of all; else it is what was said of the night before forecasts fell short of it.
    pub reached: bool,
    /// By the one before the newest of all, °C.
    pub before_c: Option<f64>,
}

impl NightAhead {
    /// The lower of what is told of it, °C.
    pub fn low_c(&self) -> f64 {
        self.before_c.map_or(self.last_c, |before_c| before_c.min(self.last_c))
    }
}

/// A planting with its lines of cold.
#[derive(Clone, Copy, Debug)]
pub struct Cold<'a> {
    /// The planting.
    pub standing: &'a Standing<'a>,
    /// Its lines.
    pub lines: ColdLines,
    /// Whether its crop is tender.
    pub tender: bool,
}

impl<'a> NightNow<'a> {
    /// Whether the night is guessed at this hour: from the evening until sunrise.
    pub fn is_guessed(&self) -> bool {
        self.place.civil_hour >= EVENING_H || self.night.contains(&self.place.now_ms)
    }

    /// How a forecast is called, by whether its way here is known.
    pub(super) fn forecast_words(&self) -> &'static str {
        if self.moved { "the forecast, moved to this place," } else { "the forecast" }
    }

    /// Whether it is dark already.
    pub fn is_dark(&self) -> bool {
        self.night.contains(&self.place.now_ms)
    }

    /// What is over the plants: under cover they do not see the sky; whether it is cloudy nobody says, so in the open
    /// it is taken as clear.
    pub fn sky(&self) -> Sky {
        if self.place.kind.under_cover() { Sky::Covered } else { Sky::Clear }
    }

    /// How much colder than the air a leaf may be, °C.
    pub fn leaf_below_c(&self) -> f64 {
        if self.sky() == Sky::Clear { CLEAR_SKY_C[1] } else { 0.0 }
    }

    /// The lowest of the night; none while air is not known, or neither a forecast nor earlier nights.
    pub fn guess(&self) -> Option<Guess> {
        let (_, t_c) = self.place.air?;
        // The night is as cold already as it is now.
        let told = self.told.map(|told| Guess {
            low_c: told.low_c.min(t_c),
            middle_c: told.middle_c.min(t_c),
            high_c: told.high_c.min(t_c),
            from: From::Forecast,
        });
        told.or_else(|| self.by_earlier_nights(t_c))
    }

    /// The lowest of the night by how far the air fell on the last ones, from what it has now.
    fn by_earlier_nights(&self, t_c: f64) -> Option<Guess> {
        let floor = self.dew_point_c.map_or(f64::NEG_INFINITY, |dew| (dew - BELOW_DEW_POINT_C).min(t_c));
        let lows = || self.falls_c.iter().map(|fall| (t_c - fall).max(floor));
        let nights = self.falls_c.len();
        (nights > 0).then(|| Guess {
            low_c: lows().fold(f64::INFINITY, f64::min),
            middle_c: lows().sum::<f64>() / nights as f64,
            high_c: lows().fold(f64::NEG_INFINITY, f64::max),
            from: From::Nights(nights),
        })
    }

    /// What stands here, the tenderest first.
    pub fn cold(&self) -> Vec<Cold<'a>> {
        let mut found: Vec<_> = self
            .place
            .standing
            .iter()
            .filter_map(|standing| {
                let cold = &standing.crop.cold;
                let lines = ColdLines::of(cold, self.hardened).ok()?;
                Some(Cold { standing, lines, tender: cold.lethal.hi >= TENDER_C })
            })
            .collect();
        found.sort_by(|a, b| b.lines.damage.get().total_cmp(&a.lines.damage.get()));
        found
    }

    /// How bad a night with this lowest may become for a planting: severe where it reaches it even if the leaves are
    /// hardly colder than the air, moderate where only a clear sky takes it there. What is not known to be tender or
    /// hardened is no reason to wake anybody.
    pub fn risk(&self, cold: &Cold<'_>, low_c: f64) -> Option<Severity> {
        let threat = |low_c: f64| {
            let threat = cold.lines.threat(Celsius::try_new(low_c).ok()?, self.sky())?;
            (threat > Threat::Chill).then_some(threat)
        };
        threat(low_c)?;
        let clearest_c = if self.sky() == Sky::Clear { CLEAR_SKY_C[1] - CLEAR_SKY_C[0] } else { 0.0 };
        let wakes = match threat(low_c + clearest_c) {
            Some(Threat::Damage) => cold.tender,
            Some(Threat::Death) => cold.tender || self.hardened.is_some(),
            _ => false,
        };
        Some(if wakes { Severity::Severe } else { Severity::Moderate })
    }
}

/// Plantings in a sentence: "tomatoes, basil and 2 more".
pub(super) fn named<'a>(plantings: impl Iterator<Item = &'a Standing<'a>>) -> String {
    let mut names: Vec<String> = Vec::new();
    for name in plantings.map(planting) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let more = names.len().saturating_sub(NAMED);
    names.truncate(NAMED);
    match (more, names.pop()) {
        (_, None) => String::new(),
        (0, Some(last)) if names.is_empty() => last,
        (0, Some(last)) => format!("{} and {last}", names.join(", ")),
        (more, Some(last)) => {
            names.push(last);
            format!("{} and {more} more", names.join(", "))
        }
    }
}
