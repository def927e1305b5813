//! The mirror against a real time-series database that takes the same write call, read back by its own export.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use agronomy::quantity::Quantity;
use glasshour::clock::FastClock;
use glasshour::keeper::event::Event;
use glasshour::mirror::server::{Remote, Settings};
use glasshour::mirror::{Dating, Portion, Source, copy};
use glasshour::reading::{Reading, Reason};
use glasshour::supervise::Tasks;
use tests::servers::metrics::{self, Metrics};
use tests::stand_in::StandIn;

/// A summer that is over: the database throws away what lies days ahead. 2024-07-02T00:00:00Z.
const START_MS: i64 = 1_719_878_400_000;

/// The ledger's batches as the mirror reads them.
#[derive(Clone, Default)]
struct Batches(Arc<Mutex<Vec<Portion>>>);

impl Source for Batches {
    fn cursor(&mut self) -> Result<i64, String> {
        Ok(0)
    }
    fn after(&mut self, seq: i64, limit: usize) -> Result<Vec<Portion>, String> {
        let portions = self.0.lock().map_err(|error| error.to_string())?;
        Ok(portions.iter().filter(|portion| portion.seq > seq).take(limit).cloned().collect())
    }
}

/// One batch a minute: four probes' temperature and humidity, in the decimals that instruments give.
fn minutes(seqs: std::ops::RangeInclusive<i64>) -> Vec<Portion> {
    seqs.map(|seq| {
        let reading = |probe: i64, quantity, value| Reading {
            probe: format!("bench-{probe}").into(),
            quantity,
            value,
            at_ms: START_MS + seq * 60_000 + probe,
            reason: if seq % 50 == 0 { Reason::SameTimeOtherValue } else { Reason::None },
        };
        let readings = (1..=4).flat_map(|probe| {
            let hundredths = (seq * 37 + probe * 11) % 4500;
            [
                reading(probe, Quantity::AirTemperature, (hundredths - 300) as f64 / 100.0),
                reading(probe, Quantity::RelativeHumidity, (hundredths % 1000) as f64 / 10.0),
            ]
        });
        Portion { seq, dating: Dating::Dated, readings: readings.collect() }
    })
    .collect()
}

/// What the database must hold after these: labels, then (ms, value) by time.
fn wanted(portions: &[Portion]) -> BTreeMap<String, Vec<(i64, f64)>> {
    let mut series: BTreeMap<String, Vec<(i64, f64)>> = BTreeMap::new();
    for reading in portions.iter().flat_map(|portion| &portion.readings) {
        let grade = if reading.reason == Reason::None { "sound" } else { "doubtful" };
        let labels = serde_json::json!({
            "__name__": "reading_value", "grade": grade, "probe": *reading.probe,
            "quantity": reading.quantity.as_str(),
        });
        series.entry(labels.to_string()).or_default().push((reading.at_ms, reading.value));
    }
    series
}

struct Running {
    tasks: Tasks,
    keeper: StandIn,
}

impl Running {
    fn start(database: &Metrics, batches: &Batches) -> Self {
        let clock = Arc::new(FastClock::new(START_MS, 100.0));
        let keeper = StandIn::new(vec![], clock.clone());
        let remote = Remote::new(&Settings {
            url: database.url(),
            org: "garden".to_owned(),
            bucket: "readings".to_owned(),
            token: "not asked for here".to_owned(),
        })
        .unwrap();
        let (source, handle) = (batches.clone(), keeper.handle.clone());
        let mut tasks = Tasks::new();
        tasks.spawn("mirror", |stop| copy::run(source, remote, handle, clock, stop));
        Self { tasks, keeper }
    }

    /// Waits until the other side has everything up to `seq`.
    async fn mirrored(&mut self, seq: i64) {
        let mut last = 0;
        while last < seq {
            let Event::Mirrored { seq } = self.keeper.next().await else { panic!("not from the mirror") };
            assert!(seq > last, "the cursor only moves on");
            last = seq;
        }
    }

    async fn end(self) {
        self.tasks.stop().cancel();
        self.tasks.join(Duration::from_secs(5)).await.unwrap();
    }
}

/// The database shows what it took a moment later, also after its flush.
async fn shows(database: &Metrics, wanted: &BTreeMap<String, Vec<(i64, f64)>>) {
    let count = |series: &BTreeMap<String, Vec<_>>| series.values().map(Vec::len).sum::<usize>();
    let found = tests::servers::process::until_async("the database shows everything", || {
        let found = database.export("reading_value");
        (count(&found) >= count(wanted)).then_some(found)
    })
    .await;
    assert_eq!(&found, wanted);
}

#[tokio::test]
async fn every_reading_arrives_exactly_and_a_second_time_changes_nothing() {
    if !metrics::available() {
        return;
    }
    let database = Metrics::start();
    let before = database.thrown_away();
    // A day and a half: more than one call.
    let portions = minutes(1..=2160);
    let batches = Batches(Arc::new(Mutex::new(portions.clone())));
    for _ in 0..2 {
        // The second start stands for a crash before the cursor was committed: all of it again.
        let mut running = Running::start(&database, &batches);
        running.mirrored(2160).await;
        running.end().await;
        shows(&database, &wanted(&portions)).await;
    }
    assert_eq!(database.thrown_away(), before);
}

#[tokio::test]
async fn what_was_measured_while_the_database_was_away_is_filled_in() {
    if !metrics::available() {
        return;
    }
    let mut database = Metrics::start();
    let before = database.thrown_away();
    let batches = Batches(Arc::new(Mutex::new(minutes(1..=100))));
    let mut running = Running::start(&database, &batches);
    running.mirrored(100).await;
    shows(&database, &wanted(&minutes(1..=100))).await;
    database.stop();
    batches.0.lock().unwrap().extend(minutes(101..=400));
    running.keeper.commit();
    running.keeper.away("mirror").await;
    database.resume();
    running.mirrored(400).await;
    running.end().await;
    shows(&database, &wanted(&minutes(1..=400))).await;
    assert_eq!(database.thrown_away(), before);
}
