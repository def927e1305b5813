//! The keeper's thread on a machine whose clocks only the test moves, each by itself.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};
use std::time::Duration;

use glasshour::clock::Clock;
use glasshour::keeper::core::{Core, Moment};
use glasshour::keeper::event::Event;
use glasshour::keeper::handle::Handle;
use glasshour::keeper::thread::{Keeper, Setup};
use glasshour::ledger::{Ledger, Reader};
use glasshour::reading::Heard;
use glasshour::supervise::Tasks;

use super::garden::*;

/// A machine whose clocks only the test moves, each by itself.
pub(crate) struct Machine {
    wall_ms: AtomicI64,
    mono_ms: AtomicI64,
    pub(crate) synchronised: AtomicBool,
}

impl Machine {
    pub(crate) fn at(wall_ms: i64, synchronised: bool) -> Arc<Self> {
        let mono_ms = AtomicI64::new(HOUR);
        Arc::new(Self { wall_ms: wall_ms.into(), mono_ms, synchronised: synchronised.into() })
    }

    /// One whose time is known, and which was switched on so long ago.
    pub(crate) fn on_for(wall_ms: i64, mono_ms: i64) -> Arc<Self> {
        Arc::new(Self { wall_ms: wall_ms.into(), mono_ms: mono_ms.into(), synchronised: true.into() })
    }

    /// A keeper on this machine that commits after a second.
    pub(crate) fn setup(self: &Arc<Self>, core: Core, boot: i64) -> Setup {
        Setup {
            core,
            boot,
            clock: Arc::clone(self) as Arc<dyn Clock>,
            commit_every: Duration::from_secs(1),
            listening: String::new(),
            push_key: None,
            makeshift: None,
        }
    }

    pub(crate) fn pass(&self, span_ms: i64) {
        self.mono_ms.fetch_add(span_ms, Ordering::SeqCst);
        self.wall_ms.fetch_add(span_ms, Ordering::SeqCst);
    }

    pub(crate) fn jump(&self, span_ms: i64) {
        self.wall_ms.fetch_add(span_ms, Ordering::SeqCst);
    }
}

impl Clock for Machine {
    fn wall_ms(&self) -> i64 {
        self.wall_ms.load(Ordering::SeqCst)
    }

    fn monotonic_ms(&self) -> i64 {
        self.mono_ms.load(Ordering::SeqCst)
    }

    fn vouched_by(&self) -> Option<String> {
        self.synchronised.load(Ordering::SeqCst).then(|| "the time service".to_owned())
    }

    /// The keeper looks again soon: its clock may have been moved. No longer than it wants between two glances.
    fn real(&self, span: Duration) -> Duration {
        span.min(Duration::from_millis(250))
    }
}

/// A keeper at work.
pub(crate) struct Bench {
    pub(crate) handle: Handle,
    pub(crate) machine: Arc<Machine>,
    pub(crate) clock: Arc<dyn Clock>,
    pub(crate) reader: Reader,
    pub(crate) tasks: Tasks,
    _guard: tokio_util::sync::DropGuard,
}

impl Bench {
    pub(crate) fn on(core: Core, boot: i64, machine: Arc<Machine>) -> Self {
        let reader = core.ledger().reader().unwrap();
        let setup = machine.setup(core, boot);
        let (keeper, handle) = Keeper::new(setup);
        let clock = keeper.clock();
        let mut tasks = Tasks::new();
        let runtime = tokio::runtime::Handle::current();
        tasks.spawn_blocking("keeper", move |stop| keeper.run(&runtime, &stop));
        let guard = tasks.stop().drop_guard();
        Self { handle, machine, clock, reader, tasks, _guard: guard }
    }

    /// On a ledger of its own, trusted from the start or not.
    pub(crate) fn new(synchronised: bool) -> Self {
        let mut ledger = Ledger::in_memory(&founding()).unwrap();
        let early = ledger.begin_boot(0, Some((june() - DAY, "test"))).unwrap();
        let notes: Vec<_> = tomato_house().into_iter().map(|note| (june() - 40 * DAY, note)).collect();
        let then = Moment { wall_ms: june() - DAY, mono_ms: 0, trusted: true };
        glasshour::keeper::start::seed(&mut ledger, early, then, &notes).unwrap();
        let dated = synchronised.then_some((june() - HOUR, "the time service"));
        let boot = ledger.begin_boot(HOUR, dated).unwrap();
        let now = Moment { wall_ms: june(), mono_ms: HOUR, trusted: synchronised };
        let core = Core::start(site(), ledger, boot, now, Vec::new()).unwrap();
        Self::on(core, boot, Machine::at(june(), synchronised))
    }

    /// A bare number arrives now, by the clock that sources read.
    pub(crate) async fn hear(&self, value: f64) {
        let readings = vec![Heard {
            probe: "post".into(),
            quantity: AIR,
            value: Some(value),
            measured_ms: None,
            stale: false,
        }];
        let event = Event::Heard { readings, arrived_mono_ms: self.clock.monotonic_ms(), done: None };
        self.handle.events.send(event).await.unwrap();
        self.rounds().await;
    }

    /// Lets the keeper go round: a question sent after an answer is taken in after what came before it.
    pub(crate) async fn rounds(&self) {
        for _ in 0..3 {
            self.handle.season("nobody".to_owned()).await.unwrap();
        }
    }

    pub(crate) async fn until(&self, what: &str, mut come: impl FnMut(&Self) -> bool) {
        for _ in 0..3_000 {
            if come(self) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        panic!("not within half a minute: {what}");
    }

    pub(crate) fn times(&self) -> Vec<i64> {
        let readings = self.reader.readings("post", AIR, 0..i64::MAX).unwrap();
        readings.into_iter().map(|reading| reading.at_ms).collect()
    }

    pub(crate) async fn stop(self) {
        self.tasks.stop().cancel();
        self.tasks.join(Duration::from_secs(60)).await.unwrap();
    }
}
