//! The task around one courier: waits until something is due, tries, tells the keeper.
//!
//! It writes nothing itself. After a try it leaves the row alone until the ledger shows that the keeper has taken note;
//! so a keeper that is slow, or a disk that is full, never makes it send twice.
//!
//! A far end may take a call and stay silent. So several tries are under way beside each other, of one notice one at a
//! time and of all no more than [`outbox::MOST_AT_ONCE`]; and a try that something severe waits for is given up after
//! [`PATIENCE`]. Thus even where every call hangs, twice that many severe steps of different notices have their first
//! try within ten seconds, and a newer severe step has it though the older one of its notice hangs.

use std::collections::{BTreeMap, BTreeSet};
use std::future::Future;
use std::sync::Arc;
use std::time::Duration;

use futures_util::StreamExt;
use futures_util::future::BoxFuture;
use futures_util::stream::FuturesUnordered;
use tokio_util::sync::CancellationToken;

use super::outbox::{self, Delivery, Errand, Waiting};
use crate::clock::Clock;
use crate::keeper::event::Event;
use crate::keeper::handle::Handle;
use crate::supervise::Outcome;

/// The longest a try may take.
pub const TRY_LIMIT: Duration = Duration::from_secs(30);
/// How long a try may take while something severe waits behind it for its first: less than the ten seconds promised.
pub const PATIENCE: Duration = Duration::from_secs(8);
/// How long a try that is under way when the program stops may go on: an answer now saves a second letter later.
const LAST_WORDS: Duration = Duration::from_secs(3);
/// The longest sleep: the wall clock may be set while we sleep.
const LONGEST_SLEEP: Duration = Duration::from_secs(60);

/// A way out of the house.
pub trait Courier: Send + Sync + 'static {
    /// Its name in the outbox and on the page.
    fn name(&self) -> &str;

    /// Whether it can do nothing while the clock may be wrong: certificates are valid for a time.
    fn needs_the_time(&self) -> bool;

    /// Tries once. [`Delivery::Sent`] only when the far end has said that it took it. Several tries may be under way
    /// beside each other, and each may be broken off at any moment.
    fn carry(&self, waiting: &Waiting) -> impl Future<Output = Delivery> + Send;
}

/// Where a courier's rows are read.
pub trait Outbox: Send {
    /// All rows of `courier` that are neither sent nor dropped, in any order.
    ///
    /// # Errors
    ///
    /// Why they cannot be read, in words.
    fn waiting(&mut self, courier: &str) -> Result<Vec<Waiting>, String>;
}

/// Carries what falls due, until `stop`.
///
/// # Errors
///
/// When the keeper is gone while nobody asked to stop.
pub async fn run<C: Courier, O: Outbox>(
    courier: C,
    outbox: O,
    keeper: Handle,
    clock: Arc<dyn Clock>,
    stop: CancellationToken,
) -> Outcome {
    let mut runner = Runner {
        courier: Arc::new(courier),
        outbox,
        keeper,
        clock,
        stop,
        out: BTreeMap::new(),
        tries: FuturesUnordered::new(),
        told: BTreeMap::new(),
        sent: BTreeSet::new(),
        away: None,
        unread: false,
    };
    while !runner.stop.is_cancelled() {
        // Seen before the rows are read: a commit in between wakes us again.
        runner.keeper.glance.borrow_and_update();
        let nap = runner.turn().await?;
        tokio::select! {
            () = runner.stop.cancelled() => {}
            () = tokio::time::sleep(nap) => {}
            Some(ended) = runner.tries.next() => runner.ended(ended).await?,
            changed = runner.keeper.glance.changed() => {
                if changed.is_err() {
                    return runner.keeper_gone();
                }
            }
        }
    }
    while let Some(ended) = runner.tries.next().await {
        runner.ended(ended).await?;
    }
    Ok(())
}

/// An errand under way.
struct Trip {
    waiting: Waiting,
    /// Cancelled when something severe waits for this try to end.
    hurry: CancellationToken,
}

/// The errand of a thread has come back; without a delivery when the program stopped before it came to an end.
struct Ended {
    thread: String,
    delivery: Option<Delivery>,
}

/// What the keeper was told of a row.
struct Told {
    /// The tries that it showed then: it is news only when it shows more.
    tries: u32,
    /// It is to be tried again.
    again: bool,
}

struct Runner<C, O> {
    courier: Arc<C>,
    outbox: O,
    keeper: Handle,
    clock: Arc<dyn Clock>,
    stop: CancellationToken,
    /// What is under way, by thread.
    out: BTreeMap<String, Trip>,
    tries: FuturesUnordered<BoxFuture<'static, Ended>>,
    /// Entries told to the keeper, until the ledger shows it.
    told: BTreeMap<i64, Told>,
    /// Steps sent from memory, notice and number: when they turn up in the outbox, they were sent.
    sent: BTreeSet<(String, u32)>,
    /// What was last said about the courier being away.
    away: Option<String>,
    /// The outbox could not be read last time.
    unread: bool,
}

impl<C: Courier, O: Outbox> Runner<C, O> {
    /// Sets out with all that is due now; how long to sleep afterwards.
    async fn turn(&mut self) -> Result<Duration, String> {
        let trusted = self.clock.vouched_by().is_some();
        if self.courier.needs_the_time() && !trusted {
            self.say_away(Some("waits until somebody vouches for the time".to_owned())).await?;
            return Ok(self.clock.real(LONGEST_SLEEP));
        }
        let stored = self.stored().await?;
        let mut rows = self.with_unrecorded(stored).await?;
        self.told.retain(|entry, _| rows.iter().any(|row| row.entry == *entry));
        while !self.stop.is_cancelled() {
            self.as_told(&mut rows);
            let now = self.clock.wall_ms();
            let out: Vec<&Waiting> = self.out.values().map(|trip| &trip.waiting).collect();
            let plan = outbox::plan(&rows, &out, now, trusted);
            for trip in plan.hurry.iter().filter_map(|thread| self.out.get(thread)) {
                trip.hurry.cancel();
            }
            for (entry, why) in plan.drop {
                let tries = rows.iter().find(|row| row.entry == entry).map_or(0, |row| row.tries);
                self.tell(entry, tries, Delivery::Never { why: why.to_owned() }).await?;
            }
            let Some(waiting) = plan.send else {
                let nap =
                    plan.next_ms.map_or(LONGEST_SLEEP, |next| Duration::from_millis((next - now) as u64));
                return Ok(self.clock.real(nap.min(LONGEST_SLEEP)));
            };
            self.set_out(waiting);
        }
        Ok(Duration::ZERO)
    }

    /// The rows in the ledger; none, and that is said, where they cannot be read.
    async fn stored(&mut self) -> Result<Vec<Waiting>, String> {
        // A short indexed query on the read connection; not worth a thread of its own.
        match self.outbox.waiting(self.courier.name()) {
            Ok(rows) => {
                if std::mem::take(&mut self.unread) {
                    self.say_away(None).await?;
                }
                Ok(rows)
            }
            Err(why) => {
                self.unread = true;
                self.say_away(Some(format!("the outbox cannot be read: {why}"))).await?;
                Ok(Vec::new())
            }
        }
    }

    /// The rows with what is told from memory while nothing can be stored. Of a notice that is told so, what waits in
    /// the outbox is older; and what was sent from memory and is stored by now was sent.
    async fn with_unrecorded(&mut self, mut rows: Vec<Waiting>) -> Result<Vec<Waiting>, String> {
        let glance = self.keeper.now();
        let lent = &glance.board.unrecorded;
        for row in &rows {
            if let Errand::Step(step) = &row.errand
                && self.sent.remove(&(step.notice.clone(), step.number))
            {
                self.tell(row.entry, row.tries, Delivery::Sent).await?;
            }
        }
        rows.retain(|row| match &row.errand {
            Errand::Step(step) => lent.iter().all(|it| it.step.notice != step.notice),
            Errand::Letter { .. } => true,
        });
        for it in lent {
            let Some((_, due_ms, tries)) = it.waits_for.iter().find(|it| it.0 == self.courier.name()) else {
                continue;
            };
            rows.push(Waiting {
                entry: it.number,
                errand: Errand::Step(it.step.clone()),
                first: it.number,
                due_ms: *due_ms,
                expires_ms: i64::MAX,
                tries: *tries,
                needless: None,
            });
        }
        Ok(rows)
    }

    /// What the ledger does not show yet of the rows: what is over is left out; what is to be tried again waits for the
    /// ledger to say until when, and meanwhile a newer step may take its place, as it must not come after it.
    fn as_told(&self, rows: &mut Vec<Waiting>) {
        rows.retain_mut(|row| match self.told.get(&row.entry) {
            Some(told) if row.tries <= told.tries => {
                row.due_ms = i64::MAX;
                told.again
            }
            _ => true,
        });
    }

    /// Begins one try; it runs whenever the task waits.
    fn set_out(&mut self, waiting: Waiting) {
        let (courier, stop, hurry) = (Arc::clone(&self.courier), self.stop.clone(), CancellationToken::new());
        let thread = waiting.errand.thread().to_owned();
        let trip = Trip { waiting: waiting.clone(), hurry: hurry.clone() };
        self.out.insert(thread.clone(), trip);
        self.tries.push(Box::pin(async move {
            let delivery = carry(&*courier, &waiting, &hurry, &stop).await;
            Ended { thread, delivery }
        }));
    }

    /// Tells how a try went.
    async fn ended(&mut self, Ended { thread, delivery }: Ended) -> Outcome {
        let (Some(Trip { waiting, .. }), Some(delivery)) = (self.out.remove(&thread), delivery) else {
            return Ok(());
        };
        if let (true, Delivery::Sent, Errand::Step(step)) = (waiting.entry < 0, &delivery, &waiting.errand) {
            self.sent.insert((step.notice.clone(), step.number));
        }
        let trouble = match &delivery {
            Delivery::Sent => None,
            Delivery::Later { why, .. } | Delivery::Never { why } => Some(why.clone()),
        };
        self.tell(waiting.entry, waiting.tries, delivery).await?;
        self.say_away(trouble).await
    }

    async fn tell(&mut self, entry: i64, tries: u32, delivery: Delivery) -> Outcome {
        let again = matches!(delivery, Delivery::Later { .. });
        self.told.insert(entry, Told { tries, again });
        let courier = self.courier.name().to_owned();
        self.send(Event::Tried { step: entry, courier, delivery }).await
    }

    /// Says that the courier is away, or back, when that is news.
    async fn say_away(&mut self, why: Option<String>) -> Outcome {
        if self.away == why {
            return Ok(());
        }
        self.away.clone_from(&why);
        self.send(Event::Away { source: self.courier.name().to_owned(), why }).await
    }

    /// Waits for room in the keeper's queue, but not past the end of the program: what is lost then is tried again
    /// after the next start.
    async fn send(&mut self, event: Event) -> Outcome {
        let sent = tokio::select! {
            biased;
            sent = self.keeper.events.send(event) => sent.is_ok(),
            () = self.stop.cancelled() => true,
        };
        if sent { Ok(()) } else { self.keeper_gone() }
    }

    fn keeper_gone(&self) -> Outcome {
        if self.stop.is_cancelled() { Ok(()) } else { Err("the keeper has stopped".to_owned()) }
    }
}

/// One try to its end; none when the program stopped before that.
async fn carry(
    courier: &impl Courier,
    waiting: &Waiting,
    hurry: &CancellationToken,
    stop: &CancellationToken,
) -> Option<Delivery> {
    let silent = |limit: Duration, and: &str| {
        let why = format!("no answer within {} s{and}; it may have arrived", limit.as_secs());
        Some(Delivery::Later { why, after_ms: None })
    };
    // The time runs from the start of the try, whenever it begins to matter.
    let hurried = async { tokio::join!(tokio::time::sleep(PATIENCE), hurry.cancelled()) };
    let stopped = async {
        stop.cancelled().await;
        tokio::time::sleep(LAST_WORDS).await;
    };
    tokio::select! {
        biased;
        delivery = courier.carry(waiting) => Some(delivery),
        () = tokio::time::sleep(TRY_LIMIT) => silent(TRY_LIMIT, ""),
        _ = hurried => silent(PATIENCE, ", and something severe waited behind it"),
        () = stopped => None,
    }
}

#[cfg(test)]
#[path = "runner_tests.rs"]
pub(crate) mod tests;
