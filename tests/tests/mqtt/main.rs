//! The broker source against a real Mosquitto.

mod late;
mod way;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;

use agronomy::quantity::Quantity;
use glasshour::clock::{Clock, SystemClock};
use glasshour::sources::door::{Door, DoorLimits};
use glasshour::sources::mqtt::{BrokerSettings, run};
use glasshour::sources::pause::Pause;
use glasshour::sources::payload::{Field, Shape, Stamp, TopicRule};
use glasshour::sources::stamp::TimeFormat;
use rumqttc::{AsyncClient, MqttOptions, Packet, QoS};
use tests::events::{DEADLINE, Inbox};
use tests::mosquitto::{Mosquitto, free_port};
use tokio::net::TcpListener;
use tokio::sync::mpsc::channel;
use tokio::task::JoinSet;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

/// A source that hears one stamped topic and one that is not, until it is dropped.
struct Source {
    events: Inbox,
    task: JoinSet<Result<(), String>>,
    stop: CancellationToken,
}

fn settings(port: u16) -> BrokerSettings {
    BrokerSettings {
        host: "127.0.0.1".to_owned(),
        port,
        client_id: "glasshour-test".to_owned(),
        login: None,
        own_prefix: "glasshour".to_owned(),
        keep_alive: Duration::from_secs(30),
        pause: Pause::new(Duration::from_millis(50), Duration::from_millis(400)),
    }
}

fn stamped(filter: &str) -> TopicRule {
    let field = Field { pointer: "/t".to_owned(), unit: "°C".to_owned() };
    TopicRule {
        filter: filter.to_owned(),
        probe: "house".into(),
        shape: Shape::Fields {
            quantities: BTreeMap::from([(Quantity::AirTemperature, field)]),
            time: Some(Stamp { pointer: "/at".to_owned(), format: TimeFormat::UnixSeconds }),
            number: Some("/n".to_owned()),
        },
        usual_interval_s: 60,
    }
}

fn bare(filter: &str) -> TopicRule {
    TopicRule {
        filter: filter.to_owned(),
        probe: "bed".into(),
        shape: Shape::Bare { quantity: Quantity::AirTemperature, unit: "°C".to_owned() },
        usual_interval_s: 60,
    }
}

impl Source {
    fn with(settings: BrokerSettings, rules: Vec<TopicRule>, queue: usize) -> Self {
        Self::by(Arc::new(SystemClock::new(None)), settings, rules, queue)
    }

    fn by(clock: Arc<dyn Clock>, settings: BrokerSettings, rules: Vec<TopicRule>, queue: usize) -> Self {
        let (sender, events) = channel(queue);
        let stop = CancellationToken::new();
        let mut task = JoinSet::new();
        task.spawn(run(settings, rules, sender, clock, stop.clone()));
        Self { events: Inbox::new(events), task, stop }
    }

    /// Connected and subscribed.
    async fn open(port: u16) -> Self {
        let mut source = Self::with(settings(port), vec![stamped("garden/house"), bare("garden/bed")], 64);
        assert_eq!(source.events.away("broker").await, None);
        source
    }

    /// The next value and its packet's way back.
    async fn value(&mut self) -> f64 {
        let message = self.events.message().await;
        let value = message.value();
        message.acknowledge();
        value
    }

    async fn stop(mut self) {
        self.stop.cancel();
        let ended = timeout(DEADLINE, self.task.join_next()).await.expect("an end in time");
        assert_eq!(ended.unwrap().unwrap(), Ok(()));
    }
}

/// Publishes at QoS 1 and waits until the broker has acknowledged all of it.
async fn publish(port: u16, messages: Vec<(&str, bool, String)>) {
    let mut options = MqttOptions::new("probe", "127.0.0.1", port);
    options.set_max_packet_size(4_000_000, 4_000_000).set_inflight(1000);
    let (client, mut link) = AsyncClient::new(options, messages.len().max(1));
    let count = messages.len();
    for (topic, retain, payload) in messages {
        client.try_publish(topic, QoS::AtLeastOnce, retain, payload).unwrap();
    }
    let mut acknowledged = 0;
    while acknowledged < count {
        let event = timeout(DEADLINE, link.poll()).await.expect("an answer in time").unwrap();
        acknowledged += usize::from(matches!(event, rumqttc::Event::Incoming(Packet::PubAck(_))));
    }
}

fn reading(value: usize) -> (&'static str, bool, String) {
    ("garden/house", false, format!(r#"{{"at": {}, "t": {value}}}"#, 1_784_034_120 + value))
}

#[tokio::test]
async fn what_was_not_acknowledged_comes_again_and_what_was_does_not() {
    let Some(broker) = Mosquitto::start() else { return };
    let mut source = Source::open(broker.port()).await;
    publish(broker.port(), (1..=5).map(reading).collect()).await;
    let mut held = Vec::new();
    for _ in 0..5 {
        held.push(source.events.message().await);
    }
    // The 4th, then the 2nd.
    held.remove(3).acknowledge();
    held.remove(1).acknowledge();
    // A message that came after both acknowledgements were sent, and is acknowledged after them.
    publish(broker.port(), vec![reading(6)]).await;
    assert_eq!(source.value().await, 6.0);
    wait_for_acknowledgements(&broker, 3).await;
    source.stop().await;

    let mut source = Source::open(broker.port()).await;
    let mut again = BTreeSet::new();
    for _ in 0..3 {
        let message = source.events.message().await;
        assert!(message.readings[0].measured_ms.is_some(), "it has a time of its own");
        again.insert(message.value() as u32);
        message.acknowledge();
    }
    assert_eq!(again, BTreeSet::from([1, 3, 5]));
    publish(broker.port(), vec![reading(7)]).await;
    assert_eq!(source.value().await, 7.0);
    drop(held);
    source.stop().await;
}

/// The broker's log is the only place that says what it was told.
async fn wait_for_acknowledgements(broker: &Mosquitto, count: usize) {
    let seen = || broker.log().matches("Received PUBACK from glasshour-test").count();
    let waiting = async {
        while seen() < count {
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    };
    timeout(DEADLINE, waiting).await.expect("acknowledgements in time");
}

#[tokio::test]
async fn a_late_acknowledgement_never_reaches_the_next_connection() {
    let Some(mut broker) = Mosquitto::start() else { return };
    let mut source = Source::open(broker.port()).await;
    publish(broker.port(), vec![reading(1)]).await;
    let first = source.events.message().await;
    // The broker loses its sessions: packet numbers begin at 1 again.
    broker.forget();
    assert!(source.events.away("broker").await.is_some());
    broker.start_again();
    assert_eq!(source.events.away("broker").await, None);
    publish(broker.port(), vec![reading(2)]).await;
    let second = source.events.message().await;
    assert_eq!((first.value(), second.value()), (1.0, 2.0));
    first.acknowledge();
    // Acknowledgements leave in order: once that of a third message has, a stray one would have too, and the
    // second message, which bears the first one's number, would be gone with it.
    publish(broker.port(), vec![reading(3)]).await;
    assert_eq!(source.value().await, 3.0);
    wait_for_acknowledgements(&broker, 1).await;
    source.stop().await;
    let mut source = Source::open(broker.port()).await;
    assert_eq!(source.value().await, 2.0);
    source.stop().await;
}

#[tokio::test]
async fn what_the_broker_saved_comes_after_it_was_killed() {
    let Some(mut broker) = Mosquitto::start() else { return };
    Source::open(broker.port()).await.stop().await;
    publish(broker.port(), (1..=5).map(reading).collect()).await;
    // Saved at once on a change, but looked at once a second: the newest may not be in it yet.
    let saved = async {
        while !broker.log().contains("Saving in-memory database") {
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    };
    timeout(DEADLINE, saved).await.expect("the broker to save");
    broker.kill();
    let mut source =
        Source::with(settings(broker.port()), vec![stamped("garden/house"), bare("garden/bed")], 64);
    let why = source.events.away("broker").await.unwrap();
    assert_eq!(why, format!("nothing listens at 127.0.0.1:{}", broker.port()));
    broker.start_again();
    assert_eq!(source.value().await, 1.0);
    source.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_burst_of_twenty_thousand_arrives_whole() {
    const COUNT: usize = 20_000;
    // Saved every thousand changes: at each change, as shipped, its disk would be the pace of this test.
    let settings = "allow_anonymous true\nautosave_interval 1000\n";
    let Some(broker) = Mosquitto::start_with(|_| settings.to_owned()) else { return };
    let mut source = Source::open(broker.port()).await;
    let port = broker.port();
    let mut publisher = JoinSet::new();
    publisher.spawn(async move { publish(port, (0..COUNT).map(reading).collect()).await });
    let mut seen = BTreeSet::new();
    while seen.len() < COUNT {
        // As a keeper does: acknowledged in groups, after a while.
        let mut group = Vec::new();
        while group.len() < 500 && seen.len() + group.len() < COUNT {
            group.push(source.events.message().await);
        }
        tokio::time::sleep(Duration::from_millis(5)).await;
        for message in group {
            seen.insert(message.value() as usize);
            message.acknowledge();
        }
    }
    assert_eq!(seen, (0..COUNT).collect());
    publisher.join_next().await.unwrap().unwrap();
    source.stop().await;
}

#[tokio::test]
async fn a_retained_number_without_a_time_is_stale_and_a_live_one_is_not() {
    let Some(broker) = Mosquitto::start() else { return };
    publish(broker.port(), vec![("garden/bed", true, "21.5".to_owned())]).await;
    let mut source = Source::open(broker.port()).await;
    let retained = source.events.message().await;
    assert_eq!((retained.value(), retained.readings[0].stale), (21.5, true));
    publish(broker.port(), vec![("garden/bed", false, "22.5".to_owned())]).await;
    let live = source.events.message().await;
    assert_eq!((live.value(), live.readings[0].stale, live.readings[0].measured_ms), (22.5, false, None));
    assert!(live.done.is_none(), "nobody waits for it");
    source.stop().await;
}

#[tokio::test]
async fn numbers_without_a_time_do_not_wait_for_us() {
    let Some(broker) = Mosquitto::start() else { return };
    Source::open(broker.port()).await.stop().await;
    publish(broker.port(), vec![("garden/bed", false, "1".to_owned()), reading(2)]).await;
    let mut source = Source::open(broker.port()).await;
    publish(broker.port(), vec![("garden/bed", false, "3".to_owned())]).await;
    let mut values = BTreeSet::new();
    for _ in 0..2 {
        values.insert(source.value().await as u32);
    }
    assert_eq!(values, BTreeSet::from([2, 3]));
    source.stop().await;
}

#[tokio::test]
async fn garbled_messages_are_shown_acknowledged_and_do_not_come_again() {
    let Some(broker) = Mosquitto::start() else { return };
    let mut source = Source::open(broker.port()).await;
    publish(broker.port(), vec![("garden/house", false, "{\"at\": 0, \"t\": 20}\u{7}".to_owned())]).await;
    let (probe, sample) = source.events.malformed().await;
    assert_eq!(probe, "house");
    assert!(sample.starts_with("not JSON") && sample.ends_with("\\u{7}"), "{sample}");
    wait_for_acknowledgements(&broker, 1).await;
    source.stop().await;
    let mut source = Source::open(broker.port()).await;
    publish(broker.port(), vec![reading(1)]).await;
    assert_eq!(source.value().await, 1.0);
    source.stop().await;
}

#[tokio::test]
async fn what_we_publish_ourselves_is_not_heard() {
    let Some(broker) = Mosquitto::start() else { return };
    let mut source = Source::with(settings(broker.port()), vec![bare("#")], 64);
    assert_eq!(source.events.away("broker").await, None);
    let own = ("glasshour/notice", false, "1".to_owned());
    publish(broker.port(), vec![own, ("garden/bed", false, "2".to_owned())]).await;
    assert_eq!(source.value().await, 2.0);
    source.stop().await;
}

#[tokio::test]
async fn a_message_too_large_for_us_stands_in_the_way_of_none_after_it() {
    // A broker that was not given our limit of 64 kB.
    let Some(broker) = Mosquitto::start_with(|_| "allow_anonymous true\n".to_owned()) else { return };
    let mut source = Source::open(broker.port()).await;
    publish(broker.port(), vec![("garden/house", false, "x".repeat(200_000))]).await;
    assert_eq!(source.events.malformed().await.1, format!("200000 bytes, over 65536: {}…", "x".repeat(79)));
    publish(broker.port(), vec![("garden/house", false, "x".repeat(2_100_000))]).await;
    let (who, lost) = source.events.malformed().await;
    assert!(&*who == "broker" && lost.contains("went with it"), "{who}: {lost}");
    while !source.events.away("broker").await.is_some_and(|why| why.contains("went with it")) {}
    assert_eq!(source.events.away("broker").await, None);
    publish(broker.port(), vec![reading(1)]).await;
    assert_eq!(source.value().await, 1.0);
    source.stop().await;
}

#[tokio::test]
async fn another_client_with_our_name_is_told() {
    let Some(broker) = Mosquitto::start() else { return };
    let quick = || BrokerSettings {
        keep_alive: Duration::from_secs(1),
        pause: Pause::new(Duration::from_millis(20), Duration::from_secs(2)),
        ..settings(broker.port())
    };
    let rules = || vec![stamped("garden/house")];
    let mut one = Source::with(quick(), rules(), 64);
    assert_eq!(one.events.away("broker").await, None);
    let other = Source::with(quick(), rules(), 64);
    let names = |why: Option<String>| why.is_some_and(|why| why.contains("another Glasshour"));
    while !names(one.events.away("broker").await) {}
    other.stop().await;
    // With the other gone it comes back by itself.
    assert_eq!(one.events.away("broker").await, None);
    one.stop().await;
}

#[tokio::test]
async fn a_topic_we_may_not_hear_is_named() {
    // The door gives nothing out, so it refuses every subscription.
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let door = Door::new(listener, Vec::new(), BTreeMap::new(), DoorLimits::default()).unwrap();
    let (sender, _heard) = channel(1);
    let mut tasks = JoinSet::new();
    tasks.spawn(door.run(sender, Arc::new(SystemClock::new(None)), CancellationToken::new()));
    let mut source = Source::with(settings(port), vec![stamped("garden/house")], 64);
    let why = source.events.away("topic garden/house").await;
    assert_eq!(why.as_deref(), Some("the broker does not let us hear it"));
    source.stop().await;
}

#[tokio::test]
async fn a_source_with_nothing_to_hear_waits_to_be_stopped() {
    Source::with(settings(free_port()), Vec::new(), 1).stop().await;
}
