//! The glance: everything the page, the letter and `glasshour now` show of the present.
//!
//! The keeper makes one after each commit and each minute, and publishes it; readers never wait for the keeper.
//! Temperatures °C, VPD kPa, times UTC ms, degree days °C d, hours h.

mod board;

use agronomy::crop::Severity;
use serde::{Deserialize, Serialize};

use crate::entry::{Entry, PlaceKind, Step};
pub use board::{
    BoardGlance, ClockGlance, Makeshift, MirrorGlance, PhoneGlance, PhoneGone, Stranger, UndatedBoot,
    Unrecorded,
};

mod delivered;
mod hang;
mod outlook;
mod planting;
mod said_now;
mod warning;

pub use delivered::{Delivered, Missed, old_unsent};
pub use hang::HangTold;
pub use outlook::{HeatAhead, OutlookGlance, PlaceOutlook};
pub use planting::{LitresGlance, OwnGlance, PlantingGlance, State, WorstGlance};
pub use said_now::{InsideNow, SaidNow};
pub use warning::WarningGlance;

/// What the lintel's colour says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Tone {
    /// Nothing past, nothing coming.
    Well,
    /// A limit will be passed.
    Soon,
    /// A limit is passed now.
    Past,
    /// Nothing is known.
    Blind,
}

/// The one sentence, and its reason.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sentence {
    /// What the lintel's colour says.
    pub tone: Tone,
    /// What to do, in ten words.
    pub order: String,
    /// Number, limit, time, outcome: one or two sentences.
    pub why: String,
    /// The notice it comes from, where it comes from one.
    pub notice: Option<String>,
}

/// A limit that hangs on the cloth.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// Whose: the crop's name in the plural, or the place.
    pub whose: String,
    /// Where, °C.
    pub limit_c: f64,
    /// The place's own line (drawn double).
    pub of_place: bool,
}

/// Something that happened today at a clock time, to be tied to the cloth by a knot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Knot {
    /// When, UTC ms.
    pub at_ms: i64,
    /// Air temperature then, °C, where known.
    pub t_c: Option<f64>,
    /// In words: "low 20.4", "tomatoes pass 35", "vents opened".
    pub words: String,
    /// Done by hand (a lozenge) rather than reached by the air (a round knot).
    pub by_hand: bool,
}

/// One place at a glance.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlaceGlance {
    /// Identifier.
    pub place: String,
    /// What the grower calls it.
    pub name: String,
    /// Which kind.
    pub kind: PlaceKind,
    /// Air temperature now, °C; none when nothing sound was heard within twice the usual interval.
    pub t_c: Option<f64>,
    /// Relative humidity now, %.
    pub rh_pct: Option<f64>,
    /// Humidity of 97 % or more: shown as "saturated", without a fine figure.
    pub saturated: bool,
    /// Vapour-pressure deficit now, kPa.
    pub vpd_kpa: Option<f64>,
    /// In words: damp, easy, drying, harsh.
    pub dryness: Option<String>,
    /// Dew point now, °C.
    pub dew_point_c: Option<f64>,
    /// What it feels like to a person in shade and a light breeze (heat index), °C; none where it does not apply or is not known.
    #[serde(default)]
    pub heat_index_c: Option<f64>,
    /// Trend of the last half hour, or of its last ten minutes where they tell of less, °C per hour.
    pub trend_c_per_h: Option<f64>,
    /// When the newest sound air reading was measured, UTC ms.
    pub heard_ms: Option<i64>,
    /// The probe by which the air is known now, or was last.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub air_probe: Option<String>,
    /// That probe's air is in doubt: it leapt, stands still, or strays from others.
    #[serde(default)]
    pub in_doubt: bool,
    /// What other probes of the place say of its air now.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub beside: Vec<BesideGlance>,
    /// Last known value, for a place that has gone silent or doubtful.
    pub last_known_c: Option<f64>,
    /// Highest today (°C, UTC ms).
    pub high_today: Option<(f64, i64)>,
    /// Lowest last night (°C, UTC ms).
    pub low_last_night: Option<(f64, i64)>,
    /// Lowest and highest by hand, and when it was read, where no probe hangs here.
    pub by_hand: Option<ByHand>,
    /// Today's curve from 04:00 of the site's standard time: (UTC ms, °C), sound readings thinned to at most one in ten minutes.
    pub curve: Vec<(i64, f64)>,
    /// Holes in the curve: from, to (UTC ms), where nothing sound was held.
    pub holes: Vec<(i64, i64)>,
    /// What is expected for the rest of the day from the place's own day shape: (UTC ms, low, middle, high °C). Empty where unknown.
    pub expected: Vec<(i64, f64, f64, f64)>,
    /// The tightest four limits, ascending.
    pub lines: Vec<Line>,
    /// Today's knots, by time.
    pub knots: Vec<Knot>,
    /// Sunrise and sunset today, UTC ms.
    pub sun: Option<(i64, i64)>,
    /// Vents open, as last noted.
    pub vents_open: Option<bool>,
    /// Shade on, as last noted.
    pub shade_on: Option<bool>,
}

/// What another probe of a place says of its air.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BesideGlance {
    /// Its name.
    pub probe: String,
    /// The air by it, °C.
    pub t_c: f64,
    /// It is in doubt.
    pub in_doubt: bool,
}

/// What a thermometer read by hand said last.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ByHand {
    /// When it was read, UTC ms.
    pub at_ms: i64,
    /// Now, lowest, highest, °C.
    pub now_c: Option<f64>,
    /// Lowest since the reset, °C.
    pub low_c: Option<f64>,
    /// Highest since the reset, °C.
    pub high_c: Option<f64>,
}

/// One probe at a glance.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProbeGlance {
    /// Its name.
    pub probe: String,
    /// Where it hangs; none when it has spoken but hangs nowhere yet.
    pub place: Option<String>,
    /// Height above ground, m.
    pub height_m: Option<f64>,
    /// How it is sheltered.
    pub shelter: Option<String>,
    /// Its usual interval, s, as noted with where it hangs.
    #[serde(default)]
    pub usual_interval_s: Option<u32>,
    /// Since when it hangs anywhere, UTC ms: what it said before counts for no place.
    #[serde(default)]
    pub hung_since_ms: Option<i64>,
    /// Newest value of each quantity: (quantity, value, unit, UTC ms; none where its age is not known).
    pub newest: Vec<(String, f64, String, Option<i64>)>,
    /// Sound, doubtful or silent, and since when and why, in words.
    pub condition: String,
    /// Silent for more than twice its usual interval.
    pub silent: bool,
    /// Doubtful now.
    pub doubtful: bool,
    /// It is asked whether it still hangs there.
    #[serde(default)]
    pub asks_where: bool,
    /// Payloads that could not be read, and the last of them, escaped and cut.
    pub malformed: u64,
    /// The last payload that could not be read, escaped and cut.
    pub malformed_sample: Option<String>,
}

/// A notice as it stands: all its steps.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NoticeView {
    /// Its id.
    pub id: String,
    /// Which minder.
    pub minder: String,
    /// Which place.
    pub place: String,
    /// Which planting.
    pub planting: Option<String>,
    /// How bad now (or at the close).
    pub severity: Severity,
    /// Whether any step pushed.
    pub pushed: bool,
    /// When it opened, UTC ms.
    pub opened_ms: i64,
    /// When it closed, UTC ms.
    pub closed_ms: Option<i64>,
    /// Its steps, in order.
    pub steps: Vec<Step>,
    /// What it says by now, where that goes on while no step is told: an open heat notice, and the plan for coming heat.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub now: Option<SaidNow>,
    /// Answered "on it" at this time, UTC ms.
    pub on_it_ms: Option<i64>,
    /// Put off until, UTC ms.
    pub later_until_ms: Option<i64>,
    /// What could not be delivered, and why.
    pub undelivered: Vec<String>,
    /// Somebody has seen it, or answered it, since it last called for somebody.
    #[serde(default)]
    pub seen: bool,
    /// It rang in somebody's quiet hours, because it was severe.
    #[serde(default)]
    pub rang_in_quiet: bool,
    /// How far its newest step has come on each way out of the house.
    #[serde(default)]
    pub deliveries: Vec<Delivered>,
}

/// Everything shown of the present.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Glance {
    /// Of which moment, UTC ms.
    pub at_ms: i64,
    /// The site's name.
    pub site: String,
    /// Offset of civil time at this moment, s east of UTC.
    pub civil_offset_s: i32,
    /// The standard offset that fixes the days, s.
    pub standard_offset_s: i32,
    /// The one sentence.
    pub sentence: Sentence,
    /// Open notices, worst first.
    pub open: Vec<NoticeView>,
    /// Notices closed in the last 24 h, newest first.
    pub closed_lately: Vec<NoticeView>,
    /// What was missed in the last day.
    #[serde(default, skip_serializing_if = "Missed::is_empty")]
    pub missed: Missed,
    /// Public warnings in force or to come, the earliest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<WarningGlance>,
    /// Heat to come, while a notice of it is open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub heat: Option<HeatAhead>,
    /// Places, in ground order.
    pub places: Vec<PlaceGlance>,
    /// Plantings that stand now, in ground order.
    pub plantings: Vec<PlantingGlance>,
    /// Probes, by name.
    pub probes: Vec<ProbeGlance>,
    /// Ground and diary entries that count, newest first, at most 200.
    pub entries: Vec<Entry>,
    /// What is expected of the next days.
    #[serde(default)]
    pub outlook: OutlookGlance,
    /// The board itself.
    pub board: BoardGlance,
}
