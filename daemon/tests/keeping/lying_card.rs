//! A card that reported what it stored and had not stored it: a page that stood open is the witness.

use std::path::Path;
use std::sync::atomic::Ordering;

use glasshour::entry::{BoardNews, Note};
use glasshour::keeper::core::{Core, Moment};
use glasshour::keeper::event::Event;
use glasshour::ledger::Ledger;

use super::bench::{Bench, Machine};
use super::garden::*;

/// A keeper on the ledger in a folder, on a board that has just been switched on.
fn service(folder: &Path, wall_ms: i64) -> Bench {
    board(folder, wall_ms, true)
}

/// The same, and whether anybody vouches for its clock.
fn board(folder: &Path, wall_ms: i64, trusted: bool) -> Bench {
    let mut ledger = Ledger::open(folder, &founding()).unwrap();
    let dated = trusted.then_some((wall_ms - MINUTE, "the time service"));
    let boot = ledger.begin_boot(MINUTE, dated).unwrap();
    let now = Moment { wall_ms, mono_ms: MINUTE, trusted };
    let core = Core::start(site(), ledger, boot, now, Vec::new()).unwrap();
    let machine = Machine::on_for(wall_ms, MINUTE);
    machine.synchronised.store(trusted, Ordering::SeqCst);
    Bench::on(core, boot, machine)
}

/// Hears so many readings, each in a commit of its own; how far a page saw the ledger then.
async fn hear_many(bench: &Bench, many: usize) -> String {
    for _ in 0..many {
        let before = bench.handle.now().board.mark.clone();
        bench.hear(21.0).await;
        let moved = |bench: &Bench| {
            bench.machine.pass(2_000);
            bench.handle.now().board.mark != before
        };
        bench.until("it is stored and shown", moved).await;
    }
    bench.handle.now().board.mark.clone()
}

fn title(bench: &Bench) -> Option<String> {
    let now = bench.handle.now();
    let told = now.open.iter().find(|notice| notice.minder == "lying-card");
    told.map(|notice| notice.steps[0].title.clone())
}

async fn says(bench: &Bench, mark: &str) {
    assert!(bench.handle.events.send(Event::Witness { mark: mark.to_owned() }).await.is_ok());
    bench.rounds().await;
}

/// What the card really holds from here on.
fn hold(folder: &Path, copies: &Path) {
    for name in ["ledger", "ledger-wal"] {
        std::fs::copy(folder.join(name), copies.join(name)).unwrap();
    }
}

async fn tells_of_five(bench: &Bench) {
    let told = |bench: &Bench| {
        bench.machine.pass(2_000);
        title(bench).is_some()
    };
    bench.until("it is told", told).await;
    let lost = "The card lost 5 readings it had promised to keep. Replace it.";
    assert_eq!(title(bench).as_deref(), Some(lost));
}

#[tokio::test(flavor = "multi_thread")]
async fn s3_what_a_page_saw_stored_and_the_card_does_not_hold_is_counted_and_told_once() {
    let (folder, copies) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    drop(again(folder.path(), &tomato_house(), june()));
    let bench = service(folder.path(), june() + 14 * HOUR);
    let kept = hear_many(&bench, 2).await;
    hold(folder.path(), copies.path());
    let promised = hear_many(&bench, 5).await;
    bench.stop().await;

    let bench = service(copies.path(), june() + 15 * HOUR);
    says(&bench, &kept).await;
    says(&bench, "rubbish").await;
    let own = hear_many(&bench, 9).await;
    says(&bench, &own).await;
    assert_eq!(title(&bench), None, "nothing of that is lost");
    says(&bench, &promised).await;
    says(&bench, &promised).await;
    tells_of_five(&bench).await;
    bench.stop().await;

    // It is known after another start, and a second page that saw the same says nothing new.
    let bench = service(copies.path(), june() + 16 * HOUR);
    says(&bench, &promised).await;
    bench.until("it still stands", |bench| title(bench).is_some()).await;
    let entries = bench.reader.entries().unwrap();
    let losses = entries.iter().filter(|entry| matches!(entry.note, Note::Board(BoardNews::Lost { .. })));
    assert_eq!(losses.count(), 1);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn s3_what_a_page_says_before_the_time_is_known_is_told_once_it_is() {
    let (folder, copies) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    drop(again(folder.path(), &tomato_house(), june()));
    let bench = service(folder.path(), june() + 14 * HOUR);
    hear_many(&bench, 2).await;
    hold(folder.path(), copies.path());
    let first = hear_many(&bench, 3).await;
    let promised = hear_many(&bench, 2).await;
    bench.stop().await;

    let bench = board(copies.path(), june() + 15 * HOUR, false);
    for mark in [&first, &promised, &first] {
        says(&bench, mark).await;
    }
    assert_eq!(title(&bench), None, "nobody vouches for the clock");
    bench.machine.synchronised.store(true, Ordering::SeqCst);
    tells_of_five(&bench).await;
    bench.stop().await;
}
