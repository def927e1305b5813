//! The keeper's thread: the queue, the ledger's answers and the clock around the core.
//!
//! One loop: wait for events or for the next moment that matters, take in what waits, let time pass, commit when
//! it is time, acknowledge, publish the glance. It never waits for a reader, a courier or a broker.

mod upkeep;

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

use super::core::{Core, Message, Moment};
use super::event::{Acknowledge, Delivery, Event, NotNoted};
use super::export::export;
use super::handle::{Handle, Question};
use super::view::{Shell, glance, season};
use crate::clock::Clock;
use crate::couriers::shelf;
use crate::entry::Note;
use crate::glance::Glance;
use crate::ledger::LedgerError;
use crate::supervise::Outcome;

use upkeep::{GLANCE_EVERY, REMADE_AT_ONCE};

/// Events that may wait for the keeper: the brake on whoever sends.
const QUEUE: usize = 1024;
/// Events taken in before the clock is looked at again.
const AT_ONCE: usize = 512;
/// Stamped messages waiting for their acknowledgement that make a commit due: half of what the shipped broker
/// settings are sure to keep in flight for us even when a grower left them as they came (20).
const ACKS_DUE: usize = 10;
/// Readings waiting that make a commit due at once.
const READINGS_DUE: usize = 500;
/// Acknowledgements held while the ledger refuses; past this no more events are taken in.
const ACKS_HELD: usize = 5_000;
/// How often a refusing ledger is tried again, ms of the monotonic clock.
const RETRY_MS: i64 = 5_000;
/// A silence of the loop longer than this was a stop (suspended board, stopped process), ms.
const STOPPED_MS: i64 = 30 * 60_000;

/// What the keeper needs to run.
pub struct Setup {
    /// The engine with its ledger.
    pub core: Core,
    /// The boot's number in the ledger.
    pub boot: i64,
    /// The clock.
    pub clock: Arc<dyn Clock>,
    /// Longest time from the first waiting reading to its commit.
    pub commit_every: Duration,
    /// Where the page listens, in words.
    pub listening: String,
}

/// The keeper, ready to run on a thread of its own.
pub struct Keeper {
    setup: Setup,
    events: mpsc::Receiver<Event>,
    glance: watch::Sender<Arc<Glance>>,
    shell: Shell,
    away: BTreeMap<String, String>,
    acks: Vec<Acknowledge>,
    waiting_since_ms: Option<i64>,
    refused: Option<(String, i64)>,
    reopen: bool,
    retry_ms: i64,
    remake_ms: Option<i64>,
    stale: bool,
    published_ms: i64,
    trusted: bool,
    last_day_worked: i64,
}

impl Keeper {
    /// Makes a keeper and the way to it.
    pub fn new(setup: Setup) -> (Self, Handle) {
        let (sender, events) = mpsc::channel(QUEUE);
        let (glance_sender, glance_receiver) =
            watch::channel(Arc::new(glance(setup.core.engine(), &Shell::default())));
        let trusted = setup.clock.vouched_by().is_some();
        let calendar = &setup.core.engine().site().calendar;
        let last_day_worked = calendar.day_of(setup.core.engine().now_ms());
        let keeper = Self {
            events,
            glance: glance_sender,
            shell: Shell::default(),
            away: BTreeMap::new(),
            acks: Vec::new(),
            waiting_since_ms: None,
            refused: None,
            reopen: false,
            retry_ms: 0,
            remake_ms: None,
            stale: true,
            published_ms: 0,
            trusted,
            last_day_worked,
            setup,
        };
        (keeper, Handle { events: sender, glance: glance_receiver })
    }

    fn moment(&self) -> Moment {
        let clock = &self.setup.clock;
        Moment { wall_ms: clock.wall_ms(), mono_ms: clock.monotonic_ms(), trusted: self.trusted }
    }

    /// Runs until told to stop; commits what waits before it ends.
    ///
    /// # Errors
    ///
    /// When something that waits could not be made durable at the end.
    pub fn run(mut self, runtime: &tokio::runtime::Handle, stop: &CancellationToken) -> Outcome {
        self.begin();
        while !stop.is_cancelled() {
            let wait = self.until_next();
            let first = runtime.block_on(async {
                tokio::select! {
                    () = stop.cancelled() => None,
                    event = tokio::time::timeout(wait, self.events.recv()) => event.ok().flatten(),
                }
            });
            self.round(first);
        }
        while let Ok(event) = self.events.try_recv() {
            self.take(event);
        }
        let moment = self.moment();
        self.setup.core.advance(moment);
        self.commit(moment);
        let boot = self.setup.boot;
        if self.refused.is_none()
            && let Err(error) = self.setup.core.snapshot(moment, boot)
        {
            tracing::warn!(%error, "no snapshot at the end; the next start takes longer");
        }
        match self.refused {
            Some((why, _)) => Err(format!("what waited could not be stored: {why}")),
            None => Ok(()),
        }
    }

    /// Makes the first glance; once, before the first [`turn`](Self::turn). [`run`](Self::run) does it by itself.
    pub fn begin(&mut self) {
        self.count_undated();
        self.publish();
    }

    /// One turn without waiting, for a driver with a clock of its own: takes in what waits, lets time pass, commits
    /// what is due. Says how long it would wait for the next event at most.
    pub fn turn(&mut self) -> Duration {
        let first = self.events.try_recv().ok();
        self.round(first);
        self.until_next()
    }

    /// The engine with its ledger, to look at.
    pub fn core(&self) -> &Core {
        &self.setup.core
    }

    fn round(&mut self, first: Option<Event>) {
        self.look_at_clock();
        let mut taken = 0;
        let mut next = first;
        while let Some(event) = next {
            self.take(event);
            taken += 1;
            let full = taken >= AT_ONCE || (self.refused.is_some() && self.acks.len() >= ACKS_HELD);
            next = if full { None } else { self.events.try_recv().ok() };
        }
        let moment = self.moment();
        let before = self.setup.core.engine().now_ms();
        if moment.trusted && moment.wall_ms - before > STOPPED_MS {
            tracing::warn!(minutes = (moment.wall_ms - before) / 60_000, "time passed unwatched");
            self.setup.core.engine_mut().skip_to(moment.wall_ms);
        }
        self.setup.core.advance(moment);
        self.setup.core.write_letters(moment);
        let told = self.setup.core.is_urgent() && self.refused.is_none();
        if self.is_commit_due(moment) {
            self.commit(moment);
        }
        self.remake(moment);
        self.daily_work(moment);
        if told {
            self.publish();
        } else {
            self.publish_if_due(moment);
        }
    }

    /// How long to wait for the next event at most, real time.
    fn until_next(&self) -> Duration {
        let core = &self.setup.core;
        if core.engine().is_dirty() || (self.stale && self.refused.is_none()) {
            return GLANCE_EVERY / 5;
        }
        let moment = self.moment();
        let mut wait = core.engine().wake_ms().saturating_sub(moment.wall_ms).clamp(1, 60_000);
        if let Some(since) = self.waiting_since_ms {
            let due = since + self.setup.commit_every.as_millis() as i64;
            wait = wait.min((due - moment.mono_ms).max(1));
        }
        if self.refused.is_some() {
            wait = wait.min((self.retry_ms - moment.mono_ms).max(1));
        }
        self.setup.clock.real(Duration::from_millis(wait as u64)).max(Duration::from_millis(1))
    }

    /// Trust comes once in a boot: then this boot's readings are dated by one event in the ledger.
    fn look_at_clock(&mut self) {
        let voucher = self.setup.clock.vouched_by();
        if self.trusted || voucher.is_none() || self.refused.is_some() {
            self.shell.board.clock_vouched_by = voucher.filter(|_| self.trusted);
            return;
        }
        let clock = &self.setup.clock;
        let moment = Moment { wall_ms: clock.wall_ms(), mono_ms: clock.monotonic_ms(), trusted: false };
        let newest = self.setup.core.ledger().newest_commit_ms().ok().flatten();
        if newest.is_some_and(|newest| moment.wall_ms < newest) {
            // A clock that stands before the newest commit is wrong, whoever vouches for it.
            return;
        }
        let voucher = voucher.unwrap_or_default();
        match self.setup.core.date_boot(moment, self.setup.boot, &voucher) {
            Ok(()) => {
                tracing::info!(%voucher, "the clock is trusted; this boot's readings are dated");
                self.trusted = true;
                self.count_undated();
                self.stale = true;
                self.shell.board.clock_vouched_by = Some(voucher);
            }
            Err(error) => self.refuse(&error, moment),
        }
    }

    fn take(&mut self, event: Event) {
        let moment = self.moment();
        self.stale = true;
        match event {
            Event::Heard { readings, arrived_mono_ms, done } => {
                let waited_ms = moment.mono_ms.saturating_sub(arrived_mono_ms).max(0);
                let arrived_ms = if moment.trusted { moment.wall_ms } else { moment.mono_ms } - waited_ms;
                // What came in while the keeper was busy is taken in at the moment it came: a queue is no silence.
                let wall_ms = if moment.trusted { arrived_ms } else { moment.wall_ms };
                self.setup.core.hear(Moment { wall_ms, ..moment }, &[Message { readings, arrived_ms }]);
                self.acks.extend(done);
                self.waiting_since_ms = self.waiting_since_ms.or(Some(moment.mono_ms));
            }
            Event::Malformed { probe, sample, done } => {
                let counted = self.shell.malformed.entry(probe.to_string()).or_default();
                counted.0 += 1;
                counted.1 = sample;
                self.acks.extend(done);
                self.waiting_since_ms = self.waiting_since_ms.or(Some(moment.mono_ms));
            }
            Event::Away { source, why } => self.away(&source, why, moment),
            Event::Note { note, from_ms, answer } => {
                let taken = self.note(moment, note, from_ms);
                // Whoever looks after the answer finds it.
                self.publish();
                let _ = answer.send(taken);
            }
            Event::Tried { step, courier, delivery } => self.tried(step, &courier, &delivery, moment),
            Event::Mirrored { seq } => self.setup.core.mirrored(seq),
            Event::Ask(question) => self.answer(question),
        }
    }

    fn away(&mut self, source: &str, why: Option<String>, moment: Moment) {
        let clock = self.setup.core.engine().site().calendar.clock(moment.wall_ms);
        match why {
            Some(why) => {
                tracing::warn!(source, %why, "away");
                self.away.insert(source.to_owned(), format!("{source} away since {clock}: {why}"));
            }
            None => {
                tracing::info!(source, "back");
                self.away.remove(source);
            }
        }
    }

    fn note(&mut self, moment: Moment, note: Note, from_ms: Option<i64>) -> Result<i64, String> {
        if self.refused.is_some() {
            // Somebody waits for an answer: the ledger is tried at once, reopened first if it must be.
            self.commit(moment);
        }
        if let Some((why, _)) = &self.refused {
            return Err(format!("not noted, nothing can be stored: {why}"));
        }
        match self.setup.core.note(moment, note, from_ms) {
            Ok(id) => {
                // Everything that waited went with it.
                self.acknowledge();
                Ok(id)
            }
            Err(error) => {
                let words = error.to_string();
                if let NotNoted::Storage(error) = error {
                    self.refuse(&error, moment);
                }
                Err(words)
            }
        }
    }

    fn tried(&mut self, step: i64, courier: &str, delivery: &Delivery, moment: Moment) {
        let rows = self.setup.core.ledger().outbox().unwrap_or_default();
        let Some(row) = rows.iter().find(|row| row.step == step && row.courier == courier) else { return };
        self.setup.core.tried(shelf::tried(row, delivery, moment.wall_ms));
        if let Delivery::Never { why } | Delivery::Later { why, .. } = delivery {
            tracing::warn!(step, %courier, %why, "not delivered");
        }
        if let Some(notice) = self.setup.core.notice_of(step) {
            self.shell.undelivered.retain(|(of, why)| *of != notice || !why.starts_with(courier));
            if let Delivery::Never { why } | Delivery::Later { why, .. } = delivery {
                self.shell.undelivered.push((notice, format!("{courier}: {why}")));
            }
        }
    }

    fn answer(&mut self, question: Question) {
        match question {
            Question::Export(answer) => {
                // Pages are made from what is stored. What is refused waits on, and the answer is the last state.
                self.commit(self.moment());
                while self.setup.core.engine().is_dirty() {
                    self.setup.core.remake(REMADE_AT_ONCE);
                }
                let _ = answer.send(export(self.setup.core.engine()));
            }
            Question::Season { planting, answer } => {
                let _ = answer.send(season(self.setup.core.engine(), &planting));
            }
        }
    }

    fn is_commit_due(&self, moment: Moment) -> bool {
        if self.refused.is_some() {
            return moment.mono_ms >= self.retry_ms;
        }
        let core = &self.setup.core;
        let waited = self
            .waiting_since_ms
            .is_some_and(|since| moment.mono_ms - since >= self.setup.commit_every.as_millis() as i64);
        let many = core.waiting_readings() >= READINGS_DUE || self.acks.len() >= ACKS_DUE;
        core.is_urgent() || many || waited
    }

    /// Commits what waits; on refusal holds everything and says so.
    fn commit(&mut self, moment: Moment) {
        if self.reopen {
            // Never commit again on a file that gave an I/O error before it was closed, forgotten and checked.
            match self.setup.core.ledger_mut().reopen() {
                Ok(()) => self.reopen = false,
                Err(error) => return self.refuse(&error, moment),
            }
        }
        match self.setup.core.flush(moment) {
            Ok(()) => {
                if self.refused.take().is_some() {
                    tracing::info!("the ledger takes readings again");
                    self.shell.board.storage_refused = None;
                    self.publish();
                }
                self.acknowledge();
                if !self.trusted {
                    self.count_undated();
                    self.stale = true;
                }
                if let Err(error) = self.setup.core.ledger_mut().checkpoint() {
                    tracing::warn!(%error, "the log could not be folded into the file yet");
                }
            }
            Err(error) => self.refuse(&error, moment),
        }
    }

    fn refuse(&mut self, error: &LedgerError, moment: Moment) {
        let since = self.refused.as_ref().map_or(moment.wall_ms, |(_, since)| *since);
        let first = self.refused.is_none();
        self.reopen |= error.needs_reopening();
        self.refused = Some((error.to_string(), since));
        self.shell.board.storage_refused = Some((error.to_string(), since));
        self.retry_ms = moment.mono_ms + RETRY_MS;
        if first {
            tracing::error!(%error, "nothing can be stored; messages stay unacknowledged");
            self.publish();
        }
    }

    fn acknowledge(&mut self) {
        self.waiting_since_ms = None;
        for done in self.acks.drain(..) {
            done();
        }
    }
}
