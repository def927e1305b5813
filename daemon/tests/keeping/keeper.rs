//! The keeper's thread, under a clock that only the test moves: what is acknowledged is durable.

use std::collections::BTreeSet;
use std::io::Write;
use std::sync::atomic::{AtomicBool, AtomicI64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use glasshour::clock::Clock;
use glasshour::entry::Note;
use glasshour::keeper::core::Core;
use glasshour::keeper::event::Event;
use glasshour::keeper::handle::Handle;
use glasshour::keeper::thread::{Keeper, Setup};
use glasshour::ledger::{Ledger, Reader};
use glasshour::reading::Heard;
use glasshour::supervise::Tasks;

use super::garden::*;
use super::small_disk::SmallDisk;

/// Wall and monotonic time are one, and stand still until the test moves them.
struct Hand {
    now_ms: AtomicI64,
    trusted: AtomicBool,
}

impl Hand {
    fn at(now_ms: i64, trusted: bool) -> Arc<Self> {
        Arc::new(Self { now_ms: AtomicI64::new(now_ms), trusted: AtomicBool::new(trusted) })
    }

    fn pass(&self, span_ms: i64) -> i64 {
        self.now_ms.fetch_add(span_ms, Ordering::SeqCst) + span_ms
    }
}

impl Clock for Hand {
    fn wall_ms(&self) -> i64 {
        self.now_ms.load(Ordering::SeqCst)
    }

    fn monotonic_ms(&self) -> i64 {
        self.wall_ms() - june()
    }

    fn vouched_by(&self) -> Option<String> {
        self.trusted.load(Ordering::SeqCst).then(|| "the test".to_owned())
    }

    /// The keeper looks again at once: its clock may have been moved.
    fn real(&self, _: Duration) -> Duration {
        Duration::from_millis(1)
    }
}

/// A keeper at work.
struct Bench {
    handle: Handle,
    clock: Arc<Hand>,
    reader: Reader,
    tasks: Tasks,
    acks: Arc<AtomicUsize>,
    /// Stops the keeper also when a test fails, which else would wait for it.
    _guard: tokio_util::sync::DropGuard,
}

impl Bench {
    fn start(core: Core, clock: Arc<Hand>) -> Self {
        let reader = core.ledger().reader().unwrap();
        let setup = Setup {
            core,
            boot: 1,
            clock: Arc::clone(&clock) as Arc<dyn Clock>,
            commit_every: Duration::from_secs(300),
            listening: String::new(),
            push_key: None,
            makeshift: None,
        };
        let (keeper, handle) = Keeper::new(setup);
        let mut tasks = Tasks::new();
        let runtime = tokio::runtime::Handle::current();
        tasks.spawn_blocking("keeper", move |stop| keeper.run(&runtime, &stop));
        let guard = tasks.stop().drop_guard();
        Self { handle, clock, reader, tasks, acks: Arc::default(), _guard: guard }
    }

    fn in_memory() -> Self {
        Self::start(in_memory(&tomato_house(), june()), Hand::at(june(), true))
    }

    /// Sends readings whose acknowledgement is counted, and checked against the ledger when it comes.
    async fn send(&self, readings: Vec<Heard>) {
        let (acks, reader) = (Arc::clone(&self.acks), self.reader.clone());
        let wanted: BTreeSet<i64> = readings.iter().filter_map(|it| it.measured_ms).collect();
        let done = move || {
            let stored = reader.readings("post", AIR, 0..i64::MAX).unwrap();
            let stored: BTreeSet<i64> = stored.iter().map(|reading| reading.at_ms).collect();
            if wanted.is_subset(&stored) {
                acks.fetch_add(1, Ordering::SeqCst);
            }
        };
        let arrived_mono_ms = self.clock.monotonic_ms();
        let event = Event::Heard { readings, arrived_mono_ms, done: Some(Box::new(done)) };
        self.handle.events.send(event).await.unwrap();
    }

    async fn send_one(&self, number: i64) {
        self.send(vec![heard("post", AIR, june() + number * 1_000, 20.0)]).await;
    }

    /// Lets the keeper go round: a question sent after an answer is taken in after what came before it.
    async fn rounds(&self) {
        for _ in 0..3 {
            self.handle.season("nobody".to_owned()).await.unwrap();
        }
    }

    fn acked(&self) -> usize {
        self.acks.load(Ordering::SeqCst)
    }

    /// Waits until the keeper has come to something; the deadline is only for a keeper that never does.
    async fn until(&self, what: &str, mut come: impl FnMut(&Self) -> bool) {
        for _ in 0..6_000 {
            if come(self) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        panic!("not within a minute: {what}");
    }

    async fn stop(self) {
        self.tasks.stop().cancel();
        self.tasks.join(Duration::from_secs(60)).await.unwrap();
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_tenth_message_that_waits_for_its_acknowledgement_makes_a_commit_due() {
    let bench = Bench::in_memory();
    for number in 0..9 {
        bench.send_one(number).await;
    }
    bench.rounds().await;
    assert_eq!(bench.acked(), 0);
    bench.send_one(9).await;
    bench.until("ten acknowledgements", |bench| bench.acked() == 10).await;
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn five_hundred_readings_make_a_commit_due() {
    let bench = Bench::in_memory();
    let many = |from: i64, count: i64| -> Vec<Heard> {
        (from..from + count).map(|number| heard("post", AIR, june() - number * 1_000, 20.0)).collect()
    };
    bench.send(many(0, 499)).await;
    bench.rounds().await;
    assert_eq!(bench.acked(), 0);
    bench.send(many(499, 1)).await;
    bench.until("both acknowledgements", |bench| bench.acked() == 2).await;
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_waits_is_committed_once_its_time_is_up() {
    let bench = Bench::in_memory();
    bench.send_one(0).await;
    bench.rounds().await;
    bench.clock.pass(5 * MINUTE - 1);
    bench.rounds().await;
    assert_eq!(bench.acked(), 0);
    bench.clock.pass(1);
    bench.until("the acknowledgement", |bench| bench.acked() == 1).await;
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_step_of_a_notice_is_committed_at_once_with_what_caused_it() {
    let bench = Bench::in_memory();
    for minute in 0..=10 {
        bench.clock.now_ms.store(june() + 12 * HOUR + minute * MINUTE, Ordering::SeqCst);
        bench.send(vec![heard("post", AIR, june() + 12 * HOUR + minute * MINUTE, 36.0)]).await;
        if minute < 9 {
            bench.rounds().await;
        }
    }
    bench.until("every acknowledgement", |bench| bench.acked() == 11).await;
    let entries = bench.reader.entries().unwrap();
    assert!(entries.iter().any(|entry| matches!(&entry.note, Note::Step(step) if step.minder == "too-hot")));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_note_is_answered_once_it_is_durable_and_takes_along_what_waits() {
    let bench = Bench::in_memory();
    bench.send_one(0).await;
    let entry = bench.handle.note(Note::Remark { text: "mulched".into() }, None).await.unwrap();
    assert!(bench.reader.entries().unwrap().iter().any(|it| it.id == entry));
    bench.until("the acknowledgement", |bench| bench.acked() == 1).await;
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_read_is_counted_under_its_probe_and_acknowledged() {
    let bench = Bench::in_memory();
    let acks = Arc::clone(&bench.acks);
    let event = Event::Malformed {
        probe: "post".into(),
        sample: "not a number".into(),
        done: Some(Box::new(move || _ = acks.fetch_add(1, Ordering::SeqCst))),
    };
    bench.handle.events.send(event).await.unwrap();
    bench.rounds().await;
    bench.clock.pass(2 * HOUR);
    bench.until("the acknowledgement", |bench| bench.acked() == 1).await;
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn stopping_makes_durable_what_waits() {
    let folder = tempfile::tempdir().unwrap();
    let core = again(folder.path(), &tomato_house(), june());
    let bench = Bench::start(core, Hand::at(june(), true));
    bench.send_one(0).await;
    bench.stop().await;
    let ledger = Ledger::open(folder.path(), &founding()).unwrap();
    assert_eq!(ledger.readings("post", AIR, 0..i64::MAX).unwrap().len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn trust_in_the_clock_dates_what_was_heard_without_it() {
    let mut ledger = Ledger::in_memory(&founding()).unwrap();
    let boot = ledger.begin_boot(0, None).unwrap();
    let moment = glasshour::keeper::core::Moment { trusted: false, ..moment(june()) };
    let core = Core::start(site(), ledger, boot, moment, Vec::new()).unwrap();
    let bench = Bench::start(core, Hand::at(june(), false));
    let bare =
        Heard { probe: "post".into(), quantity: AIR, value: Some(20.0), measured_ms: None, stale: false };
    bench.send(vec![bare]).await;
    bench.rounds().await;
    bench.clock.pass(2 * HOUR);
    bench.until("the acknowledgement", |bench| bench.acked() == 1).await;
    assert_eq!(bench.reader.undated().unwrap(), 1);
    bench.clock.trusted.store(true, Ordering::SeqCst);
    bench.until("a date", |bench| bench.reader.undated().unwrap() == 0).await;
    assert_eq!(bench.reader.span("post", AIR).unwrap(), Some((june(), june())));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn while_storage_refuses_nothing_is_acknowledged_and_all_of_it_is_once_there_is_room() {
    let folder = tempfile::tempdir().unwrap();
    let Some(disk) = SmallDisk::mount(folder.path()) else {
        let _ = writeln!(std::io::stderr(), "SKIPPED: full disk: mounting a small file system takes root");
        return;
    };
    let core = again(folder.path(), &tomato_house(), june());
    let bench = Bench::start(core, Hand::at(june(), true));
    let ballast = disk.fill();
    let refused = |bench: &Bench| bench.handle.now().board.storage_refused.is_some();
    let long = Note::Remark { text: "leaves ".repeat(70) };
    let mut said = Ok(0);
    for _ in 0..20_000 {
        said = bench.handle.note(long.clone(), None).await;
        if said.is_err() {
            break;
        }
    }
    assert!(said.unwrap_err().contains("nothing can be stored"));
    bench.until("the page says so", refused).await;
    for number in 0..30 {
        bench.send_one(number).await;
    }
    bench.rounds().await;
    assert_eq!(bench.acked(), 0, "thirty wait, and ten would be due");
    std::fs::remove_file(&ballast).unwrap();
    bench.clock.pass(MINUTE);
    bench.until("every acknowledgement", |bench| bench.acked() == 30).await;
    bench.until("the page says so", |bench| !refused(bench)).await;
    bench.handle.note(long, None).await.unwrap();
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn once_a_day_in_the_quiet_hour_old_batches_become_chunks_and_no_count_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = again(folder.path(), &tomato_house(), june());
    walk(&mut core, "post", june(), MINUTE, &[(0, 20.0), (6 * HOUR, 25.0)]);
    core.flush(moment(june() + 6 * HOUR)).unwrap();
    let bench = Bench::start(core, Hand::at(june() + 6 * HOUR, true));
    // Something always waits, as it does in a garden.
    let seen = Mutex::new(BTreeSet::new());
    for day in 1..=4 {
        bench.clock.now_ms.store(june() + day * DAY + 4 * HOUR, Ordering::SeqCst);
        bench.send(vec![heard("post", AIR, june() + day * DAY + 4 * HOUR, 21.0)]).await;
        // What waits is committed after five minutes.
        bench.rounds().await;
        bench.clock.now_ms.store(june() + day * DAY + 4 * HOUR + 6 * MINUTE, Ordering::SeqCst);
        bench.until("the day's commit", |bench| bench.acked() as i64 == day).await;
        seen.lock().unwrap().insert(bench.reader.batches_after(0, 10_000).unwrap().len());
    }
    bench.until("chunks", |bench| bench.reader.batches_after(0, 10_000).unwrap().len() < 5).await;
    let before = bench.handle.export().await.unwrap();
    bench.stop().await;
    let mut core = again(folder.path(), &[], june() + 4 * DAY + 4 * HOUR);
    assert_eq!(everything(&mut core).to_string(), before.to_string());
}

#[tokio::test(flavor = "multi_thread")]
async fn another_edition_is_reckoned_in_the_background_and_comes_into_service_while_readings_wait() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = again(folder.path(), &tomato_house(), june());
    walk(&mut core, "post", june(), MINUTE, &[(0, 20.0), (3 * DAY, 26.0)]);
    core.advance(moment(june() + 3 * DAY));
    core.flush(moment(june() + 3 * DAY)).unwrap();
    drop(core);
    let mut ledger = Ledger::open(folder.path(), &founding()).unwrap();
    let boot = ledger.begin_boot(3 * DAY, Some((june(), "test"))).unwrap();
    let mut other = site();
    other.book.edition.push_str(" revised");
    let core = Core::start(other.clone(), ledger, boot, moment(june() + 3 * DAY), Vec::new()).unwrap();
    let bench = Bench::start(core, Hand::at(june() + 3 * DAY, true));
    let season = bench.handle.season("red".to_owned()).await.unwrap().unwrap();
    assert!(season.still_to_reckon.is_some() && season.anew.is_none());
    let with_page = season.days.iter().filter(|day| day.measured_share > 0.0);
    assert_eq!(with_page.count(), 3, "the old edition is served");
    bench.until("the page says so", |bench| bench.handle.now().board.still_to_reckon.is_some()).await;
    // A reading waits for its commit, which is not due for five minutes.
    bench.send(vec![heard("post", AIR, june() + 3 * DAY, 26.0)]).await;
    let renewed = |bench: &Bench| {
        bench.clock.pass(10);
        bench.reader.editions().unwrap() == [other.edition()]
    };
    bench.until("no page of another", renewed).await;
    let season = bench.handle.season("red".to_owned()).await.unwrap().unwrap();
    assert_eq!((season.anew.unwrap().edition, season.still_to_reckon), (other.edition(), None));
    assert_eq!(bench.acked(), 1, "the reading went along");
    bench.stop().await;
}
