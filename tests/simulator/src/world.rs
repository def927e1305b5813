//! One run: everything that happens, in the order of simulated time.

use std::collections::BTreeMap;

use glasshour::clock::Clock as _;
use glasshour::keeper::event::Event;

use crate::board::Board;
use crate::broker::{Broker, Letter, Packet};
use crate::chance::Chance;
use crate::clock::SimClock;
use crate::counts::Counts;
use crate::far;
use crate::faults::{BootClock, ProbeFault};
use crate::garden::{self, OFFSET_MS, Probe, Way};
use crate::link::Link;
use crate::net::Net;
use crate::plan::Plan;
use crate::probes::{Sample, State};
use crate::store::Store;
use crate::trace::Trace;
use crate::watch::{Violation, Watch};
use crate::weather::{DAY, Weather};

/// The shortest time between two turns of the keeper that nothing but itself asks for, ms.
const TURN_MS: i64 = 300;
/// The longest, ms: a step must be decided within ten seconds of its moment.
const LONGEST_TURN_MS: i64 = 8_000;

/// What happens next.
#[derive(Clone, Debug)]
pub(crate) enum Happening {
    /// A probe measures.
    Measure(usize),
    /// A message reaches the broker.
    AtBroker(Letter),
    /// A message reaches the board, on a connection.
    ToBoard(usize, u64, Packet),
    /// An acknowledgement reaches the broker, on a connection.
    ToBroker(usize, u64, u16),
    /// The board tries to connect.
    Connect(usize),
    /// A fault of the plan begins.
    Strike(usize),
    /// It ends.
    Heal(usize),
    /// A connection that nothing passes on any more is given up.
    GiveUp(u64),
    /// The board comes up.
    Boot(BootClock),
    /// Somebody tells the board the time, if it is still in this life.
    Trust(u64),
    /// The keeper asked to be woken.
    Turn(u64),
    /// Everything is healed but what stays broken.
    HealAll,
    /// The run is over.
    End,
}

/// A whole world.
pub(crate) struct World {
    pub(crate) plan: Plan,
    pub(crate) weather: Weather,
    pub(crate) probes: Vec<Probe>,
    pub(crate) states: Vec<State>,
    pub(crate) broker: Broker,
    pub(crate) links: [Link; 2],
    pub(crate) net: Net,
    pub(crate) board: Board,
    pub(crate) watch: Watch,
    pub(crate) counts: Counts,
    pub(crate) trace: Trace,
    /// Counts the board's lives.
    pub(crate) life: u64,
    pub(crate) healed_ms: Option<i64>,
    queue: BTreeMap<(i64, u64), Happening>,
    order: u64,
    turn: u64,
    pub(crate) connections: u64,
    letters: u64,
    pub(crate) away_told: bool,
    pub(crate) over: bool,
    /// The keeper has stood still up to this moment.
    stood_until_ms: i64,
    pub(crate) steps: u64,
    pub(crate) road: Chance,
    pub(crate) choice: Chance,
}

impl World {
    /// The world of a plan, before anything has happened.
    pub(crate) fn new(plan: &Plan, book: &agronomy::crop::CropBook) -> Self {
        let clock = std::sync::Arc::new(SimClock::default());
        clock.pass_to(plan.start_ms);
        let probes = garden::probes(plan.intervals_ms);
        let rules = glasshour::sources::payload::TopicRules::new(garden::rules(&probes))
            .expect("the garden's own rules can be used together");
        let healed_ms = plan.start_ms + plan.safety_ms;
        let wave_from = (healed_ms + OFFSET_MS).div_euclid(DAY) + 1;
        let mut world = Self {
            weather: Weather::new(plan.seed, OFFSET_MS, wave_from),
            states: vec![State::default(); probes.len()],
            broker: Broker::default(),
            links: [Link::new(rules.stamped(true)), Link::new(rules.stamped(false))],
            net: Net::new(plan.seed),
            board: Board::new(clock, Store::new(plan.seed), &probes, plan.commit_every_ms, book),
            watch: Watch::new(&probes, plan.start_ms, nothing_seen(book)),
            counts: Counts::default(),
            trace: Trace::default(),
            life: 0,
            healed_ms: None,
            queue: BTreeMap::new(),
            order: 0,
            turn: 0,
            connections: 0,
            letters: 0,
            away_told: false,
            over: false,
            stood_until_ms: 0,
            steps: 0,
            road: Chance::new(plan.seed, "roads to the broker"),
            choice: Chance::new(plan.seed, "what the grower does"),
            probes,
            plan: plan.clone(),
        };
        world.at(plan.start_ms, Happening::Boot(BootClock::Right));
        for number in 0..world.probes.len() {
            world.at(plan.start_ms + 2_000 + 7_000 * number as i64, Happening::Measure(number));
        }
        for (number, (after_ms, _)) in plan.faults.iter().enumerate() {
            world.at(plan.start_ms + 20_000 + after_ms, Happening::Strike(number));
        }
        world.at(healed_ms, Happening::HealAll);
        world.at(healed_ms + plan.liveness_ms, Happening::End);
        world
    }

    /// Lets something happen at a moment of true time.
    pub(crate) fn at(&mut self, at_ms: i64, what: Happening) {
        self.order += 1;
        self.queue.insert((at_ms, self.order), what);
    }

    /// True time, UTC ms.
    pub(crate) fn now_ms(&self) -> i64 {
        self.board.clock.true_ms()
    }

    /// Simulated days so far.
    pub(crate) fn days(&self) -> f64 {
        (self.now_ms() - self.plan.start_ms) as f64 / DAY as f64
    }

    /// Everything reckoned and told, once all is stored and no day waits to be made afresh.
    pub(crate) fn export(&mut self) -> Result<String, Violation> {
        for _ in 0..200 {
            self.board.turn().map_err(|why| Violation::new("P2", self.now_ms(), why))?;
            let core = self.board.life.as_ref().map(|life| life.keeper.core());
            if let Some(core) = core.filter(|core| !core.engine().is_dirty()) {
                return Ok(glasshour::keeper::export::export(core.engine()).to_string());
            }
            let next = self.now_ms() + 1_000;
            self.board.clock.pass_to(next);
        }
        Err(Violation::new("P7", self.now_ms(), "days wait for ever to be made afresh"))
    }

    /// Runs to the end.
    ///
    /// # Errors
    ///
    /// The first promise that was broken.
    pub(crate) fn run(&mut self) -> Result<(), Violation> {
        while let Some(((at_ms, _), what)) = self.queue.pop_first() {
            let passed_ms = at_ms - self.now_ms();
            self.board.clock.pass_to(at_ms);
            self.board.pass(passed_ms);
            self.steps += 1;
            if matches!(what, Happening::End) {
                return self.end();
            }
            let turns = self.happen(what)?;
            if self.over {
                return Ok(());
            }
            if turns {
                self.take_turn()?;
            }
            self.trace.step(self.steps, at_ms);
        }
        Ok(())
    }

    /// One thing happens; whether the keeper should look.
    fn happen(&mut self, what: Happening) -> Result<bool, Violation> {
        match what {
            Happening::Measure(number) => return Ok(self.measure(number)),
            Happening::AtBroker(letter) => {
                let out = self.broker.publish(&letter);
                self.send(out);
                return Ok(false);
            }
            Happening::ToBoard(number, connection, packet) => {
                if !self.net.passes_to_board() || self.links[number].connection() != Some(connection) {
                    return Ok(false);
                }
                let mono_ms = self.board.clock.monotonic_ms();
                self.watch.arrived(packet.number, packet.publish.retain || packet.publish.dup, self.now_ms());
                self.links[number].arrived(connection, &packet.publish, mono_ms);
            }
            Happening::ToBroker(number, connection, pkid) => {
                if self.net.passes_to_broker() {
                    let (dropped, out) = self.broker.acknowledged(number, connection, pkid);
                    self.send(out);
                    if let Some(letter) = dropped {
                        self.trace.note("ack", letter as i64);
                        self.watch.acknowledged(letter, self.now_ms())?;
                    }
                }
                return Ok(false);
            }
            Happening::Connect(number) => self.connect(number),
            Happening::Strike(number) => self.strike(number),
            Happening::Heal(number) => self.heal(number),
            Happening::GiveUp(connection) => self.give_up(connection),
            Happening::Boot(clock) => self.boot(clock)?,
            Happening::Trust(life) => {
                if life == self.life {
                    self.board.clock.trust();
                    self.counts.add("wall_trust");
                }
            }
            Happening::Turn(turn) => return Ok(turn == self.turn),
            Happening::HealAll => self.heal_all()?,
            Happening::End => {}
        }
        Ok(true)
    }

    /// A probe measures and sends; whether it hangs on the board's own bus.
    fn measure(&mut self, number: usize) -> bool {
        let now = self.now_ms();
        let probe = self.probes[number].clone();
        self.at(now + probe.interval_ms, Happening::Measure(number));
        let Some(mut sample) = self.states[number].measure(number, &probe, &self.weather, now) else {
            return false;
        };
        if probe.way == Way::Bus {
            // The board stamps what it measures itself, where it knows the time.
            sample.said_ms = sample.said_ms.filter(|_| self.board.clock.vouched_by().is_some());
            let Some(life) = &self.board.life else { return false };
            let heard = Event::Heard {
                readings: sample.heard(&probe),
                arrived_mono_ms: self.board.clock.monotonic_ms(),
                done: None,
            };
            // A bus drops what the keeper has no room for.
            if life.handle.events.try_send(heard).is_ok() {
                self.letters += 1;
                self.watch.sent(self.letters, &sample);
                self.watch.arrived(self.letters, false, now);
            }
            return true;
        }
        if self.states[number].fault == Some(ProbeFault::Cut) {
            if probe.way == Way::Stamped {
                self.states[number].keep(sample);
            }
            return false;
        }
        while let Some(kept) = self.states[number].kept.pop_front() {
            self.counts.add("late readings brought");
            self.publish(&probe, &kept);
        }
        self.publish(&probe, &sample);
        false
    }

    fn publish(&mut self, probe: &Probe, sample: &Sample) {
        self.letters += 1;
        self.watch.sent(self.letters, sample);
        let letter = sample.letter(self.letters, probe);
        let now = self.now_ms();
        let delay = if sample.wrong == Some(ProbeFault::Reorder) {
            // A bare number is dated by its arrival, so it must not come late.
            self.road.between(50, if probe.way == Way::Stamped { 3 * probe.interval_ms } else { 20_000 })
        } else {
            50
        };
        if sample.wrong == Some(ProbeFault::Twice) {
            let again = now + delay + self.road.between(0, 5_000);
            self.at(again, Happening::AtBroker(letter.clone()));
        }
        self.at(now + delay, Happening::AtBroker(letter));
    }

    /// The keeper and the couriers look, and then we do.
    fn take_turn(&mut self) -> Result<(), Violation> {
        if self.board.life.is_none() {
            return Ok(());
        }
        let now = self.now_ms();
        let stalled = now < self.board.stalled_until_ms;
        if let Some(life) = &self.board.life {
            for link in &mut self.links {
                link.hand_on(&life.handle);
            }
        }
        self.counts.add("turn of the keeper");
        let wait = self.board.turn().map_err(|why| Violation::new("P2", now, why))?;
        if self.board.store.is_dark() {
            // The power went in the middle of this turn: nothing it did afterwards has left the board.
            let (away_ms, clock) = self.watch.after_dark();
            self.counts.add("power gone in a write");
            self.down(away_ms, clock);
            return Ok(());
        }
        let mut wait_ms = (wait.as_millis() as i64).clamp(TURN_MS, LONGEST_TURN_MS);
        if stalled || now < self.stood_until_ms {
            self.watch.stood_still(now);
        }
        if stalled {
            self.stood_until_ms = self.board.stalled_until_ms + TURN_MS;
        } else {
            for number in 0..2 {
                let Some(connection) = self.links[number].connection() else { continue };
                for pkid in self.links[number].acknowledgements() {
                    let at_ms = self.net.arrival(now, 2 + number);
                    self.at(at_ms, Happening::ToBroker(number, connection, pkid));
                }
            }
            self.look()?;
        }
        let full = self.links.iter().any(|link| link.in_hand() > 0);
        if full || self.board.far.iter().any(|far| far::at(far).busy > 0) {
            wait_ms = wait_ms.min(500);
        }
        self.turn += 1;
        self.at(now + wait_ms, Happening::Turn(self.turn));
        Ok(())
    }
}

/// The glance of an engine that knows nothing.
fn nothing_seen(book: &agronomy::crop::CropBook) -> std::sync::Arc<glasshour::glance::Glance> {
    let engine = glasshour::keeper::engine::Engine::new(garden::site(book), 0);
    let shell = glasshour::keeper::view::Shell::default();
    std::sync::Arc::new(glasshour::keeper::view::glance(&engine, &shell))
}
