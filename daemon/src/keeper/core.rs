//! The engine with its ledger: what is decided together becomes durable together.
//!
//! The core has no clock, no queue and no thread: live running, replay and the demo's history all drive it with
//! moments of their own. When the ledger refuses, what waits is kept and the engine goes on: the garden is
//! still watched, nothing is acknowledged, and the next attempt commits all of it.

mod dating;
mod deliveries;
mod digest;
mod pending;
mod remake;
mod turned_up;
mod unrecorded;
mod watch;

use std::collections::{BTreeMap, BTreeSet};

pub use self::deliveries::Deliveries;
use self::deliveries::StepEntries;
use self::pending::Pending;
use self::unrecorded::Lent;
use self::watch::Watch;
use super::earlier::Earlier;
use super::engine::Engine;
use super::event::NotNoted;
use super::grading::{Circumstances, FUTURE_MS, grade, stamp};
use crate::couriers::letter::due;
pub use crate::couriers::route::Route;
use crate::entry::{Entry, Note, Step};
use crate::ground;
use crate::ledger::{Ledger, NewNote, Queued, StepRef};
use crate::reading::{Heard, Reading};
use crate::warnings::standing::Admission;

/// A moment, as the clock gives it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moment {
    /// Wall time, UTC ms.
    pub wall_ms: i64,
    /// Monotonic time of this boot, ms.
    pub mono_ms: i64,
    /// Whether somebody vouches for the wall time.
    pub trusted: bool,
}

/// Readings that came together.
#[derive(Clone, Debug)]
pub struct Message {
    /// What was heard.
    pub readings: Vec<Heard>,
    /// When it arrived: wall ms, or monotonic ms while the clock is not trusted.
    pub arrived_ms: i64,
}

/// The engine with its ledger.
pub struct Core {
    engine: Engine,
    ledger: Ledger,
    boot: i64,
    routes: Vec<Route>,
    pending: Pending,
    seq: i64,
    /// Batches of this boot that were stored without dates.
    undated: BTreeSet<i64>,
    /// Day of the last letter written.
    last_letter: Option<String>,
    /// Senders whose clock is wrong: how far ahead, ms; none where it was never set.
    senders_clocks: BTreeMap<String, Option<i64>>,
    /// Who watches while nobody vouches for the clock.
    watch: Option<Watch>,
    /// Steps told from memory.
    lent: Lent,
    /// Which entries are steps of which notice.
    step_entries: StepEntries,
}

impl Core {
    /// Joins an engine that stands at the ledger's state with its ledger.
    pub fn new(engine: Engine, ledger: Ledger, boot: i64, seq: i64, routes: Vec<Route>) -> Self {
        let step_entries = StepEntries::of(engine.entries());
        Self {
            engine,
            ledger,
            boot,
            routes,
            pending: Pending::default(),
            seq,
            undated: BTreeSet::new(),
            last_letter: None,
            senders_clocks: BTreeMap::new(),
            watch: None,
            lent: Lent::new(boot),
            step_entries,
        }
    }

    /// The engine.
    pub fn engine(&self) -> &Engine {
        &self.engine
    }

    /// The engine, to move.
    pub fn engine_mut(&mut self) -> &mut Engine {
        &mut self.engine
    }

    /// The ledger.
    pub fn ledger(&self) -> &Ledger {
        &self.ledger
    }

    /// The ledger, to compact or reopen.
    pub fn ledger_mut(&mut self) -> &mut Ledger {
        &mut self.ledger
    }

    /// The engine and the ledger, each to be changed.
    pub(super) fn both_mut(&mut self) -> (&mut Engine, &mut Ledger) {
        (&mut self.engine, &mut self.ledger)
    }

    /// Goes on with an engine that was brought to the ledger's state anew, with its newest batch.
    pub(super) fn stand_at(&mut self, engine: Engine, seq: i64) {
        self.step_entries = StepEntries::of(engine.entries());
        (self.engine, self.seq, self.last_letter, self.watch) = (engine, seq, None, None);
    }

    /// Newest batch number.
    pub fn seq(&self) -> i64 {
        self.seq
    }

    /// Lets time pass.
    pub fn advance(&mut self, moment: Moment) {
        if moment.trusted {
            let steps = self.engine.advance(moment.wall_ms);
            self.pending.steps.extend(steps);
            self.gather_pages();
        } else {
            self.watch(moment, &[]);
        }
    }

    /// Grades and takes in what was heard; it waits for the next [`flush`](Self::flush).
    pub fn hear(&mut self, moment: Moment, messages: &[Message]) {
        self.take_in(moment, messages, true);
    }

    /// Grades and judges what was heard without keeping it: for when nothing can be stored and memory is full.
    pub fn only_judge(&mut self, moment: Moment, messages: &[Message]) {
        self.take_in(moment, messages, false);
    }

    fn take_in(&mut self, moment: Moment, messages: &[Message], keep: bool) {
        self.advance(moment);
        let (tracks, waiting) = (self.engine.tracks(), &self.pending.dated);
        let mut earlier = Earlier::of(messages, tracks, &self.ledger, waiting);
        let (mut fresh, mut undated, mut live) = (Vec::new(), Vec::new(), Vec::new());
        for message in messages {
            for heard in &message.readings {
                if moment.trusted && !heard.stale {
                    self.note_senders_clock(heard, message.arrived_ms);
                }
                let reading = self.grade(heard, message.arrived_ms, moment.trusted, &earlier);
                if !moment.trusted && !heard.stale {
                    live.push(Reading { at_ms: message.arrived_ms, ..reading.clone() });
                }
                if moment.trusted || stamp(heard).is_some() {
                    earlier.take(&reading);
                    fresh.push(reading);
                } else {
                    undated.push(reading);
                }
            }
        }
        if moment.trusted {
            let steps = self.engine.apply(&fresh);
            self.pending.steps.extend(steps);
        } else {
            // Nothing is told at a moment that nobody vouches for; what is heard now is watched all the same.
            for reading in &fresh {
                self.engine.take(reading);
            }
            self.watch(moment, &live);
        }
        if keep {
            self.pending.dated.extend(fresh);
            self.pending.undated.extend(undated);
        }
    }

    fn grade(&self, heard: &Heard, arrived_ms: i64, trusted: bool, earlier: &Earlier) -> Reading {
        let at = stamp(heard).unwrap_or(arrived_ms);
        let circumstances = Circumstances {
            arrived_ms,
            trusted,
            around: self.engine.ground().around(&heard.probe, at),
            limits: self.engine.site().limits_of(&heard.probe, heard.quantity),
            known: earlier.at(self.engine.tracks(), &heard.probe, heard.quantity, at),
        };
        grade(heard, &circumstances)
    }

    fn note_senders_clock(&mut self, heard: &Heard, arrived_ms: i64) {
        let ahead_ms = stamp(heard).map(|stamp| stamp - arrived_ms);
        match (heard.measured_ms, ahead_ms) {
            (None, _) => {}
            (Some(_), Some(ahead_ms)) if ahead_ms <= FUTURE_MS => {
                _ = self.senders_clocks.remove(&*heard.probe);
            }
            (Some(_), ahead_ms) => _ = self.senders_clocks.insert(heard.probe.to_string(), ahead_ms),
        }
    }

    /// Senders whose clock is wrong: how far ahead, ms; none where it was never set.
    pub fn senders_clocks(&self) -> &BTreeMap<String, Option<i64>> {
        &self.senders_clocks
    }

    /// Writes the morning letter when its hour has come: once a day, also over a restart.
    pub fn write_letters(&mut self, moment: Moment) {
        if !moment.trusted {
            return;
        }
        let civil_offset_s = self.engine.site().calendar.civil_offset_s(moment.wall_ms);
        for route in &self.routes {
            let Some(at) = route.letter_at else { continue };
            let last = self.last_letter.clone().or_else(|| self.engine.last_letter());
            if let Some(date) = due(last.as_deref(), moment.wall_ms, civil_offset_s, at) {
                self.pending.letters.push((route.courier.clone(), date.clone()));
                self.last_letter = Some(date);
            }
        }
        self.write_digest(moment.wall_ms, civil_offset_s);
    }

    /// By which civil clock time the morning letter would have come: half an hour after its own; none where none goes out.
    pub fn letter_by(&self) -> Option<String> {
        let at = self.routes.iter().filter_map(|route| route.letter_at).min()?;
        let (by, _) = at.overflowing_add_signed(chrono::TimeDelta::minutes(30));
        Some(by.format("%H:%M").to_string())
    }

    fn routes_of(&self, step: &Step, index: usize) -> Vec<Queued> {
        let calendar = &self.engine.site().calendar;
        let queued = |route: &Route| {
            let (due_ms, expires_ms) = route.when(step, calendar)?;
            Some(Queued { step: StepRef::Note(index), courier: route.courier.clone(), due_ms, expires_ms })
        };
        self.routes.iter().filter_map(queued).collect()
    }

    /// Notes something, durably, with everything that waits. What the minders say to it waits for the next
    /// [`flush`](Self::flush).
    ///
    /// # Errors
    ///
    /// Why it was not taken; nothing of it is kept then.
    pub fn note(&mut self, moment: Moment, note: Note, from_ms: Option<i64>) -> Result<i64, NotNoted> {
        if !moment.trusted {
            let why = "the board does not know the time yet; please note it again in a few minutes, or tell the \
                       running service the time: glasshour clock now 2026-07-15T06:30+02:00 (or, where the system \
                       keeps it, vouched_by = \"system\" under [clock] in the site file)";
            return Err(NotNoted::Refused(why.to_owned()));
        }
        self.advance(moment);
        let from_ms = from_ms.unwrap_or(moment.wall_ms);
        // A forecast is read and checked where it comes in.
        if !matches!(note, Note::Outlook(_)) {
            ground::check(self.engine.ground(), &self.engine.site().book, &note, from_ms, moment.wall_ms)?;
        }
        if let Note::Reply { notice, .. } | Note::Seen { notice } = &note {
            self.engine.knows_notice(notice)?;
        }
        if let Note::PublicWarning(warning) = &note {
            match self.engine.admission(warning) {
                Admission::New => {}
                Admission::Held(id) => return Ok(id),
                Admission::Not(why) => return Err(NotNoted::Refused(why.to_owned())),
            }
        }
        let new = NewNote { at_ms: moment.wall_ms, from_ms, note: note.clone() };
        let ids = self.commit(moment, &[new])?;
        let id = *ids.first().ok_or_else(|| NotNoted::Refused("the ledger gave no number".to_owned()))?;
        if let Note::Hang { probe, usual_interval_s, .. } = &note {
            self.ledger.set_usual_interval(probe, i64::from(*usual_interval_s) * 1000);
        }
        let steps = self.engine.note(Entry { id, at_ms: moment.wall_ms, from_ms, note });
        self.pending.steps.extend(steps);
        Ok(id)
    }

    /// Days that closed since the last look join what waits.
    fn gather_pages(&mut self) {
        for (place, day) in self.engine.take_closed() {
            let made = self.engine.pages().made(self.engine.ground(), &place, day);
            self.pending.pages.insert((place, day), made);
        }
    }
}
