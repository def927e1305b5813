//! What the minders of a place look at: its air now, its day so far, its plantings' lines.

use std::borrow::Cow;
use std::ops::Range;

use agronomy::crop::{Crop, Stages};

use crate::almanac::lines::Lines;
use crate::almanac::shape::Expected;
use crate::calendar::Day;
use crate::entry::PlaceKind;
use crate::ground::Planting;
use crate::outlook::ahead::DayAhead;
use crate::outlook::skill::POOR;

/// One planting with its lines.
#[derive(Clone, Debug)]
pub struct Standing<'a> {
    /// The planting.
    pub planting: &'a Planting,
    /// Its crop, with the grower's own figures in it.
    pub crop: Cow<'a, Crop>,
    /// Its stages.
    pub stages: Stages,
    /// Its lines.
    pub lines: Lines,
}

impl<'a> Standing<'a> {
    /// A planting in these stages.
    pub fn new(planting: &'a Planting, crop: Cow<'a, Crop>, stages: Stages, place_line_c: f64) -> Self {
        let lines = Lines::of(&crop, &stages, place_line_c);
        Self { planting, crop, stages, lines }
    }
}

/// What the two newest forecasts tell of a place, corrected to it; days that none of them tells are not there.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Foretold {
    /// Today and the next days by the newest.
    pub newest: Vec<DayAhead>,
    /// The same by the one before it.
    pub before: Vec<DayAhead>,
    /// Whether the newest is fresh; a stale one is nothing to go by.
    pub fresh: bool,
    /// Highest of the last days as they came, or as they were told where nobody measured, earliest first, °C.
    pub highs: Vec<(Day, f64)>,
    /// All of it is of the air outside: of the place itself, under cover, nobody measures anything.
    pub of_outside: bool,
    /// Days whose highest was missed by more than 3 °C, of how many last ones.
    pub missed_lately: (usize, usize),
}

impl Foretold {
    /// What has to be said of a forecast that missed too often lately to go by it alone.
    pub fn poor(&self) -> Option<String> {
        let (missed, of) = self.missed_lately;
        (missed >= POOR).then(|| {
            format!("the forecast missed {missed} of the last {of} days there by more than 3 °C, so go by the thermometer")
        })
    }
}

/// A place at a moment.
#[derive(Clone, Debug)]
pub struct PlaceNow<'a> {
    /// The moment, UTC ms.
    pub now_ms: i64,
    /// Identifier.
    pub place: &'a str,
    /// What the grower calls it.
    pub name: &'a str,
    /// Which kind.
    pub kind: PlaceKind,
    /// Held sound air temperature (UTC ms, °C).
    pub air: Option<(i64, f64)>,
    /// Until when it is held if nothing more is heard, UTC ms.
    pub air_until_ms: Option<i64>,
    /// Newest sound air temperature, held or not.
    pub last_air: Option<(i64, f64)>,
    /// Deficit, kPa, where temperature and humidity are both held.
    pub vpd_kpa: Option<f64>,
    /// Slope of the last half hour, °C per hour.
    pub slope_c_per_h: Option<f64>,
    /// The slope as it is said: that of the half hour, unless the last ten minutes tell of less, °C per hour.
    pub pace_c_per_h: Option<f64>,
    /// The newest reading lies above the one before it.
    pub still_rising: bool,
    /// Highest today (°C, UTC ms).
    pub high: Option<(f64, i64)>,
    /// Lowest of the night that ended this morning (°C, UTC ms).
    pub low: Option<(f64, i64)>,
    /// Air a day ago, °C.
    pub yesterday_c: Option<f64>,
    /// Median highest of the full days among the last 14 (needs five), °C.
    pub median_high_c: Option<f64>,
    /// The rest of the day, as expected.
    pub expected: Vec<Expected>,
    /// The days ahead, as told by forecasts.
    pub foretold: Foretold,
    /// Its plantings that stand.
    pub standing: Vec<Standing<'a>>,
    /// The place's own line, °C; only under cover.
    pub place_line_c: Option<f64>,
    /// How long the place line must be held, ms.
    pub place_line_ms: i64,
    /// Whether the sun is up.
    pub daylight: bool,
    /// Civil hour of the day.
    pub civil_hour: f64,
    /// The day, UTC ms.
    pub day: Range<i64>,
    /// Its date.
    pub date: String,
    /// Vents open, as last noted.
    pub vents_open: Option<bool>,
    /// Shade on, as last noted.
    pub shade_on: Option<bool>,
}

impl<'a> PlaceNow<'a> {
    /// The planting with the lowest severe line.
    pub fn tenderest(&self) -> Option<&Standing<'a>> {
        self.standing.iter().min_by(|a, b| a.lines.severe_c.total_cmp(&b.lines.severe_c))
    }

    /// The planting with the lowest moderate line.
    pub fn first_pressed(&self) -> Option<(&Standing<'a>, f64)> {
        self.standing
            .iter()
            .filter_map(|it| it.lines.moderate_c.map(|line| (it, line)))
            .min_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// Whether a temperature is more than 2 °C above the median highest of the last days: only then may a
    /// crop's line push, since ordinary summer days pass it too. False while too few days are known.
    pub fn out_of_the_ordinary(&self, t_c: f64) -> bool {
        self.median_high_c.is_some_and(|median| t_c > median + 2.0)
    }
}
