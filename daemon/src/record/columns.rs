//! Where the columns of a map stand in one file, and what each row of it gives.

use std::path::Path;
use std::sync::Arc;

use chrono::NaiveDateTime;
use config::record::{Column, Delimiter, Record, Series, Stamps, Values};

use super::stamp::Clockwork;
use super::{RecordError, column_text};
use crate::reading::ProbeName;
use crate::rows::{Between, shown};

/// What stands between the cells, for the reader of rows.
pub(super) fn between(file: &Path, delimiter: Delimiter) -> Result<Between, RecordError> {
    match delimiter {
        Delimiter::Blanks => Ok(Between::Blanks),
        Delimiter::Sign(sign) => u8::try_from(u32::from(sign))
            .map(Between::Sign)
            .map_err(|_| RecordError::Delimiter { file: file.to_owned(), sign }),
    }
}

/// One series in one file.
pub(super) struct Track<'m> {
    /// Its place in the map.
    pub(super) at: usize,
    pub(super) series: &'m Series,
    pub(super) probe: ProbeName,
    /// The columns of its value, or of its lowest and highest.
    pub(super) cells: Vec<usize>,
}

impl Track<'_> {
    /// Unit and shift, ms, in force at a moment of the record's own clock.
    pub(super) fn in_force(&self, moment: NaiveDateTime) -> (&str, i64) {
        let (mut unit, mut shift_s) = (self.series.measured.unit.as_str(), self.series.stamps.shift_s);
        for change in self.series.changes.iter().take_while(|change| change.from <= moment) {
            unit = change.unit.as_deref().unwrap_or(unit);
            shift_s = change.shift_s.unwrap_or(shift_s);
        }
        (unit, shift_s * 1000)
    }

    /// The columns, as the map names them, in the order of `cells`.
    pub(super) fn names(&self) -> Vec<&Column> {
        match &self.series.values {
            Values::Reading(column) => vec![column],
            Values::Daily { min, max } => vec![min, max],
        }
    }
}

/// All series of one file that read their time from the same columns in the same way.
pub(super) struct Group<'m> {
    pub(super) stamps: &'m Stamps,
    pub(super) cells: Vec<usize>,
    pub(super) clockwork: Clockwork<'m>,
    pub(super) tracks: Vec<Track<'m>>,
}

/// Finds every column of `fitting` under these headings, and gathers the series that share a stamp.
pub(super) fn groups<'m>(
    map: &'m Record,
    fitting: &[usize],
    file: &Path,
    headings: &[String],
) -> Result<Vec<Group<'m>>, RecordError> {
    let mut groups: Vec<Group<'m>> = Vec::new();
    for at in fitting {
        let series = &map.series[*at];
        let find = |column: &Column| find(column, series, file, headings);
        let track = Track { at: *at, series, probe: Arc::from(series.probe.as_str()), cells: Vec::new() };
        let cells = track.names().into_iter().map(find).collect::<Result<_, _>>()?;
        let track = Track { cells, ..track };
        // The shift is the series' own; all else of the stamp must be the same.
        let same = |group: &&mut Group<'m>| {
            let (ours, theirs) = (&series.stamps, group.stamps);
            (&ours.columns, &ours.formats, &ours.clock) == (&theirs.columns, &theirs.formats, &theirs.clock)
        };
        if let Some(group) = groups.iter_mut().find(same) {
            group.tracks.push(track);
            continue;
        }
        let cells = series.stamps.columns.iter().map(find).collect::<Result<_, _>>()?;
        let clockwork = Clockwork::new(&series.stamps);
        groups.push(Group { stamps: &series.stamps, cells, clockwork, tracks: vec![track] });
    }
    Ok(groups)
}

fn find(column: &Column, series: &Series, file: &Path, headings: &[String]) -> Result<usize, RecordError> {
    column.find(headings.iter().map(String::as_str)).ok_or_else(|| RecordError::NoColumn {
        file: file.to_owned(),
        column: column_text(column),
        quantity: series.measured.quantity,
        probe: series.probe.clone(),
        headings: listed(headings),
    })
}

/// Headings for a message.
pub(super) fn listed(headings: &[String]) -> String {
    if headings.is_empty() {
        return "with nothing: it is empty".to_owned();
    }
    headings.iter().map(|heading| shown(heading.as_bytes())).collect::<Vec<_>>().join(", ")
}
