//! Records: past readings out of text files, by a field map that says what the columns mean.
//!
//! Two rules keep a record honest. A row whose time cannot be read is counted and left out, because a guessed
//! time puts a reading into a day where it never was. And a cell that says "no value" still becomes a
//! reading without a value, because how often a probe was silent is part of what the record tells.

use std::collections::BTreeMap;
use std::fs::File;
use std::io;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use agronomy::quantity::{Quantity, UnitError};
use config::record::{Column, FileMatch, Record, Series, Values};

use crate::entry::Note;
use crate::reading::{Heard, ProbeName};

mod columns;
mod each_row;
mod sheet;
mod stamp;
#[cfg(test)]
mod tests;

/// What some files told.
#[derive(Clone, Debug, Default)]
pub struct Recorded {
    /// Every reading, each with its time, by time; at the same time in the order of the series in the map, then
    /// of the files and rows.
    pub readings: Vec<Heard>,
    /// Days of which only the lowest and highest are known, in the same order.
    pub by_hand: Vec<ByHand>,
    /// What each probe can measure at all, in the canonical unit: lowest and highest.
    pub limits: BTreeMap<(ProbeName, Quantity), (f64, f64)>,
    /// Time between two readings of a probe when all is well, ms: the longest of its series.
    pub usual_interval_ms: BTreeMap<ProbeName, i64>,
    /// What was met in each file, in the order given.
    pub files: Vec<FileTold>,
}

/// A day's lowest and highest air temperature, as a thermometer read by hand gives them.
#[derive(Clone, Debug, PartialEq)]
pub struct ByHand {
    /// Which thermometer.
    pub probe: ProbeName,
    /// From when the note holds, UTC ms: six in the evening of that day by the record's own clock, so that low
    /// and high belong to that day wherever the site's days begin within six hours of the record's.
    pub from_ms: i64,
    /// Lowest, °C.
    pub low_c: f64,
    /// Highest, °C.
    pub high_c: f64,
}

impl ByHand {
    /// The diary's note of it, for a thermometer that hangs in `place`.
    pub fn note(&self, place: &str) -> Note {
        Note::Thermometer {
            place: place.to_owned(),
            now_c: None,
            low_c: Some(self.low_c),
            high_c: Some(self.high_c),
        }
    }
}

/// What was met in one file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FileTold {
    /// The file.
    pub file: PathBuf,
    /// Rows of data, headings and blank lines aside.
    pub rows: u64,
    /// Days of lowest and highest that have no place in a diary: only air temperature is read by hand.
    pub left_out: u64,
    /// Times, values and missing cells that could not be read.
    pub unread: u64,
    /// The first few of them.
    pub first: Vec<Unread>,
}

/// A cell that could not be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unread {
    /// Its line in the file, from 1.
    pub line: u64,
    /// Its column: the heading, or the number where there are no headings.
    pub column: String,
    /// What stands there, in quotation marks and escaped; empty where the row is too short.
    pub text: String,
}

/// Why a record could not be read at all.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RecordError {
    /// The file cannot be opened or read.
    #[error("{}: {source}", file.display())]
    Input {
        /// Which.
        file: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// No series of the map is found in a file of this name.
    #[error("no series of the map fits {}; the map asks for {wanted}; the file is headed {headings}", file.display())]
    NoSeries {
        /// Which.
        file: PathBuf,
        /// The files that the map knows.
        wanted: String,
        /// The first row of the file.
        headings: String,
    },
    /// A column that the map names is not there.
    #[error("{}: no column {column} for {quantity} of probe {probe}; the file is headed {headings}", file.display())]
    NoColumn {
        /// Which.
        file: PathBuf,
        /// The column asked for.
        column: String,
        /// What it was to give.
        quantity: Quantity,
        /// Of which probe.
        probe: String,
        /// The first row of the file.
        headings: String,
    },
    /// A column that rows are told apart by is not there.
    #[error("{}: no column {column}; the file is headed {headings}", file.display())]
    NoHeading {
        /// Which.
        file: PathBuf,
        /// The column asked for.
        column: String,
        /// The first row of the file.
        headings: String,
    },
    /// The map separates cells by a sign that takes more than one byte.
    #[error("{}: {sign:?} cannot stand between cells; write a comma, semicolon, tab or upright line", file.display())]
    Delimiter {
        /// Which.
        file: PathBuf,
        /// The sign.
        sign: char,
    },
    /// A limit of the map is in a unit that its quantity does not have.
    #[error("limits of probe {probe}: {source}")]
    Limits {
        /// Which probe.
        probe: String,
        /// Why.
        source: UnitError,
    },
}

/// Takes readings one by one as a record is read.
pub trait Taker {
    /// Hears of a series before its first reading; the place it will be known by. Of one it knows already, its place.
    fn series(&mut self, probe: &ProbeName, quantity: Quantity) -> usize;

    /// Takes a reading: the place of its series, its time (UTC ms), its value in the canonical unit (none where the
    /// record says that there is none). It says whether it wants more.
    fn take(&mut self, at: usize, at_ms: i64, value: Option<f64>) -> ControlFlow<()>;
}

/// Keeps everything, each series by itself.
#[derive(Default)]
struct All {
    places: BTreeMap<(ProbeName, Quantity), usize>,
    found: Vec<(ProbeName, Quantity, Vec<Heard>)>,
}

impl Taker for All {
    fn series(&mut self, probe: &ProbeName, quantity: Quantity) -> usize {
        let found = &mut self.found;
        *self.places.entry((probe.clone(), quantity)).or_insert_with(|| {
            found.push((probe.clone(), quantity, Vec::new()));
            found.len() - 1
        })
    }

    fn take(&mut self, at: usize, at_ms: i64, value: Option<f64>) -> ControlFlow<()> {
        let (probe, quantity, readings) = &mut self.found[at];
        let (probe, quantity, measured_ms) = (probe.clone(), *quantity, Some(at_ms));
        readings.push(Heard { probe, quantity, value, measured_ms, stale: false });
        ControlFlow::Continue(())
    }
}

/// Reads files by a map, all readings into memory.
///
/// A clock that was set back passes the same hour twice: the earlier is meant until the rows of the file
/// step back, and the later from there on. A stamp in the hour that a clock leapt over is read as by a clock
/// that did not leap.
///
/// # Errors
///
/// [`RecordError`]: a file that cannot be read, that no series fits, or that lacks a column.
pub fn read(map: &Record, files: &[PathBuf]) -> Result<Recorded, RecordError> {
    let mut all = All::default();
    let mut recorded = each(map, files, &mut all)?;
    recorded.readings = all.found.into_iter().flat_map(|(.., readings)| readings).collect();
    // The sort is stable, so the order of series and rows decides where the times are the same.
    recorded.readings.sort_by_key(|heard| heard.measured_ms);
    Ok(recorded)
}

/// Reads files by a map and hands on each reading as it is met, file after file and row after row; memory does not
/// grow with the record. What comes back has all but the readings.
///
/// # Errors
///
/// As [`read`]; readings met before stay handed on.
pub fn each(map: &Record, files: &[PathBuf], taker: &mut dyn Taker) -> Result<Recorded, RecordError> {
    let mut recorded = Recorded::default();
    let place = |series: &Series| taker.series(&series.probe.as_str().into(), series.measured.quantity);
    let places = map.series.iter().map(place).collect();
    let mut found = sheet::Found { taker, places, by_hand: vec![Vec::new(); map.series.len()] };
    for (index, file) in files.iter().enumerate() {
        let name = file.file_name().unwrap_or_default().to_string_lossy();
        if let Some(each_row) = map.each_row.as_ref().filter(|it| it.file.fits(&name, index + 1)) {
            each_row::read(each_row, file, found.taker, &mut recorded)?;
            continue;
        }
        let fitting: Vec<usize> =
            (0..map.series.len()).filter(|at| map.series[*at].file.fits(&name, index + 1)).collect();
        if fitting.is_empty() {
            return Err(no_series(map, file));
        }
        recorded.files.push(sheet::read(map, &fitting, file, &mut found)?);
    }
    for (series, by_hand) in map.series.iter().zip(found.by_hand) {
        recorded.by_hand.extend(by_hand);
        describe(series, &mut recorded)?;
    }
    recorded.by_hand.sort_by_key(|day| day.from_ms);
    Ok(recorded)
}

fn describe(series: &Series, recorded: &mut Recorded) -> Result<(), RecordError> {
    let probe: ProbeName = Arc::from(series.probe.as_str());
    let measured = &series.measured;
    if let Some(limits) = series.limits {
        let canonical = |value| {
            let converted = measured.quantity.from_unit(value, &measured.unit);
            converted.map_err(|source| RecordError::Limits { probe: series.probe.clone(), source })
        };
        let both = (canonical(limits.low)?, canonical(limits.high)?);
        recorded.limits.insert((probe.clone(), measured.quantity), both);
    }
    if matches!(series.values, Values::Reading(_)) {
        let interval = (series.usual_interval_s * 1000.0) as i64;
        let longest = recorded.usual_interval_ms.entry(probe).or_default();
        *longest = interval.max(*longest);
    }
    Ok(())
}

fn no_series(map: &Record, file: &Path) -> RecordError {
    let mut wanted: Vec<_> = map
        .series
        .iter()
        .map(|series| match &series.file {
            FileMatch::Ending(ending) => format!("names that end in {ending}"),
            FileMatch::Position(position) => format!("file {position} of the command"),
        })
        .collect();
    wanted.dedup();
    match sheet::first_row(file) {
        Ok(headings) => RecordError::NoSeries { file: file.to_owned(), wanted: wanted.join(", "), headings },
        Err(source) => input(file, source),
    }
}

fn input(file: &Path, source: io::Error) -> RecordError {
    RecordError::Input { file: file.to_owned(), source }
}

fn open(file: &Path) -> Result<File, RecordError> {
    File::open(file).map_err(|source| input(file, source))
}

/// A column as its file calls it.
fn column_text(column: &Column) -> String {
    match column {
        Column::Named { name, nth: 1 } => format!("{name:?}"),
        Column::Named { name, nth } => format!("{name:?} (the {nth}. of that name)"),
        Column::Numbered(number) => format!("{number}"),
    }
}
