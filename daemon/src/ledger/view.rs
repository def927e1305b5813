//! What is asked about readings: one look at the ledger, through the writer's connection or a reader's.
//!
//! A range of a series is the chunks of its weeks and the batches that reach into it, merged by the one rule of
//! [`merge`](super::merge). The last two days or so lie in batches. A batch row is deleted once all its readings are in
//! chunks; until then a reading may be in both, and the rule makes one of it. Each question is asked inside one read
//! transaction.

use std::collections::BTreeMap;
use std::ops::Range;

use agronomy::quantity::Quantity;
use rusqlite::{Connection, OptionalExtension, Row};

use super::batch::{self, Content};
use super::dating::Boots;
use super::merge::Kept;
use super::shared::Shared;
use super::week::{per_unit, value};
use super::{LedgerError, chunk, dating, schema};
use crate::glance::UndatedBoot;
use crate::reading::{ProbeName, Reading, Reason};

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

/// A reading without its name: one of an answer about a series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// When it was measured, UTC ms.
    pub at_ms: i64,
    /// The value in the quantity's canonical unit; 0 where the reason is [`Reason::Missing`].
    pub value: f64,
    /// Why it has its grade.
    pub reason: Reason,
}

impl Point {
    /// The reading it is of a probe and quantity.
    pub fn of(self, probe: &ProbeName, quantity: Quantity) -> Reading {
        let Self { at_ms, value, reason } = self;
        Reading { probe: probe.clone(), quantity, value, at_ms, reason }
    }
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
        let points = self.readings_of(&[(probe, quantity)], range)?.pop().unwrap_or_default();
        let probe: ProbeName = probe.into();
        Ok(points.into_iter().map(|point| point.of(&probe, quantity)).collect())
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
    ) -> Result<Vec<Vec<Point>>, LedgerError> {
        self.at_once(|| {
            let series = self.series_of_all(wanted)?;
            let mut answers = vec![Vec::new(); wanted.len()];
            self.sweep(&numbers(&series), &range, |index, kept| {
                let (series, places) = &series[index];
                let per_unit = per_unit(series.decimals);
                for place in places {
                    answers[*place].extend(kept.iter().map(|kept| point(kept, per_unit)));
                }
            })?;
            for answer in &mut answers {
                // More than one series only where the decimals of the quantity changed between two releases.
                answer.sort_by_key(|point: &Point| point.at_ms);
            }
            Ok(answers)
        })
    }

    /// The same of one series without gathering: `each` is handed one after the other in measured order, so that memory
    /// does not grow with the range.
    ///
    /// # Errors
    ///
    /// As [`readings`](Self::readings).
    pub fn each_reading(
        &self,
        probe: &str,
        quantity: Quantity,
        range: Range<i64>,
        mut each: impl FnMut(Point),
    ) -> Result<(), LedgerError> {
        let series = self.at_once(|| self.series_of(probe, quantity))?;
        let [one] = series.as_slice() else {
            let gathered = self.readings_of(&[(probe, quantity)], range)?;
            gathered.into_iter().flatten().for_each(each);
            return Ok(());
        };
        let per_unit = per_unit(one.decimals);
        self.at_once(|| {
            self.sweep(&[one.id], &range, |_, kept| kept.iter().for_each(|kept| each(point(kept, per_unit))))
        })
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
        let probe_name: ProbeName = probe.into();
        let mut all = Vec::new();
        self.at_once(|| {
            for series in self.series_of(probe, quantity)? {
                self.sweep(&[series.id], &range, |_, kept| {
                    let late = |kept: &Kept| {
                        Some((reading(&probe_name, quantity, *kept, series.decimals), kept.late?))
                    };
                    all.extend(kept.iter().filter_map(late));
                })?;
            }
            Ok(())
        })?;
        all.sort_by_key(|(reading, _): &(Reading, i64)| reading.at_ms);
        Ok(all)
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

    /// When the newest commit that held dated readings was made, UTC ms. What was stored before somebody's last word on
    /// the time counts only up to the commit that the word was later than.
    ///
    /// # Errors
    ///
    /// When the storage refuses.
    pub fn newest_commit_ms(&self) -> Result<Option<i64>, LedgerError> {
        self.at_once(|| {
            let boots = Boots::read(self.conn)?;
            let word = dating::Word::last(self.conn)?;
            let since = word.unwrap_or_default();
            let mut newest = schema::get(self.conn, "compacted_ms")?.max(word.map(|word| word.after_ms));
            self.each_batch(since.seq, usize::MAX, |_, content| {
                newest = newest.max(boots.commit_ms(&content));
            })?;
            // A commit may hold no reading: a boot that knew the time began, or something was told.
            Ok(newest.max(dating::newest_told_ms(self.conn, since)?))
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

fn numbers(series: &[(SeriesRow, Vec<usize>)]) -> Vec<i64> {
    series.iter().map(|(series, _)| series.id).collect()
}

fn point(kept: &Kept, per_unit: f64) -> Point {
    Point { at_ms: kept.at_ms, value: f64::from(kept.ticks) / per_unit, reason: kept.reason }
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
