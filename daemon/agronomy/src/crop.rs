//! What is known about a crop: its heat clock, its limits, its water and its light.
//!
//! A crop is a row of figures, each with the sources it leans on. Nothing here reads a file: the crop
//! book is read and checked by the `config` crate, and this module says only what a checked book holds.
//! All temperatures are in °C, deficits in kPa, times in hours or days, degree days in °C d.
//!
//! Two kinds of limits are read from a crop. A *heat rule* says what harm begins at which temperature in
//! which stage of growth. A *line* is the lowest rule of one severity: the string that hangs on the day's
//! picture, and the value a notice names.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::Serialize;

mod book;
pub mod figures;
mod line;
mod stages;
mod standing;
mod words;

pub use book::{CropBook, Global, Soil};
use figures::Figures;
pub use line::{Line, cold_night_line, crop_line, line, night_line};
pub use stages::{Certainty, Known, Stages};
pub use standing::{OWN, Standing};
pub use words::{Measure, Severity, Stage};

/// The degree-day methods a crop may name.
pub const METHODS: [&str; 11] = [
    "mean",
    "mean-capped",
    "extremes-clipped",
    "maximum-reflected",
    "single-sine",
    "double-sine",
    "single-triangle",
    "double-triangle",
    "integral",
    "integral-peak",
    "ontario-units",
];

/// A number, or the span between two, with the sources behind it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Figure {
    /// The lower end; the number itself where there is only one.
    pub lo: f64,
    /// The upper end; equal to `lo` where there is only one number.
    pub hi: f64,
    /// Keys of the source list, or `memory`, `practice`, `derived`.
    pub sources: Vec<String>,
    /// What the number alone does not say.
    pub note: Option<String>,
}

impl Figure {
    /// Half way between the two ends.
    pub fn middle(&self) -> f64 {
        f64::midpoint(self.lo, self.hi)
    }
}

/// One harm that heat (or, for `night_min_below_c`, cold) does in given stages.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HeatRule {
    /// Its name within the crop, such as `day_severe`.
    pub id: String,
    /// The stages in which it runs ([`Stages::certainty`]); a rule with [`Stage::Any`] always runs.
    pub stages: Vec<Stage>,
    /// What is compared with the threshold.
    pub measure: Measure,
    /// The limit \[°C\].
    pub threshold: f64,
    /// The night's limit \[°C\], for [`Measure::DayMaxAndNightMinC`] only.
    pub night_threshold: Option<f64>,
    /// Hours of one day at or above the threshold that make the day count.
    pub min_hours_per_day: Option<f64>,
    /// Days in a row that must count.
    pub consecutive_days: Option<u32>,
    /// How bad it is.
    pub severity: Severity,
    /// What it does, in words for a grower.
    pub effect: String,
    /// Sources of the threshold.
    pub sources: Vec<String>,
}

/// A step of the crop's life reached after a sum of degree days.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Milestone {
    /// The event the sum starts from.
    pub from: String,
    /// The event it leads to.
    pub to: String,
    /// Lowest sum \[°C d, or Ontario units\].
    pub lo: f64,
    /// Highest sum \[°C d, or Ontario units\].
    pub hi: f64,
    /// Which method the sum belongs to: `main`, `alt` or `ontario_units`.
    pub model: String,
    /// What the sum alone does not say.
    pub note: Option<String>,
    /// Sources of the sum.
    pub sources: Vec<String>,
}

/// A second degree-day method that some of the crop's milestones use.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Alternative {
    /// One of [`METHODS`].
    pub method: String,
    /// Temperature below which nothing accrues \[°C\].
    pub base: f64,
    /// Temperature above which no more accrues \[°C\].
    pub upper: Option<f64>,
}

/// The crop's heat clock.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Gdd {
    /// One of [`METHODS`].
    pub method: String,
    /// Temperature below which nothing accrues \[°C\].
    pub base: f64,
    /// Temperature above which no more accrues \[°C\].
    pub upper: Option<f64>,
    /// The second method.
    pub alt: Option<Alternative>,
    /// The steps, in the order of the book.
    pub milestones: Vec<Milestone>,
}

/// How seed answers to soil temperature.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Germination {
    /// Coldest soil that brings seed up \[°C\].
    pub min: Figure,
    /// Best soil \[°C\].
    pub opt: Figure,
    /// Warmest soil that brings seed up \[°C\].
    pub max: Figure,
    /// Base of the sum to emergence \[°C\].
    pub emerge_base: Option<Figure>,
    /// Degree days of soil from sowing to emergence \[°C d\].
    pub emerge_sum: Option<Figure>,
    /// Measured days to emergence.
    pub table: Vec<GerminationRow>,
    /// Sources of the table.
    pub table_sources: Vec<String>,
    /// What the table alone does not say.
    pub table_note: Option<String>,
}

/// One row of a germination table.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct GerminationRow {
    /// Soil temperature \[°C\].
    pub soil: f64,
    /// Days to emergence; 0 means that none was seen; `None` that it was not tested.
    pub days: Option<f64>,
    /// Share of normal seedlings \[%\], where stated.
    pub normal_pct: Option<f64>,
}

/// The dryness of the air the crop likes, and where it stops being kind \[kPa\].
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct VpdBands {
    /// For seedlings.
    pub seedling: Option<Figure>,
    /// While it makes leaf.
    pub vegetative: Figure,
    /// While it flowers, fruits or heads.
    pub fruiting: Option<Figure>,
    /// Damp below this.
    pub damp_below: Figure,
    /// Drying above this.
    pub drying_above: Figure,
    /// Harsh above this.
    pub harsh_above: Figure,
}

/// What cold does to the crop \[°C\].
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cold {
    /// Growth suffers below this although nothing freezes.
    pub chilling: Option<Figure>,
    /// Tissue is damaged at this leaf temperature.
    pub frost_damage: Figure,
    /// A hardened plant dies at this.
    pub lethal: Figure,
    /// Further limits of this crop under their names in the book (`no_set_night_c`, `blossom_kill_c`).
    pub other: BTreeMap<String, Figure>,
}

/// Temperature of the root zone \[°C\].
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RootZone {
    /// Roots stand still below this.
    pub min: Figure,
    /// Best.
    pub opt: Figure,
    /// Watch above this.
    pub caution: Figure,
    /// Roots are injured at this.
    pub injury: Figure,
}

/// How much water the crop takes, in the terms of FAO-56.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Water {
    /// Crop coefficient, initial stage.
    pub kc_ini: Figure,
    /// Crop coefficient, mid season.
    pub kc_mid: Figure,
    /// Crop coefficient, end of season.
    pub kc_end: Figure,
    /// Basal crop coefficient, initial stage.
    pub kcb_ini: Figure,
    /// Basal crop coefficient, mid season.
    pub kcb_mid: Figure,
    /// Basal crop coefficient, end of season.
    pub kcb_end: Figure,
    /// Height of the field crop \[m\].
    pub height_m: Figure,
    /// Depth of rooting \[m\].
    pub root_depth_m: Figure,
    /// Share of the available water that may go before the crop feels it (0 to 1).
    pub depletion_p: Figure,
    /// Ground shaded by one plant \[m²\].
    pub canopy_m2_per_plant: Option<Figure>,
    /// What an established plant drinks in a heat wave \[L per day\]: a band to check against, no target.
    pub heatwave_l_per_plant_day: Figure,
    /// What the figures alone do not say.
    pub note: Option<String>,
}

/// Light in a day \[mol m⁻² d⁻¹\].
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Light {
    /// The least it needs.
    pub dli_min: Figure,
    /// What suits it.
    pub dli_target: Figure,
    /// Above this, inner leaves outgrow their calcium (lettuce).
    pub dli_tipburn: Option<Figure>,
}

/// The cold a resting crop needs before it grows again.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Chill {
    /// Which hours count.
    pub model: String,
    /// Hours required, where known.
    pub required_h: Option<Figure>,
    /// Further figures under their names in the book.
    pub other: BTreeMap<String, Figure>,
    /// What the figures alone do not say.
    pub note: Option<String>,
}

/// A disorder or disease with the weather behind it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Disorder {
    /// Its name, such as `blossom_end_rot`.
    pub name: String,
    /// When to look for it, in words.
    pub rule: String,
    /// Sources.
    pub sources: Vec<String>,
}

/// Everything the book knows about one crop.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Crop {
    /// Its key in the book, such as `sweet_pepper`.
    pub key: String,
    /// Its name for people.
    pub name: String,
    /// Its botanical name.
    pub latin: String,
    /// Its kind, such as `warm fruiting`.
    pub group: String,
    /// A word to the grower.
    pub notes: Option<String>,
    /// Its heat clock.
    pub gdd: Gdd,
    /// Days between events, under names such as `sow_to_harvest` \[d; a name ending in `weeks`: weeks\].
    pub days: BTreeMap<String, Figure>,
    /// How its seed comes up.
    pub germination: Germination,
    /// Air temperatures it likes or bears, under their names in the book \[°C\].
    pub air: BTreeMap<String, Figure>,
    /// What heat does to it, in the order of the book.
    pub heat_rules: Vec<HeatRule>,
    /// What cold does to it.
    pub cold: Cold,
    /// The dryness of air it likes.
    pub vpd: VpdBands,
    /// Its roots.
    pub root_zone: RootZone,
    /// Its water.
    pub water: Water,
    /// Its light.
    pub light: Light,
    /// Its winter rest, if it has one.
    pub chill: Option<Chill>,
    /// What may befall it.
    pub disorders: Vec<Disorder>,
    /// All its figures once more, under the dotted names of the book, with sources and notes. They are shared, since
    /// a crop is copied for each planting that has figures of its own.
    pub figures: Arc<Figures>,
}
