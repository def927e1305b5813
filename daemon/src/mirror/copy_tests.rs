use std::collections::VecDeque;
use std::sync::Mutex;

use agronomy::quantity::Quantity;
use tokio::sync::{mpsc, watch};

use super::*;
use crate::clock::paused::PausedClock;
use crate::couriers::runner::tests::quiet_glance;
use crate::glance::Glance;
use crate::mirror::points::{Point, of_reading};
use crate::reading::{Reading, Reason};
use crate::supervise::Tasks;

type Shared<T> = Arc<Mutex<T>>;

/// Batches of so many points each; the place is the number of the last one.
#[derive(Clone, Default)]
struct Shelf(Shared<Vec<(i64, usize)>>);

impl Source for Shelf {
    fn place(&mut self) -> Result<Place, String> {
        Ok(Place { batch: 10, server: THERE, ..Place::default() })
    }
    fn next(&mut self, place: &Place) -> Result<Option<Slice>, String> {
        let shelf = self.0.lock().unwrap();
        let Some((seq, count)) = shelf.iter().find(|(seq, _)| *seq > place.batch) else { return Ok(None) };
        let points = (0..*count as i64).map(|n| point(seq * 100_000 + n)).collect();
        Ok(Some(Slice { points, after: Place { batch: *seq, ..*place }, ..Slice::default() }))
    }
    fn newest(&mut self) -> Result<i64, String> {
        Ok(self.0.lock().unwrap().last().map_or(0, |(seq, _)| *seq))
    }
}

fn point(at_ms: i64) -> Point {
    let (probe, quantity) = ("bench-2".into(), Quantity::AirTemperature);
    of_reading(&Reading { probe, quantity, value: 20.5, at_ms, reason: Reason::None }).unwrap()
}

/// The number of the scripted server.
const THERE: i64 = 7;

/// Answers by script, then takes everything; keeps what it took, call by call.
struct Scripted {
    script: Mutex<VecDeque<Refusal>>,
    taken: Shared<Vec<usize>>,
    number: i64,
}

impl Server for Scripted {
    fn number(&self) -> i64 {
        self.number
    }

    async fn write(&self, points: Vec<Point>) -> Result<(), Refusal> {
        if let Some(refusal) = self.script.lock().unwrap().pop_front() {
            return Err(refusal);
        }
        self.taken.lock().unwrap().push(points.len());
        Ok(())
    }
}

struct Bench {
    tasks: Tasks,
    shelf: Shelf,
    taken: Shared<Vec<usize>>,
    clock: Arc<PausedClock>,
    events: mpsc::Receiver<Event>,
    glance: watch::Sender<Arc<Glance>>,
    standing: MirrorGlance,
}

impl Bench {
    fn new(batches: &[(i64, usize)], script: Vec<Refusal>) -> Self {
        Self::before(THERE, batches, script)
    }

    /// Before the server with this number; the ledger's cursors are of another.
    fn before(number: i64, batches: &[(i64, usize)], script: Vec<Refusal>) -> Self {
        let shelf = Shelf::default();
        shelf.0.lock().unwrap().extend_from_slice(batches);
        let taken = Arc::new(Mutex::new(Vec::new()));
        let clock = PausedClock::new();
        let (sender, events) = mpsc::channel(8);
        let (glance, seen) = watch::channel(Arc::new(quiet_glance()));
        let server = Scripted { script: Mutex::new(script.into()), taken: taken.clone(), number };
        let keeper = Handle::new(sender, seen);
        let (source, time) = (shelf.clone(), clock.clone());
        let mut tasks = Tasks::new();
        tasks.spawn("mirror", |stop| run(source, server, keeper, time, || 1.0, stop));
        Self { tasks, shelf, taken, clock, events, glance, standing: MirrorGlance::default() }
    }

    /// The next batch that is copied. Whatever is told on the way is kept.
    async fn mirrored(&mut self) -> i64 {
        loop {
            match self.events.recv().await.unwrap() {
                Event::Mirrored { cursors, standing } => {
                    self.standing = standing;
                    if let [(name, seq)] = &cursors[..] {
                        assert_eq!(name, "mirror");
                        return *seq;
                    }
                }
                Event::Away { why, .. } => panic!("away: {why:?}"),
                _ => panic!("another event"),
            }
        }
    }

    async fn away(&mut self) -> Option<String> {
        loop {
            match self.events.recv().await.unwrap() {
                Event::Away { source, why } if source == "mirror" => return why,
                Event::Mirrored { cursors, standing } if cursors.is_empty() => self.standing = standing,
                _ => panic!("another event"),
            }
        }
    }

    fn sizes(&self) -> Vec<usize> {
        self.taken.lock().unwrap().clone()
    }

    /// Nothing more happens in a day.
    async fn stays_quiet(mut self) {
        tokio::time::sleep(Duration::from_secs(86_400)).await;
        assert!(self.events.try_recv().is_err());
        self.tasks.stop().cancel();
        self.tasks.join(Duration::from_secs(5)).await.unwrap();
    }
}

#[tokio::test(start_paused = true)]
async fn it_goes_on_where_the_cursor_of_the_ledger_stands() {
    let mut bench = Bench::new(&[(9, 3), (10, 3), (11, 3), (12, 3)], vec![]);
    assert_eq!(bench.mirrored().await, 11);
    assert_eq!(bench.standing.behind, 1);
    assert_eq!(bench.mirrored().await, 12);
    assert_eq!((bench.sizes(), bench.standing.behind), (vec![3, 3], 0));
    bench.shelf.0.lock().unwrap().push((13, 1));
    bench.glance.send_replace(Arc::new(quiet_glance()));
    assert_eq!(bench.mirrored().await, 13);
    bench.stays_quiet().await;
}

#[tokio::test(start_paused = true)]
async fn a_copy_that_has_everything_says_so_once_and_not_before_the_other_side_took_something() {
    let mut bench = Bench::new(&[(10, 1)], vec![]);
    let Event::Mirrored { cursors, standing } = bench.events.recv().await.unwrap() else { panic!("no word") };
    let nothing_waits = "nothing waits for the mirror that it was not sent before".to_owned();
    assert_eq!((cursors, standing.words()), (vec![], nothing_waits));
    bench.shelf.0.lock().unwrap().push((11, 1));
    bench.glance.send_replace(Arc::new(quiet_glance()));
    assert_eq!(bench.mirrored().await, 11);
    assert_eq!(bench.standing.words(), "the mirror has everything");
    bench.glance.send_replace(Arc::new(quiet_glance()));
    bench.stays_quiet().await;
}

#[tokio::test(start_paused = true)]
async fn before_another_server_it_begins_at_the_beginning_and_says_so_until_it_is_through() {
    let away = Refusal::Away("refused".to_owned());
    let mut bench = Bench::before(8, &[(9, 3), (10, 3)], vec![away]);
    assert_eq!(bench.away().await.as_deref(), Some("refused"));
    assert_eq!(bench.away().await, None);
    assert_eq!(
        bench.standing.words(),
        "the mirror is 10 commits behind. It is another one than before, and is filled from the beginning"
    );
    let Event::Mirrored { cursors, .. } = bench.events.recv().await.unwrap() else { panic!("no word") };
    assert_eq!(cursors, [("mirror".to_owned(), 9), ("mirror-server".to_owned(), 8)]);
    // The cursor stands at the end again, where the ledger had it for the server before: it is written all the same.
    assert_eq!(bench.mirrored().await, 10);
    let Event::Mirrored { standing, .. } = bench.events.recv().await.unwrap() else { panic!("no word") };
    assert_eq!((standing.words().as_str(), bench.sizes()), ("the mirror has everything", vec![3, 3]));
    bench.stays_quiet().await;
}

#[tokio::test(start_paused = true)]
async fn the_cursor_stays_while_the_other_side_is_away_and_the_pauses_grow() {
    let away = |n: u32| Refusal::Away(format!("refused {}", n / 8));
    let mut bench = Bench::new(&[(11, 2)], (0..8).map(away).collect());
    assert_eq!(bench.away().await.as_deref(), Some("refused 0"));
    assert_eq!(bench.away().await, None);
    assert_eq!(bench.standing.behind, 1, "it was said how far behind it is");
    assert_eq!(bench.mirrored().await, 11);
    // 5 s doubling to 300 s, as stated: 5 + 10 + 20 + 40 + 80 + 160 + 300 + 300.
    assert_eq!(bench.clock.wall_ms(), 915_000);
    assert_eq!(bench.sizes(), [2]);
    bench.stays_quiet().await;
}

#[tokio::test(start_paused = true)]
async fn a_server_that_wants_nothing_from_us_is_asked_slowly_and_told() {
    let mut bench = Bench::new(&[(11, 2)], vec![Refusal::Us("status 401: no".to_owned())]);
    assert_eq!(bench.away().await.as_deref(), Some("it takes nothing from us: status 401: no"));
    assert_eq!(bench.away().await, None);
    assert_eq!(bench.mirrored().await, 11);
    assert_eq!(bench.clock.wall_ms(), 600_000);
    bench.stays_quiet().await;
}

#[tokio::test(start_paused = true)]
async fn what_cannot_be_read_is_counted_and_said_with_its_reason() {
    let no = || Refusal::Points("status 400: bad".to_owned());
    // The call of two, then the first of them alone; the second is taken.
    let mut bench = Bench::new(&[(11, 2)], vec![no(), no()]);
    assert_eq!(bench.mirrored().await, 11);
    assert_eq!((bench.sizes(), bench.standing.set_aside), (vec![1], 1));
    assert_eq!(
        bench.standing.words(),
        "the mirror has everything. 1 point was set aside, the last because: status 400: bad"
    );
    bench.stays_quiet().await;
}

#[tokio::test(start_paused = true)]
async fn no_call_has_more_points_than_one_call_may_have() {
    let mut bench = Bench::new(&[(11, 12_000), (12, 1)], vec![]);
    assert_eq!(bench.mirrored().await, 11);
    assert_eq!(bench.mirrored().await, 12);
    assert_eq!(bench.sizes(), [5000, 5000, 2000, 1]);
    bench.stays_quiet().await;
}
