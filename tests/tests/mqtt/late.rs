//! What came late, or never.

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
