//! What is expected of the next days, as it is shown.

use serde::{Deserialize, Serialize};

use crate::entry::PlaceKind;
use crate::outlook::ahead::DayAhead;
use crate::outlook::skill::{PastDay, Skill};

/// What is expected.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct OutlookGlance {
    /// When the newest forecast was issued and when it was taken in, UTC ms; none where there never was one.
    pub forecast: Option<(i64, i64)>,
    /// That forecast is not too old to be gone by.
    pub fresh: bool,
    /// Outside: at the place outdoors, or as told where there is none.
    pub outside: Vec<DayAhead>,
    /// Places, in ground order, of which anything can be told.
    pub places: Vec<PlaceOutlook>,
}

/// The heat that the open heat-dome notice speaks of, whoever foretold it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HeatAhead {
    /// The notice.
    pub notice: String,
    /// First day, as its date; it may be over already.
    pub from: String,
    /// Last day, as its date.
    pub to: String,
    /// About how hot outside, whole °C; none where nobody says.
    pub about_c: Option<f64>,
    /// Something that stands here grows in pots.
    #[serde(default)]
    pub pots: bool,
}

/// What is expected of one place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlaceOutlook {
    /// Identifier.
    pub place: String,
    /// What the grower calls it.
    pub name: String,
    /// Which kind.
    pub kind: PlaceKind,
    /// Today and the days after.
    pub days: Vec<DayAhead>,
    /// From the present hour on: (UTC ms, low, middle, high °C).
    pub hours: Vec<(i64, f64, f64, f64)>,
    /// The last seven days as they were told the evening before, and as they came, oldest first.
    pub past: Vec<PastDay>,
    /// How right it was over the last month.
    pub skill: Option<Skill>,
    /// The last fourteen days: date, lowest, highest, °C, oldest first.
    pub lately: Vec<(String, f64, f64)>,
}
