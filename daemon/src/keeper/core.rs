//! The engine with its ledger: what is decided together becomes durable together.
//!
//! The core has no clock, no queue and no thread: live running, replay and the demo's history all drive it with
//! moments of their own. When the ledger refuses, what waits is kept and the engine goes on: the garden is
//! still watched, nothing is acknowledged, and the next attempt commits all of it.

mod dating;
mod remake;
mod turned_up;
mod unrecorded;
mod watch;

use std::collections::{BTreeMap, BTreeSet};

use agronomy::crop::Severity;
use chrono::NaiveTime;

use self::unrecorded::Lent;
use self::watch::Watch;
use super::earlier::Earlier;
use super::engine::Engine;
use super::event::NotNoted;
use super::grading::{Circumstances, FUTURE_MS, grade, stamp};
use crate::almanac::pages::Made;
use crate::calendar::Day;
use crate::couriers::STEP_LIFE_MS;
use crate::couriers::letter::{LETTER_LIFE_MS, due};
use crate::entry::{Entry, Note, Step};
use crate::ground;
use crate::ledger::{Commit, Ledger, LedgerError, NO_EXPIRY_MS, NewNote, PageRow, Queued, StepRef, TriedRow};
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
    mirrored: BTreeMap<String, i64>,
    /// Letters to be written: courier, day.
    letters: Vec<(String, String)>,
    /// That another edition came into service.
    renewed: Option<Note>,
    /// The only editions whose pages are kept; none named: all are.
    editions: Vec<String>,
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
}

impl Core {
    /// Joins an engine that stands at the ledger's state with its ledger.
    pub fn new(engine: Engine, ledger: Ledger, boot: i64, seq: i64, routes: Vec<Route>) -> Self {
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
            under_cover: self.engine.ground().under_cover(&heard.probe, at),
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

    /// Whether anything waits to become durable.
    pub fn waits(&self) -> bool {
        let pending = &self.pending;
        !(pending.dated.is_empty()
            && pending.undated.is_empty()
            && pending.steps.is_empty()
            && pending.tried.is_empty()
            && pending.pages.is_empty()
            && pending.letters.is_empty()
            && pending.mirrored.is_empty())
            || !pending.editions.is_empty()
            || self.engine.editions().due(false).is_some()
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

    /// Keeps how far the mirror has come, by its cursors; they ride in the next commit.
    pub fn mirrored(&mut self, cursors: Vec<(String, i64)>) {
        self.pending.mirrored.extend(cursors);
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
        let first_step = all.len();
        for step in &self.pending.steps {
            queue.extend(self.lent.not_taken(step, self.routes_of(step, all.len())));
            let from_ms = if step.is_undated() { -self.boot } else { step.at_ms };
            all.push(NewNote { at_ms: step.at_ms, from_ms, note: Note::Step(step.clone()) });
        }
        all.extend(self.lent.facts(moment.wall_ms));
        for (courier, date) in &self.pending.letters {
            let (at_ms, step) = (moment.wall_ms, StepRef::Note(all.len()));
            let expires_ms = at_ms + LETTER_LIFE_MS;
            queue.push(Queued { step, courier: courier.clone(), due_ms: at_ms, expires_ms });
            all.push(NewNote { at_ms, from_ms: at_ms, note: Note::Letter { date: date.clone() } });
        }
        let edition_note = self.edition_note();
        let at_ms = self.engine.now_ms();
        all.extend(edition_note.iter().map(|note| NewNote { at_ms, from_ms: at_ms, note: note.clone() }));
        let edition = self.engine.editions().current().to_owned();
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
        let mirror: Vec<(&str, i64)> =
            self.pending.mirrored.iter().map(|(name, seq)| (name.as_str(), *seq)).collect();
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
        commit.editions = &self.pending.editions;
        commit.cursors = &mirror;
        let done = self.ledger.commit(&commit)?;
        self.seq = done.seq.unwrap_or(self.seq);
        self.lent.stored(&self.pending.steps, done.entries.get(first_step..).unwrap_or_default());
        self.pending = Pending::default();
        if let Some(note) = edition_note {
            self.engine.editions.noted(&note, at_ms);
        }
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
                // While nobody knows the time, no hour is quiet and no step is old.
                let (due_ms, expires_ms) =
                    if step.is_undated() { (0, NO_EXPIRY_MS) } else { (due_ms, due_ms + STEP_LIFE_MS) };
                Queued { step: StepRef::Note(index), courier: route.courier.clone(), due_ms, expires_ms }
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
