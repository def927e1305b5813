//! What the minders of water, soil and light look at besides the air: what was poured, what probes in the ground
//! hold, what the weather asks for, and what the last days came to.

use std::collections::BTreeMap;
use std::ops::Range;

use agronomy::water::Texture;

use super::demand::Demand;
use crate::almanac::days_seen::DaySeen;
use crate::calendar::Day;

/// A watering that was noted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Watering {
    /// When, UTC ms.
    pub at_ms: i64,
    /// When it was noted, UTC ms.
    pub noted_ms: i64,
    /// Litres for each plant, where it is known how many shared it.
    pub litres_each: Option<f64>,
}

/// A moisture probe that holds a value.
#[derive(Clone, Debug, PartialEq)]
pub struct Moist {
    /// The probe.
    pub probe: String,
    /// What it says, % by volume.
    pub pct: f64,
    /// Its marks: what it says where plants begin to wilt, and after soaking, % by volume.
    pub marks: Option<(f64, f64)>,
    /// All its falls of the last day together, % by volume; none where it was not followed all day.
    pub fell_pct: Option<f64>,
}

impl Moist {
    /// How much is left of what roots can draw, 0 to 1, by the probe's own marks.
    pub fn left_by_marks(&self) -> Option<f64> {
        let (dry, wet) = self.marks.filter(|(dry, wet)| wet > dry)?;
        Some(((self.pct - dry) / (wet - dry)).clamp(0.0, 1.0))
    }

    /// The same as if it stood in a loam at the middle of its range.
    ///
    /// # Source
    ///
    /// FAO-56 (1998), Table 19.
    pub fn left_in_loam(&self) -> f64 {
        let middle = |[low, high]: [f64; 2]| 100.0 * f64::midpoint(low, high);
        let water = Texture::Loam.water();
        let (wilting, full) = (middle(water.wilting_point), middle(water.field_capacity));
        ((self.pct - wilting) / (full - wilting)).clamp(0.0, 1.0)
    }

    /// How much of what roots can draw was drawn in the last day, by the probe's own marks.
    pub fn drawn_by_marks(&self) -> Option<f64> {
        let (dry, wet) = self.marks.filter(|(dry, wet)| wet > dry)?;
        Some(self.fell_pct? / (wet - dry))
    }
}

/// A moisture probe that rose at once.
#[derive(Clone, Debug, PartialEq)]
pub struct Rise {
    /// The probe.
    pub probe: String,
    /// When it had risen, UTC ms.
    pub from_ms: i64,
    /// What it said before, % by volume.
    pub from_pct: f64,
    /// The most it said since, % by volume.
    pub to_pct: f64,
}

/// A temperature probe in the ground (or a heap) that holds a value.
#[derive(Clone, Debug, PartialEq)]
pub struct Warm {
    /// The probe.
    pub probe: String,
    /// What it says, °C.
    pub t_c: f64,
}

/// The ground of a place at a moment.
#[derive(Clone, Debug, PartialEq)]
pub struct SoilNow<'a> {
    /// The moment it is reckoned for, UTC ms.
    pub at_ms: i64,
    /// While the sun is up today, UTC ms.
    pub sun: Range<i64>,
    /// What the weather asks for: the days before, today, tomorrow as today.
    pub demand: Option<Demand>,
    /// Waterings noted up to the moment, by planting, earliest first.
    pub waterings: BTreeMap<String, Vec<Watering>>,
    /// Share of a pot's volume that plants can draw, 0 to 1.
    pub mix_share: f64,
    /// Rain of the last two days in the open (UTC ms, mm).
    pub rain: Vec<(i64, f64)>,
    /// Moisture probes.
    pub moisture: Vec<Moist>,
    /// Moisture probes that rose at once and stand so, where neither water that was noted nor rain explains it; none where
    /// no probe holds a value, or rain is not known.
    pub rises: Option<Vec<Rise>>,
    /// Temperature probes in the ground.
    pub warmth: Vec<Warm>,
    /// Days in a row, up to yesterday, with shade on at noon.
    pub shaded_days: u32,
    /// The last closed days, earliest first; a day of which nothing is known may be missing.
    pub days: Vec<&'a DaySeen>,
    /// Yesterday.
    pub yesterday: Day,
    /// Days on which the heap was turned.
    pub turned: Vec<Day>,
    /// Length of today's daylight, h.
    pub day_length_h: f64,
}

impl SoilNow<'_> {
    /// When a planting was watered last, UTC ms.
    pub fn last_watered_ms(&self, planting: &str) -> Option<i64> {
        self.waterings.get(planting)?.last().map(|it| it.at_ms)
    }

    /// What yesterday came to.
    pub fn of_yesterday(&self) -> Option<&DaySeen> {
        self.days.iter().rev().find(|seen| seen.day == self.yesterday).copied()
    }
}
