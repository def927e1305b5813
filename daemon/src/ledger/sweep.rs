//! Readings in order, wherever they lie: the chunks of each series, and between and within them what batches have.

use std::ops::{Range, RangeInclusive};

use rusqlite::Statement;

use super::merge::{Kept, merge};
use super::view::blob;
use super::week::{chunk_id, of_chunk, start_ms, week};
use super::{LedgerError, View, chunk, hours};

/// Chunks in order; the columns in the order of the row.
const CHUNKS: &str = "SELECT id, last_seq, hours, body FROM chunk WHERE id BETWEEN ?1 AND ?2 ORDER BY id";

impl View<'_> {
    /// Readings of a series in a range, merged.
    pub(super) fn kept_of(&self, series: i64, range: &Range<i64>) -> Result<Vec<Kept>, LedgerError> {
        let mut all = Vec::new();
        self.sweep(&[series], range, |_, kept| all.extend_from_slice(kept))?;
        Ok(all)
    }

    /// Readings in a range of each series (numbers in ascending order), merged, handed on in measured order a week of
    /// a series at a time, with the place of the series.
    pub(super) fn sweep(
        &self,
        series: &[i64],
        range: &Range<i64>,
        mut each: impl FnMut(usize, &[Kept]),
    ) -> Result<(), LedgerError> {
        if range.is_empty() {
            return Ok(());
        }
        let fresh = self.in_batches(series, range)?;
        let offset_ms = self.shared.offset_ms;
        let weeks = (week(range.start, offset_ms), week(range.end - 1, offset_ms));
        let mut statement = self.conn.prepare(CHUNKS)?;
        let mut decoded = Vec::new();
        for (place, (series, mut fresh)) in series.iter().zip(fresh).enumerate() {
            // Stable: of the same time, the order of arrival stays.
            fresh.sort_by_key(|kept| kept.at_ms);
            let ids = chunk_id(*series, weeks.0)..=chunk_id(*series, weeks.1);
            self.chunks_by(&mut statement, &mut decoded, ids, range, |id, kept| {
                let (this, next) =
                    (start_ms(of_chunk(id).1, offset_ms), start_ms(of_chunk(id).1 + 1, offset_ms));
                let before = fresh.drain(..fresh.partition_point(|kept| kept.at_ms < this));
                let before = merge(before.collect());
                let same: Vec<Kept> =
                    fresh.drain(..fresh.partition_point(|kept| kept.at_ms < next)).collect();
                let within = kept.partition_point(|kept| kept.at_ms < range.start)
                    ..kept.partition_point(|kept| kept.at_ms < range.end);
                each(place, &before);
                if same.is_empty() {
                    each(place, &kept[within]);
                } else {
                    let mut all = kept[within].to_vec();
                    all.extend(same);
                    each(place, &merge(all));
                }
            })?;
            each(place, &merge(fresh));
        }
        Ok(())
    }

    /// Every sound chunk of a range of ids that may hold something of a range of times, in order.
    pub(super) fn chunks(
        &self,
        ids: RangeInclusive<i64>,
        range: &Range<i64>,
        each: impl FnMut(i64, &[Kept]),
    ) -> Result<(), LedgerError> {
        self.chunks_by(&mut self.conn.prepare(CHUNKS)?, &mut Vec::new(), ids, range, each)
    }

    fn chunks_by(
        &self,
        statement: &mut Statement<'_>,
        kept: &mut Vec<Kept>,
        ids: RangeInclusive<i64>,
        range: &Range<i64>,
        mut each: impl FnMut(i64, &[Kept]),
    ) -> Result<(), LedgerError> {
        let mut rows = statement.query((ids.start(), ids.end()))?;
        while let Some(row) = rows.next()? {
            let (id, last_seq) = (row.get(0)?, row.get(1)?);
            // The roll-ups stand before the readings in the row, and say how far these reach.
            if hours::span(&[id, last_seq], blob(row, 2)?).is_some_and(|span| !span.meets(range)) {
                continue;
            }
            match chunk::decode_into(&[id, last_seq], blob(row, 3)?, kept) {
                Ok(()) => each(id, kept),
                Err(spoilt) => {
                    let (series, week) = of_chunk(id);
                    self.shared.fence("chunk", id, &format!("{spoilt} (series {series}, week {week})"));
                }
            }
        }
        Ok(())
    }
}
