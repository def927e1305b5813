use std::collections::VecDeque;
use std::sync::Mutex;

use agronomy::quantity::Quantity;
use tokio::sync::{mpsc, watch};

use super::*;
use crate::couriers::runner::tests::{PausedClock, quiet_glance};
use crate::glance::Glance;
use crate::reading::{Reading, Reason};
use crate::supervise::Tasks;

type Shared<T> = Arc<Mutex<T>>;

struct Shelf(Shared<Vec<Portion>>);

impl Source for Shelf {
    fn cursor(&mut self) -> Result<i64, String> {
        Ok(10)
    }
    fn after(&mut self, seq: i64, limit: usize) -> Result<Vec<Portion>, String> {
        Ok(self.0.lock().unwrap().iter().filter(|portion| portion.seq > seq).take(limit).cloned().collect())
    }
}

/// Answers by script, then takes everything; keeps what it took, call by call.
struct Scripted {
    script: Mutex<VecDeque<Refusal>>,
    taken: Shared<Vec<Vec<Point>>>,
}

impl Server for Scripted {
    async fn write(&self, points: Vec<Point>) -> Result<(), Refusal> {
        if let Some(refusal) = self.script.lock().unwrap().pop_front() {
            return Err(refusal);
        }
        self.taken.lock().unwrap().push(points);
        Ok(())
    }
}

struct Bench {
    tasks: Tasks,
    portions: Shared<Vec<Portion>>,
    taken: Shared<Vec<Vec<Point>>>,
    clock: Arc<PausedClock>,
    events: mpsc::Receiver<Event>,
    glance: watch::Sender<Arc<Glance>>,
}

impl Bench {
    fn new(portions: Vec<Portion>, script: Vec<Refusal>) -> Self {
        let portions = Arc::new(Mutex::new(portions));
        let taken = Arc::new(Mutex::new(Vec::new()));
        let clock = PausedClock::new();
        let (sender, events) = mpsc::channel(8);
        let (glance, seen) = watch::channel(Arc::new(quiet_glance()));
        let server = Scripted { script: Mutex::new(script.into()), taken: taken.clone() };
        let (shelf, keeper, time) =
            (Shelf(portions.clone()), Handle { events: sender, glance: seen }, clock.clone());
        let mut tasks = Tasks::new();
        tasks.spawn("mirror", |stop| run(shelf, server, keeper, time, stop));
        Self { tasks, portions, taken, clock, events, glance }
    }

    async fn mirrored(&mut self) -> i64 {
        match self.events.recv().await.unwrap() {
            Event::Mirrored { seq } => seq,
            Event::Away { why, .. } => panic!("away: {why:?}"),
            _ => panic!("another event"),
        }
    }

    async fn away(&mut self) -> Option<String> {
        match self.events.recv().await.unwrap() {
            Event::Away { source, why } if source == "mirror" => why,
            _ => panic!("another event"),
        }
    }

    fn sizes(&self) -> Vec<usize> {
        self.taken.lock().unwrap().iter().map(Vec::len).collect()
    }

    /// Nothing more happens in a day.
    async fn stays_quiet(mut self) {
        tokio::time::sleep(Duration::from_secs(86_400)).await;
        assert!(self.events.try_recv().is_err());
        self.tasks.stop().cancel();
        self.tasks.join(Duration::from_secs(5)).await.unwrap();
    }
}

fn portion(seq: i64, dating: Dating, count: i64) -> Portion {
    let reading = |at_ms| Reading {
        probe: "bench-2".into(),
        quantity: Quantity::AirTemperature,
        value: 20.5,
        at_ms,
        reason: Reason::None,
    };
    Portion { seq, dating, readings: (0..count).map(|n| reading(seq * 100_000 + n)).collect() }
}

#[tokio::test(start_paused = true)]
async fn it_goes_on_where_the_cursor_of_the_ledger_stands() {
    let mut bench = Bench::new((9..=12).map(|seq| portion(seq, Dating::Dated, 3)).collect(), vec![]);
    assert_eq!(bench.mirrored().await, 12);
    assert_eq!(bench.sizes(), [6]);
    bench.portions.lock().unwrap().push(portion(13, Dating::Dated, 1));
    bench.glance.send_replace(Arc::new(quiet_glance()));
    assert_eq!(bench.mirrored().await, 13);
    bench.stays_quiet().await;
}

#[tokio::test(start_paused = true)]
async fn the_cursor_stays_while_the_other_side_is_away_and_the_pauses_grow() {
    let away = |n: u32| Refusal::Away(format!("refused {}", n / 8));
    let mut bench = Bench::new(vec![portion(11, Dating::Dated, 2)], (0..8).map(away).collect());
    assert_eq!(bench.away().await.as_deref(), Some("refused 0"));
    assert_eq!(bench.away().await, None);
    assert_eq!(bench.mirrored().await, 11);
    // 5 s doubling to 300 s, as stated: 5 + 10 + 20 + 40 + 80 + 160 + 300 + 300.
    assert_eq!(bench.clock.wall_ms(), 915_000);
    assert_eq!(bench.sizes(), [2]);
    bench.stays_quiet().await;
}

#[tokio::test(start_paused = true)]
async fn a_server_that_wants_nothing_from_us_is_asked_slowly_and_told() {
    let mut bench =
        Bench::new(vec![portion(11, Dating::Dated, 2)], vec![Refusal::Us("status 401: no".to_owned())]);
    assert_eq!(bench.away().await.as_deref(), Some("it takes nothing from us: status 401: no"));
    assert_eq!(bench.away().await, None);
    assert_eq!(bench.mirrored().await, 11);
    assert_eq!(bench.clock.wall_ms(), 600_000);
    bench.stays_quiet().await;
}

#[tokio::test(start_paused = true)]
async fn undated_readings_of_this_boot_hold_everything_after_them_until_they_are_dated() {
    let portions = vec![
        portion(11, Dating::Never, 4),
        portion(12, Dating::Dated, 2),
        portion(13, Dating::Waits, 3),
        portion(14, Dating::Dated, 1),
    ];
    let mut bench = Bench::new(portions, vec![]);
    assert_eq!(bench.mirrored().await, 12);
    assert_eq!(bench.sizes(), [2]);
    bench.portions.lock().unwrap()[2].dating = Dating::Dated;
    bench.glance.send_replace(Arc::new(quiet_glance()));
    assert_eq!(bench.mirrored().await, 14);
    assert_eq!(bench.sizes(), [2, 4]);
    bench.stays_quiet().await;
}

#[tokio::test(start_paused = true)]
async fn no_call_has_more_points_than_one_call_may_have() {
    let mut bench =
        Bench::new(vec![portion(11, Dating::Dated, 12_000), portion(12, Dating::Dated, 1)], vec![]);
    assert_eq!(bench.mirrored().await, 11);
    assert_eq!(bench.mirrored().await, 12);
    assert_eq!(bench.sizes(), [5000, 5000, 2000, 1]);
    bench.stays_quiet().await;
}
