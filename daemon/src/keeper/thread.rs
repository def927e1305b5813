//! The keeper's thread: the queue, the ledger's answers and the clock around the core.
//!
//! One loop: wait for events or for the next moment that matters, take in what waits, let time pass, commit when
//! it is time, acknowledge, publish the glance. It never waits for a reader, a courier or a broker.

mod befell;
mod forecast;
mod storage;
mod time;
mod together;
mod upkeep;
mod witness;

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

use super::core::{Core, Message, Moment};
use super::event::{Acknowledge, Event, NotNoted};
use super::handle::{Handle, Question};
use super::view::{Shell, glance, season};
use crate::clock::Clock;
use crate::clock::believed::Believed;
use crate::entry::Note;
use crate::glance::{Glance, Makeshift};
use crate::supervise::Outcome;

use befell::{Away, Untold};
use together::Together;
use upkeep::{GLANCE_EVERY, does_without};
use witness::Mark;

/// Events that may wait for the keeper: the brake on whoever sends.
const QUEUE: usize = 1024;
/// Events taken in before the clock is looked at again.
const AT_ONCE: usize = 512;
/// Readings held in memory while the ledger refuses, some 5 MB. Past this, those that nobody waits for an acknowledgement
/// of are judged and not kept. Those that are acknowledged are bounded by what their senders let be on the way.
const HELD: usize = 50_000;
/// Acknowledgements held while the ledger refuses; past this no more events are taken in.
const ACKS_HELD: usize = 5_000;
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
    /// The key that phones subscribe for, where there is web push.
    pub push_key: Option<String>,
    /// What this start does without, for as long as it does; none: nothing.
    pub makeshift: Option<watch::Receiver<Vec<Makeshift>>>,
}

/// The keeper, ready to run on a thread of its own.
pub struct Keeper {
    setup: Setup,
    clock: Arc<Believed>,
    events: mpsc::Receiver<Event>,
    glance: watch::Sender<Arc<Glance>>,
    shell: Shell,
    away: BTreeMap<String, Away>,
    /// What waits to be entered until the time is trusted.
    untold: Untold,
    /// Steps of notices that the log has.
    logged: usize,
    acks: Vec<Acknowledge>,
    waiting_since_ms: Option<i64>,
    refused: Option<(String, i64)>,
    /// Since when, by the monotonic clock, ms.
    refused_mono_ms: i64,
    /// When this one began, monotonic ms.
    began_mono_ms: i64,
    /// How far the ledger was then.
    began_at: Mark,
    reopen: bool,
    retry_ms: i64,
    retry_after_ms: i64,
    remake_ms: Option<i64>,
    stale: bool,
    published_ms: i64,
    last_day_worked: i64,
    /// Who waits for everything at once.
    exports: Vec<tokio::sync::oneshot::Sender<serde_json::Value>>,
    /// Damaged rows of the ledger that were met when it was last looked.
    fences: usize,
}

impl Keeper {
    /// Makes a keeper and the way to it.
    pub fn new(setup: Setup) -> (Self, Handle) {
        let (sender, events) = mpsc::channel(QUEUE);
        // Whoever looks before the first round is to see at least what is done without.
        let mut shell = Shell::default();
        shell.board.makeshift = does_without(&setup);
        let (glance_sender, glance_receiver) = watch::channel(Arc::new(glance(setup.core.engine(), &shell)));
        let clock = Arc::new(Self::believed(&setup));
        let calendar = &setup.core.engine().site().calendar;
        let last_day_worked = calendar.day_of(setup.core.engine().now_ms());
        let keeper = Self {
            events,
            glance: glance_sender,
            shell,
            away: BTreeMap::new(),
            untold: Untold::default(),
            logged: setup.core.engine().told().len(),
            acks: Vec::new(),
            waiting_since_ms: None,
            refused: None,
            refused_mono_ms: 0,
            began_mono_ms: 0,
            began_at: Mark::default(),
            reopen: false,
            retry_ms: 0,
            retry_after_ms: storage::RETRY_MS,
            remake_ms: None,
            stale: true,
            published_ms: 0,
            clock,
            last_day_worked,
            exports: Vec::new(),
            fences: 0,
            setup,
        };
        (keeper, Handle::new(sender, glance_receiver))
    }

    /// The clock as it is believed: the one for everybody who works with this keeper.
    pub fn clock(&self) -> Arc<dyn Clock> {
        Arc::clone(&self.clock) as Arc<dyn Clock>
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
        if self.refused.is_none() {
            if let Err(error) = self.setup.core.snapshot(moment, boot) {
                tracing::warn!(%error, "no snapshot at the end; the next start takes longer");
            }
            self.say_goodbye(moment);
        }
        match self.refused {
            Some((why, _)) => Err(format!("what waited could not be stored: {why}")),
            None => Ok(()),
        }
    }

    /// Makes the first glance; once, before the first [`turn`](Self::turn). [`run`](Self::run) does it by itself.
    pub fn begin(&mut self) {
        self.look_back();
        self.mark_beginning();
        self.count_undated();
        self.reckon_growth_if_small();
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
        let mut together = Together::default();
        while let Some(event) = next {
            if let Some(event) = together.join(event) {
                self.hear(std::mem::take(&mut together));
                if let Some(event) = together.join(event) {
                    self.take(event);
                }
            }
            taken += 1;
            let full = taken >= AT_ONCE || (self.refused.is_some() && self.acks.len() >= ACKS_HELD);
            next = if full { None } else { self.events.try_recv().ok() };
        }
        self.hear(together);
        let moment = self.moment();
        let before = self.setup.core.engine().now_ms();
        if moment.trusted && moment.wall_ms - before > STOPPED_MS {
            tracing::warn!(minutes = (moment.wall_ms - before) / 60_000, "time passed unwatched");
            self.setup.core.engine_mut().skip_to(moment.wall_ms);
        }
        self.setup.core.advance(moment);
        self.look_what_befell(moment);
        self.setup.core.write_letters(moment);
        self.log_told();
        let told = self.setup.core.is_urgent() && self.refused.is_none();
        if self.is_commit_due(moment) {
            self.commit(moment);
        }
        self.lend();
        self.remake(moment);
        self.answer_exports(moment);
        self.daily_work(moment);
        self.name_damage(moment);
        if told {
            self.publish();
        } else {
            self.publish_if_due(moment);
        }
    }

    /// How long to wait for the next event at most, real time.
    fn until_next(&self) -> Duration {
        let core = &self.setup.core;
        if !self.exports.is_empty() {
            return Duration::from_millis(1);
        }
        if core.engine().is_dirty() || (self.stale && self.refused.is_none()) {
            return GLANCE_EVERY / 5;
        }
        let moment = self.moment();
        // While nobody knows the time, the watch is woken by its own.
        let wake_ms = core.present().wake_ms() - core.present().now_ms();
        let mut wait = wake_ms.clamp(1, if moment.trusted { 60_000 } else { 5_000 });
        if let Some(since) = self.waiting_since_ms {
            let due = since + self.setup.commit_every.as_millis() as i64;
            wait = wait.min((due - moment.mono_ms).max(1));
        }
        if self.refused.is_some() {
            wait = wait.min((self.retry_ms - moment.mono_ms).max(1));
        }
        self.clock.real(Duration::from_millis(wait as u64)).max(Duration::from_millis(1))
    }

    /// Takes in what was heard at one moment, and judges once.
    fn hear(&mut self, Together { readings, arrived_mono_ms, dones }: Together) {
        if readings.is_empty() {
            return;
        }
        let moment = self.moment();
        self.stale = true;
        let waited_ms = moment.mono_ms.saturating_sub(arrived_mono_ms).max(0);
        let arrived_ms = if moment.trusted { moment.wall_ms } else { moment.mono_ms } - waited_ms;
        // What came in while the keeper was busy is taken in at the moment it came: a queue is no silence.
        let wall_ms = if moment.trusted { arrived_ms } else { moment.wall_ms };
        let moment = Moment { wall_ms, ..moment };
        let message = |readings| Message { readings, arrived_ms };
        let messages: Vec<Message> = readings.into_iter().map(message).collect();
        let full = self.refused.is_some() && self.setup.core.waiting_readings() >= HELD;
        if full && dones.is_empty() {
            let readings = messages.iter().map(|message| message.readings.len() as u64);
            self.shell.board.not_kept += readings.sum::<u64>();
            self.setup.core.only_judge(moment, &messages);
        } else {
            self.setup.core.hear(moment, &messages);
        }
        self.acks.extend(dones);
        self.waiting_since_ms = self.waiting_since_ms.or(Some(moment.mono_ms));
    }

    fn take(&mut self, event: Event) {
        let moment = self.moment();
        self.stale = true;
        match event {
            Event::Heard { readings, arrived_mono_ms, done } => {
                let dones = done.into_iter().collect();
                self.hear(Together { readings: vec![readings], arrived_mono_ms, dones });
            }
            Event::Malformed { probe, sample, done } => {
                let counted = self.shell.malformed.entry(probe.to_string()).or_default();
                counted.0 += 1;
                if counted.0 == 1 {
                    tracing::warn!(%probe, %sample, "could not be read; what follows is counted on the page");
                }
                counted.1 = sample;
                self.acks.extend(done);
                self.waiting_since_ms = self.waiting_since_ms.or(Some(moment.mono_ms));
            }
            Event::Cable { probe, damaged_pct } => {
                let before = self.shell.cables.insert(probe.to_string(), damaged_pct).unwrap_or(0);
                match (before, damaged_pct) {
                    (0, _) => tracing::warn!(%probe, damaged_pct, "answers come damaged: a cable"),
                    (_, 0) => tracing::info!(%probe, "answers come whole again"),
                    _ => {}
                }
            }
            Event::Counted { probe, what, more } => {
                let count = self.shell.counted.entry(probe.to_string()).or_default().entry(what).or_default();
                *count = count.saturating_add_signed(more);
            }
            Event::Chip { probe, serial } => _ = self.untold.chips.insert(probe, serial),
            Event::Witness { mark } => self.witnessed(&mark),
            Event::Away { source, why } => self.away(&source, why, moment),
            Event::Note { note, from_ms, answer } => {
                let taken = self.note(moment, note, from_ms);
                // Whoever looks after the answer finds it.
                self.publish();
                let _ = answer.send(taken);
            }
            Event::Outlook { read, answer } => {
                let taken = self.note_outlook(moment, &read);
                if taken == Ok(true) {
                    self.publish();
                }
                let _ = answer.send(taken);
            }
            Event::Tried { step, courier, delivery } => self.tried(step, &courier, &delivery, moment),
            Event::Mirrored { cursors, standing } => {
                self.setup.core.mirrored(cursors);
                self.shell.board.mirror = Some(standing);
            }
            Event::Clock { word, answer } => {
                let taken = self.word(word);
                self.publish();
                let _ = answer.send(taken);
            }
            Event::Ask(question) => self.answer(question),
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

    fn answer(&mut self, question: Question) {
        match question {
            Question::Export(answer) => {
                // What is refused waits on, and the answer is the last state.
                self.commit(self.moment());
                self.exports.push(answer);
            }
            Question::Breathe(answer) => _ = answer.send(()),
            Question::Tend(work) => {
                let moment = self.moment();
                self.commit(moment);
                work(&mut self.setup.core, moment);
                self.publish();
            }
            Question::Season { planting, answer } => {
                let _ = answer.send(season(self.setup.core.engine(), &planting));
            }
        }
    }
}
