//! The door, knocked at by ordinary MQTT clients.

mod flood;

use std::collections::{BTreeMap, BTreeSet};
use std::net::SocketAddr;
use std::process::{Output, Stdio};
use std::sync::Arc;
use std::time::Duration;

use agronomy::quantity::Quantity;
use glasshour::clock::{Clock, SystemClock};
use glasshour::reading::ProbeName;
use glasshour::sources::door::{Door, DoorFault, DoorLimits};
use glasshour::sources::payload::{Shape, TopicRule};
use rumqttc::{
    AsyncClient, ConnectReturnCode, ConnectionError, MqttOptions, Packet, QoS, SubscribeReasonCode,
};
use tests::events::{DEADLINE, Inbox};
use tests::need;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::mpsc::channel;
use tokio::task::JoinSet;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

/// An open door for the probes `house` and `bed`.
struct Opened {
    events: Inbox,
    address: SocketAddr,
    task: JoinSet<Result<(), String>>,
    stop: CancellationToken,
}

fn rule(probe: &str) -> TopicRule {
    TopicRule {
        filter: format!("garden/{probe}"),
        probe: probe.into(),
        shape: Shape::Bare { quantity: Quantity::AirTemperature, unit: "°C".to_owned() },
        usual_interval_s: 60,
    }
}

fn passwords() -> BTreeMap<ProbeName, String> {
    [("house", "sunny"), ("bed", "muddy")].map(|(probe, word)| (probe.into(), word.to_owned())).into()
}

impl Opened {
    async fn new(passwords: BTreeMap<ProbeName, String>, limits: DoorLimits, queue: usize) -> Self {
        Self::by(Arc::new(SystemClock::new(None)), passwords, limits, queue).await
    }

    async fn by(
        clock: Arc<dyn Clock>,
        passwords: BTreeMap<ProbeName, String>,
        limits: DoorLimits,
        queue: usize,
    ) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let door = Door::new(listener, vec![rule("house"), rule("bed")], passwords, limits).unwrap();
        let (sender, events) = channel(queue);
        let stop = CancellationToken::new();
        let mut task = JoinSet::new();
        task.spawn(door.run(sender, clock, stop.clone()));
        Self { events: Inbox::new(events), address, task, stop }
    }

    async fn plain() -> Self {
        Self::new(BTreeMap::new(), DoorLimits::default(), 64).await
    }

    async fn close(mut self) {
        self.stop.cancel();
        let ended = timeout(DEADLINE, self.task.join_next()).await.expect("an end in time");
        assert_eq!(ended.unwrap().unwrap(), Ok(()));
    }

    fn options(&self, id: &str) -> MqttOptions {
        let mut options = MqttOptions::new(id, "127.0.0.1", self.address.port());
        options.set_inflight(1000);
        options
    }

    /// The client of the distribution, running beside us; `None` where it is not installed.
    fn mosquitto_pub(&self, arguments: &[&str]) -> Option<JoinSet<Output>> {
        let program = need("mosquitto_pub", "mosquitto-clients")?;
        let port = self.address.port().to_string();
        let mut command = std::process::Command::new(program);
        command.args(["-h", "127.0.0.1", "-p", &port]).args(arguments).stdin(Stdio::null());
        let mut running = JoinSet::new();
        running.spawn_blocking(move || command.output().expect("a client that runs"));
        Some(running)
    }
}

async fn ended(mut client: JoinSet<Output>) -> Output {
    timeout(DEADLINE, client.join_next()).await.expect("a client that ends").unwrap().unwrap()
}

#[tokio::test]
async fn an_ordinary_client_is_acknowledged_when_the_reading_is_durable_and_not_before() {
    let mut door = Opened::plain().await;
    let arguments = ["-q", "1", "-t", "garden/house", "-m", "23.4"];
    let Some(mut client) = door.mosquitto_pub(&arguments) else { return };
    let reading = door.events.message().await;
    assert_eq!((&*reading.readings[0].probe, reading.value()), ("house", 23.4));
    // It waits for its acknowledgement as long as it is not given.
    let waited = timeout(Duration::from_millis(300), client.join_next()).await;
    assert!(waited.is_err(), "it was acknowledged before the reading was durable");
    reading.acknowledge();
    assert!(ended(client).await.status.success());
    door.close().await;
}

#[tokio::test]
async fn a_message_at_qos_0_is_taken_and_nobody_waits() {
    let mut door = Opened::plain().await;
    let Some(client) = door.mosquitto_pub(&["-q", "0", "-t", "garden/bed", "-m", "18"]) else { return };
    let reading = door.events.message().await;
    assert!(reading.done.is_none());
    assert_eq!((&*reading.readings[0].probe, reading.value()), ("bed", 18.0));
    assert!(ended(client).await.status.success());
    door.close().await;
}

#[tokio::test]
async fn mqtt_5_is_refused_in_its_own_words_and_3_1_in_its_own() {
    let door = Opened::plain().await;
    let arguments = ["-V", "5", "-q", "1", "-t", "garden/house", "-m", "1"];
    let Some(client) = door.mosquitto_pub(&arguments) else { return };
    let answer = ended(client).await;
    let words = String::from_utf8_lossy(&answer.stderr).into_owned();
    assert!(!answer.status.success() && words.contains("Unsupported Protocol Version"), "{words}");
    let arguments = ["-V", "31", "-q", "1", "-t", "garden/house", "-m", "1"];
    let answer = ended(door.mosquitto_pub(&arguments).unwrap()).await;
    let words = String::from_utf8_lossy(&answer.stderr).into_owned();
    assert!(!answer.status.success() && words.contains("unacceptable protocol version"), "{words}");
    door.close().await;
}

#[tokio::test]
async fn two_hundred_in_flight_are_acknowledged_in_any_order() {
    const COUNT: usize = 200;
    let mut door = Opened::plain().await;
    let (client, mut link) = AsyncClient::new(door.options("probe"), COUNT);
    for value in 0..COUNT {
        client.try_publish("garden/house", QoS::AtLeastOnce, false, value.to_string()).unwrap();
    }
    let mut held = Vec::new();
    let mut acknowledged = BTreeSet::new();
    let mut order = Vec::new();
    while acknowledged.len() < COUNT {
        tokio::select! {
            event = link.poll() => if let rumqttc::Event::Incoming(Packet::PubAck(ack)) = event.unwrap() {
                order.push(ack.pkid);
                acknowledged.insert(ack.pkid);
            },
            reading = door.events.message(), if held.len() < COUNT => {
                assert!(acknowledged.is_empty());
                held.push(Some(reading));
                if held.len() == COUNT {
                    // Every third first, then the others, the last first.
                    let thirds = (0..COUNT).filter(|n| n % 3 == 0);
                    for n in thirds.chain((0..COUNT).rev()) {
                        if let Some(reading) = held[n].take() {
                            reading.acknowledge();
                        }
                    }
                }
            }
        }
    }
    assert_eq!(order[..3], [1, 4, 7]);
    assert_eq!(order[COUNT - 2..], [3, 2]);
    door.close().await;
}

#[tokio::test]
async fn nothing_is_given_out() {
    let door = Opened::plain().await;
    let (client, mut link) = AsyncClient::new(door.options("listener"), 8);
    client.try_subscribe("garden/#", QoS::AtLeastOnce).unwrap();
    let answer = async {
        loop {
            if let rumqttc::Event::Incoming(Packet::SubAck(answer)) = link.poll().await.unwrap() {
                return answer.return_codes;
            }
        }
    };
    let codes = timeout(DEADLINE, answer).await.expect("an answer in time");
    assert_eq!(codes, [SubscribeReasonCode::Failure]);
    door.close().await;
}

#[tokio::test]
async fn a_probe_speaks_for_itself_alone() {
    let mut door = Opened::new(passwords(), DoorLimits::default(), 64).await;
    let house = ["-u", "house", "-P", "sunny", "-q", "1", "-m", "30", "-t"];
    let Some(client) = door.mosquitto_pub(&[&house[..], &["garden/bed"]].concat()) else { return };
    let told = door.events.malformed().await;
    assert_eq!(told, ("house".to_owned(), "may not speak on the topic garden/bed".to_owned()));
    assert!(ended(client).await.status.success(), "MQTT 3.1.1 has no word for it: acknowledged and dropped");
    let client = door.mosquitto_pub(&[&house[..], &["garden/house"]].concat()).unwrap();
    let reading = door.events.message().await;
    assert_eq!(&*reading.readings[0].probe, "house");
    reading.acknowledge();
    assert!(ended(client).await.status.success());
    door.close().await;
}

#[tokio::test]
async fn a_wrong_password_opens_nothing() {
    let mut door = Opened::new(passwords(), DoorLimits::default(), 64).await;
    for login in [Some(("house", "muddy")), Some(("house", "")), Some(("nobody", "sunny")), None] {
        let mut options = door.options("probe");
        if let Some((name, word)) = login {
            options.set_credentials(name, word);
        }
        let (_client, mut link) = AsyncClient::new(options, 8);
        let answer = timeout(DEADLINE, link.poll()).await.expect("an answer in time");
        let refused =
            matches!(answer, Err(ConnectionError::ConnectionRefused(ConnectReturnCode::NotAuthorized)));
        assert!(refused, "{answer:?}");
    }
    assert!(door.events.is_empty());
    door.close().await;
}

#[tokio::test]
async fn without_passwords_it_opens_on_the_board_itself_only() {
    for (address, words, opens) in [
        ("0.0.0.0:0", BTreeMap::new(), false),
        ("127.0.0.1:0", BTreeMap::new(), true),
        ("0.0.0.0:0", passwords(), true),
    ] {
        let listener = TcpListener::bind(address).await.unwrap();
        let door = Door::new(listener, vec![rule("house")], words, DoorLimits::default());
        assert_eq!(door.is_ok(), opens, "{address}");
        assert!(opens || matches!(door, Err(DoorFault::Open(_))));
    }
}

#[tokio::test]
async fn topics_that_no_rule_names_are_told_acknowledged_and_dropped() {
    let mut door = Opened::plain().await;
    let Some(client) = door.mosquitto_pub(&["-q", "1", "-t", "attic/air", "-m", "1"]) else { return };
    let told = door.events.malformed().await;
    assert_eq!(told, ("door".to_owned(), "no rule names the topic attic/air".to_owned()));
    assert!(ended(client).await.status.success());
    // The same again is only counted, and still acknowledged.
    let client = door.mosquitto_pub(&["-q", "1", "-t", "attic/air", "-m", "1"]).unwrap();
    assert!(ended(client).await.status.success());
    assert!(door.events.is_empty());
    door.close().await;
}

/// CONNECT of MQTT 3.1.1 with a clean session, a keep-alive of so many seconds and the client id `raw`.
fn connect(keep_alive: u8) -> Vec<u8> {
    [b"\x10\x0f\0\x04MQTT\x04\x02\0", &[keep_alive][..], b"\0\x03raw"].concat()
}

/// What comes until the door closes the connection.
async fn rest(stream: &mut TcpStream) -> Vec<u8> {
    let mut bytes = Vec::new();
    // A reset is an end like any other.
    let _ = timeout(DEADLINE, stream.read_to_end(&mut bytes)).await.expect("an end in time");
    bytes
}

#[tokio::test]
async fn what_no_client_may_do_ends_its_visit() {
    let door = Opened::plain().await;
    let welcome = b"\x20\x02\0\0".to_vec();
    for (what, bytes, answer) in [
        ("another protocol", b"GET / HTTP/1.1\r\n\r\n".to_vec(), vec![]),
        ("no CONNECT first", b"\xc0\0".to_vec(), vec![]),
        ("a packet over 64 kB", [connect(60), vec![0x30, 0xff, 0xff, 0x7f]].concat(), welcome.clone()),
        // QoS 2, topic "a", number 1.
        ("QoS 2", [connect(60), b"\x34\x06\0\x01a\0\x011".to_vec()].concat(), welcome.clone()),
        ("a wildcard", [connect(60), b"\x30\x04\0\x01#1".to_vec()].concat(), welcome.clone()),
        ("a second CONNECT", [connect(60), connect(60)].concat(), welcome.clone()),
        // No client id and a session to keep: CONNACK 2.
        ("no id", b"\x10\x0c\0\x04MQTT\x04\0\0\x3c\0\0".to_vec(), b"\x20\x02\0\x02".to_vec()),
        ("MQTT 5", b"\x10\x0d\0\x04MQTT\x05\x02\0\x3c\0\0\0".to_vec(), b"\x20\x03\0\x84\0".to_vec()),
    ] {
        let mut stream = TcpStream::connect(door.address).await.unwrap();
        stream.write_all(&bytes).await.unwrap();
        assert_eq!(rest(&mut stream).await, answer, "{what}");
    }
    door.close().await;
}

#[tokio::test]
async fn silence_before_the_first_packet_and_past_the_keep_alive_ends_a_visit() {
    let limits = DoorLimits { welcome: Duration::from_millis(50), ..DoorLimits::default() };
    let door = Opened::new(BTreeMap::new(), limits, 64).await;
    let mut silent = TcpStream::connect(door.address).await.unwrap();
    silent.write_all(b"\x10\x0f\0").await.unwrap();
    assert!(rest(&mut silent).await.is_empty());
    let mut welcomed = TcpStream::connect(door.address).await.unwrap();
    welcomed.write_all(&connect(1)).await.unwrap();
    assert_eq!(rest(&mut welcomed).await, b"\x20\x02\0\0");
    door.close().await;
}

#[tokio::test]
async fn who_comes_with_the_same_id_takes_the_place() {
    let door = Opened::plain().await;
    let mut first = TcpStream::connect(door.address).await.unwrap();
    first.write_all(&connect(60)).await.unwrap();
    let mut answer = [0; 4];
    first.read_exact(&mut answer).await.unwrap();
    let mut second = TcpStream::connect(door.address).await.unwrap();
    second.write_all(&connect(60)).await.unwrap();
    assert!(rest(&mut first).await.is_empty());
    second.read_exact(&mut answer).await.unwrap();
    second.write_all(b"\xc0\0").await.unwrap();
    let mut pong = [0; 2];
    second.read_exact(&mut pong).await.unwrap();
    assert_eq!(pong, [0xd0, 0]);
    door.close().await;
}

#[tokio::test]
async fn a_full_door_turns_the_newest_away_and_has_room_again() {
    let limits = DoorLimits { clients: 2, ..DoorLimits::default() };
    let door = Opened::new(BTreeMap::new(), limits, 64).await;
    let mut inside = Vec::new();
    for id in [b"\0\x03one", b"\0\x03two"] {
        let mut stream = TcpStream::connect(door.address).await.unwrap();
        let hello = [b"\x10\x0f\0\x04MQTT\x04\x02\0\x3c", &id[..]].concat();
        stream.write_all(&hello).await.unwrap();
        stream.read_exact(&mut [0; 4]).await.unwrap();
        inside.push(stream);
    }
    let mut outside = TcpStream::connect(door.address).await.unwrap();
    assert!(rest(&mut outside).await.is_empty());
    inside.pop();
    let again = async {
        loop {
            let mut stream = TcpStream::connect(door.address).await.unwrap();
            let asked = stream.write_all(&connect(60)).await;
            if asked.is_ok() && stream.read_exact(&mut [0; 4]).await.is_ok() {
                return;
            }
        }
    };
    timeout(DEADLINE, again).await.expect("room again");
    door.close().await;
}

#[tokio::test]
async fn a_slow_client_and_a_deaf_one_harm_nobody() {
    let mut door = Opened::plain().await;
    // Half a packet, and then nothing.
    let mut slow = TcpStream::connect(door.address).await.unwrap();
    slow.write_all(&connect(60)).await.unwrap();
    slow.write_all(b"\x30\x20\0\x0cgarden").await.unwrap();
    // Pings without end, whose answers it never reads, until the door's own buffers are full.
    let mut deaf = TcpStream::connect(door.address).await.unwrap();
    deaf.write_all(b"\x10\x10\0\x04MQTT\x04\x02\0\x3c\0\x04deaf").await.unwrap();
    let pings = vec![b"\xc0\0".to_vec(); 512].concat();
    while timeout(Duration::from_millis(200), deaf.write_all(&pings)).await.is_ok_and(|sent| sent.is_ok()) {}
    let (client, mut link) = AsyncClient::new(door.options("probe"), 8);
    client.try_publish("garden/house", QoS::AtLeastOnce, false, "20").unwrap();
    let mut acknowledged = false;
    while !acknowledged {
        tokio::select! {
            event = link.poll() => {
                acknowledged = matches!(event.unwrap(), rumqttc::Event::Incoming(Packet::PubAck(_)));
            }
            reading = door.events.message() => reading.acknowledge(),
        }
    }
    door.close().await;
}

#[tokio::test]
async fn a_client_is_not_read_past_its_limit_of_unanswered_messages() {
    let limits = DoorLimits { unanswered: 3, ..DoorLimits::default() };
    let mut door = Opened::new(BTreeMap::new(), limits, 64).await;
    let (client, mut link) = AsyncClient::new(door.options("probe"), 16);
    for value in 0..10 {
        client.try_publish("garden/house", QoS::AtLeastOnce, false, value.to_string()).unwrap();
    }
    let mut tasks = JoinSet::new();
    tasks.spawn(async move { while link.poll().await.is_ok() {} });
    let mut held = Vec::new();
    for _ in 0..3 {
        held.push(door.events.message().await);
    }
    assert!(timeout(Duration::from_millis(300), door.events.message()).await.is_err(), "a fourth was read");
    for reading in held {
        reading.acknowledge();
    }
    assert_eq!(door.events.message().await.value(), 3.0);
    door.close().await;
}
