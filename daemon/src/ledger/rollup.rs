//! Hours asked for: from the roll-ups of chunks, and from the readings where batches have something newer.

use std::collections::BTreeMap;
use std::ops::Range;

use agronomy::quantity::Quantity;

use super::hours::{self, HOURS, HourTicks, roll};
use super::view::{SeriesRow, blob};
use super::week::{HOUR_MS, WEEK_MS, chunk_id, of_chunk, per_unit, start_ms, week};
use super::{LedgerError, View};

/// One hour of one probe and quantity, in the quantity's canonical unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hour {
    /// When it starts, UTC ms; whole hours of the site's standard offset.
    pub start_ms: i64,
    /// Lowest value that held in it.
    pub min: f64,
    /// Highest value that held in it.
    pub max: f64,
    /// Mean weighted by time, to a sixteenth of a tick.
    pub mean: f64,
    /// Seconds in which a value held, 1..=3600.
    pub covered_s: u32,
}

impl View<'_> {
    /// The hours that start in `range` (UTC ms, end excluded) and in which anything sound held, in order.
    ///
    /// A reading holds until the next one, at most twice its probe's usual interval; so the newest reading reaches
    /// past the present.
    ///
    /// # Errors
    ///
    /// When the storage refuses. Damaged rows are skipped and fenced.
    pub fn hourly(
        &self,
        probe: &str,
        quantity: Quantity,
        range: Range<i64>,
    ) -> Result<Vec<Hour>, LedgerError> {
        if range.is_empty() {
            return Ok(Vec::new());
        }
        let usual_ms = self.shared.usual_interval_ms(probe);
        self.at_once(|| {
            let mut series = self.series_of(probe, quantity)?.into_iter();
            let mut all = match series.next() {
                Some(series) => self.hours_of(series, &range, usual_ms)?,
                None => Vec::new(),
            };
            // More than one series only where the decimals of the quantity changed between two releases.
            for series in series {
                let mut by_start: BTreeMap<i64, Hour> =
                    all.iter().map(|hour| (hour.start_ms, *hour)).collect();
                for hour in self.hours_of(series, &range, usual_ms)? {
                    let same = by_start.entry(hour.start_ms);
                    same.and_modify(|other| *other = both(*other, hour)).or_insert(hour);
                }
                all = by_start.into_values().collect();
            }
            Ok(all)
        })
    }

    fn hours_of(
        &self,
        series: SeriesRow,
        range: &Range<i64>,
        usual_ms: i64,
    ) -> Result<Vec<Hour>, LedgerError> {
        let offset_ms = self.shared.offset_ms;
        let per_unit = per_unit(series.decimals);
        // Ten years at most: a range may be without end.
        let most = (range.end.saturating_sub(range.start) / HOUR_MS).clamp(0, 87_660);
        let mut all = Vec::with_capacity(most as usize);
        let mut take = |week: i64, hours: &[HourTicks]| {
            let start_ms = start_ms(week, offset_ms);
            for (index, hour) in hours.iter().enumerate().filter(|(_, hour)| hour.covered_s > 0) {
                let start_ms = start_ms + index as i64 * HOUR_MS;
                if range.contains(&start_ms) {
                    all.push(in_units(start_ms, *hour, per_unit));
                }
            }
        };
        self.weeks(series.id, range, usual_ms, |week, stored| {
            if let Some(hours) = stored {
                take(week, &hours);
                return Ok(());
            }
            let start_ms = start_ms(week, offset_ms);
            let range = start_ms.saturating_sub(usual_ms.saturating_mul(2))
                ..super::week::start_ms(week + 1, offset_ms);
            let kept = self.kept_of(series.id, &range)?;
            take(week, &roll(&kept, start_ms, HOURS, usual_ms));
            Ok(())
        })?;
        Ok(all)
    }

    /// Every week of a range in which something may have held, in order: with its stored hours where they are still
    /// true, without where they must be made of the readings.
    fn weeks(
        &self,
        series: i64,
        range: &Range<i64>,
        usual_ms: i64,
        mut each: impl FnMut(i64, Option<Vec<HourTicks>>) -> Result<(), LedgerError>,
    ) -> Result<(), LedgerError> {
        let offset_ms = self.shared.offset_ms;
        let (first, last) = (week(range.start, offset_ms), week(range.end - 1, offset_ms));
        let hold_ms = usual_ms.saturating_mul(2);
        // So far may a reading hold into later weeks.
        let reach = (hold_ms / WEEK_MS).min(last) + 1;
        // Only what may hold in an hour of the range can make a stored hour untrue.
        let fresh = range.start.saturating_sub(hold_ms)..range.end.saturating_add(HOUR_MS);
        let fresh = self.in_batches(&[series], &fresh)?.pop().unwrap_or_default();
        // Weeks that no chunk met so far answers for, and whether readings in batches hold in them.
        let mut open: BTreeMap<i64, bool> = BTreeMap::new();
        for kept in &fresh {
            let holds = week(kept.at_ms, offset_ms)..=week(kept.at_ms.saturating_add(hold_ms), offset_ms);
            open.extend(holds.filter(|week| (first..=last).contains(week)).map(|week| (week, true)));
        }
        let mut statement = self
            .conn
            .prepare("SELECT id, last_seq, hours FROM chunk WHERE id BETWEEN ?1 AND ?2 ORDER BY id")?;
        let mut rows = statement.query((chunk_id(series, (first - reach).max(0)), chunk_id(series, last)))?;
        while let Some(row) = rows.next()? {
            let (id, last_seq): (i64, i64) = (row.get(0)?, row.get(1)?);
            let week = of_chunk(id).1;
            let body = blob(row, 2)?;
            while let Some(entry) = open.first_entry().filter(|entry| *entry.key() < week) {
                each(entry.remove_entry().0, None)?;
            }
            let touched = open.remove(&week).unwrap_or(false);
            let spills = hours::span(&[id, last_seq], body)
                .is_none_or(|span| span.last_ms.saturating_add(hold_ms) > start_ms(week + 1, offset_ms));
            for later in (week + 1..=week + reach).filter(|later| spills && (first..=last).contains(later)) {
                open.entry(later).or_insert(false);
            }
            if week < first {
                continue;
            }
            let stored = if touched { None } else { self.stored_hours(id, last_seq, body) };
            each(week, stored)?;
        }
        open.into_keys().try_for_each(|week| each(week, None))
    }

    fn stored_hours(&self, id: i64, last_seq: i64, body: &[u8]) -> Option<Vec<HourTicks>> {
        let hours = hours::decode(&[id, last_seq], body);
        hours.map_err(|spoilt| self.shared.fence("chunk", id, &format!("hours: {spoilt}"))).ok()
    }
}

fn in_units(start_ms: i64, hour: HourTicks, per_unit: f64) -> Hour {
    Hour {
        start_ms,
        min: f64::from(hour.min) / per_unit,
        max: f64::from(hour.max) / per_unit,
        mean: hour.mean_16 as f64 / (16.0 * per_unit),
        covered_s: hour.covered_s,
    }
}

/// One hour in which the decimals of the quantity changed.
fn both(a: Hour, b: Hour) -> Hour {
    let covered_s = a.covered_s + b.covered_s;
    let mean = (a.mean * f64::from(a.covered_s) + b.mean * f64::from(b.covered_s)) / f64::from(covered_s);
    Hour {
        start_ms: a.start_ms,
        min: a.min.min(b.min),
        max: a.max.max(b.max),
        mean,
        covered_s: covered_s.min(3_600),
    }
}
