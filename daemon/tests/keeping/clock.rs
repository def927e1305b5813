//! The keeper's thread under clocks that jump, in simulated time.

use std::sync::atomic::Ordering;

use glasshour::clock::Clock;
use glasshour::entry::Note;
use glasshour::keeper::event::ClockWord;

use super::bench::Bench;
use super::garden::*;

const YEAR: i64 = 365 * DAY;

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
    let shown = |bench: &Bench| bench.handle.now().probes[0].newest.first().and_then(|(.., ms)| *ms);
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
