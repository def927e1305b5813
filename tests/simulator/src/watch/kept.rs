//! Readings: is everything there that was acknowledged, and does each bear its own time and grade.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use agronomy::quantity::Quantity;
use glasshour::ledger::{Ledger, LedgerError};
use glasshour::reading::{Grade, Reading};

use super::{Excused, Violation};
use crate::counts::Counts;
use crate::faults::ProbeFault;
use crate::garden::{Probe, Way};
use crate::probes::Sample;
use crate::weather::{DAY, MINUTE};

/// A bare number is dated by its arrival: how long it may take to the board, ms.
const UNDERWAY_MS: i64 = MINUTE;
/// A stamp so far after its arrival cannot be believed (FAULTS.md C8), ms; one second for the way.
const FUTURE_MS: i64 = 121_000;

type Key = (usize, Quantity, i64);

/// What is known of readings.
pub(crate) struct Kept {
    probes: Vec<Probe>,
    samples: BTreeMap<u64, Sample>,
    /// When each arrived last, and whether the keeper trusted its clock then.
    arrivals: BTreeMap<u64, (i64, bool)>,
    /// Letters by what they say: probe and stamp.
    stamped: BTreeMap<(usize, i64), u64>,
    /// True times of what was said without a stamp: probe and hundredths of a degree.
    bare: BTreeMap<(usize, i64), Vec<i64>>,
    acknowledged: BTreeSet<u64>,
    /// Arrived in this life, not yet seen to be stored.
    fresh: VecDeque<(i64, u64)>,
    /// Dated readings in the ledger: hundredths, and whether sound.
    pub(crate) stored: BTreeMap<Key, Vec<(i64, bool)>>,
    seq: i64,
    /// Whether everything committed so far has been read.
    is_current: bool,
    /// Acknowledged while that was not so.
    unproven: Vec<u64>,
    undated_from: Option<i64>,
    /// Acknowledged readings that a lying disk lost.
    pub(crate) lost: u64,
}

fn hundredths(value: f64) -> i64 {
    (value * 100.0).round() as i64
}

fn refused(error: &LedgerError, now_ms: i64) -> Violation {
    Violation::new("I2", now_ms, format!("the ledger cannot be read: {error}"))
}

impl Kept {
    pub(crate) fn new(probes: &[Probe]) -> Self {
        Self {
            probes: probes.to_vec(),
            samples: BTreeMap::new(),
            arrivals: BTreeMap::new(),
            stamped: BTreeMap::new(),
            bare: BTreeMap::new(),
            acknowledged: BTreeSet::new(),
            fresh: VecDeque::new(),
            stored: BTreeMap::new(),
            seq: 0,
            is_current: true,
            unproven: Vec::new(),
            undated_from: None,
            lost: 0,
        }
    }

    pub(crate) fn sent(&mut self, letter: u64, sample: &Sample) {
        if let Some(said_ms) = sample.said_ms {
            self.stamped.insert((sample.probe, said_ms), letter);
        }
        // What comes live is dated by its arrival where it bears no time, or one that cannot be.
        if sample.said_ms.is_none() || sample.wrong == Some(ProbeFault::Future) {
            let humidity = sample.rh_pct.filter(|_| sample.said_ms.is_some());
            for value in [sample.t_c, humidity].into_iter().flatten() {
                self.bare.entry((sample.probe, hundredths(value))).or_default().push(sample.true_ms);
            }
        }
        self.samples.insert(letter, sample.clone());
    }

    pub(crate) fn arrived(&mut self, letter: u64, trusted: bool, now_ms: i64) -> Option<&Sample> {
        self.arrivals.insert(letter, (now_ms, trusted));
        self.fresh.push_back((now_ms, letter));
        self.samples.get(&letter)
    }

    /// The broker dropped a letter for our acknowledgement.
    pub(crate) fn acknowledged(&mut self, letter: u64, now_ms: i64) -> Result<(), Violation> {
        self.acknowledged.insert(letter);
        if self.is_stored(letter) {
            return Ok(());
        }
        if !self.is_current {
            // The ledger could not be read since the commit that this may have come by.
            self.unproven.push(letter);
            return Ok(());
        }
        self.is_gone(letter, now_ms)
    }

    fn is_gone(&self, letter: u64, now_ms: i64) -> Result<(), Violation> {
        Err(Violation::new(
            "I1",
            now_ms,
            format!("letter {letter} was acknowledged and is not stored: {:?}", self.samples.get(&letter)),
        ))
    }

    /// Whether all readings of a stamped letter are in the ledger.
    fn is_stored(&self, letter: u64) -> bool {
        let Some(sample) = self.samples.get(&letter) else { return true };
        let Some(said_ms) = sample.said_ms.filter(|_| sample.is_readable()) else { return true };
        let values = [sample.t_c, sample.rh_pct];
        self.probes[sample.probe].quantities().iter().zip(values).all(|(quantity, value)| {
            let wanted = hundredths(value.unwrap_or(0.0));
            let is_it =
                |stored: &Vec<(i64, bool)>| stored.iter().any(|(held, _)| (held - wanted).abs() <= 10);
            let at = |at_ms: i64| (sample.probe, *quantity, at_ms);
            let as_said = self.stored.get(&at(said_ms)).is_some_and(is_it);
            // Of a stamp that cannot be, the arrival may stand in its place.
            let as_arrived = || {
                let since = self.stored.range(at(sample.true_ms - 1_000)..at(sample.true_ms + DAY));
                since.into_iter().any(|(_, stored)| is_it(stored))
            };
            as_said || (sample.wrong == Some(ProbeFault::Future) && as_arrived())
        })
    }

    /// Everything that arrived, by arrival; each letter once.
    pub(crate) fn arrivals(&self) -> Vec<(i64, &Sample)> {
        let mut arrivals: Vec<_> = self
            .arrivals
            .iter()
            .map(|(letter, (at_ms, _))| (*at_ms, *letter, &self.samples[letter]))
            .collect();
        arrivals.sort_by_key(|(at_ms, letter, _)| (*at_ms, *letter));
        arrivals.into_iter().map(|(at_ms, _, sample)| (at_ms, sample)).collect()
    }

    /// The newest reading of a probe in the ledger, UTC ms.
    pub(crate) fn newest(&self, probe: usize) -> Option<i64> {
        let of = |quantity| (probe, quantity, i64::MIN)..=(probe, quantity, i64::MAX);
        let newest = |quantity| self.stored.range(of(quantity)).next_back().map(|((.., at), _)| *at);
        newest(Quantity::AirTemperature)
    }

    /// A stamped letter that arrived before a moment and is not stored.
    pub(crate) fn unstored_before(&mut self, before_ms: i64) -> Option<&Sample> {
        while let Some((arrived_ms, letter)) = self.fresh.front().copied() {
            if arrived_ms >= before_ms {
                return None;
            }
            if !self.is_stored(letter) {
                return self.samples.get(&letter);
            }
            self.fresh.pop_front();
        }
        None
    }

    /// Whether everything committed so far has been read.
    pub(crate) fn is_current(&self) -> bool {
        self.is_current
    }

    /// What was read and not committed is gone with the process.
    pub(crate) fn went_down(&mut self) {
        self.fresh.clear();
    }

    /// Reads on in the ledger. Once the clock is trusted, what this boot kept undated is read again: it has its dates.
    pub(crate) fn read_on(
        &mut self,
        ledger: &Ledger,
        trusted: bool,
        excused: Excused,
        now_ms: i64,
        counts: &mut Counts,
    ) -> Result<(), Violation> {
        let mut seq = match self.undated_from.filter(|_| trusted) {
            Some(from) => {
                self.undated_from = None;
                counts.add("boot dated afterwards");
                from - 1
            }
            None => self.seq,
        };
        loop {
            let batches = match ledger.batches_after(seq, 500) {
                Ok(batches) => batches,
                // A disk that refuses reads has nothing to say now.
                Err(error) if error.is_storage_refusal() => {
                    self.is_current = false;
                    return Ok(());
                }
                Err(error) => return Err(refused(&error, now_ms)),
            };
            let Some(last) = batches.last() else { break };
            seq = last.seq;
            for batch in &batches {
                if !batch.dated {
                    counts.add("undated batch kept");
                    self.undated_from = self.undated_from.or(Some(batch.seq)).filter(|_| !trusted);
                    continue;
                }
                for reading in &batch.readings {
                    self.take_or_excuse(reading, excused, now_ms, counts)?;
                }
            }
        }
        self.seq = self.seq.max(seq);
        self.is_current = true;
        for letter in std::mem::take(&mut self.unproven) {
            if !self.is_stored(letter) && !excused.lied && !excused.rot {
                return self.is_gone(letter, now_ms);
            }
        }
        Ok(())
    }

    /// A boot's date has no checksum of its own in this form of the ledger: a bit that turns there dates falsely.
    fn take_or_excuse(
        &mut self,
        reading: &Reading,
        excused: Excused,
        now_ms: i64,
        counts: &mut Counts,
    ) -> Result<(), Violation> {
        match self.take(reading, now_ms) {
            Err(_) if excused.rot => {
                counts.add("false reading out of rot");
                Ok(())
            }
            said => said,
        }
    }

    fn take(&mut self, reading: &Reading, now_ms: i64) -> Result<(), Violation> {
        let Some(probe) = self.probes.iter().position(|probe| probe.name == reading.probe.as_ref()) else {
            return Err(Violation::new("I4", now_ms, format!("nobody ever sent {reading:?}")));
        };
        let sound = reading.grade() == Grade::Sound;
        let wrong =
            |invariant, what: &str| Err(Violation::new(invariant, now_ms, format!("{what}: {reading:?}")));
        if let Some(letter) = self.stamped.get(&(probe, reading.at_ms)) {
            let sample = &self.samples[letter];
            let (arrived_ms, trusted) = self.arrivals.get(letter).copied().unwrap_or((sample.true_ms, false));
            // A stamp in the future may be that of a later sample too: the value tells them apart.
            let value = match reading.quantity {
                Quantity::AirTemperature => sample.t_c,
                _ => sample.rh_pct,
            };
            let same = (hundredths(value.unwrap_or(0.0)) - hundredths(reading.value)).abs() <= 10;
            match sample.wrong.filter(|_| same) {
                Some(ProbeFault::Missing | ProbeFault::Impossible) if sound => {
                    return wrong("I6", "counted as sound, though it cannot be");
                }
                Some(ProbeFault::Future) if sound && trusted && reading.at_ms > arrived_ms + FUTURE_MS => {
                    return wrong("I6", "counted as sound, stamped in the future");
                }
                _ => {}
            }
        } else if sound {
            let near = |true_ms: &i64| (-1_000..=UNDERWAY_MS).contains(&(reading.at_ms - true_ms));
            let said = self.bare.get(&(probe, hundredths(reading.value)));
            let of_bus = self.probes[probe].way == Way::Bus && reading.quantity != Quantity::AirTemperature;
            if !of_bus && !said.is_some_and(|said| said.iter().any(near)) {
                return wrong("I4", "no probe measured that then");
            }
        }
        let stored = self.stored.entry((probe, reading.quantity, reading.at_ms)).or_default();
        let row = (hundredths(reading.value), sound);
        if !stored.contains(&row) {
            stored.push(row);
        }
        Ok(())
    }

    /// Reads the whole ledger anew after a start: everything that was acknowledged must be there.
    pub(crate) fn reread(
        &mut self,
        ledger: &Ledger,
        now_ms: i64,
        excused: Excused,
        counts: &mut Counts,
    ) -> Result<(), Violation> {
        self.stored.clear();
        // What the process before this one acknowledged is asked for below, with all the rest.
        self.unproven.clear();
        (self.seq, self.undated_from) = (0, None);
        for (name, quantity) in ledger.series().map_err(|error| refused(&error, now_ms))? {
            let readings =
                ledger.readings(&name, quantity, 0..i64::MAX).map_err(|error| refused(&error, now_ms))?;
            for reading in &readings {
                self.take_or_excuse(reading, excused, now_ms, counts)?;
            }
        }
        // Repeats and undated readings are in batches only.
        self.read_on(ledger, false, excused, now_ms, counts)?;
        self.undated_from = None;
        self.unproven.clear();
        let missing: Vec<u64> =
            self.acknowledged.iter().copied().filter(|letter| !self.is_stored(*letter)).collect();
        let Some(first) = missing.first() else { return Ok(()) };
        if excused.lied || excused.rot {
            counts.add_many("readings lost by the disk's own fault", missing.len() as u64);
            self.lost += missing.len() as u64;
            self.acknowledged.retain(|letter| !missing.contains(letter));
            return Ok(());
        }
        Err(Violation::new(
            "I1",
            now_ms,
            format!("{} acknowledged letters are gone, first {:?}", missing.len(), self.samples.get(first)),
        ))
    }
}
