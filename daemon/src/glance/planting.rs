//! What is shown of one planting: its state now, its sums, the worst of its season.

use agronomy::crop::Severity;
use serde::{Deserialize, Serialize};

/// How a planting is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// Nothing presses it.
    AtEase,
    /// Within 2 °C of its severe line.
    Pressed,
    /// Past its severe line.
    Suffering,
    /// Nothing sound is heard where it stands.
    NotKnown,
}

/// Water that one plant needs in a day, and what the figure rests on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LitresGlance {
    /// Litres for each plant.
    pub each: f64,
    /// What it is reckoned from, in words that end a sentence.
    pub assumption: String,
}

/// One planting at a glance.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlantingGlance {
    /// Identifier.
    pub planting: String,
    /// What it is called on the page: crop name, variety.
    pub name: String,
    /// Key in the crop book.
    pub crop: String,
    /// Where it stands.
    pub place: String,
    /// How many plants.
    pub count: Option<u32>,
    /// Since when (UTC ms).
    pub since_ms: i64,
    /// Ended (UTC ms).
    pub ended_ms: Option<i64>,
    /// How it is doing.
    pub state: State,
    /// Stages, "possible" ones in brackets, in words.
    pub stages: String,
    /// The severe line in force, °C.
    pub line_c: f64,
    /// Degrees from the line: positive = past it.
    pub past_line_c: Option<f64>,
    /// Hours past the line today, h.
    pub stress_today_h: f64,
    /// Hours past the line this season, h.
    pub stress_season_h: f64,
    /// What each plant needs today, given by can; none where it cannot be reckoned.
    #[serde(default)]
    pub litres_today: Option<LitresGlance>,
    /// Degree days so far, by the crop's method; days that do not count are filled.
    pub degree_days: f64,
    /// What of them was filled from the days around, °C d.
    #[serde(default)]
    pub filled: f64,
    /// Days that were filled.
    #[serde(default)]
    pub filled_days: u32,
    /// Days that do not count and could not be filled.
    #[serde(default)]
    pub missing_days: u32,
    /// The rule they belong to: `mean-capped 7/28`.
    pub rule: String,
    /// Share of the season's time that was measured, 0..1.
    pub measured_share: f64,
    /// Warm nights so far.
    pub warm_nights: u32,
    /// The worst that heat did this season; none where no rule of the crop book has spoken.
    #[serde(default)]
    pub worst: Option<WorstGlance>,
    /// The grower's own figures in the place of the book's, by name.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub own: Vec<OwnGlance>,
}

/// The worst that heat did to a planting: a rule of the crop book spoke, after as many days in a row as it wants.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WorstGlance {
    /// How bad.
    pub severity: Severity,
    /// The first day on which such a rule spoke, `YYYY-MM-DD`.
    pub first: String,
    /// The last one.
    pub last: String,
    /// How many days.
    pub days: u32,
    /// What it does, in the book's words.
    pub effect: String,
    /// The stages it does that in, where nobody has noted that the planting was in one: "flowering".
    pub only_if: Option<String>,
}

/// A grower's own figure beside the book's.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OwnGlance {
    /// Its dotted name in the book.
    pub figure: String,
    /// What it is, in words.
    pub words: String,
    /// The grower's own, with its unit.
    pub own: String,
    /// The book's, with its unit; none where the book has no such figure any more.
    pub book: Option<String>,
    /// Whether anything is reckoned from it yet.
    pub read: bool,
    /// What is wrong with it by now, in words: the book has changed since it was noted.
    pub wrong: Option<String>,
}
