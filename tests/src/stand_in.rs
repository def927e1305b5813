//! Stands in for the keeper and its ledger where a test is about what lies beyond them.

use std::sync::{Arc, Mutex};

use agronomy::crop::Severity;
use glasshour::clock::Clock;
use glasshour::couriers::outbox::Delivery;
use glasshour::couriers::outbox::{self, Errand, Row, Waiting};
use glasshour::couriers::runner::Outbox;
use glasshour::entry::{Step, Turn};
use glasshour::glance::{BoardGlance, Glance, Sentence, Tone};
use glasshour::keeper::event::Event;
use glasshour::keeper::handle::Handle;
use tokio::sync::{mpsc, watch};

/// A moment of an invented summer, UTC ms: 2031-07-02T12:00:00Z.
pub const NOON_MS: i64 = 1_940_760_000_000;

/// A glance of an invented garden.
pub fn glance() -> Glance {
    let sentence = Sentence {
        tone: Tone::Past,
        order: "Open the far door from outside".to_owned(),
        why: "The house is at 36.1 °C.".to_owned(),
        notice: None,
    };
    Glance {
        heat: None,
        at_ms: NOON_MS,
        site: "garden".to_owned(),
        civil_offset_s: 7200,
        standard_offset_s: 3600,
        sentence,
        open: vec![],
        closed_lately: vec![],
        warnings: vec![],
        places: vec![],
        plantings: vec![],
        probes: vec![],
        entries: vec![],
        outlook: glasshour::glance::OutlookGlance::default(),
        missed: glasshour::glance::Missed::default(),
        board: BoardGlance::default(),
    }
}

/// A step of a notice of that garden.
pub fn step(notice: &str, number: u32, title: &str, text: &str) -> Step {
    Step {
        notice: notice.to_owned(),
        number,
        minder: "too-hot".to_owned(),
        place: "house".to_owned(),
        planting: Some("tomatoes-by-the-door".to_owned()),
        at_ms: NOON_MS,
        turn: Turn::Opened,
        severity: Severity::Severe,
        push: true,
        title: title.to_owned(),
        text: text.to_owned(),
        caution: String::new(),
        held: false,
        joined: Vec::new(),
        inside: std::collections::BTreeMap::new(),
    }
}

/// A step that waits as entry `entry`, whose notice began with entry `first`; due at once, good for six hours.
pub fn waiting(entry: i64, first: i64, step: Step) -> Waiting {
    let expires_ms = NOON_MS + glasshour::couriers::STEP_LIFE_MS;
    Waiting {
        entry,
        errand: Errand::Step(step),
        first,
        due_ms: NOON_MS,
        expires_ms,
        tries: 0,
        needless: None,
    }
}

/// The outbox as the runner reads it.
#[derive(Clone, Debug, Default)]
pub struct Rows(Arc<Mutex<Vec<Waiting>>>);

impl Outbox for Rows {
    fn waiting(&mut self, _courier: &str) -> Result<Vec<Waiting>, String> {
        Ok(self.0.lock().map_err(|error| error.to_string())?.clone())
    }
}

/// The keeper's chair.
pub struct StandIn {
    /// Its rows.
    pub rows: Rows,
    /// The way to it.
    pub handle: Handle,
    events: mpsc::Receiver<Event>,
    glance: watch::Sender<Arc<Glance>>,
    clock: Arc<dyn Clock>,
}

impl StandIn {
    /// With these rows in the outbox.
    pub fn new(rows: Vec<Waiting>, clock: Arc<dyn Clock>) -> Self {
        let (sender, events) = mpsc::channel(8);
        let (glance, seen) = watch::channel(Arc::new(glance()));
        let rows = Rows(Arc::new(Mutex::new(rows)));
        Self { rows, handle: Handle::new(sender, seen), events, glance, clock }
    }

    /// Writes a row and wakes whoever waits for a commit.
    ///
    /// # Panics
    ///
    /// When another test thread panicked.
    pub fn queue(&self, waiting: Waiting) {
        self.rows.0.lock().expect("not poisoned").push(waiting);
        self.commit();
    }

    /// The next event but those that say who is away.
    ///
    /// # Panics
    ///
    /// When none can come any more.
    pub async fn next(&mut self) -> Event {
        loop {
            match self.events.recv().await.expect("somebody still sends") {
                Event::Away { .. } => {}
                other => return other,
            }
        }
    }

    /// Waits until `who` is said to be away; why.
    ///
    /// # Panics
    ///
    /// When something else happens first.
    pub async fn away(&mut self, who: &str) -> String {
        match self.events.recv().await.expect("somebody still sends") {
            Event::Away { source, why: Some(why) } if source == who => why,
            _ => panic!("{who} is not away"),
        }
    }

    /// Waits until `who` is said to be back.
    ///
    /// # Panics
    ///
    /// When none can come any more.
    pub async fn back(&mut self, who: &str) -> bool {
        let event = self.events.recv().await.expect("somebody still sends");
        matches!(event, Event::Away { source, why: None } if source == who)
    }

    /// Takes note of the next try as the keeper does: which entry, and how it went.
    ///
    /// # Panics
    ///
    /// When something else happens.
    pub async fn tried(&mut self) -> (i64, Delivery) {
        let Event::Tried { step, delivery, .. } = self.next().await else { panic!("not a try") };
        let now = self.clock.wall_ms();
        self.rows.0.lock().expect("not poisoned").retain_mut(|row| {
            if row.entry != step {
                return true;
            }
            match outbox::after(step, row.tries, &delivery, now) {
                Row::Sent | Row::Dropped => false,
                Row::Waits { due_ms, tries } => {
                    (row.due_ms, row.tries) = (due_ms, tries);
                    true
                }
            }
        });
        self.commit();
        (step, delivery)
    }

    /// Wakes whoever waits for a commit.
    pub fn commit(&self) {
        self.glance.send_replace(Arc::new(glance()));
    }
}
