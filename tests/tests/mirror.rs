//! The mirror against two real time-series databases, read back by their own export and query.

use std::collections::BTreeMap;

use glasshour::ledger::Ledger;
use glasshour::mirror::compare::agrees;
use glasshour::mirror::points::of_reading;
use glasshour::mirror::server::{Remote, Server as _};
use glasshour::reading::{Reading, Reason};
use serde_json::{Value, json};
use tests::copied::{self, Running, START_DAY, START_MS, minute, put, put_page, put_step, settings};
use tests::servers::metrics::{self, Metrics};
use tests::servers::process::until_async;
use tests::servers::series::{self, Series};

type Shown = BTreeMap<String, Vec<(i64, f64)>>;

/// What the databases must hold of these readings: tags as JSON text, then (ms, value) by time.
fn wanted(readings: impl IntoIterator<Item = Reading>) -> Shown {
    let mut series = Shown::new();
    for reading in readings {
        let grade = if reading.reason == Reason::None { "sound" } else { "doubtful" };
        let tags = json!({ "grade": grade, "probe": *reading.probe, "quantity": reading.quantity.as_str() });
        series.entry(tags.to_string()).or_default().push((reading.at_ms, reading.value));
    }
    series
}

fn minutes(numbers: std::ops::Range<i64>) -> impl Iterator<Item = Reading> {
    numbers.flat_map(minute)
}

/// A ledger of these minutes, those before `archived` in chunks.
fn filled(numbers: std::ops::Range<i64>, archived: i64) -> (Ledger, i64) {
    let (mut ledger, boot) = copied::ledger();
    for number in numbers {
        put(&mut ledger, boot, START_MS + number * 60_000, &minute(number));
    }
    ledger.compact(START_MS + archived * 60_000).unwrap();
    (ledger, boot)
}

/// As the first database shows it: without the name among the labels.
fn exported(database: &Metrics, name: &str) -> Shown {
    let strip = |labels: &str| {
        let mut labels: Value = serde_json::from_str(labels).unwrap();
        labels.as_object_mut().unwrap().remove("__name__");
        labels.to_string()
    };
    database.export(name).into_iter().map(|(labels, points)| (strip(&labels), points)).collect()
}

/// As the second shows it: tags that a series lacks are shown empty.
fn queried(database: &Series, measurement: &str, field: &str) -> Shown {
    let mut shown = Shown::new();
    for ((name, tags), points) in database.stored(measurement) {
        if name == format!("{measurement}_{field}") {
            let points = points.into_iter().filter_map(|(ms, value)| Some((ms, value.as_f64()?)));
            shown.entry(tags).or_default().extend(points);
        }
    }
    shown
}

fn count(shown: &Shown) -> usize {
    shown.values().map(Vec::len).sum()
}

/// The database shows what it took a moment later, also after its flush.
async fn shows(look: impl Fn() -> Shown, wanted: &Shown) {
    let found = until_async("the database shows everything", || {
        let found = look();
        (count(&found) >= count(wanted)).then_some(found)
    })
    .await;
    assert_eq!(found.keys().collect::<Vec<_>>(), wanted.keys().collect::<Vec<_>>());
    for (tags, points) in wanted {
        assert_eq!(found[tags].len(), points.len(), "{tags}");
        for ((ms, value), (found_ms, found_value)) in points.iter().zip(&found[tags]) {
            assert!(
                ms == found_ms && agrees(*value, *found_value),
                "{tags}: {ms} {value}: {found_ms} {found_value}"
            );
        }
    }
}

#[tokio::test]
async fn every_reading_arrives_from_chunks_and_batches_and_a_second_time_changes_nothing() {
    if !metrics::available() || !series::available() {
        return;
    }
    let (one, other) = (Metrics::start(), Series::start());
    let before = one.thrown_away();
    // A day and a half, the first day in chunks: more than one call.
    let (ledger, boot) = filled(1..2161, 1440);
    let wanted = wanted(minutes(1..2161));
    for _ in 0..2 {
        // The second start stands for a crash before any cursor was committed: all of it again.
        for url in [one.url(), other.url()] {
            let mut running = Running::start(&settings(url), ledger.reader().unwrap(), boot);
            running.has_everything().await;
            assert_eq!(running.standing.words(), "the mirror has everything");
            running.end().await;
        }
        shows(|| exported(&one, "reading_value"), &wanted).await;
        shows(|| queried(&other, "reading", "value"), &wanted).await;
    }
    assert_eq!(one.thrown_away(), before);
}

#[tokio::test]
async fn what_was_measured_while_the_database_was_away_is_filled_in_also_from_chunks() {
    if !metrics::available() {
        return;
    }
    let mut database = Metrics::start();
    let before = database.thrown_away();
    let (mut ledger, boot) = filled(1..101, 0);
    let mut running = Running::start(&settings(database.url()), ledger.reader().unwrap(), boot);
    running.has_everything().await;
    shows(|| exported(&database, "reading_value"), &wanted(minutes(1..101))).await;
    database.stop();
    for number in 101..401 {
        put(&mut ledger, boot, START_MS + number * 60_000, &minute(number));
    }
    // Longer than batches are kept: three quarters of it are in chunks when the database is back.
    ledger.compact(START_MS + 300 * 60_000).unwrap();
    running.keeper.commit();
    running.keeper.away("mirror").await;
    database.resume();
    running.has_everything().await;
    running.end().await;
    shows(|| exported(&database, "reading_value"), &wanted(minutes(1..401))).await;
    assert_eq!(database.thrown_away(), before);
}

#[tokio::test]
async fn day_pages_and_steps_of_notices_arrive_and_their_words_forge_nothing() {
    if !metrics::available() || !series::available() {
        return;
    }
    let (one, other) = (Metrics::start(), Series::start());
    let before = one.thrown_away();
    let (mut ledger, boot) = filled(1..3, 0);
    put_page(&mut ledger, boot, START_DAY, 36.12);
    put_step(&mut ledger, boot);
    for url in [one.url(), other.url()] {
        let mut running = Running::start(&settings(url), ledger.reader().unwrap(), boot);
        running.has_everything().await;
        running.end().await;
    }
    let page = json!({ "edition": "7.3", "place": "house" }).to_string();
    let page = |value| Shown::from([(page.clone(), vec![(START_MS, value)])]);
    shows(|| exported(&one, "place_day_t_max_c"), &page(36.12)).await;
    shows(|| queried(&other, "place_day", "t_max_c"), &page(36.12)).await;
    shows(|| queried(&other, "place_day", "measured_share"), &page(0.75)).await;
    let tags = json!({ "minder": "too-hot", "notice": "2024-07-02.house.too-hot.2", "place": "house",
        "planting": "tomatoes-by-the-door", "severity": "severe", "turn": "opened" });
    let step = Shown::from([(tags.to_string(), vec![(START_MS + 7, 3.0)])]);
    shows(|| exported(&one, "notice_step_severity_rank"), &step).await;
    shows(|| queried(&other, "notice_step", "severity_rank"), &step).await;
    // The words, on one line; nothing they say became a series.
    let stored = other.stored("notice_step");
    let text = |field: &str| stored[&(format!("notice_step_{field}"), tags.to_string())][0].1.clone();
    assert_eq!(text("title"), json!("Open \"the\" door forged,a=b value=1 "));
    assert_eq!(text("text"), json!("At 36.1 /"));
    let names = other.query("SHOW MEASUREMENTS")["series"][0]["values"].clone();
    assert_eq!(names, json!([["notice_step"], ["place_day"], ["reading"]]));
    assert_eq!(count(&exported(&one, "forged_value")), 0);
    assert_eq!(one.thrown_away(), before);
}

#[tokio::test]
async fn numbers_of_eleven_digits_come_back_exactly_and_longer_ones_to_the_stated_share() {
    if !metrics::available() || !series::available() {
        return;
    }
    let (one, other) = (Metrics::start(), Series::start());
    let reading = |at_ms, value| Reading {
        probe: "bench-1".into(),
        quantity: agronomy::quantity::Quantity::Co2,
        value,
        at_ms,
        reason: Reason::None,
    };
    let digits = |number: i64| {
        let value = (number * 7_919) as f64 / 997.0 - 20_000.0;
        // Eleven digits, and then as many as there are.
        [format!("{value:.10e}").parse().unwrap(), value]
    };
    let readings: Vec<Reading> = (0..500)
        .flat_map(|number| {
            digits(number).into_iter().zip(0..).map(move |(value, at)| (2 * number + at, value))
        })
        .map(|(at, value)| reading(START_MS + at, value))
        .collect();
    for url in [one.url(), other.url()] {
        let (remote, _) = Remote::new(&settings(url)).unwrap();
        remote.write(readings.iter().map(|reading| of_reading(reading).unwrap()).collect()).await.unwrap();
    }
    let wanted = wanted(readings);
    shows(|| exported(&one, "reading_value"), &wanted).await;
    shows(|| queried(&other, "reading", "value"), &wanted).await;
    let exact = |shown: Shown| {
        let pairs = wanted.values().flatten().zip(shown.into_values().flatten());
        pairs.filter(|((ms, value), (_, found))| (ms - START_MS) % 2 == 0 && value == found).count()
    };
    assert_eq!(
        (exact(exported(&one, "reading_value")), exact(queried(&other, "reading", "value"))),
        (500, 500)
    );
}

#[tokio::test]
async fn an_amended_page_overwrites_the_first() {
    if !series::available() {
        return;
    }
    let database = Series::start();
    let (mut ledger, boot) = filled(1..3, 0);
    put_page(&mut ledger, boot, START_DAY, 36.12);
    put_page(&mut ledger, boot, START_DAY + 1, 30.0);
    let mut running = Running::start(&settings(database.url()), ledger.reader().unwrap(), boot);
    running.has_everything().await;
    let tags = json!({ "edition": "7.3", "place": "house" }).to_string();
    let day = START_MS + 86_400_000;
    let look = || queried(&database, "place_day", "t_max_c");
    shows(look, &Shown::from([(tags.clone(), vec![(START_MS, 36.12), (day, 30.0)])])).await;
    put_page(&mut ledger, boot, START_DAY, 37.5);
    running.keeper.commit();
    let amended = Shown::from([(tags, vec![(START_MS, 37.5), (day, 30.0)])]);
    until_async("the page is amended", || (look() == amended).then_some(())).await;
    running.end().await;
}
