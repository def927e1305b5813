//! The engine with its ledger: what is decided together becomes durable together.
//!
//! The core has no clock, no queue and no thread: live running, replay and the demo's history all drive it with
//! moments of their own. When the ledger refuses, what waits is kept and the engine goes on: the garden is
//! still watched, nothing is acknowledged, and the next attempt commits all of it.

use std::collections::{BTreeMap, BTreeSet};

use agronomy::crop::Severity;
use agronomy::quantity::Quantity;
use chrono::NaiveTime;

use super::earlier::Earlier;
use super::engine::Engine;
use super::event::NotNoted;
use super::grading::{Circumstances, grade, stamp};
use super::stored::Stored;
use crate::almanac::pages::{Made, make};
use crate::calendar::Day;
use crate::couriers::STEP_LIFE_MS;
use crate::couriers::letter::{LETTER_LIFE_MS, due};
use crate::entry::{Entry, Note, Step};
use crate::ground;
use crate::ledger::{Commit, Ledger, LedgerError, NewNote, PageRow, Queued, StepRef, TriedRow};
use crate::reading::{Heard, Reading};

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

/// Which steps go by a courier.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Route {
    /// The courier's name.
    pub courier: String,
    /// Only steps that may buzz a phone.
    pub pushes_only: bool,
    /// Civil hours in which only severe steps go: from, to.
    pub quiet: Option<(u32, u32)>,
    /// When the morning letter goes by it, civil time.
    pub letter_at: Option<NaiveTime>,
}

/// What waits to become durable.
#[derive(Clone, Debug, Default)]
struct Pending {
    dated: Vec<Reading>,
    undated: Vec<Reading>,
    steps: Vec<Step>,
    pages: BTreeMap<(String, Day), Option<Made>>,
    tried: Vec<TriedRow>,
    mirrored: Option<i64>,
    /// Letters to be written: courier, day.
    letters: Vec<(String, String)>,
}

/// The engine with its ledger.
pub struct Core {
    engine: Engine,
    ledger: Ledger,
    boot: i64,
    routes: Vec<Route>,
    limits: BTreeMap<(String, Quantity), (f64, f64)>,
    pending: Pending,
    seq: i64,
    /// Batches of this boot that were stored without dates.
    undated: BTreeSet<i64>,
    /// Day of the last letter written.
    last_letter: Option<String>,
}

impl Core {
    /// Joins an engine that stands at the ledger's state with its ledger.
    pub fn new(engine: Engine, ledger: Ledger, boot: i64, seq: i64, routes: Vec<Route>) -> Self {
        Self {
            engine,
            ledger,
            boot,
            routes,
            limits: BTreeMap::new(),
            pending: Pending::default(),
            seq,
            undated: BTreeSet::new(),
            last_letter: None,
        }
    }

    /// States a probe's own limits for a quantity.
    pub fn limit(&mut self, probe: &str, quantity: Quantity, low: f64, high: f64) {
        self.limits.insert((probe.to_owned(), quantity), (low, high));
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
        }
    }

    /// Grades and takes in what was heard; it waits for the next [`flush`](Self::flush).
    pub fn hear(&mut self, moment: Moment, messages: &[Message]) {
        self.advance(moment);
        let (tracks, waiting) = (self.engine.tracks(), &self.pending.dated);
        let mut earlier = Earlier::of(messages, tracks, &self.ledger, waiting);
        let mut fresh = Vec::new();
        for message in messages {
            for heard in &message.readings {
                let reading = self.grade(heard, message.arrived_ms, moment.trusted, &earlier);
                if moment.trusted || stamp(heard).is_some() {
                    earlier.take(&reading);
                    fresh.push(reading);
                } else {
                    self.pending.undated.push(reading);
                }
            }
        }
        if moment.trusted {
            let steps = self.engine.apply(&fresh);
            self.pending.steps.extend(steps);
        } else {
            // Nothing is told at a moment that nobody vouches for.
            for reading in &fresh {
                self.engine.take(reading);
            }
        }
        self.pending.dated.extend(fresh);
    }

    fn grade(&self, heard: &Heard, arrived_ms: i64, trusted: bool, earlier: &Earlier) -> Reading {
        let ground = self.engine.ground();
        let at = stamp(heard).unwrap_or(arrived_ms);
        let under_cover = ground
            .hang_at(&heard.probe, at)
            .and_then(|hang| ground.place(&hang.place))
            .is_none_or(|place| place.kind.under_cover());
        let circumstances = Circumstances {
            arrived_ms,
            trusted,
            under_cover,
            limits: self.limits.get(&(heard.probe.to_string(), heard.quantity)).copied(),
            known: earlier.at(self.engine.tracks(), &heard.probe, heard.quantity, at),
        };
        grade(heard, &circumstances)
    }

    /// Whether anything waits to become durable.
    pub fn waits(&self) -> bool {
        let pending = &self.pending;
        !(pending.dated.is_empty()
            && pending.undated.is_empty()
            && pending.steps.is_empty()
            && pending.tried.is_empty()
            && pending.pages.is_empty()
            && pending.letters.is_empty())
            || pending.mirrored.is_some()
    }

    /// Whether a notice step waits, which is worth a commit of its own.
    pub fn is_urgent(&self) -> bool {
        !self.pending.steps.is_empty() || !self.pending.tried.is_empty() || !self.pending.letters.is_empty()
    }

    /// How many readings wait.
    pub fn waiting_readings(&self) -> usize {
        self.pending.dated.len() + self.pending.undated.len()
    }

    /// Keeps the outcome of an attempt to deliver.
    pub fn tried(&mut self, row: TriedRow) {
        self.pending.tried.push(row);
    }

    /// Keeps how far the mirror has come; it rides in the next commit.
    pub fn mirrored(&mut self, seq: i64) {
        self.pending.mirrored = Some(seq);
    }

    /// Makes durable what waits.
    ///
    /// # Errors
    ///
    /// When the ledger refuses; everything still waits then.
    pub fn flush(&mut self, moment: Moment) -> Result<(), LedgerError> {
        self.commit(moment, &[]).map(|_| ())
    }

    /// Commits what waits together with notes; the notes' numbers come back.
    fn commit(&mut self, moment: Moment, notes: &[NewNote]) -> Result<Vec<i64>, LedgerError> {
        if !self.waits() && notes.is_empty() {
            return Ok(Vec::new());
        }
        let mut all = notes.to_vec();
        let mut queue = Vec::new();
        for step in &self.pending.steps {
            queue.extend(self.routes_of(step, all.len()));
            all.push(NewNote { at_ms: step.at_ms, from_ms: step.at_ms, note: Note::Step(step.clone()) });
        }
        for (courier, date) in &self.pending.letters {
            let (at_ms, step) = (moment.wall_ms, StepRef::Note(all.len()));
            let expires_ms = at_ms + LETTER_LIFE_MS;
            queue.push(Queued { step, courier: courier.clone(), due_ms: at_ms, expires_ms });
            all.push(NewNote { at_ms, from_ms: at_ms, note: Note::Letter { date: date.clone() } });
        }
        let edition = self.engine.site().edition();
        let pages: Vec<(String, Day, String)> = self
            .pending
            .pages
            .iter()
            .map(|((place, day), made)| {
                (place.clone(), *day, serde_json::to_string(made).unwrap_or_default())
            })
            .collect();
        let rows: Vec<PageRow<'_>> = pages
            .iter()
            .map(|(subject, day, body)| PageRow { subject, day: *day, edition: &edition, body })
            .collect();
        let mirror = self.pending.mirrored.map(|seq| [(crate::mirror::batches::CURSOR, seq)]);
        if !self.pending.undated.is_empty() {
            let mut undated = Commit::empty(self.boot, moment.wall_ms, moment.mono_ms);
            undated.readings = &self.pending.undated;
            undated.dated = false;
            let done = self.ledger.commit(&undated)?;
            self.seq = done.seq.unwrap_or(self.seq);
            self.undated.extend(done.seq);
            self.pending.undated.clear();
        }
        // A wall clock that nobody vouches for leaves no date behind: the next start would take it for the newest commit.
        let wall_ms = if moment.trusted { moment.wall_ms } else { self.engine.now_ms() };
        let mut commit = Commit::empty(self.boot, wall_ms, moment.mono_ms);
        commit.readings = &self.pending.dated;
        commit.notes = &all;
        commit.queue = &queue;
        commit.tried = &self.pending.tried;
        commit.pages = &rows;
        commit.cursors = mirror.as_ref().map_or(&[], |cursor| cursor.as_slice());
        let done = self.ledger.commit(&commit)?;
        self.seq = done.seq.unwrap_or(self.seq);
        self.pending = Pending::default();
        Ok(done.entries.into_iter().take(notes.len()).collect())
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
    }

    fn routes_of(&self, step: &Step, index: usize) -> Vec<Queued> {
        let calendar = &self.engine.site().calendar;
        self.routes
            .iter()
            .filter(|route| step.push || !route.pushes_only)
            .map(|route| {
                let hour = calendar.civil_hour_of(step.at_ms);
                let wait_h = route
                    .quiet
                    .filter(|_| step.severity < Severity::Severe)
                    .map_or(0.0, |(from, to)| quiet_left(hour, f64::from(from), f64::from(to)));
                let due_ms = step.at_ms + (wait_h * 3_600_000.0) as i64;
                Queued {
                    step: StepRef::Note(index),
                    courier: route.courier.clone(),
                    due_ms,
                    expires_ms: due_ms + STEP_LIFE_MS,
                }
            })
            .collect()
    }

    /// Notes something, durably, with everything that waits. What the minders say to it waits for the next
    /// [`flush`](Self::flush).
    ///
    /// # Errors
    ///
    /// Why it was not taken; nothing of it is kept then.
    pub fn note(&mut self, moment: Moment, note: Note, from_ms: Option<i64>) -> Result<i64, NotNoted> {
        if !moment.trusted {
            let why = "the board does not know the time yet; please note it again in a few minutes";
            return Err(NotNoted::Refused(why.to_owned()));
        }
        self.advance(moment);
        let from_ms = from_ms.unwrap_or(moment.wall_ms);
        ground::check(self.engine.ground(), &self.engine.site().book, &note, from_ms, moment.wall_ms)?;
        if let Note::Reply { notice, .. } = &note {
            self.engine.knows_notice(notice)?;
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

    /// Makes marked days afresh from the ledger and what waits for it, at most so many; whether more are left.
    pub fn remake(&mut self, most: usize) -> bool {
        let mut marked: Vec<(String, Day)> = self.engine.take_dirty().into_iter().collect();
        let left = marked.split_off(most.min(marked.len()));
        for (place, day) in marked {
            let stored = Stored { ledger: &self.ledger, waiting: &self.pending.dated };
            let made = make(self.engine.site(), self.engine.ground(), &stored, &place, day);
            self.pending.pages.insert((place.clone(), day), made.clone());
            self.engine.put(&place, day, made);
        }
        let more = !left.is_empty();
        self.engine.mark(left);
        more
    }

    /// Dates this boot's readings by one event in the ledger, and brings the engine to the present.
    ///
    /// # Errors
    ///
    /// When the ledger refuses; the boot stays undated then.
    pub fn date_boot(&mut self, moment: Moment, boot: i64, voucher: &str) -> Result<(), LedgerError> {
        self.flush(moment)?;
        self.ledger.date_boot(boot, moment.wall_ms - moment.mono_ms, voucher)?;
        let mut seq = self.undated.first().map_or(self.seq, |first| first - 1);
        let mut dated = Vec::new();
        loop {
            let batches = self.ledger.batches_after(seq, 500)?;
            let Some(last) = batches.last() else { break };
            seq = last.seq;
            let ours = batches.into_iter().filter(|batch| self.undated.contains(&batch.seq));
            dated.extend(ours.flat_map(|batch| batch.readings));
        }
        self.engine.skip_to(moment.wall_ms);
        for reading in &dated {
            self.engine.take(reading);
        }
        self.undated.clear();
        Ok(())
    }

    /// The notice an entry of the ledger is a step of.
    pub fn notice_of(&self, step: i64) -> Option<String> {
        self.ledger.entries_after(step - 1).ok()?.into_iter().find_map(|entry| match entry.note {
            Note::Step(told) if entry.id == step => Some(told.notice),
            _ => None,
        })
    }

    /// Days that closed since the last look join what waits.
    fn gather_pages(&mut self) {
        for (place, day) in self.engine.take_closed() {
            let made = self.engine.pages().made(self.engine.ground(), &place, day);
            self.pending.pages.insert((place, day), made);
        }
    }
}

/// Hours until quiet ends, 0 outside it.
fn quiet_left(hour: f64, from: f64, to: f64) -> f64 {
    let inside = if from <= to { (from..to).contains(&hour) } else { hour >= from || hour < to };
    if inside { (to - hour).rem_euclid(24.0) } else { 0.0 }
}
