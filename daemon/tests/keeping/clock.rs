//! The keeper's thread under clocks that jump and a disk that refuses, in simulated time.

use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};
use std::time::Duration;

use glasshour::clock::Clock;
use glasshour::entry::Note;
use glasshour::keeper::core::{Core, Moment, Route};
use glasshour::keeper::event::{ClockWord, Delivery, Event};
use glasshour::keeper::handle::Handle;
use glasshour::keeper::thread::{Keeper, Setup};
use glasshour::ledger::{Ledger, Reader};
use glasshour::reading::Heard;
use glasshour::supervise::Tasks;

use super::garden::*;

const YEAR: i64 = 365 * DAY;

/// A machine whose clocks only the test moves, each by itself.
struct Machine {
    wall_ms: AtomicI64,
    mono_ms: AtomicI64,
    synchronised: AtomicBool,
}

impl Machine {
    fn at(wall_ms: i64, synchronised: bool) -> Arc<Self> {
        let mono_ms = AtomicI64::new(HOUR);
        Arc::new(Self { wall_ms: wall_ms.into(), mono_ms, synchronised: synchronised.into() })
    }

    fn pass(&self, span_ms: i64) {
        self.mono_ms.fetch_add(span_ms, Ordering::SeqCst);
        self.wall_ms.fetch_add(span_ms, Ordering::SeqCst);
    }

    fn jump(&self, span_ms: i64) {
        self.wall_ms.fetch_add(span_ms, Ordering::SeqCst);
    }
}

impl Clock for Machine {
    fn wall_ms(&self) -> i64 {
        self.wall_ms.load(Ordering::SeqCst)
    }

    fn monotonic_ms(&self) -> i64 {
        self.mono_ms.load(Ordering::SeqCst)
    }

    fn vouched_by(&self) -> Option<String> {
        self.synchronised.load(Ordering::SeqCst).then(|| "the time service".to_owned())
    }

    /// The keeper looks again soon: its clock may have been moved. No longer than it wants between two glances.
    fn real(&self, span: Duration) -> Duration {
        span.min(Duration::from_millis(250))
    }
}

/// A keeper at work.
struct Bench {
    handle: Handle,
    machine: Arc<Machine>,
    clock: Arc<dyn Clock>,
    reader: Reader,
    tasks: Tasks,
    _guard: tokio_util::sync::DropGuard,
}

impl Bench {
    fn on(core: Core, boot: i64, machine: Arc<Machine>) -> Self {
        let reader = core.ledger().reader().unwrap();
        let setup = Setup {
            core,
            boot,
            clock: Arc::clone(&machine) as Arc<dyn Clock>,
            commit_every: Duration::from_secs(1),
            listening: String::new(),
            push_key: None,
        };
        let (keeper, handle) = Keeper::new(setup);
        let clock = keeper.clock();
        let mut tasks = Tasks::new();
        let runtime = tokio::runtime::Handle::current();
        tasks.spawn_blocking("keeper", move |stop| keeper.run(&runtime, &stop));
        let guard = tasks.stop().drop_guard();
        Self { handle, machine, clock, reader, tasks, _guard: guard }
    }

    /// On a ledger of its own, trusted from the start or not.
    fn new(synchronised: bool) -> Self {
        let mut ledger = Ledger::in_memory(&founding()).unwrap();
        let early = ledger.begin_boot(0, Some((june() - DAY, "test"))).unwrap();
        let notes: Vec<_> = tomato_house().into_iter().map(|note| (june() - 40 * DAY, note)).collect();
        let then = Moment { wall_ms: june() - DAY, mono_ms: 0, trusted: true };
        glasshour::keeper::start::seed(&mut ledger, early, then, &notes).unwrap();
        let dated = synchronised.then_some((june() - HOUR, "the time service"));
        let boot = ledger.begin_boot(HOUR, dated).unwrap();
        let now = Moment { wall_ms: june(), mono_ms: HOUR, trusted: synchronised };
        let core = Core::start(site(), ledger, boot, now, Vec::new()).unwrap();
        Self::on(core, boot, Machine::at(june(), synchronised))
    }

    /// A bare number arrives now, by the clock that sources read.
    async fn hear(&self, value: f64) {
        let readings = vec![Heard {
            probe: "post".into(),
            quantity: AIR,
            value: Some(value),
            measured_ms: None,
            stale: false,
        }];
        let event = Event::Heard { readings, arrived_mono_ms: self.clock.monotonic_ms(), done: None };
        self.handle.events.send(event).await.unwrap();
        self.rounds().await;
    }

    /// Lets the keeper go round: a question sent after an answer is taken in after what came before it.
    async fn rounds(&self) {
        for _ in 0..3 {
            self.handle.season("nobody".to_owned()).await.unwrap();
        }
    }

    async fn until(&self, what: &str, mut come: impl FnMut(&Self) -> bool) {
        for _ in 0..3_000 {
            if come(self) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        panic!("not within half a minute: {what}");
    }

    /// The log has room that was filled once: notes use it up, long ones first. Reopening may free some, so again.
    async fn fill_up(&self, disk: &Disk<'_>) -> std::path::PathBuf {
        for _ in 0..2 {
            disk.fill();
            for words in [70, 1] {
                let note = Note::Remark { text: "leaves ".repeat(words) };
                while self.handle.note(note.clone(), None).await.is_ok() {}
            }
        }
        disk.fill()
    }

    fn times(&self) -> Vec<i64> {
        let readings = self.reader.readings("post", AIR, 0..i64::MAX).unwrap();
        readings.into_iter().map(|reading| reading.at_ms).collect()
    }

    async fn stop(self) {
        self.tasks.stop().cancel();
        self.tasks.join(Duration::from_secs(60)).await.unwrap();
    }
}

fn right() -> ClockWord {
    ClockWord::AsShown { by: "the grower".to_owned() }
}

#[tokio::test(flavor = "multi_thread")]
async fn c5_a_jump_is_not_believed_either_way_and_readings_go_on_by_the_monotonic_clock() {
    for years in [4, -4] {
        let bench = Bench::new(true);
        bench.hear(20.0).await;
        bench.machine.jump(years * YEAR);
        for _ in 0..5 {
            bench.machine.pass(MINUTE);
            bench.hear(20.0).await;
        }
        bench.machine.pass(MINUTE);
        bench.until("six readings", |bench| bench.times().len() == 6).await;
        assert_eq!(bench.times(), (0..6).map(|minute| june() + minute * MINUTE).collect::<Vec<_>>());
        let way = if years > 0 { "ahead" } else { "back" };
        bench.until("the doubt", |bench| bench.handle.now().board.clock.doubt.is_some()).await;
        let doubt = bench.handle.now().board.clock.doubt.clone().unwrap();
        assert!(
            doubt.starts_with("The clock jumped ") && doubt.ends_with(&format!(" years {way}; not believed")),
            "{doubt}"
        );
        assert!(bench.handle.now().board.clock_vouched_by.is_some());
        bench.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn c5_the_grower_may_confirm_a_jump_ahead_and_never_one_to_before_the_newest_commit() {
    let bench = Bench::new(true);
    bench.hear(20.0).await;
    bench.machine.pass(2_000);
    bench.until("a commit", |bench| bench.times().len() == 1).await;
    bench.machine.jump(-YEAR);
    let refusal = bench.handle.clock(right()).await.unwrap_err().to_string();
    assert!(refusal.contains("it must be later") || refusal.contains("no time this board"), "{refusal}");
    bench.machine.jump(YEAR + 3 * HOUR);
    bench.until("the doubt", |bench| bench.handle.now().board.clock.doubt.is_some()).await;
    let entry = bench.handle.clock(right()).await.unwrap();
    bench.until("belief", |bench| bench.handle.now().board.clock.doubt.is_none()).await;
    let noted = bench.reader.entries().unwrap().into_iter().find(|it| it.id == entry).unwrap();
    assert!(matches!(&noted.note, Note::Clock { by, .. } if by == "the grower"), "{noted:?}");
    bench.machine.pass(MINUTE);
    bench.hear(21.0).await;
    bench.machine.pass(MINUTE);
    bench.until("the reading", |bench| bench.times().len() == 2).await;
    assert_eq!(bench.times()[1], june() + 2_000 + 3 * HOUR + MINUTE);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn c4_a_phones_word_dates_a_boot_that_no_time_service_reaches() {
    let bench = Bench::new(false);
    bench.hear(20.0).await;
    bench.machine.pass(10 * MINUTE);
    bench.until("it is kept undated", |bench| bench.reader.undated().unwrap() == 1).await;
    assert_eq!(bench.handle.now().board.clock_vouched_by, None);
    let noon = june() + 3 * DAY + 12 * HOUR;
    let word = |at_ms| ClockWord::Now { at_ms, by: "a phone".to_owned(), sure: false };
    let early = bench.handle.clock(word(june() - 2 * DAY)).await.unwrap_err().to_string();
    assert!(early.contains("it must be later"), "{early}");
    bench.handle.clock(word(noon)).await.unwrap();
    let glance = bench.handle.now();
    assert_eq!(glance.board.clock_vouched_by.as_deref(), Some("a phone"));
    assert_eq!(glance.board.clock.dated_back_ms, Some(noon - 10 * MINUTE));
    assert_eq!(bench.times(), [noon - 10 * MINUTE]);
    // The machine's own wall clock, which nobody vouches for, may go where it likes.
    bench.machine.jump(-YEAR);
    bench.machine.pass(2 * HOUR);
    assert_eq!(bench.clock.wall_ms(), noon + 2 * HOUR);
    bench.hear(20.0).await;
    bench.machine.pass(1_000);
    let words = |bench: &Bench| bench.handle.now().board.clock_vouched_by.clone().unwrap_or_default();
    bench
        .until("the age is said", |bench| {
            bench.machine.pass(1_000);
            words(bench) != "a phone"
        })
        .await;
    assert_eq!(words(&bench), "a phone 2 h ago, and may be 1 s off by now");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn c4_a_mistyped_word_is_asked_for_twice_and_a_later_one_takes_it_back() {
    let bench = Bench::new(false);
    bench.hear(20.0).await;
    bench.machine.pass(10 * MINUTE);
    bench.until("it is kept undated", |bench| bench.reader.undated().unwrap() == 1).await;
    let word = |at_ms, sure| ClockWord::Now { at_ms, by: "a phone".to_owned(), sure };
    // The right day of the wrong year.
    let wrong = june() + YEAR;
    let asked = bench.handle.clock(word(wrong, false)).await.unwrap_err();
    assert!(asked.again && asked.to_string().contains("--sure"), "{asked}");
    assert_eq!(bench.handle.now().board.clock_vouched_by, None);
    bench.handle.clock(word(wrong, true)).await.unwrap();
    bench.machine.pass(MINUTE);
    bench.hear(21.0).await;
    bench.machine.pass(2_000);
    let false_dates = [wrong - 10 * MINUTE, wrong + MINUTE];
    bench.until("a commit", |bench| bench.times() == false_dates).await;
    // A time service that comes now is not believed, and changes nothing.
    bench.machine.synchronised.store(true, Ordering::SeqCst);
    bench.until("the doubt", |bench| bench.handle.now().board.clock.doubt.is_some()).await;
    let right_ms = bench.machine.wall_ms();
    let asked = bench.handle.clock(word(right_ms, false)).await.unwrap_err();
    assert!(asked.again && asked.why.contains("something was stored 364 days after"), "{asked}");
    let far = bench.handle.clock(word(june() - DAY - 1, true)).await.unwrap_err();
    assert!(!far.again && far.why.contains("it must be later"), "{far}");
    let entry = bench.handle.clock(right()).await.unwrap();
    let noted = bench.reader.entries().unwrap().into_iter().find(|it| it.id == entry).unwrap();
    assert!(
        matches!(&noted.note, Note::Clock { after_ms: Some(after), .. } if *after == june() - DAY),
        "{noted:?}"
    );
    assert_eq!((noted.at_ms, bench.reader.newest_commit_ms().unwrap()), (right_ms, Some(right_ms)));
    assert_eq!(bench.handle.now().at_ms, right_ms);
    bench.until("no doubt", |bench| bench.handle.now().board.clock.doubt.is_none()).await;
    // From here on everything is as if nothing had been said; what was stored keeps its dates.
    bench.machine.pass(MINUTE);
    bench.hear(22.0).await;
    bench.machine.pass(2_000);
    let dates = [&[right_ms + MINUTE][..], &false_dates].concat();
    bench.until("the reading", |bench| bench.times() == dates).await;
    let shown = |bench: &Bench| bench.handle.now().probes[0].newest.first().map(|(.., ms)| *ms);
    bench.until("it is shown", |bench| shown(bench) == Some(right_ms + MINUTE)).await;
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn c1_a_synchronised_clock_before_the_newest_commit_is_not_believed() {
    let bench = Bench::new(false);
    bench.machine.jump(-2 * DAY);
    bench.machine.synchronised.store(true, Ordering::SeqCst);
    bench.hear(20.0).await;
    assert_eq!(bench.handle.now().board.clock_vouched_by, None);
    bench.machine.jump(2 * DAY);
    bench.until("trust", |bench| bench.handle.now().board.clock_vouched_by.is_some()).await;
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn c6_after_a_stop_of_two_hours_the_gap_is_a_gap_and_nothing_is_clear_for_want_of_news() {
    let bench = Bench::new(true);
    bench.machine.pass(12 * HOUR);
    for _ in 0..=30 {
        bench.machine.pass(MINUTE);
        bench.hear(43.0).await;
    }
    bench.until("the notice", |bench| bench.handle.now().open.iter().any(|it| it.minder == "too-hot")).await;
    // Suspended or stopped: both clocks have moved on when the keeper looks again.
    bench.machine.pass(2 * HOUR);
    bench.rounds().await;
    bench.machine.pass(2_000);
    bench.rounds().await;
    // What was measured two hours ago is not now.
    bench.until("a gap", |bench| bench.handle.now().places[0].t_c.is_none()).await;
    let glance = bench.handle.now();
    assert!(glance.open.iter().any(|it| it.minder == "too-hot"), "no all-clear from silence");
    assert!(!glance.places[0].holes.is_empty(), "the gap is shown");
    bench.stop().await;
}

/// A small file system of its own; unmounted when done.
struct Disk<'a>(&'a Path);

impl<'a> Disk<'a> {
    fn mount(at: &'a Path) -> Option<Self> {
        let done = Command::new("mount").args(["-t", "tmpfs", "-o", "size=4m", "tmpfs"]).arg(at).output();
        done.is_ok_and(|done| done.status.success()).then_some(Self(at))
    }

    fn fill(&self) -> std::path::PathBuf {
        let ballast = self.0.join("ballast");
        let mut file = std::fs::File::options().append(true).create(true).open(&ballast).unwrap();
        while file.write_all(&[7; 4_096]).is_ok() {}
        ballast
    }
}

impl Drop for Disk<'_> {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.0).status();
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn s6_with_a_disk_that_refuses_heat_is_told_from_memory_and_stored_once_there_is_room() {
    let folder = tempfile::tempdir().unwrap();
    let Some(disk) = Disk::mount(folder.path()) else {
        let _ = writeln!(std::io::stderr(), "SKIPPED: mounting a small file system takes root");
        return;
    };
    drop(again(folder.path(), &tomato_house(), june()));
    let mut ledger = Ledger::open(folder.path(), &founding()).unwrap();
    let boot = ledger.begin_boot(HOUR, Some((june() - HOUR, "the time service"))).unwrap();
    let now = Moment { wall_ms: june(), mono_ms: HOUR, trusted: true };
    let route = Route {
        courier: "notice topic".into(),
        pushes_only: true,
        quiet: None,
        letter_at: None,
        unseen_ms: None,
    };
    let core = Core::start(site(), ledger, boot, now, vec![route]).unwrap();
    let bench = Bench::on(core, boot, Machine::at(june(), true));
    let ballast = bench.fill_up(&disk).await;
    assert!(bench.handle.now().board.storage_refused.is_some());
    for _ in 0..=30 {
        bench.machine.pass(MINUTE);
        bench.hear(43.0).await;
    }
    bench.until("told from memory", |bench| !bench.handle.now().board.unrecorded.is_empty()).await;
    let glance = bench.handle.now();
    let lent = &glance.board.unrecorded[0];
    assert!(lent.step.text.contains("Not recorded: nothing can be stored since "), "{}", lent.step.text);
    assert_eq!(lent.step.at_ms, june() + 31 * MINUTE, "decided when its dwell was over");
    let shown = glance.open.iter().find(|it| it.id == lent.step.notice).unwrap();
    assert!(shown.steps.iter().any(|step| step.text.contains("may come twice")));
    let tried = Event::Tried { step: lent.number, courier: "notice topic".into(), delivery: Delivery::Sent };
    bench.handle.events.send(tried).await.unwrap();
    bench.until("taken", |bench| bench.handle.now().board.unrecorded[0].waits_for.is_empty()).await;
    std::fs::remove_file(ballast).unwrap();
    bench.machine.pass(MINUTE);
    bench.until("room", |bench| bench.handle.now().board.storage_refused.is_none()).await;
    assert!(bench.handle.now().board.unrecorded.is_empty());
    let entries = bench.reader.entries().unwrap();
    let told = entries.iter().filter(|it| matches!(&it.note, Note::Step(step) if step.push)).count();
    let facts = entries.iter().filter(|it| matches!(&it.note, Note::SentUnrecorded { .. })).count();
    assert_eq!((told, facts), (1, 1));
    assert!(bench.reader.outbox().unwrap().is_empty(), "it is not sent again");
    assert_eq!(bench.times().len(), 31, "and no reading was lost");
    bench.stop().await;
    drop(disk);
}

#[tokio::test(flavor = "multi_thread")]
async fn p8_while_the_disk_refuses_memory_is_bounded_and_what_is_not_kept_is_counted() {
    let folder = tempfile::tempdir().unwrap();
    let Some(disk) = Disk::mount(folder.path()) else {
        let _ = writeln!(std::io::stderr(), "SKIPPED: mounting a small file system takes root");
        return;
    };
    let core = again(folder.path(), &tomato_house(), june());
    let bench = Bench::on(core, 1, Machine::at(june(), true));
    bench.fill_up(&disk).await;
    let mut at_ms = june();
    while bench.handle.now().board.not_kept == 0 {
        assert!(at_ms < june() + 200_000_000, "memory has no end");
        let readings = (0..2_000).map(|n| heard("post", AIR, at_ms - n * 1_000, 20.0)).collect();
        at_ms += 2_000_000;
        bench.machine.pass(2_000_000);
        let event = Event::Heard { readings, arrived_mono_ms: bench.clock.monotonic_ms(), done: None };
        bench.handle.events.send(event).await.unwrap();
        bench.rounds().await;
    }
    let sent = u64::try_from(at_ms - june()).unwrap() / 1_000;
    bench.machine.pass(1_000);
    bench.until("fifty thousand held", |bench| sent - bench.handle.now().board.not_kept == 50_000).await;
    bench.tasks.stop().cancel();
    let _ = bench.tasks.join(Duration::from_secs(60)).await;
    drop(disk);
}
