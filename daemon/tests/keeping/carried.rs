//! A board whose couriers and far ends are simulated, in one thread and in moments of the tests' own: the real core, the
//! real ledger, the real shelf and plan; only the journey is made up. A crash drops all that was not committed.

use std::collections::BTreeSet;

use agronomy::crop::Severity;
use glasshour::couriers::outbox::Delivery;
use glasshour::couriers::outbox::{Errand, plan};
use glasshour::couriers::public_id;
use glasshour::couriers::runner::Outbox;
use glasshour::couriers::shelf::{Shelf, tried};
use glasshour::entry::{Note, Step};
use glasshour::glance::Glance;
use glasshour::keeper::core::{Core, Route};
use glasshour::keeper::start::seed;
use glasshour::keeper::view::{Shell, glance};
use glasshour::ledger::Ledger;
use glasshour::minders::word::Word;

use super::garden::*;

/// What a far end does with what comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Mood {
    /// Takes it and says so.
    Accepts,
    /// Takes it, and its answer is lost.
    LosesReply,
    /// Wants to be asked later.
    Refuses,
    /// Will never take it.
    RefusesForGood,
    /// Takes it, and says so only after a try has been given up.
    Slow,
    /// Nobody answers.
    Gone,
}

/// One thing that a far end took.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Taken {
    pub(crate) courier: usize,
    pub(crate) id: String,
    pub(crate) entry: i64,
    pub(crate) at_ms: i64,
    pub(crate) step: Option<Step>,
}

/// A garden, its board and the far ends of its couriers.
pub(crate) struct Board {
    pub(crate) core: Core,
    pub(crate) now_ms: i64,
    pub(crate) moods: Vec<Mood>,
    /// What the far ends took, in order.
    pub(crate) taken: Vec<Taken>,
    pub(crate) trusted: bool,
    routes: Vec<Route>,
    shelves: Vec<Shelf>,
    /// Told to the core and not committed yet: left alone until then, as the real runner does.
    told: BTreeSet<(usize, i64)>,
}

/// A courier that hears of everything that may buzz, at once.
pub(crate) fn pushing(courier: &str) -> Route {
    Route { courier: courier.to_owned(), pushes_only: true, ..Route::default() }
}

/// A courier by which only that goes which nobody has seen for half an hour.
pub(crate) fn next_person(courier: &str) -> Route {
    Route { unseen_ms: Some(glasshour::couriers::route::UNSEEN_MS), ..pushing(courier) }
}

/// Something to be told that may buzz.
pub(crate) fn word(severity: Severity) -> Word {
    Word {
        planting: None,
        severity,
        push: true,
        joins_heat: false,
        title: "Go and look.".to_owned(),
        text: "House: something.".to_owned(),
        caution: "",
    }
}

impl Board {
    pub(crate) fn new(notes: &[Note], routes: Vec<Route>, start_ms: i64) -> Self {
        let mut ledger = Ledger::in_memory(&founding()).unwrap();
        let boot = ledger.begin_boot(start_ms - june(), Some((june(), "test"))).unwrap();
        let notes: Vec<_> = notes.iter().map(|note| (june() - 40 * DAY, note.clone())).collect();
        seed(&mut ledger, boot, moment(start_ms), &notes).unwrap();
        let core = Core::start(site(), ledger, boot, moment(start_ms), routes.clone()).unwrap();
        let moods = vec![Mood::Accepts; routes.len()];
        let shelves = shelves(&core, &routes);
        let told = BTreeSet::new();
        Self { core, now_ms: start_ms, moods, taken: Vec::new(), trusted: true, routes, shelves, told }
    }

    pub(crate) fn courier(&self, number: usize) -> &str {
        &self.routes[number].courier
    }

    pub(crate) fn is_next_person(&self, number: usize) -> bool {
        self.routes[number].unseen_ms.is_some()
    }

    /// A probe says its air; a minute passes.
    pub(crate) fn hear(&mut self, t_c: f64) {
        self.now_ms += MINUTE;
        hear(&mut self.core, self.now_ms, &[("post", AIR, t_c)]);
    }

    /// Time passes without a word.
    pub(crate) fn pass(&mut self, ms: i64) {
        self.now_ms += ms;
        self.core.advance(moment(self.now_ms));
    }

    pub(crate) fn flush(&mut self) {
        self.core.flush(moment(self.now_ms)).unwrap();
        self.told.clear();
    }

    pub(crate) fn note(&mut self, note: Note) {
        self.core.note(moment(self.now_ms), note, None).unwrap();
        self.told.clear();
    }

    /// Every courier looks once: drops what is to be dropped and tries one thing that is due.
    pub(crate) fn carry(&mut self) {
        for number in 0..self.routes.len() {
            self.carry_by(number);
        }
    }

    /// Whether it tried anything.
    pub(crate) fn carry_by(&mut self, number: usize) -> bool {
        let name = self.routes[number].courier.clone();
        let mut rows = self.shelves[number].waiting(&name).unwrap();
        rows.retain(|row| !self.told.contains(&(number, row.entry)));
        let plan = plan(&rows, &[], self.now_ms, self.trusted);
        for (entry, why) in plan.drop {
            self.say(number, entry, &Delivery::Never { why: why.to_owned() });
        }
        let Some(waiting) = plan.send else { return false };
        let takes = matches!(self.moods[number], Mood::Accepts | Mood::LosesReply | Mood::Slow);
        if takes {
            let step = match &waiting.errand {
                Errand::Step(step) => Some(step.clone()),
                Errand::Letter { .. } => None,
            };
            let id = public_id(waiting.entry, "e");
            let (entry, at_ms) = (waiting.entry, self.now_ms);
            self.taken.push(Taken { courier: number, id, entry, at_ms, step });
        }
        let later = |why: &str, after_ms| Delivery::Later { why: why.to_owned(), after_ms };
        let delivery = match self.moods[number] {
            Mood::Accepts => Delivery::Sent,
            Mood::LosesReply => later("the connection broke before the answer", None),
            Mood::Refuses => later("451 come again", Some(60_000)),
            Mood::RefusesForGood => Delivery::Never { why: "552 no".to_owned() },
            Mood::Slow => later("no answer within 30 s; it may have arrived", None),
            Mood::Gone => later("nobody answers", None),
        };
        self.say(number, waiting.entry, &delivery);
        true
    }

    /// What the keeper does when a courier tells it of a try.
    fn say(&mut self, number: usize, entry: i64, delivery: &Delivery) {
        let courier = self.routes[number].courier.clone();
        let rows = self.core.ledger().outbox().unwrap();
        if let Some(row) = rows.iter().find(|row| row.step == entry && row.courier == courier) {
            self.core.tried(tried(row, delivery, self.now_ms));
            self.told.insert((number, entry));
        }
    }

    /// Commits and carries until no courier has anything due.
    pub(crate) fn settle(&mut self) {
        loop {
            self.flush();
            let mut any = false;
            for number in 0..self.routes.len() {
                any |= self.carry_by(number);
            }
            if !any {
                return self.flush();
            }
        }
    }

    /// The program ends here and starts again on what the ledger holds.
    pub(crate) fn crash(&mut self) {
        let empty = Ledger::in_memory(&founding()).unwrap();
        let mut ledger = std::mem::replace(self.core.ledger_mut(), empty);
        let at = moment(self.now_ms);
        let boot = ledger.begin_boot(at.mono_ms, Some((june(), "test"))).unwrap();
        self.core = Core::start(site(), ledger, boot, at, self.routes.clone()).unwrap();
        self.shelves = shelves(&self.core, &self.routes);
        self.told.clear();
    }

    /// What the page would show.
    pub(crate) fn glance(&self) -> Glance {
        let deliveries = self.core.deliveries().unwrap();
        glance(self.core.engine(), &Shell { deliveries, ..Shell::default() })
    }

    /// Every stored step with its entry's number.
    pub(crate) fn stored(&self) -> Vec<(i64, Step)> {
        let entries = self.core.ledger().entries().unwrap();
        let step = |entry: glasshour::entry::Entry| match entry.note {
            Note::Step(step) => Some((entry.id, step)),
            _ => None,
        };
        entries.into_iter().filter_map(step).collect()
    }
}

fn shelves(core: &Core, routes: &[Route]) -> Vec<Shelf> {
    let reader = || core.ledger().reader().unwrap();
    let shelf = |route: &Route| {
        if route.unseen_ms.is_some() { Shelf::of_unseen(reader()) } else { Shelf::new(reader()) }
    };
    routes.iter().map(shelf).collect()
}
