//! What comes next, read from the ledger.
//!
//! First the chunks, where the cursor stands before what was compacted; then batches; then steps of notices and day
//! pages; last, chunks written past the batches. Every piece is bounded: what is held at one time is less than two
//! calls' worth of points, beside one decoded chunk or batch.

use super::place::Place;
use super::points::{NoPoint, Point, of_page, of_reading, of_step};
use super::{Slice, Source};
use crate::entry::Note;
use crate::ledger::mirrored::MARK;
use crate::ledger::{Batch, LedgerError, Reader};
use crate::reading::Reading;

/// Points of one call: about 400 kB, and cheap to make again.
pub const POINTS_AT_ONCE: usize = 5_000;
/// Batches read at once: half an hour of commits.
const BATCHES_AT_ONCE: usize = 32;
/// Day pages read at once; a page may be a dozen points.
const PAGES_AT_ONCE: usize = 100;
/// Steps read at once.
const STEPS_AT_ONCE: usize = 200;

/// The ledger, through a reader.
#[derive(Debug)]
pub struct FromLedger {
    reader: Reader,
    open_from: i64,
}

impl FromLedger {
    /// Over this reader. `open_from` is the oldest boot that may still be dated by itself: this run's own, or an earlier
    /// one whose monotonic time still runs.
    pub fn new(reader: Reader, open_from: i64) -> Self {
        Self { reader, open_from }
    }

    /// One step: adds to the slice what comes next. Whether there was anything.
    fn step(&self, slice: &mut Slice) -> Result<bool, LedgerError> {
        Ok(self.chunks(slice)?
            || self.batches(slice)?
            || self.steps(slice)?
            || self.pages(slice)?
            || self.written_past(slice)?)
    }

    /// A boot that was passed over may have been dated since, by hand: then all from there on is sent again.
    fn look_at_boots(&self, place: &mut Place) -> Result<(), LedgerError> {
        let boots = self.reader.dated_boots()?;
        if boots != place.boots {
            place.boots = boots;
            if place.passed > 0 {
                place.back_to_passed();
            }
        }
        Ok(())
    }

    fn chunks(&self, slice: &mut Slice) -> Result<bool, LedgerError> {
        let place = slice.after;
        if place.until == 0 {
            return Ok(false);
        }
        let chunk = if place.chunk_ms > 0 {
            Some(place.chunk)
        } else {
            self.reader.archived_after(place.chunk, place.batch)?
        };
        let Some(chunk) = chunk else {
            slice.after = Place { batch: place.until, until: 0, chunk: 0, chunk_ms: 0, within: 0, ..place };
            return Ok(true);
        };
        slice.after.chunk = chunk;
        slice.after.chunk_ms = self.piece_of(chunk, place.chunk_ms, slice)?;
        Ok(true)
    }

    /// Adds a piece of a chunk from `from_ms` on; where the next piece begins, 0 where there is none.
    fn piece_of(&self, chunk: i64, from_ms: i64, slice: &mut Slice) -> Result<i64, LedgerError> {
        let readings = self.reader.archived(chunk)?;
        let readings = &readings[readings.partition_point(|reading| reading.at_ms < from_ms)..];
        let mut end = POINTS_AT_ONCE.min(readings.len());
        // The cut is a time: readings of the same time stay together.
        while end > 0 && end < readings.len() && readings[end].at_ms == readings[end - 1].at_ms {
            end += 1;
        }
        slice.take(&readings[..end]);
        Ok(readings.get(end).map_or(0, |reading| reading.at_ms))
    }

    fn batches(&self, slice: &mut Slice) -> Result<bool, LedgerError> {
        let place = slice.after;
        let batches = self.reader.batches_after(place.batch, BATCHES_AT_ONCE)?;
        // The numbers before the first batch there is are in the chunks.
        let gone = match batches.first() {
            Some(first) => first.seq - 1,
            None => self.reader.newest_archived()?,
        };
        if gone > place.batch {
            slice.after = Place { until: gone, chunk: 0, chunk_ms: 0, within: 0, ..place };
            return Ok(true);
        }
        for batch in batches {
            let stop = batch.seq != slice.after.batch + 1 || self.waits(&batch);
            if stop || slice.points.len() >= POINTS_AT_ONCE {
                break;
            }
            if batch.dated {
                slice.take_batch(&batch);
            } else {
                slice.pass_over(&batch);
            }
        }
        Ok(slice.after != place)
    }

    /// Undated readings of a boot that may still be dated hold everything after them.
    fn waits(&self, batch: &Batch) -> bool {
        !batch.dated && batch.boot >= self.open_from
    }

    fn steps(&self, slice: &mut Slice) -> Result<bool, LedgerError> {
        let entries = self.reader.steps_after(slice.after.entry, STEPS_AT_ONCE)?;
        for entry in &entries {
            slice.after.entry = entry.id;
            if let Note::Step(step) = &entry.note {
                slice.put(of_step(step));
            }
        }
        Ok(!entries.is_empty())
    }

    fn pages(&self, slice: &mut Slice) -> Result<bool, LedgerError> {
        let offset_ms = self.reader.offset_ms()?;
        let pages = self.reader.pages_after(slice.after.page, PAGES_AT_ONCE)?;
        for page in &pages {
            slice.after.page = page.number;
            match of_page(page, offset_ms) {
                Ok(points) => slice.points.extend(points),
                Err(why) => slice.put(Err(why)),
            }
        }
        Ok(!pages.is_empty())
    }

    fn written_past(&self, slice: &mut Slice) -> Result<bool, LedgerError> {
        let Some((chunk, times)) = self.reader.marked()? else { return Ok(false) };
        let name = format!("{MARK}{chunk}");
        if slice.marks.iter().any(|(known, _)| *known == name) {
            // It goes once this slice is taken; the next mark is seen after that.
            return Ok(false);
        }
        let from_ms = if slice.after.again == chunk { slice.after.again_ms } else { 0 };
        let next_ms = self.piece_of(chunk, from_ms, slice)?;
        (slice.after.again, slice.after.again_ms) = (chunk, next_ms);
        if next_ms == 0 {
            slice.after.again = 0;
            slice.marks.push((name, -times));
        }
        Ok(true)
    }
}

impl Source for FromLedger {
    fn place(&mut self) -> Result<Place, String> {
        let mut numbers = [0; 12];
        for (number, name) in numbers.iter_mut().zip(Place::NAMES) {
            *number = self.reader.cursor(name).map_err(|error| error.to_string())?;
        }
        Ok(Place::of(numbers))
    }

    fn next(&mut self, place: &Place) -> Result<Option<Slice>, String> {
        let mut slice = Slice { after: *place, ..Slice::default() };
        self.look_at_boots(&mut slice.after).map_err(|error| error.to_string())?;
        while slice.points.len() < POINTS_AT_ONCE {
            if !self.step(&mut slice).map_err(|error| error.to_string())? {
                break;
            }
        }
        let nothing = slice.points.is_empty() && slice.marks.is_empty() && slice.after == *place;
        Ok((!nothing).then_some(slice))
    }

    fn newest(&mut self) -> Result<i64, String> {
        self.reader.newest_seq().map_err(|error| error.to_string())
    }
}

impl Slice {
    fn put(&mut self, point: Result<Point, NoPoint>) {
        match point {
            Ok(point) => self.points.push(point),
            Err(NoPoint::Nothing(_)) => {}
            Err(why) => {
                self.left_out.0 += 1;
                self.left_out.1 = Some(why.to_string());
            }
        }
    }

    fn take(&mut self, readings: &[Reading]) {
        for reading in readings {
            self.put(of_reading(reading));
        }
    }

    /// A batch, or the next piece of one that is more than a call.
    fn take_batch(&mut self, batch: &Batch) {
        let from = (self.after.within as usize).min(batch.readings.len());
        let to = batch.readings.len().min(from + POINTS_AT_ONCE);
        self.take(&batch.readings[from..to]);
        if to == batch.readings.len() {
            (self.after.batch, self.after.within) = (batch.seq, 0);
        } else {
            self.after.within = to as i64;
        }
    }

    fn pass_over(&mut self, batch: &Batch) {
        self.undated += batch.readings.len() as u64;
        self.after.batch = batch.seq;
        if self.after.passed == 0 {
            self.after.passed = batch.seq;
        }
    }
}

#[cfg(test)]
#[path = "source_tests.rs"]
mod tests;
