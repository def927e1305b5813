use super::*;
use crate::sources::payload::{Shape, TopicRule};
use agronomy::quantity::Quantity;

const GRANTED: SubscribeReasonCode = SubscribeReasonCode::Success(QoS::AtLeastOnce);
/// Two intervals of a minute, and the grace.
const PATIENCE_MS: i64 = 180_000;

fn way() -> Way {
    let rule = |filter: &str| TopicRule {
        filter: filter.to_owned(),
        probe: "post".into(),
        shape: Shape::Bare { quantity: Quantity::AirTemperature, unit: "°C".to_owned() },
        usual_interval_s: 60,
    };
    let rules = TopicRules::new(vec![rule("garden/+/air"), rule("garden/heap")]).unwrap();
    let login = ("board".to_owned(), "right".to_owned());
    let mut way = Way::new(&rules, "", "board/1", Some(&login));
    assert!(way.granted(&[GRANTED, GRANTED, GRANTED], 0).is_empty());
    way
}

/// What is told: the source, and "" where it is well again.
fn told(events: Vec<Event>) -> Vec<(String, String)> {
    let one = |event| match event {
        Event::Away { source, why } => (source, why.unwrap_or_default()),
        _ => unreachable!("nothing else is told of a way"),
    };
    events.into_iter().map(one).collect()
}

#[test]
fn m10_a_topic_that_stays_silent_is_told_once_and_taken_back_when_something_comes() {
    let mut way = way();
    assert!(way.heard("garden/heap").is_empty());
    assert!(!way.look(PATIENCE_MS - 1).0);
    assert!(way.look(PATIENCE_MS).0, "a message to ourselves first");
    assert_eq!(way.topic(), "glasshour/echo/board_1");
    assert!(way.heard("glasshour/echo/board_1").is_empty());
    let (again, said) = way.look(PATIENCE_MS);
    let said = told(said);
    assert!(!again && said.len() == 1 && said[0].0 == "topic garden/+/air", "{said:?}");
    assert!(said[0].1.contains("ever come on garden/+/air") && said[0].1.contains("came back"), "{said:?}");
    assert!(said[0].1.contains("lets the user board read it"), "{said:?}");
    assert!(way.look(9 * PATIENCE_MS).1.is_empty(), "once");
    let air = ("topic garden/+/air".to_owned(), String::new());
    assert_eq!(told(way.heard("garden/long/air")), [air]);
    assert!(way.heard("garden/long/air").is_empty());
}

#[test]
fn m10_an_own_message_that_is_lost_points_at_the_access_list() {
    let mut way = way();
    assert!(way.look(PATIENCE_MS).0);
    way.pong();
    let (again, said) = way.look(PATIENCE_MS);
    assert!(!again && said.is_empty(), "that ping may have been before it");
    way.pong();
    let said = told(way.look(PATIENCE_MS).1);
    assert_eq!(said.len(), 2);
    assert!(
        said[1].1.contains("did not come back") && said[1].1.contains("let it read garden/heap"),
        "{said:?}"
    );
}

#[test]
fn m10_a_broker_that_hangs_up_on_our_own_message_is_sent_no_other() {
    let mut way = way();
    assert!(way.look(PATIENCE_MS).0);
    way.ended();
    assert!(way.granted(&[GRANTED, GRANTED], PATIENCE_MS).is_empty());
    let (again, said) = way.look(2 * PATIENCE_MS);
    let said = told(said);
    assert!(!again && said.len() == 2, "{said:?}");
    assert!(!said[0].1.contains("came back") && said[0].1.contains("see that the probe sends"), "{said:?}");
    // Where it did no harm the next connection may ask again.
    let mut sound = self::way();
    assert!(sound.look(PATIENCE_MS).0);
    assert!(sound.heard("glasshour/echo/board_1").is_empty());
    sound.ended();
    assert!(sound.look(PATIENCE_MS).0);
}

#[test]
fn a_refused_topic_is_told_as_that_and_not_as_silent() {
    let mut way = way();
    let refused = SubscribeReasonCode::Failure;
    let no = ("topic garden/heap".to_owned(), "the broker does not let us hear it".to_owned());
    assert_eq!(told(way.granted(&[GRANTED, refused], 0)), [no]);
    assert!(way.granted(&[GRANTED, refused], 0).is_empty(), "once");
    assert!(way.heard("garden/long/air").is_empty());
    assert!(!way.look(9 * PATIENCE_MS).0);
    assert_eq!(told(way.granted(&[GRANTED, GRANTED], 0)), [("topic garden/heap".to_owned(), String::new())]);
    assert!(way.look(PATIENCE_MS).0, "silent from here on");
}
