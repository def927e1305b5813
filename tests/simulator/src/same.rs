//! A run without faults against the replay of its own record: the same core, fed the same readings at the same moments.

use agronomy::crop::CropBook;
use glasshour::keeper::core::{Core, Message, Moment};
use glasshour::keeper::export::export;
use glasshour::keeper::start::seed;
use glasshour::ledger::{Founding, Ledger, LedgerError};
use glasshour::reading::Heard;

use crate::garden::{self, OFFSET_MS};
use crate::watch::Violation;
use crate::world::World;
use crate::{Failure, Plan};

/// What a run without faults exports at its end, and what the replay of its record does: the JSON of both.
///
/// # Errors
///
/// A promise that was broken on the way.
pub fn live_and_replayed(seed: u64, book: &CropBook) -> Result<(String, String), Box<Failure>> {
    let plan = Plan::without_faults(seed);
    let mut world = World::new(&plan, book);
    let failed = |violation, steps| Box::new(Failure { plan: plan.clone(), violation, steps });
    world.run().map_err(|violation| failed(violation, world.steps))?;
    let live = world.export().map_err(|violation| failed(violation, world.steps))?;
    let replayed = replay(&world, book)
        .map_err(|error| failed(Violation::new("P7", world.now_ms(), error.to_string()), world.steps))?;
    Ok((live, replayed))
}

/// Feeds what arrived at the board to a core on a ledger in memory.
fn replay(world: &World, book: &CropBook) -> Result<String, LedgerError> {
    let start_ms = world.plan.start_ms;
    let moment = |wall_ms| Moment { wall_ms, mono_ms: wall_ms - start_ms, trusted: true };
    let founding = Founding { offset_ms: OFFSET_MS, program: "replay".to_owned() };
    let mut ledger = Ledger::in_memory(&founding)?;
    let boot = ledger.begin_boot(0, Some((start_ms, "the record")))?;
    seed(&mut ledger, boot, moment(start_ms), &garden::notes(&world.probes, start_ms))?;
    let mut core = Core::start(garden::site(book), ledger, boot, moment(start_ms), Vec::new())?;
    for (arrived_ms, sample) in world.watch.kept.arrivals() {
        let probe = &world.probes[sample.probe];
        let readings: Vec<Heard> = sample.heard(probe);
        core.hear(moment(arrived_ms), &[Message { readings, arrived_ms }]);
        if core.waiting_readings() >= 500 {
            core.flush(moment(arrived_ms))?;
        }
    }
    core.advance(moment(world.now_ms()));
    core.flush(moment(world.now_ms()))?;
    while core.remake(1000) {}
    Ok(export(core.engine()).to_string())
}
