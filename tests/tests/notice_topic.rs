//! The MQTT courier against a real broker, and against one that never answers.

use std::sync::Arc;
use std::time::Duration;

use glasshour::clock::FastClock;
use glasshour::couriers::notice_topic::{self, Settings};
use glasshour::couriers::outbox::Delivery;
use glasshour::couriers::runner::{self, Courier};
use glasshour::entry::Step;
use glasshour::outward::life_sign::Alive;
use glasshour::supervise::Tasks;
use serde_json::{Value, json};
use tests::program::root;
use tests::servers::broker::{self, Broker};
use tests::servers::python;
use tests::stand_in::{NOON_MS, StandIn, step, waiting};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;

fn settings(port: u16) -> Settings {
    Settings {
        host: "127.0.0.1".to_owned(),
        port,
        login: None,
        site: "garden".to_owned(),
        prefix: "glasshour/garden".to_owned(),
    }
}

/// Signs of a keeper that is not asked for any.
fn no_signs() -> watch::Receiver<Option<Alive>> {
    watch::channel(None).1
}

fn said(retained: &str, topic: &str, payload: &str) -> (String, String, String) {
    (retained.to_owned(), topic.to_owned(), payload.to_owned())
}

// The onlooker waits for what the connection's task says meanwhile.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_step_is_published_once_as_json_and_not_retained() {
    if !broker::available() {
        return;
    }
    let broker = Broker::start();
    let (signs, seen) = watch::channel(Some(Alive { number: 1, at_ms: Some(NOON_MS) }));
    let (courier, connection) = notice_topic::open(settings(broker.port), "e5".to_owned(), seen);
    let mut tasks = Tasks::new();
    tasks.spawn("connection", |stop| connection.run(stop));
    // The sign is retained, so it comes whenever it was given.
    let mut watcher = broker.onlooker("glasshour/garden/alive");
    assert_eq!(watcher.message().2, "alive 2031-07-02T12:00:00Z");
    let first = waiting(41, 41, step("too-hot.house.1", 1, "Open the far door", "Tomatoes: 36.1 °C."));
    assert_eq!(courier.carry(&first).await, Delivery::Sent);
    // Who subscribes now gets only what is retained; then the next step comes.
    let mut onlooker = broker.onlooker("glasshour/#");
    assert_eq!(onlooker.message(), said("1", "glasshour/garden/alive", "alive 2031-07-02T12:00:00Z"));
    let second = waiting(57, 41, step("too-hot.house.1", 2, "Net on", "Now 38.2 °C."));
    assert_eq!(courier.carry(&second).await, Delivery::Sent);
    let (retained, topic, payload) = onlooker.message();
    assert_eq!((retained.as_str(), topic.as_str()), ("0", "glasshour/garden/notice/too-hot.house.1"));
    let wanted = json!({
        "id": "step-57.e5", "site": "garden", "notice": "too-hot.house.1", "step": 2, "minder": "too-hot",
        "place": "house", "planting": "tomatoes-by-the-door", "at": "2031-07-02T12:00:00.000Z", "turn": "opened",
        "severity": "severe", "push": true, "title": "Net on", "text": "Now 38.2 °C.",
    });
    assert_eq!(serde_json::from_str::<Value>(&payload).unwrap(), wanted);
    // The next hour's sign, and one at a time that nobody vouches for.
    signs.send_replace(Some(Alive { number: 2, at_ms: Some(NOON_MS + 3_600_000) }));
    assert_eq!(onlooker.message(), said("0", "glasshour/garden/alive", "alive 2031-07-02T13:00:00Z"));
    signs.send_replace(Some(Alive { number: 3, at_ms: None }));
    assert_eq!(onlooker.message(), said("0", "glasshour/garden/alive", "alive"));
    // The connection goes without a word, so the broker speaks the last will, and keeps it for who comes late.
    tasks.stop().cancel();
    tasks.join(Duration::from_secs(5)).await.unwrap();
    assert_eq!(onlooker.message(), said("0", "glasshour/garden/alive", "gone"));
    assert_eq!(broker.onlooker("glasshour/#").message(), said("1", "glasshour/garden/alive", "gone"));
}

#[tokio::test]
async fn what_is_published_is_what_the_schema_says() {
    if !broker::available() {
        return;
    }
    let Some(python) = python::available() else { return };
    let broker = Broker::start();
    let mut onlooker = broker.onlooker("glasshour/garden/notice/+");
    let (courier, connection) = notice_topic::open(settings(broker.port), "9f-1".to_owned(), no_signs());
    let mut tasks = Tasks::new();
    tasks.spawn("connection", |stop| connection.run(stop));
    let whole = step("too-hot.house.1", 1, "Open the far door", "Tomatoes: 36.1 °C.");
    // Of the whole site, about no planting, told from memory before anybody knew the time.
    let bare = Step { planting: None, place: String::new(), at_ms: 5, ..whole.clone() };
    for (entry, step) in [(41, whole), (i64::MIN / 2 + 3, bare)] {
        assert_eq!(courier.carry(&waiting(entry, entry, step)).await, Delivery::Sent);
    }
    tasks.stop().cancel();
    tasks.join(Duration::from_secs(5)).await.unwrap();
    let published = [onlooker.message().2, onlooker.message().2];
    let mut wrong: Value = serde_json::from_str(&published[0]).unwrap();
    (wrong["severity"], wrong["more"]) = (json!("grave"), json!(1));
    let given = format!("{}\n{}\n{wrong}\n", published[0], published[1]);
    let schema = root().join("deploy/notice.schema.json");
    let faults = python::read(&python, "schema_check.py", &[schema.to_str().unwrap()], &given);
    assert_eq!((&faults[0], &faults[1]), (&json!([]), &json!([])), "{published:?}");
    assert_eq!(faults[2].as_array().map(Vec::len), Some(2), "the schema refuses what it should: {faults}");
}

#[tokio::test]
async fn a_step_decided_while_the_broker_is_away_arrives_when_it_is_back() {
    if !broker::available() {
        return;
    }
    let mut broker = Broker::start();
    broker.stop();
    let clock = Arc::new(FastClock::new(NOON_MS, 100.0));
    let late = waiting(41, 41, step("too-hot.house.1", 1, "Open the far door", "Tomatoes: 36.1 °C."));
    let mut keeper = StandIn::new(vec![late], clock.clone());
    let (courier, connection) = notice_topic::open(settings(broker.port), "e5".to_owned(), no_signs());
    let (rows, handle) = (keeper.rows.clone(), keeper.handle.clone());
    let mut tasks = Tasks::new();
    tasks.spawn("connection", |stop| connection.run(stop));
    tasks.spawn("notice topic", |stop| runner::run(courier, rows, handle, clock, stop));
    let (_, first) = keeper.tried().await;
    assert!(matches!(&first, Delivery::Later { why, .. } if why.contains("refused")), "{first:?}");
    broker.resume();
    let mut onlooker = broker.onlooker("glasshour/garden/notice/+");
    loop {
        let (entry, delivery) = keeper.tried().await;
        assert_eq!(entry, 41);
        if delivery == Delivery::Sent {
            break;
        }
    }
    assert!(onlooker.message().2.contains("step-41.e5"));
    tasks.stop().cancel();
    tasks.join(Duration::from_secs(5)).await.unwrap();
}

/// The next packet of an MQTT 3.1.1 client: its first byte and its body (section 2.2).
async fn packet(stream: &mut TcpStream) -> (u8, Vec<u8>) {
    let first = stream.read_u8().await.unwrap();
    let (mut length, mut shift) = (0usize, 0);
    loop {
        let byte = stream.read_u8().await.unwrap();
        length |= usize::from(byte & 0x7f) << shift;
        shift += 7;
        if byte & 0x80 == 0 {
            break;
        }
    }
    let mut body = vec![0; length];
    stream.read_exact(&mut body).await.unwrap();
    (first, body)
}

/// Takes one connection up to its first PUBLISH with QoS 1; its packet identifier and payload.
async fn up_to_publish(listener: &TcpListener) -> (TcpStream, [u8; 2], Value) {
    let (mut stream, _) = listener.accept().await.unwrap();
    assert_eq!(packet(&mut stream).await.0 >> 4, 1, "CONNECT comes first");
    stream.write_all(&[0x20, 2, 0, 0]).await.unwrap();
    loop {
        let (first, body) = packet(&mut stream).await;
        if first & 0xf6 == 0x32 {
            let topic = 2 + usize::from(u16::from_be_bytes([body[0], body[1]]));
            let payload = serde_json::from_slice(&body[topic + 2..]).unwrap();
            return (stream, [body[topic], body[topic + 1]], payload);
        }
    }
}

#[tokio::test]
async fn a_step_counts_as_sent_only_after_the_brokers_own_word() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let (courier, connection) =
        notice_topic::open(settings(listener.local_addr().unwrap().port()), "e5".to_owned(), no_signs());
    let mut tasks = Tasks::new();
    tasks.spawn("connection", |stop| connection.run(stop));
    let waiting = waiting(41, 41, step("too-hot.house.1", 1, "Open the far door", "Tomatoes: 36.1 °C."));

    // Taken from the wire, never acknowledged, hung up: not sent.
    let (delivery, first) = tokio::join!(courier.carry(&waiting), async {
        let (stream, _, payload) = up_to_publish(&listener).await;
        drop(stream);
        payload
    });
    assert!(matches!(&delivery, Delivery::Later { why, .. } if why.contains("lost")), "{delivery:?}");

    // The next connection acknowledges: sent, and the same bytes as before.
    let (delivery, (second, _stream)) = tokio::join!(courier.carry(&waiting), async {
        let (mut stream, [high, low], payload) = up_to_publish(&listener).await;
        stream.write_all(&[0x40, 2, high, low]).await.unwrap();
        (payload, stream)
    });
    assert_eq!(delivery, Delivery::Sent);
    assert_eq!(first, second);
    tasks.stop().cancel();
    tasks.join(Duration::from_secs(5)).await.unwrap();
}
