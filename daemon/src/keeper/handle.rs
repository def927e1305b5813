//! How the rest of the program speaks with the keeper.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use serde::{Deserialize, Serialize};
use tokio::sync::{mpsc, oneshot, watch};

use super::core::{Core, Moment};
use super::event::{Acknowledge, ClockWord, Event, Refusal};
use crate::clock::trust;
use crate::entry::{Anew, Cause, Note};
use crate::glance::{Glance, PlantingGlance};
use crate::reading::Heard;

/// One day in the account of a planting.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SeasonDay {
    /// Calendar day of the site's standard offset, `YYYY-MM-DD`.
    pub date: String,
    /// Degree days of the day, °C d; none when too little was measured.
    pub degree_days: Option<f64>,
    /// What stands in for them on such a day, from the days around it, °C d.
    pub filled: Option<f64>,
    /// Sum so far, measured and filled, °C d.
    pub total: f64,
    /// Hours past the crop's severe line.
    pub stress_h: f64,
    /// Lowest and highest, °C.
    pub t_min_c: Option<f64>,
    /// Highest, °C.
    pub t_max_c: Option<f64>,
    /// Share of the day that was measured, 0..1.
    pub measured_share: f64,
    /// Made from lows and highs read by hand.
    pub by_hand: bool,
    /// The night before this morning stayed above the crop's moderate night line.
    pub warm_night: bool,
}

/// A date on the way of a planting.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SeasonMilestone {
    /// In words: "first ripe".
    pub what: String,
    /// The rule the sums belong to: `integral 10/30`.
    pub rule: String,
    /// Degree days by that rule, low and high of the book's range.
    pub from_dd: f64,
    /// High end.
    pub to_dd: f64,
    /// The day the sum reached the low end.
    pub reached: Option<String>,
    /// The earliest day for it, reached or expected if days go on as they have gone.
    pub earliest: Option<String>,
    /// The latest such day; none where it is not in sight.
    pub latest: Option<String>,
    /// No date is given, because too much of the sum was filled or a day is missing.
    pub too_little_measured: bool,
    /// The day the grower noted it.
    pub noted: Option<String>,
}

/// What the sums of a planting came to by another edition.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SeasonAnew {
    /// The day that edition came into service.
    pub date: String,
    /// Its name.
    pub edition: String,
    /// What made it another than the one before.
    pub because: Vec<Cause>,
    /// The sums over the same days, before and after.
    pub sums: Anew,
}

/// A planting's season.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Season {
    /// The planting as it stands (or stood at its end).
    pub planting: PlantingGlance,
    /// Its days, oldest first.
    pub days: Vec<SeasonDay>,
    /// Its milestones, by degree days.
    pub milestones: Vec<SeasonMilestone>,
    /// What the edition in service made of the sums of the one before; none where this planting had none before.
    pub anew: Option<SeasonAnew>,
    /// Days still to be reckoned until another edition comes into service; none while none is being reckoned.
    pub still_to_reckon: Option<u64>,
}

/// What is done with the core, between two events.
pub type Work = Box<dyn FnOnce(&mut Core, Moment) + Send>;

/// A question for the keeper.
pub enum Question {
    /// Day pages, planting pages, counts and notices: the same JSON as `replay`.
    Export(oneshot::Sender<serde_json::Value>),
    /// Whether it lives: answered in its turn, and nothing is committed for it.
    Breathe(oneshot::Sender<()>),
    /// Something to be done to the ledger; it answers for itself.
    Tend(Work),
    /// The season of one planting.
    Season {
        /// Which.
        planting: String,
        /// None: no such planting.
        answer: oneshot::Sender<Option<Season>>,
    },
}

/// The keeper is gone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the keeper has stopped")]
pub struct Stopped;

/// A way to the keeper; cheap to clone.
#[derive(Clone)]
pub struct Handle {
    /// Where events go. Bounded: a full queue is the brake on whoever sends.
    pub events: mpsc::Sender<Event>,
    /// The newest glance.
    pub glance: watch::Receiver<Arc<Glance>>,
    /// Work on the ledger that was asked for is under way.
    pub(crate) tending: Arc<AtomicBool>,
}

impl Handle {
    /// A way to the keeper that takes these events and makes these glances.
    pub fn new(events: mpsc::Sender<Event>, glance: watch::Receiver<Arc<Glance>>) -> Self {
        Self { events, glance, tending: Arc::default() }
    }

    /// Whether the keeper is busy with work on the ledger that was asked for: a mend, a check, a forgetting. Such work may
    /// take minutes, and whoever waits for the keeper meanwhile does not wait for one that is stuck.
    pub fn is_tending(&self) -> bool {
        self.tending.load(Ordering::Relaxed)
    }

    /// Notes something; the entry's number comes back once it is durable.
    ///
    /// # Errors
    ///
    /// The refusal in words, also when the keeper has stopped.
    pub async fn note(&self, note: Note, from_ms: Option<i64>) -> Result<i64, Refusal> {
        let (answer, answered) = oneshot::channel();
        let event = Event::Note { note, from_ms, answer };
        self.events.send(event).await.map_err(|_| Stopped.to_string())?;
        answered.await.map_err(|_| Stopped.to_string())?
    }

    /// Says what time it is, or was; the entry's number comes back once it is durable.
    ///
    /// # Errors
    ///
    /// The refusal, also when the keeper has stopped.
    pub async fn clock(&self, word: ClockWord) -> Result<i64, trust::Refusal> {
        let (answer, answered) = oneshot::channel();
        self.events.send(Event::Clock { word, answer }).await.map_err(|_| Stopped.to_string())?;
        answered.await.map_err(|_| Stopped.to_string())?
    }

    /// Takes in past readings; returns once they are durable.
    ///
    /// # Errors
    ///
    /// [`Stopped`].
    pub async fn take_in(&self, mut readings: Vec<Heard>) -> Result<(), Stopped> {
        for heard in &mut readings {
            heard.stale = true;
        }
        let (durable, seen) = oneshot::channel();
        let done: Acknowledge = Box::new(move || _ = durable.send(()));
        let event = Event::Heard { readings, arrived_mono_ms: i64::MAX, done: Some(done) };
        self.events.send(event).await.map_err(|_| Stopped)?;
        seen.await.map_err(|_| Stopped)
    }

    /// Everything reckoned and told so far, as `replay` prints it.
    ///
    /// # Errors
    ///
    /// [`Stopped`].
    pub async fn export(&self) -> Result<serde_json::Value, Stopped> {
        let (answer, answered) = oneshot::channel();
        self.events.send(Event::Ask(Question::Export(answer))).await.map_err(|_| Stopped)?;
        answered.await.map_err(|_| Stopped)
    }

    /// Returns once the keeper has taken its turn; a keeper that stands still does not let it return.
    ///
    /// # Errors
    ///
    /// [`Stopped`].
    pub async fn breathe(&self) -> Result<(), Stopped> {
        let (answer, answered) = oneshot::channel();
        self.events.send(Event::Ask(Question::Breathe(answer))).await.map_err(|_| Stopped)?;
        answered.await.map_err(|_| Stopped)
    }

    /// Has something done to the ledger, with everything that waits committed before.
    ///
    /// # Errors
    ///
    /// [`Stopped`].
    pub async fn tend<T: Send + 'static>(
        &self,
        work: impl FnOnce(&mut Core, Moment) -> T + Send + 'static,
    ) -> Result<T, Stopped> {
        let (answer, answered) = oneshot::channel();
        let tending = Arc::clone(&self.tending);
        let work: Work = Box::new(move |core, moment| {
            tending.store(true, Ordering::Relaxed);
            let done = work(core, moment);
            tending.store(false, Ordering::Relaxed);
            let _ = answer.send(done);
        });
        self.events.send(Event::Ask(Question::Tend(work))).await.map_err(|_| Stopped)?;
        answered.await.map_err(|_| Stopped)
    }

    /// The season of one planting; `None` when there is no such planting.
    ///
    /// # Errors
    ///
    /// [`Stopped`].
    pub async fn season(&self, planting: String) -> Result<Option<Season>, Stopped> {
        let (answer, answered) = oneshot::channel();
        let question = Question::Season { planting, answer };
        self.events.send(Event::Ask(question)).await.map_err(|_| Stopped)?;
        answered.await.map_err(|_| Stopped)
    }

    /// The newest glance.
    pub fn now(&self) -> Arc<Glance> {
        self.glance.borrow().clone()
    }
}
