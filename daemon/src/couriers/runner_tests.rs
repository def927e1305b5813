use std::sync::Mutex;
use std::sync::atomic::Ordering;

use agronomy::crop::Severity;
use tokio::sync::{mpsc, watch};

use super::*;
use crate::clock::paused::PausedClock;
use crate::couriers::outbox::{Errand, Row};
use crate::entry::{Step, fixtures};
use crate::glance::Unrecorded;
use crate::glance::{BoardGlance, Glance, Sentence, Tone};
use crate::supervise::Tasks;

/// A glance on which nothing is to be seen.
pub(crate) fn quiet_glance() -> Glance {
    let sentence =
        Sentence { tone: Tone::Well, order: "All well".to_owned(), why: String::new(), notice: None };
    Glance {
        at_ms: 0,
        site: "garden".to_owned(),
        civil_offset_s: 0,
        standard_offset_s: 0,
        sentence,
        open: vec![],
        closed_lately: vec![],
        missed: crate::glance::Missed::default(),
        warnings: vec![],
        heat: None,
        places: vec![],
        plantings: vec![],
        probes: vec![],
        entries: vec![],
        outlook: crate::glance::OutlookGlance::default(),
        board: BoardGlance::default(),
    }
}

type Rows = Arc<Mutex<Vec<Waiting>>>;

struct Shelf(Rows);

impl Outbox for Shelf {
    fn waiting(&mut self, courier: &str) -> Result<Vec<Waiting>, String> {
        assert_eq!(courier, "scripted");
        Ok(self.0.lock().unwrap().clone())
    }
}

mockall::mock! {
    Broken {}
    impl Outbox for Broken {
        fn waiting(&mut self, courier: &str) -> Result<Vec<Waiting>, String>;
    }
}

/// Answers each try by the next line of its script: after how long, and what.
struct Scripted {
    script: Mutex<Vec<(u64, Delivery)>>,
    carried: Carried,
    clock: Arc<PausedClock>,
    encrypted: bool,
}

/// What was tried, and when, ms.
type Carried = Arc<Mutex<Vec<(i64, i64)>>>;

impl Courier for Scripted {
    fn name(&self) -> &'static str {
        "scripted"
    }
    fn needs_the_time(&self) -> bool {
        self.encrypted
    }
    async fn carry(&self, waiting: &Waiting) -> Delivery {
        self.carried.lock().unwrap().push((waiting.entry, self.clock.wall_ms()));
        let (seconds, delivery) = self.script.lock().unwrap().remove(0);
        tokio::time::sleep(Duration::from_secs(seconds)).await;
        delivery
    }
}

fn later() -> Delivery {
    Delivery::Later { why: "451 come back".to_owned(), after_ms: None }
}

fn waiting(entry: i64, expires_ms: i64) -> Waiting {
    let step = Step {
        notice: format!("notice-{entry}"),
        text: "The house is at 36.1.".to_owned(),
        ..fixtures::step(0, Severity::Severe, "Open the far door")
    };
    Waiting {
        entry,
        errand: Errand::Step(step),
        first: entry,
        due_ms: 0,
        expires_ms,
        tries: 0,
        needless: None,
    }
}

/// The runner with the test in the keeper's chair.
struct Bench {
    tasks: Tasks,
    rows: Rows,
    carried: Carried,
    clock: Arc<PausedClock>,
    events: mpsc::Receiver<Event>,
    glance: watch::Sender<Arc<Glance>>,
}

impl Bench {
    fn new(rows: Vec<Waiting>, script: Vec<(u64, Delivery)>, encrypted: bool, vouched: bool) -> Self {
        let rows = Arc::new(Mutex::new(rows));
        Self::over(Shelf(Arc::clone(&rows)), rows, script, encrypted, vouched)
    }

    fn over(
        outbox: impl Outbox + Sync + 'static,
        rows: Rows,
        script: Vec<(u64, Delivery)>,
        encrypted: bool,
        vouched: bool,
    ) -> Self {
        let carried = Arc::new(Mutex::new(Vec::new()));
        let clock = PausedClock::new();
        clock.vouched.store(vouched, Ordering::Relaxed);
        let (sender, events) = mpsc::channel(8);
        let (glance, seen) = watch::channel(Arc::new(quiet_glance()));
        let (script, now) = (Mutex::new(script), clock.clone());
        let courier = Scripted { script, carried: carried.clone(), clock: now, encrypted };
        let (keeper, time) = (Handle::new(sender, seen), clock.clone());
        let mut tasks = Tasks::new();
        tasks.spawn("courier", |stop| run(courier, outbox, keeper, time, stop));
        Self { tasks, rows, carried, clock, events, glance }
    }

    /// The next event that is a try; what was said about being away is left out.
    async fn tried(&mut self) -> (i64, Delivery) {
        loop {
            match self.events.recv().await.unwrap() {
                Event::Tried { step, delivery, .. } => return (step, delivery),
                Event::Away { .. } => {}
                _ => panic!("neither a try nor away"),
            }
        }
    }

    /// What the keeper does with a try: the row, then a new glance.
    fn commit(&self, step: i64, delivery: &Delivery) {
        let now = self.clock.wall_ms();
        let mut rows = self.rows.lock().unwrap();
        rows.retain_mut(|row| {
            if row.entry != step {
                return true;
            }
            match outbox::after(step, row.tries, delivery, now) {
                Row::Sent | Row::Dropped => false,
                Row::Waits { due_ms, tries } => {
                    (row.due_ms, row.tries) = (due_ms, tries);
                    true
                }
            }
        });
        drop(rows);
        self.poke();
    }

    fn poke(&self) {
        self.glance.send_replace(Arc::new(quiet_glance()));
    }

    fn carried(&self) -> Vec<i64> {
        self.carried.lock().unwrap().iter().map(|(entry, _)| *entry).collect()
    }

    async fn end(self) {
        self.tasks.stop().cancel();
        self.tasks.join(Duration::from_secs(5)).await.unwrap();
    }
}

const LONG: i64 = i64::MAX;

#[path = "runner_hung_tests.rs"]
mod hung;

#[tokio::test(start_paused = true)]
async fn a_fruitless_try_is_made_again_after_its_pause_and_then_counts_once() {
    let mut bench = Bench::new(vec![waiting(1, LONG)], vec![(0, later()), (0, Delivery::Sent)], false, true);
    let (step, delivery) = bench.tried().await;
    bench.commit(step, &delivery);
    assert_eq!(bench.tried().await, (1, Delivery::Sent));
    let waited = bench.clock.wall_ms();
    assert!((27_000..=30_001).contains(&waited), "{waited}");
    bench.commit(1, &Delivery::Sent);
    tokio::time::sleep(Duration::from_secs(3600)).await;
    assert_eq!(bench.carried(), [1, 1]);
    bench.end().await;
}

#[tokio::test(start_paused = true)]
async fn a_keeper_that_has_not_committed_yet_never_makes_it_send_twice() {
    let mut bench = Bench::new(vec![waiting(1, LONG)], vec![(0, Delivery::Sent)], false, true);
    assert_eq!(bench.tried().await, (1, Delivery::Sent));
    for _ in 0..100 {
        bench.poke();
        tokio::time::sleep(Duration::from_secs(120)).await;
    }
    assert_eq!(bench.carried(), [1]);
    bench.end().await;
}

#[tokio::test(start_paused = true)]
async fn a_far_end_that_says_nothing_is_given_up_after_the_limit() {
    let mut bench = Bench::new(vec![waiting(1, LONG)], vec![(1_000_000, Delivery::Sent)], false, true);
    let (_, delivery) = bench.tried().await;
    assert!(
        matches!(&delivery, Delivery::Later { why, .. } if why.contains("may have arrived")),
        "{delivery:?}"
    );
    assert_eq!(bench.clock.wall_ms(), 30_000);
    bench.end().await;
}

#[tokio::test(start_paused = true)]
async fn what_has_expired_is_told_and_not_carried() {
    let mut bench = Bench::new(vec![waiting(1, 0)], vec![], false, true);
    assert_eq!(bench.tried().await, (1, Delivery::Never { why: outbox::EXPIRED.to_owned() }));
    assert_eq!(bench.carried(), [0; 0]);
    bench.end().await;
}

#[tokio::test(start_paused = true)]
async fn a_courier_with_certificates_waits_for_a_trusted_time_and_says_so() {
    let mut bench = Bench::new(vec![waiting(1, LONG)], vec![(0, Delivery::Sent)], true, false);
    let Event::Away { source, why: Some(why) } = bench.events.recv().await.unwrap() else {
        panic!("not away")
    };
    assert_eq!((source.as_str(), why.as_str()), ("scripted", "waits until somebody vouches for the time"));
    assert_eq!(bench.carried(), [0; 0]);
    bench.clock.vouched.store(true, Ordering::Relaxed);
    bench.poke();
    assert_eq!(bench.tried().await, (1, Delivery::Sent));
    bench.end().await;
}

#[tokio::test(start_paused = true)]
async fn a_courier_without_certificates_does_not_wait_for_the_time() {
    let mut bench = Bench::new(vec![waiting(1, 0)], vec![(0, Delivery::Sent)], false, false);
    assert_eq!(bench.tried().await, (1, Delivery::Sent));
    bench.end().await;
}

#[tokio::test(start_paused = true)]
async fn an_answer_on_its_way_when_the_program_stops_is_still_heard() {
    let mut bench = Bench::new(vec![waiting(1, LONG)], vec![(2, Delivery::Sent)], false, true);
    tokio::time::sleep(Duration::from_secs(1)).await;
    bench.tasks.stop().cancel();
    assert_eq!(bench.tried().await, (1, Delivery::Sent));
    bench.end().await;
}

#[tokio::test(start_paused = true)]
async fn an_outbox_that_cannot_be_read_is_told_once_and_so_is_that_it_is_well_again() {
    let mut outbox = MockBroken::new();
    outbox.expect_waiting().times(2).returning(|_| Err("disk I/O error".to_owned()));
    outbox.expect_waiting().returning(|_| Ok(Vec::new()));
    let mut bench = Bench::over(outbox, Rows::default(), Vec::new(), false, true);
    let mut said = Vec::new();
    while said.len() < 2 {
        match bench.events.recv().await.unwrap() {
            Event::Away { why, .. } => said.push(why),
            _ => panic!("nothing but away and back"),
        }
        // Each new glance has the outbox read again.
        bench.poke();
    }
    assert!(said[0].as_deref().is_some_and(|why| why.contains("disk I/O error")), "{said:?}");
    assert_eq!(said[1], None);
    bench.end().await;
}

/// A glance that lends a step of this notice to the scripted courier.
fn lending(notice: i64, number: i64) -> Glance {
    let mut glance = quiet_glance();
    let Errand::Step(step) = waiting(notice, LONG).errand else { panic!("a step") };
    let waits_for = vec![("scripted".to_owned(), 0, 0)];
    glance.board.unrecorded.push(Unrecorded { number, step, waits_for });
    glance
}

#[tokio::test(start_paused = true)]
async fn s6_a_step_that_cannot_be_stored_is_carried_from_memory_and_not_again_once_it_is() {
    let outbox = MockBroken::new();
    let mut bench = broken(outbox, vec![(0, Delivery::Sent)]);
    bench.glance.send_replace(Arc::new(lending(7, -5)));
    assert_eq!(bench.tried().await, (-5, Delivery::Sent));
    // The ledger is back, and the row of the stored step is there before anybody took note of the try.
    bench.rows.lock().unwrap().push(waiting(7, LONG));
    bench.poke();
    assert_eq!(bench.tried().await, (7, Delivery::Sent));
    assert_eq!(bench.carried(), [-5]);
    bench.end().await;
}

/// A courier whose outbox cannot be read until it has rows.
fn broken(mut outbox: MockBroken, script: Vec<(u64, Delivery)>) -> Bench {
    let rows: Rows = Arc::default();
    let seen = Arc::clone(&rows);
    outbox.expect_waiting().returning(move |_| {
        let rows = seen.lock().unwrap().clone();
        if rows.is_empty() { Err("closed".to_owned()) } else { Ok(rows) }
    });
    Bench::over(outbox, rows, script, false, true)
}

#[tokio::test(start_paused = true)]
async fn s6_of_a_notice_that_is_told_from_memory_an_older_step_in_the_outbox_waits() {
    let mut bench = Bench::new(vec![], vec![(0, Delivery::Sent)], false, true);
    bench.glance.send_replace(Arc::new(lending(7, -5)));
    bench.rows.lock().unwrap().push(waiting(7, LONG));
    assert_eq!(bench.tried().await.0, -5);
    assert_eq!(bench.carried(), [-5]);
    bench.end().await;
}
