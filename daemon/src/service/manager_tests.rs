use std::time::Duration;

use tokio::sync::{mpsc, oneshot, watch};

use super::*;
use crate::clock::FastClock;
use crate::keeper::event::Event;
use crate::keeper::handle::Question;
use crate::page::fixtures;

/// What `deploy/glasshour.service` sets, µs.
const WATCHDOG: &str = "300000000";
const MINUTE: Duration = Duration::from_secs(60);

/// How many signs the manager has got since it was last asked.
fn signs(socket: &UnixDatagram) -> usize {
    let mut words = [0; 64];
    let next = || socket.recv(&mut words).ok().map(|length| words[..length].to_vec());
    std::iter::from_fn(next).filter(|word| word == b"WATCHDOG=1").count()
}

struct Bench {
    socket: UnixDatagram,
    events: mpsc::Receiver<Event>,
    keeper: Handle,
    stop: CancellationToken,
    running: tokio::task::JoinHandle<Outcome>,
    _folder: tempfile::TempDir,
}

/// A manager that watches a keeper which nobody is yet.
#[allow(clippy::disallowed_methods)] // joined by each test
fn bench() -> Bench {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("notify");
    let socket = UnixDatagram::bind(&path).unwrap();
    socket.set_nonblocking(true).unwrap();
    let manager = Manager::at(path.to_str().unwrap(), Some(WATCHDOG)).unwrap();
    let (sender, events) = mpsc::channel(8);
    let (_, glance) = watch::channel(Arc::new(fixtures::heat()));
    let (keeper, stop) = (Handle::new(sender, glance), CancellationToken::new());
    let clock = Arc::new(FastClock::held(fixtures::MIDNIGHT, 1.0));
    let running = tokio::spawn(manager.run(keeper.clone(), clock, stop.clone()));
    Bench { socket, events, keeper, stop, running, _folder: folder }
}

async fn asked(events: &mut mpsc::Receiver<Event>) -> oneshot::Sender<()> {
    let Some(Event::Ask(Question::Breathe(question))) = events.recv().await else { panic!("not a question") };
    question
}

#[tokio::test(start_paused = true)]
async fn a_keeper_that_tends_the_ledger_is_not_taken_for_stuck_for_half_an_hour() {
    let mut bench = bench();
    let question = asked(&mut bench.events).await;
    bench.keeper.tending.store(true, std::sync::atomic::Ordering::Relaxed);
    // Looked at often: the socket holds ten words by unix(7).
    for _ in 0..3 {
        tokio::time::sleep(10 * MINUTE + Duration::from_secs(5)).await;
        assert_eq!(signs(&bench.socket), 6, "one each 100 s of half an hour");
    }
    tokio::time::sleep(31 * MINUTE).await;
    assert_eq!(signs(&bench.socket), 0, "no work takes so long");
    question.send(()).unwrap();
    let question = asked(&mut bench.events).await;
    assert_eq!(signs(&bench.socket), 1, "it answered");
    // The next work has half an hour of its own.
    tokio::time::sleep(4 * MINUTE).await;
    assert_eq!(signs(&bench.socket), 2);
    bench.keeper.tending.store(false, std::sync::atomic::Ordering::Relaxed);
    tokio::time::sleep(5 * MINUTE).await;
    assert_eq!(signs(&bench.socket), 0, "the work is done, and it does not answer: it is stuck");
    drop(question);
    assert_eq!(bench.running.await.unwrap(), Err("the keeper has stopped".to_owned()));
}

#[tokio::test(start_paused = true)]
async fn a_keeper_that_stands_still_gets_no_sign_and_is_asked_no_second_time() {
    let mut bench = bench();
    let _question = asked(&mut bench.events).await;
    tokio::time::sleep(10 * MINUTE).await;
    assert_eq!(signs(&bench.socket), 0);
    assert!(bench.events.try_recv().is_err());
    bench.stop.cancel();
    assert_eq!(bench.running.await.unwrap(), Ok(()));
}
