//! How a row of a record tells its time.

use chrono::format::{Item, StrftimeItems};
use chrono::{NaiveDate, NaiveDateTime, NaiveTime};

use super::{COLUMN, Column, named};
use crate::position::load;
use crate::reader::Table;
use crate::zone::{Local, Zone, Zones, parse_offset};

/// How the rows of a record are dated.
#[derive(Clone, Debug, PartialEq)]
pub struct Stamps {
    /// The columns that together hold the stamp; several are joined by a blank.
    pub columns: Vec<Column>,
    /// Ways the stamp may be written, tried in order (`strftime` with the letters of `chrono`).
    pub formats: Vec<String>,
    /// The clock the stamps were taken from.
    pub clock: Zone,
    /// Added to each stamp \[s\]: −3600 where an hour is stamped at its end.
    pub shift_s: i64,
}

impl Stamps {
    /// The moment a stamp names by the record's own clock, before any shift. Text around blanks is cut.
    pub fn moment(&self, text: &str) -> Option<NaiveDateTime> {
        let text = text.trim();
        self.formats.iter().find_map(|format| read(text, format))
    }

    /// The instant or instants that a moment of the record's clock means, with `shift_s` added
    /// \[ms since 1970 UTC\]. A change may bring a shift of its own ([`super::Change`]).
    pub fn instant(&self, moment: NaiveDateTime, shift_s: i64) -> Local {
        let shift = shift_s * 1000;
        match self.clock.local(moment.and_utc().timestamp_millis()) {
            Local::One(at) => Local::One(at + shift),
            Local::Gap(at) => Local::Gap(at + shift),
            Local::Twice(earlier, later) => Local::Twice(earlier + shift, later + shift),
        }
    }
}

/// A stamp with or without a time of day; without, midnight.
fn read(text: &str, format: &str) -> Option<NaiveDateTime> {
    let date_only = || NaiveDate::parse_from_str(text, format).ok().map(|date| date.and_time(NaiveTime::MIN));
    NaiveDateTime::parse_from_str(text, format).ok().or_else(date_only)
}

/// The parts of `time`, some of which may stand in `[usual]` and some in the series.
#[derive(Clone, Debug, Default)]
pub(super) struct Parts {
    columns: Option<Vec<Column>>,
    formats: Option<Vec<String>>,
    clock: Option<Zone>,
    shift_s: Option<i64>,
    /// Something of it was wrong and has been told.
    told: bool,
}

impl Parts {
    /// Reads `time = { ... }`.
    pub(super) fn read(table: &Table<'_, '_>, zones: &Zones) -> Self {
        let nth = table.whole("nth", 1..=1000).unwrap_or(1) as usize;
        let columns = table.all_named_or_numbered("column", COLUMN);
        let columns = columns.map(|list| list.into_iter().map(|column| named(column, nth)).collect());
        let formats = formats(table);
        let clock = clock(table, zones);
        let told = table.has("column") && columns.is_none()
            || table.has("formats") && formats.is_none()
            || (table.has("zone") || table.has("offset")) && clock.is_none();
        Self { columns, formats, clock, shift_s: table.whole("shift_s", -86_400..=86_400), told }
    }

    /// The series' own parts over the usual ones.
    pub(super) fn over(own: Option<Self>, usual: Option<Self>) -> Self {
        let (own, usual) = (own.unwrap_or_default(), usual.unwrap_or_default());
        Self {
            columns: own.columns.or(usual.columns),
            formats: own.formats.or(usual.formats),
            clock: own.clock.or(usual.clock),
            shift_s: own.shift_s.or(usual.shift_s),
            told: own.told || usual.told,
        }
    }

    /// All parts, or a fault at the series for those that are missing.
    pub(super) fn complete(self, series: &Table<'_, '_>, daily: bool) -> Option<Stamps> {
        let missing: Vec<_> = [
            ("column", self.columns.is_none()),
            ("formats", self.formats.is_none()),
            ("offset", self.clock.is_none()),
        ]
        .into_iter()
        .filter_map(|(part, missing)| missing.then_some(part))
        .collect();
        if !missing.is_empty() && !self.told {
            let example =
                "time = { column = \"Timestamp\", formats = [\"%Y-%m-%d %H:%M:%S\"], offset = \"+01:00\" }";
            let missing = missing.join(" and ");
            series.book.note(
                series.place("time"),
                format!("the time of this series has no {missing}; write {example}"),
            );
        }
        let stamps = Stamps {
            columns: self.columns?,
            formats: self.formats?,
            clock: self.clock?,
            shift_s: self.shift_s.unwrap_or(0),
        };
        for format in stamps.formats.iter().filter(|format| !daily && !tells_hour(format)) {
            series.book.note(
                series.place("time"),
                format!("the stamps {format} tell no hour; write kind = \"daily\" with min and max, or a format with %H"),
            );
        }
        Some(stamps)
    }
}

fn formats(table: &Table<'_, '_>) -> Option<Vec<String>> {
    let list = table.texts("formats")?;
    let mut sound = !list.is_empty();
    if !sound {
        table.fault("formats", "formats is empty; write formats = [\"%Y-%m-%d %H:%M:%S\"]");
    }
    for format in &list {
        if !tells_date(&format.value) {
            sound = false;
            let message = format!(
                "format {:?} does not tell a date; write one such as \"%d/%m/%Y %H:%M:%S\"",
                format.value
            );
            table.book.note(format.at, message);
        }
    }
    sound.then(|| list.into_iter().map(|format| format.value).collect())
}

/// Whether a stamp written so can be read back as the day it was: the test of every part at once.
fn tells_date(format: &str) -> bool {
    let probe = NaiveDate::from_ymd_opt(2021, 12, 31).and_then(|date| date.and_hms_opt(23, 58, 59));
    written(format, probe)
        .zip(probe)
        .is_some_and(|(text, probe)| read(&text, format).is_some_and(|at| at.date() == probe.date()))
}

fn tells_hour(format: &str) -> bool {
    let probe = NaiveDate::from_ymd_opt(2021, 12, 31).and_then(|date| date.and_hms_opt(23, 58, 0));
    written(format, probe).is_some_and(|text| read(&text, format) == probe)
}

/// Writes a moment, unless the format has letters that chrono does not know or that need an offset.
fn written(format: &str, moment: Option<NaiveDateTime>) -> Option<String> {
    use std::fmt::Write as _;
    let items: Vec<Item<'_>> = StrftimeItems::new(format).collect();
    let mut text = String::new();
    write!(text, "{}", moment?.format_with_items(items.iter())).ok()?;
    Some(text)
}

fn clock(table: &Table<'_, '_>, zones: &Zones) -> Option<Zone> {
    let (zone, offset) = (table.text("zone"), table.text("offset"));
    if table.has("zone") && table.has("offset") {
        table.fault("offset", "zone and offset are both there; write one of them");
    }
    if let Some(name) = zone {
        return load(table, "zone", zones, &name);
    }
    let text = offset?;
    let offset = parse_offset(&text);
    if offset.is_none() {
        table.fault("offset", format!("offset {text} is no offset; write it as \"+01:00\""));
    }
    offset.map(Zone::fixed)
}
