//! Far ends that take a call and stay silent, in simulated time. Ten seconds from the decision to the first try is the
//! design's own promise.

use super::*;

const PROMISED_MS: i64 = 10_000;

/// A try that hangs far past every limit.
fn hang() -> (u64, Delivery) {
    (1_000_000, Delivery::Sent)
}

fn step_of(notice: i64, entry: i64, severity: Severity) -> Waiting {
    let mut row = waiting(notice, LONG);
    if let Errand::Step(step) = &mut row.errand {
        (step.number, step.severity) = (entry as u32, severity);
    }
    Waiting { entry, ..row }
}

impl Bench {
    fn add(&self, row: Waiting) {
        self.rows.lock().unwrap().push(row);
        self.poke();
    }

    /// When an entry was first tried, ms.
    fn first_try(&self, entry: i64) -> Option<i64> {
        self.carried.lock().unwrap().iter().find(|it| it.0 == entry).map(|it| it.1)
    }
}

/// Lets so many seconds pass.
async fn pass(seconds: u64) {
    tokio::time::sleep(Duration::from_secs(seconds)).await;
}

#[tokio::test(start_paused = true)]
async fn p10_another_notice_goes_at_once_while_an_older_call_hangs() {
    let mut bench = Bench::new(vec![waiting(1, LONG)], vec![hang(), (0, Delivery::Sent)], false, true);
    pass(1).await;
    bench.add(waiting(2, LONG));
    assert_eq!(bench.tried().await, (2, Delivery::Sent));
    assert_eq!(bench.first_try(2), Some(1_000));
    // The one that hangs is told after the limit of every try: nothing pressed it.
    let (entry, delivery) = bench.tried().await;
    assert!(entry == 1 && matches!(delivery, Delivery::Later { .. }), "{entry}: {delivery:?}");
    assert_eq!(bench.clock.wall_ms(), 30_000);
    bench.end().await;
}

#[tokio::test(start_paused = true)]
async fn p10_a_newer_severe_step_of_the_same_notice_has_its_first_try_in_time_and_the_older_ended_before() {
    let script = vec![hang(), (0, Delivery::Sent)];
    let mut bench = Bench::new(vec![step_of(1, 1, Severity::Moderate)], script, false, true);
    pass(1).await;
    bench.add(step_of(1, 2, Severity::Severe));
    let (entry, delivery) = bench.tried().await;
    assert!(
        matches!(&delivery, Delivery::Later { why, .. } if why.contains("may have arrived")),
        "{delivery:?}"
    );
    assert_eq!(entry, 1);
    // The ledger does not show that yet, and still the older one gives way, so that it cannot come after the newer.
    assert_eq!(bench.tried().await, (1, Delivery::Never { why: outbox::COLLAPSED.to_owned() }));
    assert_eq!(bench.tried().await, (2, Delivery::Sent));
    let began = bench.first_try(2).unwrap() - 1_000;
    assert!((0..PROMISED_MS).contains(&began), "{began} ms after it was due");
    bench.end().await;
}

#[tokio::test(start_paused = true)]
async fn a_milder_step_waits_for_the_older_ones_answer_and_gives_up_nothing_meanwhile() {
    let script = vec![(20, Delivery::Sent), (0, Delivery::Sent)];
    let mut bench = Bench::new(vec![step_of(1, 1, Severity::Severe)], script, false, true);
    pass(1).await;
    bench.add(step_of(1, 2, Severity::Moderate));
    assert_eq!(bench.tried().await, (1, Delivery::Sent), "not collapsed while it was under way");
    bench.commit(1, &Delivery::Sent);
    assert_eq!(bench.tried().await, (2, Delivery::Sent));
    assert_eq!(bench.first_try(2), Some(20_000));
    bench.end().await;
}

#[tokio::test(start_paused = true)]
async fn p10_sixteen_severe_notices_have_their_first_try_in_time_where_every_call_hangs_and_no_more_than_eight_at_once()
 {
    let rows: Vec<Waiting> = (1..=16).map(|entry| step_of(entry, entry, Severity::Severe)).collect();
    // What is tried once more later hangs as well.
    let mut bench = Bench::new(rows, vec![hang(); 40], false, true);
    pass(1).await;
    assert_eq!(bench.carried(), [1, 2, 3, 4, 5, 6, 7, 8]);
    for _ in 0..8 {
        let (entry, delivery) = bench.tried().await;
        bench.commit(entry, &delivery);
    }
    pass(1).await;
    for entry in 1..=16 {
        assert!(bench.first_try(entry).is_some_and(|at| at < PROMISED_MS), "{entry}");
    }
    bench.end().await;
}

#[tokio::test(start_paused = true)]
async fn answers_may_come_in_any_order_and_each_is_told_of_its_own_step() {
    let rows = (1..=5).map(|entry| waiting(entry, LONG)).collect();
    let script = (1..=5).map(|nth| (6 - nth, if nth == 3 { later() } else { Delivery::Sent })).collect();
    let mut bench = Bench::new(rows, script, false, true);
    for entry in (1..=5).rev() {
        let wanted = if entry == 3 { later() } else { Delivery::Sent };
        assert_eq!(bench.tried().await, (entry, wanted.clone()));
        bench.commit(entry, &wanted);
    }
    assert_eq!(bench.clock.wall_ms(), 5_000, "beside each other");
    assert_eq!(bench.rows.lock().unwrap().iter().map(|row| row.entry).collect::<Vec<_>>(), [3]);
    bench.end().await;
}

#[tokio::test(start_paused = true)]
async fn a_step_that_is_under_way_from_memory_is_not_set_out_with_again_when_it_turns_up_in_the_outbox() {
    let mut bench = Bench::new(vec![], vec![(5, Delivery::Sent)], false, true);
    bench.glance.send_replace(Arc::new(lending(7, -5)));
    pass(1).await;
    bench.add(waiting(7, LONG));
    assert_eq!(bench.tried().await, (-5, Delivery::Sent));
    assert_eq!(bench.tried().await, (7, Delivery::Sent));
    assert_eq!(bench.carried(), [-5]);
    bench.end().await;
}
