//! The far ends of the couriers: they accept, lose their answer, refuse, dawdle or are gone; and remember what they took.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use glasshour::couriers::outbox::Delivery;
use glasshour::couriers::outbox::{Errand, Waiting};
use glasshour::couriers::public_id;
use glasshour::couriers::route::rises;
use glasshour::couriers::runner::Courier;

use crate::faults::FarFault;

/// The couriers' names, as the program knows them.
pub(crate) const NAMES: [&str; 3] = ["e-mail", "notice topic", "e-mail, next person"];
/// The one of them by which only that goes which nobody has seen.
pub(crate) const NEXT_PERSON: usize = 2;

/// One thing taken by a far end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Taken {
    /// The id it came under, without the ledger's own name, which is drawn by SQLite and not by the seed.
    pub(crate) id: String,
    pub(crate) entry: i64,
    /// Notice and step; none for a letter.
    pub(crate) step: Option<(String, u32)>,
    /// It says that it was not recorded.
    pub(crate) unrecorded: bool,
}

/// What a far end knows.
#[derive(Debug, Default)]
pub(crate) struct FarEnd {
    pub(crate) mood: Option<FarFault>,
    /// Taken since the watchers looked last.
    pub(crate) news: Vec<Taken>,
    /// How often each id was taken, and whether the board may take it to be undelivered.
    pub(crate) doubt: BTreeMap<String, bool>,
    /// How many tries are under way.
    pub(crate) busy: usize,
    /// Entries that it refused for good.
    pub(crate) never: std::collections::BTreeSet<i64>,
    /// By notice, the entry with which somebody last saw or answered it, as the watchers read it in the ledger.
    pub(crate) seen: BTreeMap<String, i64>,
    /// Entries that the board set out to carry although they had been seen.
    pub(crate) seen_and_carried: Vec<i64>,
}

/// One courier over a simulated far end.
pub(crate) struct Carrier {
    pub(crate) name: &'static str,
    pub(crate) needs_the_time: bool,
    pub(crate) epoch: String,
    pub(crate) far: Arc<Mutex<FarEnd>>,
}

/// A far end is never left half changed.
pub(crate) fn at(far: &Mutex<FarEnd>) -> MutexGuard<'_, FarEnd> {
    far.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Carrier {
    fn hand_over(&self, waiting: &Waiting, doubt: bool) {
        let id = public_id(waiting.entry, &self.epoch).replace(&self.epoch, "");
        let (step, unrecorded) = match &waiting.errand {
            Errand::Step(step) => {
                (Some((step.notice.clone(), step.number)), step.text.contains("Not recorded"))
            }
            Errand::Letter { .. } => (None, false),
        };
        let mut far = at(&self.far);
        far.doubt.insert(id.clone(), doubt);
        far.news.push(Taken { id, entry: waiting.entry, step, unrecorded });
    }

    fn look_whether_seen(&self, waiting: &Waiting) {
        let Errand::Step(step) = &waiting.errand else { return };
        let mut far = at(&self.far);
        let seen = far.seen.get(&step.notice).is_some_and(|seen| *seen > waiting.entry);
        if seen && waiting.entry > 0 && rises(step.turn) {
            far.seen_and_carried.push(waiting.entry);
        }
    }

    fn later(why: &str, after_ms: Option<i64>) -> Delivery {
        Delivery::Later { why: why.to_owned(), after_ms }
    }
}

/// Says that a try is under way, however it ends.
struct Busy(Arc<Mutex<FarEnd>>);

impl Busy {
    fn new(far: &Arc<Mutex<FarEnd>>) -> Self {
        at(far).busy += 1;
        Self(Arc::clone(far))
    }
}

impl Drop for Busy {
    fn drop(&mut self) {
        let mut far = at(&self.0);
        far.busy = far.busy.saturating_sub(1);
    }
}

impl Courier for Carrier {
    fn name(&self) -> &'static str {
        self.name
    }

    fn needs_the_time(&self) -> bool {
        self.needs_the_time
    }

    async fn carry(&self, waiting: &Waiting) -> Delivery {
        let _busy = Busy::new(&self.far);
        self.look_whether_seen(waiting);
        let mood = at(&self.far).mood;
        tokio::time::sleep(Duration::from_millis(300)).await;
        match mood {
            None => {
                self.hand_over(waiting, false);
                tokio::time::sleep(Duration::from_millis(200)).await;
                Delivery::Sent
            }
            Some(FarFault::LoseReply) => {
                self.hand_over(waiting, true);
                Self::later("the connection broke before the answer", None)
            }
            Some(FarFault::Refuse) => Self::later("451 come again", Some(60_000)),
            Some(FarFault::Never) => {
                at(&self.far).never.insert(waiting.entry);
                Delivery::Never { why: "552 no".to_owned() }
            }
            Some(FarFault::Slow) => {
                tokio::time::sleep(Duration::from_secs(20)).await;
                self.hand_over(waiting, true);
                tokio::time::sleep(Duration::from_secs(20)).await;
                Delivery::Sent
            }
            Some(FarFault::Gone) => {
                tokio::time::sleep(Duration::from_secs(5)).await;
                Self::later("nobody answers", None)
            }
        }
    }
}
