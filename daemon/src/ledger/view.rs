//! What is asked about readings: one look at the ledger, through the writer's connection or a reader's.
//!
//! A range of a series is the chunks of its weeks and all batches, merged by the one rule of [`merge`](super::merge).
//! The last two days or so lie in batches. A batch row is deleted in the transaction that puts its readings into
//! chunks, so no reading is ever in both; each question is asked inside one read transaction.

use std::ops::Range;

use agronomy::quantity::Quantity;
use rusqlite::{Connection, OptionalExtension, Row};

use super::batch::{self, Content};
use super::dating::Boots;
use super::merge::{Kept, merge};
use super::shared::Shared;
use super::week::{chunk_id, of_chunk, start_ms, value, week};
use super::{LedgerError, chunk, dating, schema};
use crate::glance::UndatedBoot;
use crate::reading::{Grade, ProbeName, Reading};

/// One look at the ledger. Short-lived: it holds a reader's connection.
#[derive(Clone, Copy, Debug)]
pub struct View<'a> {
    pub(super) conn: &'a Connection,
    pub(super) shared: &'a Shared,
}

/// One commit's readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Batch {
    /// Its number.
    pub seq: i64,
    /// Its boot.
    pub boot: i64,
    /// Wall time of the commit, UTC ms; reckoned from the monotonic time where the boot was dated later.
    pub wall_ms: i64,
    /// Monotonic time of the commit in its boot, ms.
    pub mono_ms: i64,
    /// Whether the readings carry UTC times: from the start, or because the boot was dated since.
    pub dated: bool,
    /// The readings in order of arrival, repeated ones included.
    pub readings: Vec<Reading>,
}

/// A series as readers need it.
#[derive(Clone, Copy, Debug)]
pub(super) struct SeriesRow {
    pub(super) id: i64,
    pub(super) decimals: u8,
}

impl View<'_> {
    /// Runs a question against one state of the ledger.
    pub(super) fn at_once<T>(&self, ask: impl FnOnce() -> Result<T, LedgerError>) -> Result<T, LedgerError> {
        let _snapshot = self.conn.unchecked_transaction()?;
        ask()
    }

    /// The readings of one probe and quantity with times in `range` (UTC ms, end excluded), in measured order.
    ///
    /// Refused ones are among them; repeated and undated ones are not.
    ///
    /// # Errors
    ///
    /// When the storage refuses. Damaged rows are no error: they are skipped and fenced.
    pub fn readings(
        &self,
        probe: &str,
        quantity: Quantity,
        range: Range<i64>,
    ) -> Result<Vec<Reading>, LedgerError> {
        let kept = self.at_once(|| self.kept(probe, quantity, &range))?;
        let probe: ProbeName = probe.into();
        Ok(kept.into_iter().map(|(kept, decimals)| reading(&probe, quantity, kept, decimals)).collect())
    }

    /// The readings that came more than one commit late, with their arrival (UTC ms): known once compacted.
    ///
    /// # Errors
    ///
    /// As [`readings`](Self::readings).
    pub fn late(
        &self,
        probe: &str,
        quantity: Quantity,
        range: Range<i64>,
    ) -> Result<Vec<(Reading, i64)>, LedgerError> {
        let kept = self.at_once(|| self.kept(probe, quantity, &range))?;
        let probe: ProbeName = probe.into();
        let late =
            |(kept, decimals): (Kept, u8)| Some((reading(&probe, quantity, kept, decimals), kept.late?));
        Ok(kept.into_iter().filter_map(late).collect())
    }

    /// The newest reading that is not refused, by the time it was measured.
    ///
    /// # Errors
    ///
    /// As [`readings`](Self::readings).
    pub fn newest(&self, probe: &str, quantity: Quantity) -> Result<Option<Reading>, LedgerError> {
        let Some((first, last)) = self.span(probe, quantity)? else { return Ok(None) };
        // Backwards by weeks: the last one may hold refused readings only.
        let offset_ms = self.shared.offset_ms;
        for week in (week(first, offset_ms)..=week(last, offset_ms)).rev() {
            let readings =
                self.readings(probe, quantity, start_ms(week, offset_ms)..start_ms(week + 1, offset_ms))?;
            let newest = readings.into_iter().rev().find(|reading| reading.grade() != Grade::Refused);
            if newest.is_some() {
                return Ok(newest);
            }
        }
        Ok(None)
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
                let sql = "SELECT min(id), max(id) FROM chunk WHERE id BETWEEN ?1 AND ?2";
                let ends = (chunk_id(series.id, 0), chunk_id(series.id + 1, 0) - 1);
                let ends: (Option<i64>, Option<i64>) =
                    self.conn.query_row(sql, ends, |row| Ok((row.get(0)?, row.get(1)?)))?;
                for id in [ends.0, ends.1].into_iter().flatten() {
                    self.chunks(id..=id, |_, kept| times.extend(kept.iter().map(|kept| kept.at_ms)))?;
                }
                times.extend(merge(self.in_batches(series.id)?).iter().map(|kept| kept.at_ms));
            }
            Ok(times.iter().copied().min().zip(times.iter().copied().max()))
        })
    }

    /// Every probe and quantity that was ever heard, by name.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn series(&self) -> Result<Vec<(String, Quantity)>, LedgerError> {
        let mut statement = self.conn.prepare("SELECT DISTINCT probe, quantity FROM series ORDER BY 1, 2")?;
        let names = statement.query_map([], |row| Ok((row.get(0)?, row.get::<_, String>(1)?)))?;
        let names: Vec<(String, String)> = names.collect::<Result<_, _>>()?;
        Ok(names.into_iter().filter_map(|(probe, name)| Some((probe, name.parse().ok()?))).collect())
    }

    /// Up to `limit` batches with numbers above `seq`, in order. Compacted ones are gone from here.
    ///
    /// # Errors
    ///
    /// When the storage refuses. Damaged ones are skipped and fenced.
    pub fn batches_after(&self, seq: i64, limit: usize) -> Result<Vec<Batch>, LedgerError> {
        self.at_once(|| {
            let names = self.names()?;
            let boots = Boots::read(self.conn)?;
            let mut batches = Vec::new();
            self.each_batch(seq, limit, |seq, content| {
                let dated = boots.date(content);
                let readings = dated.items.iter().filter_map(|item| {
                    let (_, probe, quantity, decimals) =
                        names.get(names.partition_point(|name| name.0 < item.series))?;
                    let kept = Kept { at_ms: item.at_ms, ticks: item.ticks, reason: item.reason, late: None };
                    Some(reading(probe, *quantity, kept, *decimals))
                });
                let readings = readings.collect();
                let Content { boot, wall_ms, mono_ms, dated, .. } = dated;
                batches.push(Batch { seq, boot, wall_ms, mono_ms, dated, readings });
            })?;
            Ok(batches)
        })
    }

    /// When the newest commit that held dated readings was made, UTC ms.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn newest_commit_ms(&self) -> Result<Option<i64>, LedgerError> {
        self.at_once(|| {
            let boots = Boots::read(self.conn)?;
            let mut newest = schema::get(self.conn, "compacted_ms")?;
            self.each_batch(0, usize::MAX, |_, content| newest = newest.max(boots.commit_ms(&content)))?;
            // A commit may hold no reading: a boot that knew the time began, or something was told.
            Ok(newest.max(dating::newest_told_ms(self.conn)?))
        })
    }

    /// Wall less monotonic time of a boot, ms, and who vouched; none while it has not learnt the time.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn boot_date(&self, boot: i64) -> Result<Option<(i64, String)>, LedgerError> {
        dating::of_boot(self.conn, boot)
    }

    /// The monotonic time of the first reading of a boot that waits for a date, ms.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn first_undated_ms(&self, boot: i64) -> Result<Option<i64>, LedgerError> {
        self.at_once(|| dating::first_undated_ms(self, boot))
    }

    /// The boots before `boot` that never learnt the time, with the window each must lie in. Every batch is read.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn undated_boots(&self, boot: i64) -> Result<Vec<UndatedBoot>, LedgerError> {
        self.at_once(|| dating::undated_boots(self, boot))
    }

    /// How many readings belong to boots that have not learnt the time, or never did.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn undated(&self) -> Result<u64, LedgerError> {
        self.at_once(|| {
            let boots = Boots::read(self.conn)?;
            let mut undated = 0;
            self.each_batch(0, usize::MAX, |_, content| {
                if !boots.date(content.clone()).dated {
                    undated += content.items.len() as u64;
                }
            })?;
            let mut statement = self.conn.prepare("SELECT body FROM undated WHERE boot > 0")?;
            let mut rows = statement.query([])?;
            while let Some(row) = rows.next()? {
                undated += chunk::count(blob(row, 0)?);
            }
            Ok(undated)
        })
    }

    fn kept(
        &self,
        probe: &str,
        quantity: Quantity,
        range: &Range<i64>,
    ) -> Result<Vec<(Kept, u8)>, LedgerError> {
        let mut all = Vec::new();
        for series in self.series_of(probe, quantity)? {
            let fresh = self.in_batches(series.id)?;
            let kept = self.kept_of(series.id, range, &fresh)?;
            all.extend(kept.into_iter().map(|kept| (kept, series.decimals)));
        }
        // More than one series only where the decimals of the quantity changed between two releases.
        all.sort_by_key(|(kept, _)| kept.at_ms);
        Ok(all)
    }

    /// Readings of one series in a range, merged; `fresh` are those of it in batches.
    pub(super) fn kept_of(
        &self,
        series: i64,
        range: &Range<i64>,
        fresh: &[Kept],
    ) -> Result<Vec<Kept>, LedgerError> {
        if range.is_empty() {
            return Ok(Vec::new());
        }
        let mut arrivals = Vec::new();
        let offset_ms = self.shared.offset_ms;
        let first = chunk_id(series, week(range.start, offset_ms));
        let last = chunk_id(series, week(range.end - 1, offset_ms));
        self.chunks(first..=last, |_, kept| {
            arrivals.extend(kept.into_iter().filter(|kept| range.contains(&kept.at_ms)));
        })?;
        arrivals.extend(fresh.iter().filter(|kept| range.contains(&kept.at_ms)));
        Ok(merge(arrivals))
    }

    pub(super) fn series_of(&self, probe: &str, quantity: Quantity) -> Result<Vec<SeriesRow>, LedgerError> {
        let sql = "SELECT id, decimals FROM series WHERE probe = ?1 AND quantity = ?2 ORDER BY id";
        let mut statement = self.conn.prepare(sql)?;
        let rows = statement.query_map((probe, quantity.as_str()), |row| {
            Ok(SeriesRow { id: row.get(0)?, decimals: row.get(1)? })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Number, probe, quantity and decimals of every series, by number.
    fn names(&self) -> Result<Vec<(i64, ProbeName, Quantity, u8)>, LedgerError> {
        let mut statement =
            self.conn.prepare("SELECT id, probe, quantity, decimals FROM series ORDER BY id")?;
        let mut rows = statement.query([])?;
        let mut names = Vec::new();
        while let Some(row) = rows.next()? {
            let (probe, quantity): (String, String) = (row.get(1)?, row.get(2)?);
            if let Ok(quantity) = quantity.parse() {
                names.push((row.get(0)?, probe.into(), quantity, row.get(3)?));
            }
        }
        Ok(names)
    }

    /// The dated readings of a series that lie in batches, in order of arrival.
    pub(super) fn in_batches(&self, series: i64) -> Result<Vec<Kept>, LedgerError> {
        let boots = Boots::read(self.conn)?;
        let mut kept = Vec::new();
        self.each_batch(0, usize::MAX, |_, content| {
            let content = boots.date(content);
            let items = content.items.iter().filter(|item| item.series == series && content.dated);
            kept.extend(items.map(|item| Kept {
                at_ms: item.at_ms,
                ticks: item.ticks,
                reason: item.reason,
                late: None,
            }));
        })?;
        Ok(kept)
    }

    /// Every sound chunk of a range of ids with its `last_seq` left out, in order.
    pub(super) fn chunks(
        &self,
        ids: std::ops::RangeInclusive<i64>,
        mut each: impl FnMut(i64, Vec<Kept>),
    ) -> Result<(), LedgerError> {
        let sql = "SELECT id, last_seq, body FROM chunk WHERE id BETWEEN ?1 AND ?2 ORDER BY id";
        let mut statement = self.conn.prepare(sql)?;
        let mut rows = statement.query((ids.start(), ids.end()))?;
        while let Some(row) = rows.next()? {
            let (id, last_seq) = (row.get(0)?, row.get(1)?);
            match chunk::decode(&[id, last_seq], blob(row, 2)?) {
                Ok(kept) => each(id, kept),
                Err(spoilt) => {
                    let (series, week) = of_chunk(id);
                    self.shared.fence("chunk", id, &format!("{spoilt} (series {series}, week {week})"));
                }
            }
        }
        Ok(())
    }

    /// Every sound batch with a number above `seq`, in order, up to `limit` rows.
    pub(super) fn each_batch(
        &self,
        seq: i64,
        limit: usize,
        mut each: impl FnMut(i64, Content),
    ) -> Result<(), LedgerError> {
        let sql = "SELECT seq, body FROM batch WHERE seq > ?1 ORDER BY seq LIMIT ?2";
        let mut statement = self.conn.prepare(sql)?;
        let mut rows = statement.query((seq, i64::try_from(limit).unwrap_or(-1)))?;
        while let Some(row) = rows.next()? {
            let seq = row.get(0)?;
            match batch::decode(seq, blob(row, 1)?) {
                Ok(content) => each(seq, content),
                Err(spoilt) => self.shared.fence("batch", seq, &spoilt),
            }
        }
        Ok(())
    }

    /// The number a cursor stands at; 0 for one that never moved.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn cursor(&self, name: &str) -> Result<i64, LedgerError> {
        let found = self.conn.query_row("SELECT seq FROM cursor WHERE name = ?1", [name], |row| row.get(0));
        Ok(found.optional()?.unwrap_or(0))
    }
}

/// A kept reading in the unit of its quantity.
pub(super) fn reading(probe: &ProbeName, quantity: Quantity, kept: Kept, decimals: u8) -> Reading {
    let value = value(kept.ticks, decimals);
    Reading { probe: probe.clone(), quantity, value, at_ms: kept.at_ms, reason: kept.reason }
}

/// The bytes of a column; a column tampered with to hold no bytes reads as none, which no checksum fits.
pub(super) fn blob<'a>(row: &'a Row<'_>, column: usize) -> Result<&'a [u8], LedgerError> {
    Ok(row.get_ref(column)?.as_blob_or_null().ok().flatten().unwrap_or_default())
}
