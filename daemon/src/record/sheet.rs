//! One file of a record, read once from its first row to its last.

use std::io::{self, Read};
use std::ops::ControlFlow;
use std::path::Path;

use agronomy::quantity::Quantity;
use chrono::{NaiveDateTime, NaiveTime, TimeDelta};
use config::record::{Column, Record, Series, Values};

use super::columns::{Group, Track, between, groups, listed};
use super::{ByHand, FileTold, RecordError, Taker, Unread, column_text, input, open};
use crate::rows::{Between, Rows, shown};

/// How many unread cells of a file are told one by one.
const TOLD: usize = 3;

/// Where goes what the series of the map find.
pub(super) struct Found<'t> {
    pub(super) taker: &'t mut dyn Taker,
    /// The place of each series with the taker.
    pub(super) places: Vec<usize>,
    /// Days of each series, in all files so far.
    pub(super) by_hand: Vec<Vec<ByHand>>,
}

/// The first row of a file whose kind nobody knows, for a message.
pub(super) fn first_row(file: &Path) -> io::Result<String> {
    let mut rows = Rows::new(std::fs::File::open(file)?.take(1 << 16), Between::Sign(b','));
    let headings = if rows.step()? { rows.texts() } else { Vec::new() };
    Ok(listed(&headings))
}

/// Reads a file by those series of the map that fit it.
pub(super) fn read(
    map: &Record,
    fitting: &[usize],
    file: &Path,
    found: &mut Found<'_>,
) -> Result<FileTold, RecordError> {
    let mut told = FileTold { file: file.to_owned(), ..FileTold::default() };
    let mut left = fitting.to_vec();
    // Series may differ in how they take the file apart; it is read once for each way, nearly always once.
    while let Some(first) = left.first() {
        let way = |series: &Series| (series.delimiter, series.header);
        let (delimiter, header) = way(&map.series[*first]);
        let (now, later) = left.into_iter().partition(|at| way(&map.series[*at]) == (delimiter, header));
        left = later;
        let rows = Rows::new(open(file)?, between(file, delimiter)?);
        let now: Vec<usize> = now;
        told.rows = one_way(map, &now, rows, header, found, &mut told)?;
    }
    Ok(told)
}

fn one_way<R: Read>(
    map: &Record,
    fitting: &[usize],
    mut rows: Rows<R>,
    header: bool,
    found: &mut Found<'_>,
    told: &mut FileTold,
) -> Result<u64, RecordError> {
    let file = told.file.clone();
    let step = |rows: &mut Rows<R>| rows.step().map_err(|source| input(&file, source));
    let mut more = step(&mut rows)?;
    let headings = if more { rows.texts() } else { Vec::new() };
    if !more && !header {
        return Ok(0);
    }
    let mut groups = groups(map, fitting, &told.file, &headings)?;
    if header {
        more = step(&mut rows)?;
    }
    let (mut count, mut stamp) = (0, Vec::new());
    while more {
        count += 1;
        for group in &mut groups {
            if row(group, &rows, &mut stamp, found, told).is_break() {
                return Ok(count);
            }
        }
        more = step(&mut rows)?;
    }
    Ok(count)
}

fn row<R: Read>(
    group: &mut Group<'_>,
    rows: &Rows<R>,
    stamp: &mut Vec<u8>,
    found: &mut Found<'_>,
    told: &mut FileTold,
) -> ControlFlow<()> {
    let Some(moment) = moment(group, rows, stamp) else {
        let columns = group.stamps.columns.iter().map(column_text).collect::<Vec<_>>().join(" and ");
        let text = if stamp.is_empty() { String::new() } else { shown(stamp) };
        unread(told, || Unread { line: rows.line(), column: columns, text });
        return ControlFlow::Continue(());
    };
    let at_ms = group.clockwork.instant_ms(moment);
    for track in &group.tracks {
        let (unit, shift_ms) = track.in_force(moment);
        match track.series.values {
            Values::Reading(_) => {
                if let Some(value) = value(track, 0, unit, rows, told) {
                    found.taker.take(found.places[track.at], at_ms + shift_ms, value)?;
                }
            }
            Values::Daily { .. } => {
                let moment = moment + TimeDelta::milliseconds(shift_ms);
                found.by_hand[track.at].extend(day(track, unit, moment, rows, told));
            }
        }
    }
    ControlFlow::Continue(())
}

/// The moment a row names; `stamp` is left with its text.
fn moment<R: Read>(group: &Group<'_>, rows: &Rows<R>, stamp: &mut Vec<u8>) -> Option<NaiveDateTime> {
    stamp.clear();
    for (index, cell) in group.cells.iter().enumerate() {
        if index > 0 {
            stamp.push(b' ');
        }
        stamp.extend_from_slice(rows.cell(*cell)?);
    }
    group.clockwork.moment(stamp)
}

/// A cell's value in the canonical unit: `Some(None)` where it says that there is none, `None` where it cannot
/// be read.
#[expect(
    clippy::option_option,
    reason = "unread, read as none, read as a value: three answers, passed on with ?"
)]
fn value<R: Read>(
    track: &Track<'_>,
    which: usize,
    unit: &str,
    rows: &Rows<R>,
    told: &mut FileTold,
) -> Option<Option<f64>> {
    let cell = rows.cell(track.cells[which]);
    let read = cell.and_then(|cell| {
        if track.series.missing.iter().any(|code| code.as_bytes() == cell) {
            return Some(None);
        }
        let value: f64 = std::str::from_utf8(cell).ok()?.parse().ok()?;
        if value.is_nan() {
            return Some(None);
        }
        track.series.measured.quantity.from_unit(value, unit).ok().map(Some)
    });
    if read.is_none() {
        let column =
            track.names().get(which).map_or_else(String::new, |column: &&Column| column_text(column));
        unread(told, || Unread { line: rows.line(), column, text: cell.map(shown).unwrap_or_default() });
    }
    read
}

/// The lowest and highest of a day; the evening of it by the record's own clock is when they were noted.
fn day<R: Read>(
    track: &Track<'_>,
    unit: &str,
    moment: NaiveDateTime,
    rows: &Rows<R>,
    told: &mut FileTold,
) -> Option<ByHand> {
    let (low, high) = (value(track, 0, unit, rows, told)??, value(track, 1, unit, rows, told)??);
    if track.series.measured.quantity != Quantity::AirTemperature {
        told.left_out += 1;
        return None;
    }
    let evening = moment.date().and_time(NaiveTime::from_hms_opt(18, 0, 0)?);
    let from_ms = track.series.stamps.instant(evening, 0).earliest();
    Some(ByHand { probe: track.probe.clone(), from_ms, low_c: low, high_c: high })
}

/// Counts a cell that could not be read, and tells the first few.
pub(super) fn unread(told: &mut FileTold, one: impl FnOnce() -> Unread) {
    told.unread += 1;
    if told.first.len() < TOLD {
        told.first.push(one());
    }
}
