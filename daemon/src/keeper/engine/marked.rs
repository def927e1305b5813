//! Which days are to be made afresh: those that a reading or an entry touched after they had closed.

use std::collections::BTreeSet;

use super::super::touched::touched_by;
use super::Engine;
use crate::calendar::Day;
use crate::entry::{Entry, Fenced, Note};
use crate::ground::Ground;

impl Engine {
    /// Forgets which days are to be made afresh: for an engine whose days are nobody's.
    pub(in crate::keeper) fn forget_marked(&mut self) {
        self.dirty.clear();
        self.closed.clear();
    }

    /// Marks the day that a reading at this moment touches, and the next by what it carries over midnight.
    pub fn touch(&mut self, probe: &str, at_ms: i64) {
        let today = self.site.calendar.day_of(self.now_ms);
        let day = self.site.calendar.day_of(at_ms);
        let Some(place) = self.ground.hang_at(probe, at_ms).map(|hang| hang.place.clone()) else { return };
        for day in (day..=day + 1).filter(|day| *day < today) {
            self.dirty.insert((place.clone(), day));
        }
    }

    /// Marks the days an entry touches on the ground as it is without it, or with it; both are to be marked.
    pub(in crate::keeper) fn touch_by(&mut self, entry: &Entry, ground: &Ground) {
        if let Note::Mended { fenced, .. } = &entry.note {
            return self.touch_mended(fenced);
        }
        let Some(touched) = touched_by(entry, ground, &self.entries, &self.site.calendar) else { return };
        let today = self.site.calendar.day_of(self.now_ms);
        for day in touched.first..=touched.last.min(today - 1) {
            for place in &touched.places {
                self.dirty.insert((place.clone(), day));
            }
        }
    }

    /// Marks the days of which readings came back, and the day after, into which they hold.
    fn touch_mended(&mut self, fenced: &Fenced) {
        let (Some(since_ms), Some(until_ms)) = (fenced.since_ms, fenced.until_ms) else { return };
        let calendar = &self.site.calendar;
        let today = calendar.day_of(self.now_ms);
        for day in calendar.day_of(since_ms)..=(calendar.day_of(until_ms) + 1).min(today - 1) {
            for place in self.place_ids() {
                self.dirty.insert((place, day));
            }
        }
    }

    /// Marks every past day of every place since a moment, save those that were made already.
    pub fn mark_missing(&mut self, from_ms: i64, made: &BTreeSet<(String, Day)>) {
        let today = self.site.calendar.day_of(self.now_ms);
        let places = self.place_ids();
        for day in self.site.calendar.day_of(from_ms)..today {
            let days = places.iter().map(|place| (place.clone(), day));
            self.dirty.extend(days.filter(|day| !made.contains(day)));
        }
    }

    /// Days that must be made afresh from the ledger, and forgets them.
    pub fn take_dirty(&mut self) -> BTreeSet<(String, Day)> {
        std::mem::take(&mut self.dirty)
    }

    /// Marks days to be made afresh.
    pub fn mark(&mut self, days: impl IntoIterator<Item = (String, Day)>) {
        self.dirty.extend(days);
    }

    /// Days that closed and were made from memory since the last look, and forgets them.
    pub fn take_closed(&mut self) -> BTreeSet<(String, Day)> {
        std::mem::take(&mut self.closed)
    }

    /// Whether days wait to be made afresh, or an edition to come into service.
    pub fn is_dirty(&self) -> bool {
        !self.dirty.is_empty() || self.editions.renewing()
    }

    /// How many days wait to be made afresh.
    pub fn marked(&self) -> usize {
        self.dirty.len()
    }
}
