//! What was heard of a moment already: in this very message, in memory, in the ledger, or waiting for it.

use std::collections::{BTreeMap, BTreeSet};

use agronomy::quantity::Quantity;
use agronomy::series::MS_PER_DAY;

use super::core::Message;
use super::grading::stamp;
use super::tracks::{Known, Tracks};
use crate::ledger::Ledger;
use crate::reading::{Grade, ProbeName, Reading};

/// Earlier readings that memory does not hold: those of the same messages, and those it has forgotten.
#[derive(Default)]
pub(super) struct Earlier(BTreeMap<(ProbeName, Quantity, i64), f64>);

impl Earlier {
    /// Looks up what memory has forgotten of the moments of these messages: once for each series and day, since a
    /// probe that brings its own store brings many readings of few days.
    pub(super) fn of(messages: &[Message], tracks: &Tracks, ledger: &Ledger, waiting: &[Reading]) -> Self {
        let mut days = BTreeSet::new();
        for heard in messages.iter().flat_map(|message| &message.readings) {
            let Some(at_ms) = stamp(heard) else { continue };
            if tracks.at(&heard.probe, heard.quantity, at_ms) == Known::Forgotten {
                days.insert((heard.probe.clone(), heard.quantity, at_ms.div_euclid(MS_PER_DAY)));
            }
        }
        let mut earlier = Self::default();
        for (probe, quantity, day) in days {
            let range = day * MS_PER_DAY..(day + 1) * MS_PER_DAY;
            let stored = ledger.readings(&probe, quantity, range.clone()).unwrap_or_default();
            for reading in &stored {
                earlier.take(reading);
            }
            let same =
                |it: &&Reading| it.probe == probe && it.quantity == quantity && range.contains(&it.at_ms);
            waiting.iter().filter(same).for_each(|reading| earlier.take(reading));
        }
        earlier
    }

    /// Remembers a graded reading, unless one of the same moment came before it.
    pub(super) fn take(&mut self, reading: &Reading) {
        if reading.grade() != Grade::Refused {
            let key = (reading.probe.clone(), reading.quantity, reading.at_ms);
            self.0.entry(key).or_insert(reading.value);
        }
    }

    /// What is known of a moment.
    pub(super) fn at(&self, tracks: &Tracks, probe: &ProbeName, quantity: Quantity, at_ms: i64) -> Known {
        match self.0.get(&(probe.clone(), quantity, at_ms)) {
            Some(value) => Known::Value(*value),
            None => tracks.at(probe, quantity, at_ms),
        }
    }
}
