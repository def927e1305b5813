//! The keeper, ledger, minders and couriers in an invented world where everything breaks, from one seed.
//!
//! Real in it: grading, the keeper's own turns, engine, ledger with its SQLite, almanac, minders, outbox, and the couriers'
//! own task. Simulated: both clocks and who vouches for them, the disk, the broker and the roads to it, probes and what
//! they get wrong, the weather, the grower, the couriers' far ends, and the board's power. No thread, no sleep, no
//! socket, no system clock: everything follows from the seed.
//!
//! A run has two phases. In the first anything may fail, at any time and all at once, and the watchers (`watch`) ask
//! what must hold all the same. Then all is healed but what stays broken for good, a heat wave comes, and the garden
//! must be looked after again within bounded time (`liveness`).
//!
//! | file | knows |
//! | --- | --- |
//! | `plan`, `faults`, `strike` | what a seed stands for; what goes wrong; how it begins and ends |
//! | `world`, `look`, `liveness` | what happens, in order; what is asked after each step, and in the second phase |
//! | `watch` | the invariants |
//! | `board`, `clock`, `store` | processes, clocks and disk of the board |
//! | `lives` | the board goes down and comes up |
//! | `broker`, `lines`, `link`, `net` | the broker, connections, our end of one, the roads between |
//! | `garden`, `probes`, `weather` | what stands where, what is measured and said, what is true |
//! | `far` | the couriers' far ends |
//! | `same` | a run without faults against the replay of its record |
//! | `shrink`, `trace`, `counts`, `chance` | a shorter failure, a running hash, counters, named streams of chance |

mod board;
mod broker;
mod chance;
mod clock;
mod counts;
mod far;
mod faults;
mod garden;
mod lines;
mod link;
mod liveness;
mod lives;
mod look;
mod net;
mod plan;
mod probes;
mod same;
mod shrink;
mod store;
mod strike;
mod trace;
mod watch;
mod weather;
mod world;

use std::fmt;

use agronomy::crop::CropBook;

pub use counts::Counts;
pub use faults::{BootClock, DiskFault, FarFault, Fault, Grower, How, LinkFault, ProbeFault};
pub use plan::Plan;
pub use same::live_and_replayed;
pub use shrink::shrink;
pub use watch::Violation;

/// What a run came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Things that happened.
    pub steps: u64,
    /// Simulated days.
    pub days: f64,
    /// How often each kind of thing happened.
    pub counts: Counts,
    /// A running hash each thousand steps, and of the whole: equal for equal runs.
    pub marks: Vec<u64>,
}

/// A run that broke a promise.
#[derive(Clone, Debug, PartialEq)]
pub struct Failure {
    /// The seed's whole choice, faults left out that it can fail without.
    pub plan: Plan,
    /// What was broken.
    pub violation: Violation,
    /// After so many steps.
    pub steps: u64,
}

impl fmt::Display for Failure {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{}\nafter {} steps of\n{}", self.violation, self.steps, self.plan)
    }
}

/// Runs a plan.
///
/// # Errors
///
/// The first promise that was broken.
pub fn run(plan: &Plan, book: &CropBook) -> Result<Report, Box<Failure>> {
    let mut world = world::World::new(plan, book);
    let ended = world.run();
    let steps = world.steps;
    match ended {
        Ok(()) => Ok(Report { steps, days: world.days(), counts: world.counts, marks: world.trace.marks() }),
        Err(violation) => Err(Box::new(Failure { plan: plan.clone(), violation, steps })),
    }
}
