//! The keeper's thread on a disk that refuses, in simulated time.

use std::io::Write;
use std::path::PathBuf;
use std::time::Duration;

use glasshour::couriers::outbox::Delivery;
use glasshour::entry::Note;
use glasshour::keeper::core::{Core, Moment, Route};
use glasshour::keeper::event::Event;
use glasshour::ledger::Ledger;

use super::bench::{Bench, Machine};
use super::garden::*;
use super::small_disk::SmallDisk;

/// The log has room that was filled once: notes use it up, long ones first. Reopening may free some, so again.
async fn fill_up(bench: &Bench, disk: &SmallDisk<'_>) -> PathBuf {
    for _ in 0..2 {
        disk.fill();
        for words in [70, 1] {
            let note = Note::Remark { text: "leaves ".repeat(words) };
            while bench.handle.note(note.clone(), None).await.is_ok() {}
        }
    }
    disk.fill()
}

#[tokio::test(flavor = "multi_thread")]
async fn s6_with_a_disk_that_refuses_heat_is_told_from_memory_and_stored_once_there_is_room() {
    let folder = tempfile::tempdir().unwrap();
    let Some(disk) = SmallDisk::mount(folder.path()) else {
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
    let ballast = fill_up(&bench, &disk).await;
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
    bench.machine.pass(MINUTE);
    bench
        .until("the refusal that was got over is told", |bench| {
            let lately = bench.handle.now().board.lately.clone();
            lately.iter().any(|it| it.starts_with("The disk refused writes from "))
        })
        .await;
    bench.stop().await;
    drop(disk);
}

#[tokio::test(flavor = "multi_thread")]
async fn p8_while_the_disk_refuses_memory_is_bounded_and_what_is_not_kept_is_counted() {
    let folder = tempfile::tempdir().unwrap();
    let Some(disk) = SmallDisk::mount(folder.path()) else {
        let _ = writeln!(std::io::stderr(), "SKIPPED: mounting a small file system takes root");
        return;
    };
    let core = again(folder.path(), &tomato_house(), june());
    let bench = Bench::on(core, 1, Machine::at(june(), true));
    fill_up(&bench, &disk).await;
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
