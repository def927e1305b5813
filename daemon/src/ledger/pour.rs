//! Years of readings a week at a time, so that whoever takes them out needs room for one week of one series.

use std::ops::Range;

use agronomy::quantity::Quantity;

use super::view::{SeriesRow, reading};
use super::week::{MOST_MS, of_chunk, start_ms, week};
use super::{LedgerError, View};
use crate::reading::Reading;

/// Where a taking-out stands. Series come in the order given, each from its first week to its last.
///
/// Readings that are not compacted yet are read once for each series, when its turn comes: what is compacted while
/// the weeks go by is met twice and merged to one, and what comes in meanwhile is left out.
#[derive(Debug)]
pub struct Pour {
    left: std::vec::IntoIter<(String, Quantity)>,
    range: Range<i64>,
    now: Option<Turn>,
}

#[derive(Debug)]
struct Turn {
    probe: String,
    quantity: Quantity,
    /// Each series of the name.
    series: Vec<SeriesRow>,
    weeks: Range<i64>,
}

impl Pour {
    /// The readings of these series with times in `range` (UTC ms, end excluded).
    pub fn new(series: Vec<(String, Quantity)>, range: Range<i64>) -> Self {
        let range = range.start.max(0)..range.end.min(MOST_MS);
        Self { left: series.into_iter(), range, now: None }
    }
}

impl View<'_> {
    /// The next week of one series that holds readings, in measured order; none when all are out.
    ///
    /// # Errors
    ///
    /// When the storage refuses. Damaged rows are skipped and fenced.
    pub fn pour(&self, pour: &mut Pour) -> Result<Option<Vec<Reading>>, LedgerError> {
        loop {
            if pour.now.is_none() {
                let Some((probe, quantity)) = pour.left.next() else { return Ok(None) };
                pour.now = self.turn(probe, quantity, &pour.range)?;
            }
            let Some(turn) = &mut pour.now else { continue };
            let Some(week) = turn.weeks.next() else {
                pour.now = None;
                continue;
            };
            let readings = self.week_of(turn, week, &pour.range)?;
            if !readings.is_empty() {
                return Ok(Some(readings));
            }
        }
    }

    fn turn(
        &self,
        probe: String,
        quantity: Quantity,
        range: &Range<i64>,
    ) -> Result<Option<Turn>, LedgerError> {
        if range.is_empty() {
            return Ok(None);
        }
        let span = self.span(&probe, quantity)?;
        self.at_once(|| {
            let offset_ms = self.shared.offset_ms;
            let series = self.series_of(&probe, quantity)?;
            let of_ends = |(first, last): &(i64, i64)| [week(*first, offset_ms), week(*last, offset_ms)];
            let mut held: Vec<i64> = span.iter().flat_map(of_ends).collect();
            // A damaged chunk at an end says no span: it is met all the same, and named.
            for series in &series {
                held.extend(self.end_chunks(series.id)?.into_iter().flatten().map(|id| of_chunk(id).1));
            }
            let ends = held.iter().min().zip(held.iter().max());
            Ok(ends.map(|(first, last)| {
                let first = *first.max(&week(range.start, offset_ms));
                let last = *last.min(&week(range.end - 1, offset_ms));
                Turn { probe, quantity, series, weeks: first..last + 1 }
            }))
        })
    }

    fn week_of(&self, turn: &Turn, week: i64, range: &Range<i64>) -> Result<Vec<Reading>, LedgerError> {
        let offset_ms = self.shared.offset_ms;
        let from = start_ms(week, offset_ms).max(range.start);
        let within = from..start_ms(week + 1, offset_ms).min(range.end);
        let probe = turn.probe.as_str().into();
        let mut readings = Vec::new();
        for series in &turn.series {
            let kept = self.kept_of(series.id, &within)?;
            readings
                .extend(kept.into_iter().map(|kept| reading(&probe, turn.quantity, kept, series.decimals)));
        }
        // More than one series only where the decimals of the quantity changed between two releases.
        readings.sort_by_key(|reading| reading.at_ms);
        Ok(readings)
    }
}
