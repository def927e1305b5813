//! Where a series begins and ends: its first and newest reading, without reading what lies between.

use agronomy::quantity::Quantity;
use rusqlite::{OptionalExtension, Row};

use super::hours::{self, Span};
use super::merge::{Kept, merge};
use super::view::reading;
use super::week::{chunk_id, of_chunk, start_ms};
use super::{LedgerError, View};
use crate::reading::{Grade, Reading};

impl View<'_> {
    /// The newest reading that is not refused, by the time it was measured.
    ///
    /// # Errors
    ///
    /// As [`readings`](Self::readings).
    pub fn newest(&self, probe: &str, quantity: Quantity) -> Result<Option<Reading>, LedgerError> {
        self.at_once(|| {
            let mut newest = None;
            for series in self.series_of(probe, quantity)? {
                newest = newest.max(self.newest_ms(series.id)?);
            }
            let Some(at_ms) = newest else { return Ok(None) };
            // Of several at one time, the one that came last.
            let mut last = None;
            for series in self.series_of(probe, quantity)? {
                let kept = self.kept_of(series.id, &(at_ms..at_ms + 1))?;
                let newest = kept.into_iter().rfind(|kept| kept.reason.grade() != Grade::Refused);
                last = newest.map(|kept| reading(&probe.into(), quantity, kept, series.decimals)).or(last);
            }
            Ok(last)
        })
    }

    /// The time of the newest reading of a series that is not refused.
    fn newest_ms(&self, series: i64) -> Result<Option<i64>, LedgerError> {
        let newest_of = |kept: &[Kept]| {
            let sound = kept.iter().filter(|kept| kept.reason.grade() != Grade::Refused);
            sound.map(|kept| kept.at_ms).max()
        };
        let fresh = self.in_batches(&[series], &(0..i64::MAX))?;
        let mut newest = fresh.iter().filter_map(|kept| newest_of(kept)).max();
        let ends = (chunk_id(series, 0), chunk_id(series + 1, 0) - 1);
        let mut statement =
            self.conn.prepare("SELECT id FROM chunk WHERE id BETWEEN ?1 AND ?2 ORDER BY id DESC")?;
        let mut rows = statement.query(ends)?;
        // Backwards: the last chunk may hold refused readings only.
        while let Some(row) = rows.next()? {
            let id: i64 = row.get(0)?;
            let since = newest.unwrap_or(i64::MIN);
            if start_ms(of_chunk(id).1 + 1, self.shared.offset_ms) <= since {
                break;
            }
            let mut here = None;
            self.chunks(id..=id, &(since..i64::MAX), |_, kept| here = newest_of(kept))?;
            newest = newest.max(here);
            if here.is_some() {
                break;
            }
        }
        Ok(newest)
    }

    /// First and last time at which a probe and quantity was measured, UTC ms; none if never.
    ///
    /// # Errors
    ///
    /// As [`readings`](Self::readings).
    pub fn span(&self, probe: &str, quantity: Quantity) -> Result<Option<(i64, i64)>, LedgerError> {
        self.at_once(|| {
            let mut times = Vec::new();
            for series in self.series_of(probe, quantity)? {
                for id in self.end_chunks(series.id)?.into_iter().flatten() {
                    if let Some(span) = self.stated_span(id)? {
                        times.extend([span.first_ms, span.last_ms]);
                        continue;
                    }
                    self.chunks(id..=id, &(0..i64::MAX), |_, kept| {
                        times.extend(kept.iter().map(|kept| kept.at_ms));
                    })?;
                }
                let fresh = self.in_batches(&[series.id], &(0..i64::MAX))?.pop().unwrap_or_default();
                times.extend(merge(fresh).iter().map(|kept| kept.at_ms));
            }
            Ok(times.iter().copied().min().zip(times.iter().copied().max()))
        })
    }

    /// The first and the last chunk of a series, sound or not.
    pub(super) fn end_chunks(&self, series: i64) -> Result<[Option<i64>; 2], LedgerError> {
        let sql = "SELECT min(id), max(id) FROM chunk WHERE id BETWEEN ?1 AND ?2";
        let ends = (chunk_id(series, 0), chunk_id(series + 1, 0) - 1);
        Ok(self.conn.query_row(sql, ends, |row| Ok([row.get(0)?, row.get(1)?]))?)
    }

    fn stated_span(&self, id: i64) -> Result<Option<Span>, LedgerError> {
        let sql = "SELECT last_seq, hours FROM chunk WHERE id = ?1";
        let span = |row: &Row<'_>| Ok((row.get(0)?, row.get::<_, Option<Vec<u8>>>(1).unwrap_or_default()));
        let found: Option<(i64, Option<Vec<u8>>)> = self.conn.query_row(sql, [id], span).optional()?;
        Ok(found.and_then(|(last_seq, hours)| hours::span(&[id, last_seq], &hours?)))
    }
}
