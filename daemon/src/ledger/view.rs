//! What is asked about readings: one look at the ledger, through the writer's connection or a reader's.
//!
//! A range of a series is the chunks of its weeks and the batches that reach into it, merged by the one rule of
//! [`merge`](super::merge). The last two days or so lie in batches. A batch row is deleted once all its readings are in
//! chunks; until then a reading may be in both, and the rule makes one of it. Each question is asked inside one read
//! transaction.

use std::collections::BTreeMap;
use std::ops::{Range, RangeInclusive};

use agronomy::quantity::Quantity;
use rusqlite::{Connection, OptionalExtension, Row, Statement};

use super::batch::{self, Content};
use super::dating::Boots;
use super::hours;
use super::merge::{Kept, merge};
use super::shared::Shared;
use super::week::{chunk_id, of_chunk, value, week};
use super::{LedgerError, chunk, schema};
use crate::reading::{ProbeName, Reading};

/// Chunks in order; the columns in the order of the row.
const CHUNKS: &str = "SELECT id, last_seq, hours, body FROM chunk WHERE id BETWEEN ?1 AND ?2 ORDER BY id";

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
        Ok(self.readings_of(&[(probe, quantity)], range)?.pop().unwrap_or_default())
    }

    /// The same of many series at once, an answer for each in the order asked: every row is looked at once, whatever
    /// the number of series.
    ///
    /// # Errors
    ///
    /// As [`readings`](Self::readings).
    pub fn readings_of(
        &self,
        wanted: &[(&str, Quantity)],
        range: Range<i64>,
    ) -> Result<Vec<Vec<Reading>>, LedgerError> {
        let kept = self.at_once(|| self.kept(wanted, &range))?;
        let answers = wanted.iter().zip(kept).map(|((probe, quantity), kept)| {
            let probe: ProbeName = (*probe).into();
            kept.into_iter().map(|(kept, decimals)| reading(&probe, *quantity, kept, decimals)).collect()
        });
        Ok(answers.collect())
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
        let kept = self.at_once(|| self.kept(&[(probe, quantity)], &range))?;
        let kept = kept.into_iter().flatten();
        let probe: ProbeName = probe.into();
        let late =
            |(kept, decimals): (Kept, u8)| Some((reading(&probe, quantity, kept, decimals), kept.late?));
        Ok(kept.filter_map(late).collect())
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
            Ok(newest)
        })
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

    pub(super) fn kept(
        &self,
        wanted: &[(&str, Quantity)],
        range: &Range<i64>,
    ) -> Result<Vec<Vec<(Kept, u8)>>, LedgerError> {
        let mut all = vec![Vec::new(); wanted.len()];
        let series = self.series_of_all(wanted)?;
        let numbers: Vec<i64> = series.iter().map(|(series, _)| series.id).collect();
        let kept = self.kept_of(&numbers, range)?;
        for ((series, places), kept) in series.iter().zip(kept) {
            for place in places {
                all[*place].extend(kept.iter().map(|kept| (*kept, series.decimals)));
            }
        }
        for kept in &mut all {
            // More than one series only where the decimals of the quantity changed between two releases.
            kept.sort_by_key(|(kept, _)| kept.at_ms);
        }
        Ok(all)
    }

    /// Readings in a range of each series (numbers in ascending order), merged.
    pub(super) fn kept_of(&self, series: &[i64], range: &Range<i64>) -> Result<Vec<Vec<Kept>>, LedgerError> {
        if range.is_empty() {
            return Ok(vec![Vec::new(); series.len()]);
        }
        let mut fresh = self.in_batches(series, range)?;
        let offset_ms = self.shared.offset_ms;
        let weeks = (week(range.start, offset_ms), week(range.end - 1, offset_ms));
        let mut statement = self.conn.prepare(CHUNKS)?;
        for (series, fresh) in series.iter().zip(&mut fresh) {
            let ids = chunk_id(*series, weeks.0)..=chunk_id(*series, weeks.1);
            let mut arrivals = Vec::new();
            self.chunks_by(&mut statement, ids, range, |_, kept| {
                arrivals.extend(kept.into_iter().filter(|kept| range.contains(&kept.at_ms)));
            })?;
            arrivals.append(fresh);
            *fresh = merge(arrivals);
        }
        Ok(fresh)
    }

    /// The series of many probes and quantities by number, each with the places at which it was asked for.
    fn series_of_all(
        &self,
        wanted: &[(&str, Quantity)],
    ) -> Result<Vec<(SeriesRow, Vec<usize>)>, LedgerError> {
        let mut places: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
        for (place, (probe, quantity)) in wanted.iter().enumerate() {
            places.entry((probe, quantity.as_str())).or_default().push(place);
        }
        let mut statement =
            self.conn.prepare("SELECT id, decimals, probe, quantity FROM series ORDER BY id")?;
        let mut rows = statement.query([])?;
        let mut found = Vec::new();
        while let Some(row) = rows.next()? {
            let name = (row.get_ref(2)?.as_str(), row.get_ref(3)?.as_str());
            let (Ok(probe), Ok(quantity)) = name else { continue };
            if let Some(places) = places.get(&(probe, quantity)) {
                found.push((SeriesRow { id: row.get(0)?, decimals: row.get(1)? }, places.clone()));
            }
        }
        Ok(found)
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

    /// Every sound chunk of a range of ids that may hold something of a range of times, in order.
    pub(super) fn chunks(
        &self,
        ids: RangeInclusive<i64>,
        range: &Range<i64>,
        each: impl FnMut(i64, Vec<Kept>),
    ) -> Result<(), LedgerError> {
        self.chunks_by(&mut self.conn.prepare(CHUNKS)?, ids, range, each)
    }

    fn chunks_by(
        &self,
        statement: &mut Statement<'_>,
        ids: RangeInclusive<i64>,
        range: &Range<i64>,
        mut each: impl FnMut(i64, Vec<Kept>),
    ) -> Result<(), LedgerError> {
        let mut rows = statement.query((ids.start(), ids.end()))?;
        while let Some(row) = rows.next()? {
            let (id, last_seq) = (row.get(0)?, row.get(1)?);
            // The roll-ups stand before the readings in the row, and say how far these reach.
            if hours::span(&[id, last_seq], blob(row, 2)?).is_some_and(|span| !span.meets(range)) {
                continue;
            }
            match chunk::decode(&[id, last_seq], blob(row, 3)?) {
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

pub(super) fn reading(probe: &ProbeName, quantity: Quantity, kept: Kept, decimals: u8) -> Reading {
    let value = value(kept.ticks, decimals);
    Reading { probe: probe.clone(), quantity, value, at_ms: kept.at_ms, reason: kept.reason }
}

/// The bytes of a column; a column tampered with to hold no bytes reads as none, which no checksum fits.
pub(super) fn blob<'a>(row: &'a Row<'_>, column: usize) -> Result<&'a [u8], LedgerError> {
    Ok(row.get_ref(column)?.as_blob_or_null().ok().flatten().unwrap_or_default())
}
