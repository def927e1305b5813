//! Points of the copy: what may stand in one, and how readings, day pages and steps of notices become some.
//!
//! The client library escapes little: a line end in a tag would begin a line of its own on the other side. So only
//! identifiers become tags, and free text never does. Only finite numbers become fields: the other side drops some
//! others without a word. Text of ours goes into text fields with every control character made a blank, for some servers
//! end a line at a line end even inside quotes.

use std::borrow::Cow;
use std::sync::Arc;

use influxdb2::models::DataPoint;
use serde::{Deserialize, Serialize};

use crate::almanac::day_page::DayPage;
use crate::almanac::pages::Made;
use crate::almanac::planting_page::PlantingPage;
use crate::entry::{Step, Turn};
use crate::ledger::mirrored::NumberedPage;
use crate::reading::{Grade, Reading, Reason};
use agronomy::series::MS_PER_DAY;

/// Readings: tags probe, quantity, grade; field value.
pub const READING: &str = "reading";
/// Day pages of places: tags place, edition.
pub const PLACE_DAY: &str = "place_day";
/// Day pages of plantings: tags planting, place, crop, edition.
pub const PLANTING_DAY: &str = "planting_day";
/// Steps of notices: tags notice, minder, place, planting, turn, severity.
pub const NOTICE_STEP: &str = "notice_step";
/// All of them.
pub const MEASUREMENTS: [&str; 4] = [READING, PLACE_DAY, PLANTING_DAY, NOTICE_STEP];

/// Text fields, as `measurement_field`: some servers show each as a number, always nought.
pub const TEXTS: [&str; 3] = ["planting_day_rule", "notice_step_title", "notice_step_text"];

/// Why something has no point.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoPoint {
    /// It says nothing that the copy could use: no value, no time of its own, or heard before.
    #[error("{}", .0.words())]
    Nothing(Reason),
    /// Not a finite number.
    #[error("{of}: not a finite number")]
    NotFinite {
        /// Which probe, or which figure.
        of: String,
    },
    /// A name that is to be a tag is no identifier.
    #[error("the name {0:?} is no identifier")]
    Name(String),
    /// A page that cannot be read.
    #[error("the page of {subject}, day {day}: {why}")]
    Page {
        /// Whose.
        subject: String,
        /// Days since 1970.
        day: i64,
        /// What is wrong.
        why: String,
    },
}

/// A tag: letters, digits, `_`, `-`, `.`, and at least one of them.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String")]
pub struct Tag(Arc<str>);

impl Tag {
    /// This text as a tag.
    ///
    /// # Errors
    ///
    /// [`NoPoint::Name`]: it is no identifier.
    pub fn new(text: &Arc<str>) -> Result<Self, NoPoint> {
        let sound = !text.is_empty() && text.bytes().all(is_of_identifiers);
        if sound { Ok(Self(Arc::clone(text))) } else { Err(NoPoint::Name(text.to_string())) }
    }

    /// Its text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl TryFrom<String> for Tag {
    type Error = NoPoint;
    fn try_from(text: String) -> Result<Self, NoPoint> {
        Self::new(&text.into())
    }
}

fn is_of_identifiers(byte: u8) -> bool {
    byte.is_ascii_alphanumeric() || b"_-.".contains(&byte)
}

/// A name of ours that holds something else beside (`+` in an edition, `~` in a notice's id) with dots for that.
fn dotted(text: &str) -> String {
    text.bytes().map(|byte| if is_of_identifiers(byte) { char::from(byte) } else { '.' }).collect()
}

/// What a field holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Field {
    /// A finite number.
    Number(f64),
    /// Text on one line.
    Text(String),
}

type Name = Cow<'static, str>;

/// One point of the copy. Its tags are identifiers, its numbers finite, its text without control characters.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Point {
    /// The measurement: one of [`MEASUREMENTS`].
    measurement: Name,
    tags: Vec<(Name, Tag)>,
    fields: Vec<(Name, Field)>,
    /// When, UTC ms.
    pub at_ms: i64,
}

impl Point {
    fn new(measurement: &'static str, at_ms: i64) -> Self {
        let (tags, fields) = (Vec::with_capacity(4), Vec::with_capacity(1));
        Self { measurement: measurement.into(), tags, fields, at_ms }
    }

    fn tag(mut self, name: &'static str, text: impl Into<Arc<str>>) -> Result<Self, NoPoint> {
        self.tags.push((name.into(), Tag::new(&text.into())?));
        Ok(self)
    }

    fn number(mut self, name: impl Into<Name>, value: f64) -> Result<Self, NoPoint> {
        let name = name.into();
        if !value.is_finite() {
            return Err(NoPoint::NotFinite { of: name.into_owned() });
        }
        self.fields.push((name, Field::Number(value)));
        Ok(self)
    }

    /// Leaves the field out where nothing is known.
    fn known(self, name: &'static str, value: Option<f64>) -> Result<Self, NoPoint> {
        match value {
            Some(value) => self.number(name, value),
            None => Ok(self),
        }
    }

    fn text(mut self, name: &'static str, text: &str) -> Self {
        let one_line = text.chars().map(|c| if c.is_control() { ' ' } else { c });
        // The library escapes the quote alone: a backslash at the end would swallow the closing one.
        let plain = one_line.map(|c| if c == '\\' { '/' } else { c }).collect();
        self.fields.push((name.into(), Field::Text(plain)));
        self
    }

    /// Each of its numbers under the name the other side shows it by: `measurement_field{tag="…",…}`, tags by name.
    pub fn numbers(&self) -> impl Iterator<Item = (String, f64)> {
        self.fields.iter().filter_map(|(name, field)| match field {
            Field::Number(value) => {
                let tags = self.tags.iter().map(|(tag, text)| (tag.as_ref(), text.as_str()));
                Some((series_name(&format!("{}_{name}", self.measurement), tags), *value))
            }
            Field::Text(_) => None,
        })
    }

    /// As the client library wants it.
    ///
    /// # Panics
    ///
    /// Never: the library's builder only refuses points without a field.
    pub fn line(self) -> DataPoint {
        let mut built = DataPoint::builder(self.measurement.into_owned()).timestamp(self.at_ms);
        for (name, tag) in self.tags {
            built = built.tag(name.into_owned(), tag.as_str());
        }
        for (name, field) in self.fields {
            built = match field {
                Field::Number(value) => built.field(name.into_owned(), value),
                Field::Text(text) => built.field(name.into_owned(), text),
            };
        }
        built.build().expect("every point is made with a field")
    }
}

/// How a series is named in comparisons: tags in the order of their names.
pub(super) fn series_name<'a>(name: &str, tags: impl Iterator<Item = (&'a str, &'a str)>) -> String {
    let mut tags: Vec<_> = tags.map(|(tag, text)| format!("{tag}={text:?}")).collect();
    tags.sort();
    format!("{name}{{{}}}", tags.join(","))
}

/// The point of one dated reading: time in UTC ms, value in the canonical unit.
///
/// # Errors
///
/// [`NoPoint`]: it is not for the copy.
pub fn of_reading(reading: &Reading) -> Result<Point, NoPoint> {
    // Without a value it would be copied as 0, without a time under a false date.
    if matches!(reading.reason, Reason::Missing | Reason::NoTime | Reason::Repeated) {
        return Err(NoPoint::Nothing(reading.reason));
    }
    if !reading.value.is_finite() {
        return Err(NoPoint::NotFinite { of: reading.probe.to_string() });
    }
    Point::new(READING, reading.at_ms)
        .tag("grade", grade(reading.grade()))?
        .tag("probe", Arc::clone(&reading.probe))?
        .tag("quantity", reading.quantity.as_str())?
        .number("value", reading.value)
}

fn grade(grade: Grade) -> &'static str {
    match grade {
        Grade::Sound => "sound",
        Grade::Doubtful => "doubtful",
        Grade::Refused => "refused",
    }
}

/// The points of a kept day page: one of the place, one of each planting; their time is the start of the day.
/// `offset_ms` is the site's standard offset. A page that was taken back (there is nothing of that day after all)
/// becomes a measured share of nought.
///
/// # Errors
///
/// [`NoPoint`]: it cannot be read, or a name in it is no identifier.
pub fn of_page(page: &NumberedPage, offset_ms: i64) -> Result<Vec<Point>, NoPoint> {
    let unread = |why: String| NoPoint::Page { subject: page.subject.clone(), day: page.day, why };
    let made: Option<Made> = serde_json::from_str(&page.body).map_err(|error| unread(error.to_string()))?;
    let start = page.day.checked_mul(MS_PER_DAY).and_then(|ms| ms.checked_sub(offset_ms));
    let at_ms = start.ok_or_else(|| unread("no such day".to_owned()))?;
    let edition = dotted(&page.edition);
    let place =
        || Point::new(PLACE_DAY, at_ms).tag("edition", edition.as_str())?.tag("place", page.subject.as_str());
    let Some(made) = made else { return Ok(vec![place()?.number("measured_share", 0.0)?]) };
    let mut points = vec![place_day(place()?, &made.place)?];
    for planting in &made.plantings {
        let point = Point::new(PLANTING_DAY, at_ms).tag("edition", edition.as_str())?;
        points.push(planting_day(point, planting)?);
    }
    Ok(points)
}

fn place_day(mut point: Point, page: &DayPage) -> Result<Point, NoPoint> {
    point = point
        .number("measured_share", page.measured_share)?
        .number("read_by_hand", f64::from(u8::from(page.read_by_hand)))?
        .known("t_min_c", page.t_min_c)?
        .known("t_max_c", page.t_max_c)?
        .known("t_mean_c", page.t_mean_c)?
        .known("night_min_c", page.night_min_c)?
        .known("vpd_mean_kpa", page.vpd_mean_kpa)?
        .known("vpd_max_kpa", page.vpd_max_kpa)?;
    for (line, hours) in &page.hours_above.t_c {
        point = point.number(format!("hours_above_{}_c", dotted(line)), *hours)?;
    }
    for (line, hours) in &page.hours_above.vpd_kpa {
        point = point.number(format!("hours_above_{}_kpa", dotted(line)), *hours)?;
    }
    Ok(point)
}

fn planting_day(point: Point, page: &PlantingPage) -> Result<Point, NoPoint> {
    let mut point = point
        .tag("crop", page.crop.as_str())?
        .tag("place", page.place.as_str())?
        .tag("planting", page.planting.as_str())?
        .number("measured_share", page.measured_share)?
        .number("read_by_hand", f64::from(u8::from(page.read_by_hand)))?
        .known("degree_days", page.degree_days)?
        .number("line_c", page.line_c)?
        .number("stress_h", page.stress_hours)?
        .number("warm_night", f64::from(u8::from(page.warm_night)))?;
    for (rule, hours) in &page.rule_hours {
        point = point.number(format!("rule_h_{}", dotted(rule)), *hours)?;
    }
    Ok(point.text("rule", &page.rule))
}

/// The point of a step of a notice, at the time it was decided.
///
/// # Errors
///
/// [`NoPoint`]: a name in it is no identifier.
pub fn of_step(step: &Step) -> Result<Point, NoPoint> {
    let rank = agronomy::crop::Severity::ALL.iter().position(|severity| *severity == step.severity);
    let rank = rank.map_or(0, |rank| rank + 1);
    let severity = ["none", "minor", "moderate", "severe", "extreme"][rank];
    let mut point = Point::new(NOTICE_STEP, step.at_ms)
        .tag("minder", step.minder.as_str())?
        .tag("notice", dotted(&step.notice))?
        .tag("place", step.place.as_str())?
        .tag("severity", severity)?
        .tag("turn", turn(step.turn))?;
    if let Some(planting) = &step.planting {
        point = point.tag("planting", planting.as_str())?;
    }
    let point = point
        .number("number", f64::from(step.number))?
        .number("pushed", f64::from(u8::from(step.push)))?
        .number("severity_rank", rank as f64)?;
    Ok(point.text("title", &step.title).text("text", &step.whole_text()))
}

fn turn(turn: Turn) -> &'static str {
    match turn {
        Turn::Opened => "opened",
        Turn::Worsened => "worsened",
        Turn::Eased => "eased",
        Turn::Again => "again",
        Turn::Closed => "closed",
    }
}

#[cfg(test)]
#[path = "points_tests.rs"]
mod tests;
