//! The task around one courier: waits until something is due, tries once, tells the keeper.
//!
//! It writes nothing itself. After a try it leaves the row alone until the ledger shows that the keeper has taken note;
//! so a keeper that is slow, or a disk that is full, never makes it send twice.

use std::collections::{BTreeMap, BTreeSet};
use std::future::Future;
use std::sync::Arc;
use std::time::Duration;

use tokio_util::sync::CancellationToken;

use super::outbox::{self, Delivery, Errand, Waiting};
use crate::clock::Clock;
use crate::keeper::event::Event;
use crate::keeper::handle::Handle;
use crate::supervise::Outcome;

/// The longest a try may take.
pub const TRY_LIMIT: Duration = Duration::from_secs(30);
/// How long a try that is under way when the program stops may go on: an answer now saves a second letter later.
const LAST_WORDS: Duration = Duration::from_secs(3);
/// The longest sleep: the wall clock may be set while we sleep.
const LONGEST_SLEEP: Duration = Duration::from_secs(60);

/// A way out of the house.
pub trait Courier: Send {
    /// Its name in the outbox and on the page.
    fn name(&self) -> &str;

    /// Whether it can do nothing while the clock may be wrong: certificates are valid for a time.
    fn needs_the_time(&self) -> bool;

    /// Tries once. [`Delivery::Sent`] only when the far end has said that it took it.
    fn carry(&mut self, waiting: &Waiting) -> impl Future<Output = Delivery> + Send;
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
        courier,
        outbox,
        keeper,
        clock,
        stop,
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
            changed = runner.keeper.glance.changed() => {
                if changed.is_err() {
                    return runner.keeper_gone();
                }
            }
        }
    }
    Ok(())
}

struct Runner<C, O> {
    courier: C,
    outbox: O,
    keeper: Handle,
    clock: Arc<dyn Clock>,
    stop: CancellationToken,
    /// Entries told to the keeper, with the tries their row showed then: news only when it shows more.
    told: BTreeMap<i64, u32>,
    /// Steps sent from memory, notice and number: when they turn up in the outbox, they were sent.
    sent: BTreeSet<(String, u32)>,
    /// What was last said about the courier being away.
    away: Option<String>,
    /// The outbox could not be read last time.
    unread: bool,
}

impl<C: Courier, O: Outbox> Runner<C, O> {
    /// Sends all that is due now; how long to sleep afterwards.
    async fn turn(&mut self) -> Result<Duration, String> {
        while !self.stop.is_cancelled() {
            let trusted = self.clock.vouched_by().is_some();
            if self.courier.needs_the_time() && !trusted {
                self.say_away(Some("waits until somebody vouches for the time".to_owned())).await?;
                return Ok(self.clock.real(LONGEST_SLEEP));
            }
            // A short indexed query on the read connection; not worth a thread of its own.
            let stored = match self.outbox.waiting(self.courier.name()) {
                Ok(rows) => {
                    if std::mem::take(&mut self.unread) {
                        self.say_away(None).await?;
                    }
                    rows
                }
                Err(why) => {
                    self.unread = true;
                    self.say_away(Some(format!("the outbox cannot be read: {why}"))).await?;
                    Vec::new()
                }
            };
            let rows = self.with_unrecorded(stored).await?;
            let rows = self.not_yet_told(rows);
            let now = self.clock.wall_ms();
            let plan = outbox::plan(&rows, now, trusted);
            for (entry, why) in plan.drop {
                let tries = rows.iter().find(|row| row.entry == entry).map_or(0, |row| row.tries);
                self.tell(entry, tries, Delivery::Never { why: why.to_owned() }).await?;
            }
            let Some(waiting) = plan.send else {
                let nap =
                    plan.next_ms.map_or(LONGEST_SLEEP, |next| Duration::from_millis((next - now) as u64));
                return Ok(self.clock.real(nap.min(LONGEST_SLEEP)));
            };
            let Some(delivery) = self.carry(&waiting).await else { break };
            if let (true, Delivery::Sent, Errand::Step(step)) =
                (waiting.entry < 0, &delivery, &waiting.errand)
            {
                self.sent.insert((step.notice.clone(), step.number));
            }
            let trouble = match &delivery {
                Delivery::Sent => None,
                Delivery::Later { why, .. } | Delivery::Never { why } => Some(why.clone()),
            };
            self.tell(waiting.entry, waiting.tries, delivery).await?;
            self.say_away(trouble).await?;
        }
        Ok(Duration::ZERO)
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

    /// Leaves out rows whose last try the ledger does not show yet.
    fn not_yet_told(&mut self, mut rows: Vec<Waiting>) -> Vec<Waiting> {
        self.told.retain(|entry, _| rows.iter().any(|row| row.entry == *entry));
        rows.retain(|row| self.told.get(&row.entry).is_none_or(|tries| row.tries > *tries));
        rows
    }

    /// One try; none when the program stopped before it came to an end.
    async fn carry(&mut self, waiting: &Waiting) -> Option<Delivery> {
        let stop = self.stop.clone();
        let stopped = async move {
            stop.cancelled().await;
            tokio::time::sleep(LAST_WORDS).await;
        };
        tokio::select! {
            tried = tokio::time::timeout(TRY_LIMIT, self.courier.carry(waiting)) => {
                Some(tried.unwrap_or_else(|_| Delivery::Later {
                    why: format!("no answer within {} s; it may have arrived", TRY_LIMIT.as_secs()),
                    after_ms: None,
                }))
            }
            () = stopped => None,
        }
    }

    async fn tell(&mut self, entry: i64, tries: u32, delivery: Delivery) -> Outcome {
        self.told.insert(entry, tries);
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
    async fn send(&self, event: Event) -> Outcome {
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

#[cfg(test)]
#[path = "runner_tests.rs"]
pub(crate) mod tests;
