//! Hours asked for: from the roll-ups of chunks, and from the readings where batches have something newer.

use std::collections::BTreeMap;
use std::ops::Range;

use agronomy::quantity::Quantity;
use rusqlite::OptionalExtension;

use super::hours::{self, HOURS, HourTicks, roll};
use super::merge::Kept;
use super::view::{SeriesRow, blob};
use super::week::{HOUR_MS, chunk_id, start_ms, value, week};
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
            let mut all: BTreeMap<i64, Hour> = BTreeMap::new();
            for series in self.series_of(probe, quantity)? {
                for hour in self.hours_of(series, &range, usual_ms)? {
                    all.entry(hour.start_ms).and_modify(|other| *other = both(*other, hour)).or_insert(hour);
                }
            }
            Ok(all.into_values().collect())
        })
    }

    fn hours_of(
        &self,
        series: SeriesRow,
        range: &Range<i64>,
        usual_ms: i64,
    ) -> Result<Vec<Hour>, LedgerError> {
        let fresh = self.in_batches(series.id)?;
        let weeks = self.weeks_with_something(series.id, range, &fresh, usual_ms)?;
        let mut all = Vec::new();
        for week in weeks {
            let start_ms = start_ms(week, self.shared.offset_ms);
            let hours = self.hours_of_week(series.id, week, &fresh, usual_ms)?;
            for (index, hour) in hours.iter().enumerate().filter(|(_, hour)| hour.covered_s > 0) {
                let start_ms = start_ms + index as i64 * HOUR_MS;
                if range.contains(&start_ms) {
                    all.push(in_units(start_ms, *hour, series.decimals));
                }
            }
        }
        Ok(all)
    }

    /// The weeks of a range that may hold anything: those with a chunk or fresh readings, and those after them.
    fn weeks_with_something(
        &self,
        series: i64,
        range: &Range<i64>,
        fresh: &[Kept],
        usual_ms: i64,
    ) -> Result<Vec<i64>, LedgerError> {
        let offset_ms = self.shared.offset_ms;
        let (first, last) = (week(range.start, offset_ms), week(range.end - 1, offset_ms));
        // So far may a reading hold into later weeks.
        let reach = (usual_ms.saturating_mul(2) / super::week::WEEK_MS).min(last) + 1;
        let sql = "SELECT id FROM chunk WHERE id BETWEEN ?1 AND ?2";
        let ids = (chunk_id(series, (first - reach).max(0)), chunk_id(series, last));
        let mut statement = self.conn.prepare(sql)?;
        let chunks = statement.query_map(ids, |row| row.get::<_, i64>(0))?.collect::<Result<Vec<_>, _>>()?;
        let mut weeks: Vec<i64> = chunks.into_iter().map(|id| super::week::of_chunk(id).1).collect();
        weeks.extend(fresh.iter().map(|kept| week(kept.at_ms, offset_ms)));
        let mut weeks: Vec<i64> = weeks.iter().flat_map(|week| *week..=*week + reach).collect();
        weeks.retain(|week| (first..=last).contains(week));
        weeks.sort_unstable();
        weeks.dedup();
        Ok(weeks)
    }

    fn hours_of_week(
        &self,
        series: i64,
        week: i64,
        fresh: &[Kept],
        usual_ms: i64,
    ) -> Result<Vec<HourTicks>, LedgerError> {
        let offset_ms = self.shared.offset_ms;
        let range = start_ms(week, offset_ms).saturating_sub(usual_ms.saturating_mul(2))
            ..start_ms(week + 1, offset_ms);
        if !fresh.iter().any(|kept| range.contains(&kept.at_ms))
            && let Some(hours) = self.stored_hours(chunk_id(series, week))?
        {
            return Ok(hours);
        }
        let kept = self.kept_of(series, &range, fresh)?;
        Ok(roll(&kept, start_ms(week, offset_ms), HOURS, usual_ms))
    }

    fn stored_hours(&self, id: i64) -> Result<Option<Vec<HourTicks>>, LedgerError> {
        let found = self.conn.query_row("SELECT last_seq, hours FROM chunk WHERE id = ?1", [id], |row| {
            Ok((row.get::<_, i64>(0)?, blob(row, 1).map(<[u8]>::to_vec)))
        });
        let Some((last_seq, body)) = found.optional()? else { return Ok(None) };
        match hours::decode(&[id, last_seq], &body?) {
            Ok(hours) => Ok(Some(hours)),
            Err(spoilt) => {
                self.shared.fence("chunk", id, &format!("hours: {spoilt}"));
                Ok(None)
            }
        }
    }
}

fn in_units(start_ms: i64, hour: HourTicks, decimals: u8) -> Hour {
    Hour {
        start_ms,
        min: value(hour.min, decimals),
        max: value(hour.max, decimals),
        mean: hour.mean_16 as f64 / (16.0 / value(1, decimals)),
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
