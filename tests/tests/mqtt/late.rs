//! What came late, or never.

use glasshour::clock::FastClock;
use glasshour::keeper::event::Counted;

use super::*;

#[tokio::test]
async fn m4_numbers_without_a_time_that_come_in_a_flood_are_undated_and_counted() {
    // Three hours of a reading a minute, as a sender that was cut off has kept them.
    const COUNT: u64 = 180;
    let Some(broker) = Mosquitto::start() else { return };
    let mut source = Source::open(broker.port()).await;
    let number = |minute| ("garden/bed", false, format!("{}", 20 + minute % 10));
    publish(broker.port(), (0..COUNT).map(number).collect()).await;
    for minute in 0..COUNT {
        let message = source.events.message().await;
        let late = (message.readings[0].stale, message.readings[0].measured_ms);
        assert_eq!((message.value(), late), ((20 + minute % 10) as f64, (true, None)), "{minute}");
    }
    source.events.late("bed", COUNT as usize).await;
    assert!(source.events.is_empty(), "each once");
    source.stop().await;
}

#[tokio::test]
async fn m3_what_a_senders_own_count_misses_is_counted_until_it_comes() {
    let Some(broker) = Mosquitto::start() else { return };
    let mut source = Source::open(broker.port()).await;
    let numbered = |number: i64| {
        let at = 1_784_034_120 + 60 * number;
        ("garden/house", false, format!(r#"{{"at": {at}, "t": 20.5, "n": {number}}}"#))
    };
    let missing = |more| ("house".to_owned(), Counted::Missing, more);
    publish(broker.port(), [5, 6, 24].map(numbered).to_vec()).await;
    assert_eq!(source.events.counted().await, missing(17));
    publish(broker.port(), [10, 25].map(numbered).to_vec()).await;
    assert_eq!(source.events.counted().await, missing(-1));
    source.stop().await;
}

#[tokio::test]
async fn a_number_that_waits_for_others_is_handed_on_when_the_link_breaks_and_at_the_stop() {
    let Some(mut broker) = Mosquitto::start() else { return };
    // Half a second of this clock is longer than anything is waited for here.
    let clock = Arc::new(FastClock::new(1_784_034_120_000, 0.001));
    let mut source = Source::by(clock, settings(broker.port()), vec![bare("garden/bed")], 64);
    for value in ["20", "21"] {
        assert_eq!(source.events.away("broker").await, None);
        publish(broker.port(), vec![("garden/bed", false, value.to_owned())]).await;
        // What cannot be read does not wait, and came after it.
        publish(broker.port(), vec![("garden/bed", false, "none".to_owned())]).await;
        source.events.malformed().await;
        assert!(source.events.is_empty(), "{value} waits");
        if value == "20" {
            broker.kill();
            let message = source.events.message().await;
            assert_eq!((message.value(), message.readings[0].stale), (20.0, false));
            assert!(source.events.away("broker").await.is_some());
            broker.start_again();
        }
    }
    source.stop.cancel();
    let ended = timeout(DEADLINE, source.task.join_next()).await.expect("an end in time");
    assert_eq!(ended.unwrap().unwrap(), Ok(()));
    assert_eq!(source.events.message().await.value(), 21.0);
}
