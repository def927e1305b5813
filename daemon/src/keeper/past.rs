//! Past readings into a ledger on which no service runs: graded as live ones are, a week of each series at a time.
//!
//! The garden is not judged by them: what is past is told to nobody. Counts go into the ledger in the transaction of
//! the readings they count, and the pages of the days they touch are taken out in the same; the next start makes them
//! afresh, as it makes all that are missing. Memory holds about a week of each series, whatever the record's length.

use std::collections::BTreeSet;

use agronomy::quantity::{Quantity, Surroundings};

use super::core::{Core, Moment};
use super::grading::{Circumstances, grade};
use super::start::{FORM, snapshot_of};
use super::tracks::Known;
use crate::calendar::Day;
use crate::ground::Ground;
use crate::ledger::{Aftermath, LedgerError, Past, PastReading};
use crate::reading::{Heard, ProbeName};

/// Readings in memory before those of finished weeks are written.
const MOST_WAITING: usize = 210_000;
/// A week, ms: chunks of the ledger hold one each.
const WEEK_MS: i64 = 604_800_000;

/// One series of a record.
struct Line {
    heard: Heard,
    limits: Option<(f64, f64)>,
    /// From when what is around the probe, earliest first.
    around: Vec<(i64, Surroundings)>,
    readings: Vec<PastReading>,
}

/// What became of a record so far.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Readings that were new.
    pub new: u64,
    /// Readings that were in the ledger already.
    pub held: u64,
    /// Days with new readings.
    pub days: BTreeSet<Day>,
}

/// A record being taken in.
pub struct TakingIn {
    core: Core,
    moment: Moment,
    lines: Vec<Line>,
    waiting: usize,
    tally: Tally,
    /// Days whose pages were out of date before: place, day.
    stale: Vec<(String, Day)>,
}

impl TakingIn {
    /// Begins at a moment. What waits in the core must have been flushed.
    pub fn begin(mut core: Core, moment: Moment) -> Self {
        let dirty = core.engine_mut().take_dirty();
        let stale = dirty.iter().cloned().collect();
        core.engine_mut().mark(dirty);
        Self { core, moment, lines: Vec::new(), waiting: 0, tally: Tally::default(), stale }
    }

    /// The place of a series, which gets one if it is new.
    pub fn series(&mut self, probe: &ProbeName, quantity: Quantity) -> usize {
        let same = |line: &Line| line.heard.probe == *probe && line.heard.quantity == quantity;
        if let Some(place) = self.lines.iter().position(same) {
            return place;
        }
        let engine = self.core.engine();
        let (limits, around) = (engine.site().limits_of(probe, quantity), around(engine.ground(), probe));
        let heard = Heard { probe: probe.clone(), quantity, value: None, measured_ms: None, stale: false };
        self.lines.push(Line { heard, limits, around, readings: Vec::new() });
        self.lines.len() - 1
    }

    /// Takes a reading of the series at this place: its time (UTC ms), its value in the canonical unit.
    ///
    /// # Errors
    ///
    /// When the ledger refuses: what was taken until then is lost, save what was written.
    pub fn take(&mut self, at: usize, at_ms: i64, value: Option<f64>) -> Result<(), LedgerError> {
        let line = &mut self.lines[at];
        (line.heard.measured_ms, line.heard.value) = (Some(at_ms), value);
        let since = line.around.partition_point(|(from_ms, _)| *from_ms <= at_ms);
        let circumstances = Circumstances {
            arrived_ms: self.moment.wall_ms,
            trusted: self.moment.trusted,
            around: line.around[since.saturating_sub(1)].1,
            limits: line.limits,
            // The ledger finds out what was there already.
            known: Known::Nothing,
        };
        if line.readings.len() == line.readings.capacity() {
            // Doubled, twenty series would hold half as much again as a week.
            line.readings.reserve_exact(256 + line.readings.len() / 4);
        }
        line.readings.push(PastReading::of(&grade(&line.heard, &circumstances)));
        self.waiting += 1;
        if self.waiting >= MOST_WAITING {
            self.write(false)?;
            if self.waiting > MOST_WAITING / 2 {
                self.write(true)?;
            }
        }
        Ok(())
    }

    /// Writes what waits; what became of the record. The core ends here, for its engine knows nothing of the readings:
    /// start anew on the ledger to go on.
    ///
    /// # Errors
    ///
    /// When the ledger refuses.
    pub fn finish(mut self) -> Result<Tally, LedgerError> {
        self.write(true)?;
        Ok(self.tally)
    }

    /// Writes the readings of each series that lie in weeks before its newest, or all.
    fn write(&mut self, all: bool) -> Result<(), LedgerError> {
        let offset_ms = self.core.engine().site().calendar.offset_ms();
        let mut cuts = Vec::new();
        for line in &mut self.lines {
            let newest_ms = line.readings.iter().map(|reading| reading.at_ms).max().unwrap_or(0);
            let week = newest_ms.saturating_add(offset_ms).div_euclid(WEEK_MS);
            let until_ms = if all { i64::MAX } else { week * WEEK_MS - offset_ms };
            // A record is nearly always in order, and then this moves nothing.
            line.readings.sort_by_key(|reading| reading.at_ms >= until_ms);
            cuts.push(line.readings.partition_point(|reading| reading.at_ms < until_ms));
        }
        if cuts.iter().all(|cut| *cut == 0) {
            return Ok(());
        }
        let pieces = self.lines.iter().zip(&cuts).filter(|(_, cut)| **cut > 0);
        let past: Vec<Past<'_>> = pieces
            .map(|(line, cut)| Past {
                probe: &line.heard.probe,
                quantity: line.heard.quantity,
                readings: &line.readings[..*cut],
            })
            .collect();
        let stale = std::mem::take(&mut self.stale);
        let mut days = BTreeSet::new();
        let (engine, ledger) = self.core.both_mut();
        let taken = ledger.take_in(self.moment.wall_ms, &past, |taken| {
            for count in &taken.counts {
                engine.counts.add(&count.probe, count.quantity, count.reason, count.count);
            }
            let mut pages: BTreeSet<(String, Day)> = stale.into_iter().collect();
            for (probe, at_ms) in &taken.times {
                let day = engine.site().calendar.day_of(*at_ms);
                days.insert(day);
                // The next day too, by what is carried over midnight.
                if let Some(hang) = engine.ground().hang_at(probe, *at_ms) {
                    pages.extend([(hang.place.clone(), day), (hang.place.clone(), day + 1)]);
                }
            }
            Aftermath { pages: pages.into_iter().collect(), state: Some((FORM, snapshot_of(engine))) }
        })?;
        ledger.checkpoint()?;
        for (line, cut) in self.lines.iter_mut().zip(cuts) {
            line.readings.drain(..cut);
            self.waiting -= cut;
        }
        self.tally.new += taken.new;
        self.tally.held += taken.held;
        self.tally.days.append(&mut days);
        Ok(())
    }
}

/// From when what is around a probe; never empty.
fn around(ground: &Ground, probe: &str) -> Vec<(i64, Surroundings)> {
    let hangs = ground.hangs.iter().filter(|hang| hang.probe == probe);
    let turns: BTreeSet<i64> =
        hangs.flat_map(|hang| [Some(hang.from_ms), hang.until_ms]).flatten().chain([i64::MIN]).collect();
    turns.into_iter().map(|at_ms| (at_ms, ground.around(probe, at_ms))).collect()
}
