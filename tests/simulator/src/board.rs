//! The board: one process after another on one disk, each with the real keeper, ledger and couriers, driven by hand.
//!
//! The couriers' own task (`couriers::runner`) is polled here, inside a runtime whose time is simulated and which is
//! never waited for. The keeper takes one turn after another; between turns nothing of the program runs.

use std::future::Future;
use std::pin::Pin;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::task::{Context, Wake, Waker};
use std::time::Duration;

use agronomy::crop::CropBook;
use glasshour::clock::Clock as _;
use glasshour::couriers::route::UNSEEN_MS;
use glasshour::couriers::runner;
use glasshour::couriers::shelf::Shelf;
use glasshour::keeper::core::{Core, Moment, Route};
use glasshour::keeper::handle::Handle;
use glasshour::keeper::start::seed;
use glasshour::keeper::thread::{Keeper, Setup};
use glasshour::ledger::{Founding, Ledger, LedgerError};
use glasshour::supervise::Outcome;
use tokio::runtime::Runtime;
use tokio_util::sync::CancellationToken;

use crate::clock::{HURRY, Hurried, SimClock};
use crate::far::{Carrier, FarEnd, NAMES, NEXT_PERSON};
use crate::garden::{self, OFFSET_MS, Probe};
use crate::store::Store;

/// The board over all its lives.
pub(crate) struct Board {
    pub(crate) clock: Arc<SimClock>,
    pub(crate) store: Store,
    pub(crate) far: [Arc<Mutex<FarEnd>>; NAMES.len()],
    /// The process that runs now.
    pub(crate) life: Option<Life>,
    /// Until when the keeper stands still, true ms.
    pub(crate) stalled_until_ms: i64,
    book: CropBook,
    probes: Vec<Probe>,
    commit_every: Duration,
    runtime: Runtime,
    start_ms: i64,
}

/// One process.
pub(crate) struct Life {
    pub(crate) keeper: Keeper,
    pub(crate) handle: Handle,
    pub(crate) boot: i64,
    couriers: Vec<Running>,
}

/// A courier's task.
struct Running {
    task: Pin<Box<dyn Future<Output = Outcome>>>,
    woken: Arc<Woken>,
}

/// Whether a task asked to be polled.
#[derive(Debug)]
struct Woken(AtomicBool);

impl Wake for Woken {
    fn wake(self: Arc<Self>) {
        self.0.store(true, Ordering::Relaxed);
    }
}

impl Board {
    pub(crate) fn new(
        clock: Arc<SimClock>,
        store: Store,
        probes: &[Probe],
        commit_every_ms: i64,
        book: &CropBook,
    ) -> Self {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_time()
            .start_paused(true)
            .build()
            .expect("a runtime without threads or sockets asks nothing of the system");
        let start_ms = clock.true_ms();
        Self {
            clock,
            store,
            far: Default::default(),
            life: None,
            stalled_until_ms: 0,
            book: book.clone(),
            probes: probes.to_vec(),
            commit_every: Duration::from_millis(commit_every_ms as u64),
            runtime,
            start_ms,
        }
    }

    /// How the couriers are fed: the first as mail is, with quiet hours and the morning letter; the last as the mail of the
    /// next person is.
    pub(crate) fn routes() -> Vec<Route> {
        let route = |courier: &str, mail: bool| Route {
            courier: courier.to_owned(),
            pushes_only: mail,
            quiet: mail.then_some((22, 6)),
            letter_at: mail.then(|| chrono::NaiveTime::from_hms_opt(6, 0, 0)).flatten(),
            unseen_ms: None,
        };
        let next = Route {
            courier: NAMES[NEXT_PERSON].to_owned(),
            pushes_only: true,
            unseen_ms: Some(UNSEEN_MS),
            ..Route::default()
        };
        vec![route(NAMES[0], true), route(NAMES[1], false), next]
    }

    /// Opens the ledger and the core on it, as the service does.
    fn open(&self) -> Result<(Core, i64), LedgerError> {
        let founding = Founding { offset_ms: OFFSET_MS, program: "simulator".to_owned() };
        let mut ledger = self.store.open(&founding)?;
        let voucher = self.clock.vouched_by();
        let moment = self.moment();
        let dated = voucher.as_deref().map(|voucher| (moment.wall_ms - moment.mono_ms, voucher));
        let boot = ledger.begin_boot(moment.mono_ms, dated)?;
        seed(&mut ledger, boot, moment, &garden::notes(&self.probes, self.start_ms))?;
        let core = Core::start(garden::site(&self.book), ledger, boot, moment, Self::routes())?;
        Ok((core, boot))
    }

    /// A core on any ledger as it would come up now, for comparison.
    pub(crate) fn core_on(&self, ledger: Ledger, boot: i64) -> Result<Core, LedgerError> {
        Core::start(garden::site(&self.book), ledger, boot, self.moment(), Self::routes())
    }

    pub(crate) fn moment(&self) -> Moment {
        let clock = &self.clock;
        let trusted = clock.vouched_by().is_some();
        Moment { wall_ms: clock.wall_ms(), mono_ms: clock.monotonic_ms(), trusted }
    }

    /// Starts a process.
    pub(crate) fn boot(&mut self) -> Result<(), String> {
        let words = |error: LedgerError| error.to_string();
        let (mut core, boot) = self.open().map_err(words)?;
        let epoch = core.ledger_mut().epoch().map_err(words)?;
        let reader = || core.ledger().reader().map_err(words);
        let shelves = [Shelf::new(reader()?), Shelf::new(reader()?), Shelf::of_unseen(reader()?)];
        let clock: Arc<dyn glasshour::clock::Clock> = Arc::clone(&self.clock) as _;
        let setup = Setup {
            core,
            boot,
            clock: Arc::new(Hurried(Arc::clone(&self.clock))),
            commit_every: self.commit_every,
            listening: String::new(),
            push_key: None,
            makeshift: None,
        };
        let (mut keeper, handle) = Keeper::new(setup);
        keeper.begin();
        let couriers = shelves.into_iter().enumerate().map(|(number, shelf)| {
            let far = Arc::clone(&self.far[number]);
            let carrier =
                Carrier { name: NAMES[number], needs_the_time: number != 1, epoch: epoch.clone(), far };
            let (handle, clock, stop) = (handle.clone(), Arc::clone(&clock), CancellationToken::new());
            let task = Box::pin(runner::run(carrier, shelf, handle, clock, stop));
            Running { task, woken: Arc::new(Woken(AtomicBool::new(true))) }
        });
        let couriers = couriers.collect();
        self.life = Some(Life { keeper, handle, boot, couriers });
        Ok(())
    }

    /// The process is gone from one instruction to the next.
    pub(crate) fn die(&mut self) {
        let _inside = self.runtime.enter();
        self.life = None;
    }

    /// The process is told to stop, and does what it does then.
    pub(crate) fn stop(&mut self) -> Outcome {
        let Some(Life { keeper, couriers, .. }) = self.life.take() else { return Ok(()) };
        let stop = CancellationToken::new();
        stop.cancel();
        {
            let _inside = self.runtime.enter();
            drop(couriers);
        }
        keeper.run(self.runtime.handle(), &stop)
    }

    /// Lets time pass for the tasks, ms.
    pub(crate) fn pass(&self, ms: i64) {
        if ms > 0 {
            self.runtime.block_on(tokio::time::advance(Duration::from_millis(ms as u64)));
        }
    }

    /// Keeper and couriers take their turns until none has anything to say to another. Says how long the keeper would
    /// wait.
    ///
    /// # Errors
    ///
    /// A task of the program that ended by itself: a fault of the program.
    pub(crate) fn turn(&mut self) -> Result<Duration, String> {
        if self.clock.true_ms() < self.stalled_until_ms {
            return Ok(Duration::from_millis((self.stalled_until_ms - self.clock.true_ms()) as u64));
        }
        let Some(life) = &mut self.life else { return Ok(Duration::from_secs(60)) };
        let _inside = self.runtime.enter();
        let mut wait = life.keeper.turn();
        for running in &mut life.couriers {
            if running.woken.0.swap(false, Ordering::Relaxed) {
                let waker = Waker::from(Arc::clone(&running.woken));
                if let std::task::Poll::Ready(ended) =
                    running.task.as_mut().poll(&mut Context::from_waker(&waker))
                {
                    return Err(format!("a courier's task ended: {ended:?}"));
                }
            }
        }
        // What the couriers told is taken in at once.
        if life.handle.events.capacity() < life.handle.events.max_capacity() {
            wait = life.keeper.turn();
        }
        Ok(wait * HURRY)
    }
}
