//! The live instruments of the demo: two on a simulated bus, two that publish over MQTT.
//!
//! The bus has no updater: its instruments look at the world, at the clock's time, whenever they are asked to
//! convert. The bed probes are ordinary MQTT 3.1.1 clients, each with a connection of its own. Each message carries
//! the time of its measurement and waits for its acknowledgement before the next one goes; whatever was not
//! acknowledged when a connection ends is sent again on the next.

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

use agronomy::quantity::Quantity;
use rumqttc::{AsyncClient, Event, EventLoop, MqttOptions, Packet, QoS};
use sensor_drivers::simulated::{SimulatedBme280, SimulatedBus, SimulatedSht4x, TrueAir};
use sensor_drivers::{bme280, sht4x};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::calendar::local;
use super::chance::{Stream, unit};
use super::history::as_read;
use super::site::{BED_PROBES, BedProbe, INTERVAL_S};
use super::{Air, Truth, World, story};
use crate::clock::Clock;
use crate::supervise::Outcome;

/// The interval between two messages of a probe, ms of the demo's clock.
const INTERVAL_MS: i64 = INTERVAL_S as i64 * 1000;
/// How far past the moment at which a probe should speak the demo's clock runs before it waits for it, ms: short of what
/// is told as silence, so that a busy machine's own lag is not told.
const LATE_MS: i64 = 4 * 60_000;
/// How many messages a probe remembers when nobody takes them: half a day.
const REMEMBERED: i64 = 144;
/// The pauses between tries to connect: the first and the longest, real time.
const PAUSES: [Duration; 2] = [Duration::from_millis(250), Duration::from_secs(8)];
/// How long an acknowledgement may take before the probe hangs up and tries again, real time.
const PATIENCE: Duration = Duration::from_secs(20);

/// Until when the demo's clock need not wait for a probe that should speak at a moment, UTC ms.
pub const fn late_ms(due_ms: i64) -> i64 {
    due_ms + LATE_MS
}

/// The bus of the house with its two instruments, which feel the world at the clock's time: `post` at
/// [`sht4x::ADDRESS`], `ridge` at [`bme280::ADDRESS`]. `until`: what the clock waits for, of each, moved on whenever it
/// is asked.
pub fn bus(world: &Arc<World>, clock: &Arc<dyn Clock>, until: [Arc<AtomicI64>; 2]) -> SimulatedBus {
    let feel = |at: fn(&Truth) -> Air, until: Arc<AtomicI64>| {
        let (world, clock) = (Arc::clone(world), Arc::clone(clock));
        move |_| {
            let now_ms = clock.wall_ms();
            until.store(late_ms(now_ms + INTERVAL_MS), Ordering::Relaxed);
            let truth = world.at(now_ms);
            let Air { t_c, rh_pct } = at(&truth);
            TrueAir { celsius: t_c, percent: rh_pct, kilopascal: truth.p_kpa }
        }
    };
    let bus = SimulatedBus::new();
    let [post, ridge] = until;
    bus.attach(sht4x::ADDRESS, SimulatedSht4x::new(0x51_0C_E2, feel(|truth| truth.house, post)));
    bus.attach(bme280::ADDRESS, SimulatedBme280::new(feel(|truth| truth.ridge, ridge)));
    bus
}

/// The payload of a bed probe for a moment: `{"at":"2026-07-13T05:05:00+01:00","air":{"celsius":17.02,…}}`.
pub fn payload(world: &World, bed: usize, at_ms: i64) -> String {
    let air = world.at(at_ms).beds[bed];
    let series = 5 + 2 * bed as i64;
    let read = |series, quantity, value| as_read(world.seed(), at_ms, series, quantity, value);
    serde_json::json!({
        "at": local(at_ms).to_rfc3339(),
        "air": {
            "celsius": read(series, Quantity::AirTemperature, air.t_c),
            "humidity": read(series + 1, Quantity::RelativeHumidity, air.rh_pct),
        },
    })
    .to_string()
}

/// Publishes what the bed probes measure, every five minutes of the clock, QoS 1, until told to stop.
///
/// It begins with the story's first moment, so that nothing is missing after the history. Where the door is away or
/// refuses, each probe tries again with growing pauses and sends what it has missed, up to half a day. `until`: what the
/// clock waits for, of each probe, moved on with each message that was acknowledged.
///
/// # Errors
///
/// None: a door that is away is no reason for a probe to give up.
pub async fn publish_beds(
    addr: SocketAddr,
    world: Arc<World>,
    clock: Arc<dyn Clock>,
    until: [Arc<AtomicI64>; 2],
    stop: CancellationToken,
) -> Outcome {
    let probe = |bed: usize| Publisher {
        addr,
        bed,
        probe: BED_PROBES[bed],
        world: Arc::clone(&world),
        clock: Arc::clone(&clock),
        until: Arc::clone(&until[bed]),
        next_ms: slot_after(world.start_ms()),
    };
    let (mut gate, mut ditch) = (probe(0), probe(1));
    let both = async { tokio::join!(gate.run(), ditch.run()) };
    stop.run_until_cancelled(both).await;
    Ok(())
}

/// The first whole interval that is not before a moment.
fn slot_after(at_ms: i64) -> i64 {
    (at_ms + INTERVAL_MS - 1).div_euclid(INTERVAL_MS) * INTERVAL_MS
}

/// One bed probe at work.
struct Publisher {
    addr: SocketAddr,
    bed: usize,
    probe: BedProbe,
    world: Arc<World>,
    clock: Arc<dyn Clock>,
    /// What the clock waits for.
    until: Arc<AtomicI64>,
    /// When the oldest message was or will be measured that has not been acknowledged.
    next_ms: i64,
}

impl Publisher {
    /// One connection after another. Never ends by itself.
    async fn run(&mut self) {
        let [first, longest] = PAUSES;
        let mut pause = first;
        for attempt in 0.. {
            let before_ms = self.next_ms;
            self.connection().await;
            if self.next_ms > before_ms {
                pause = first;
            }
            let jitter = 0.5 + 0.5 * unit(self.bed as u64, Stream::Pause, attempt);
            tokio::time::sleep(pause.mul_f64(jitter)).await;
            pause = (pause * 2).min(longest);
        }
    }

    /// One connection, until it breaks or an acknowledgement does not come.
    async fn connection(&mut self) {
        let mut options = MqttOptions::new(self.probe.probe, self.addr.ip().to_string(), self.addr.port());
        options.set_keep_alive(Duration::from_secs(30));
        let (client, events) = AsyncClient::new(options, 4);
        let (acknowledged, acknowledgements) = mpsc::channel(4);
        // Neither is dropped half way but at the end of the connection, when both are.
        tokio::select! {
            () = poll(events, acknowledged) => {}
            () = self.publish(&client, acknowledgements) => {}
        }
    }

    /// Sends what is due, oldest first, each after the one before has been acknowledged.
    async fn publish(&mut self, client: &AsyncClient, mut acknowledgements: mpsc::Receiver<()>) {
        loop {
            let now_ms = self.clock.wall_ms();
            self.next_ms = self.next_ms.max(slot_after(now_ms - REMEMBERED * INTERVAL_MS));
            if self.next_ms > now_ms {
                let span = Duration::from_millis((self.next_ms - now_ms) as u64);
                tokio::time::sleep(self.clock.real(span)).await;
                continue;
            }
            if story::speaks(self.world.calendar(), self.probe.probe, self.next_ms) {
                let payload = payload(&self.world, self.bed, self.next_ms);
                if client.publish(self.probe.topic, QoS::AtLeastOnce, false, payload).await.is_err() {
                    return;
                }
                let Ok(Some(())) = tokio::time::timeout(PATIENCE, acknowledgements.recv()).await else {
                    return;
                };
            }
            self.next_ms += INTERVAL_MS;
            self.until.store(late_ms(self.next_ms), Ordering::Relaxed);
        }
    }
}

/// Drives one connection and passes its acknowledgements on; at most one message is under way, so each is its.
async fn poll(mut events: EventLoop, acknowledged: mpsc::Sender<()>) {
    while let Ok(event) = events.poll().await {
        if matches!(event, Event::Incoming(Packet::PubAck(_))) && acknowledged.send(()).await.is_err() {
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::FastClock;
    use crate::demo::site::{self, DEFAULT_START_MS};
    use rumqttc::Publish;
    use sensor_drivers::Instrument;
    use sensor_drivers::sht4x::Sht4x;
    use std::sync::atomic::{AtomicI64, Ordering};
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    use tokio::net::{TcpListener, TcpStream};
    use tokio_util::bytes::BytesMut;

    /// A clock that stands where it is put.
    struct StandingClock(AtomicI64);

    impl Clock for StandingClock {
        fn wall_ms(&self) -> i64 {
            self.0.load(Ordering::Relaxed)
        }
        fn monotonic_ms(&self) -> i64 {
            self.wall_ms()
        }
        fn vouched_by(&self) -> Option<String> {
            None
        }
    }

    #[test]
    fn the_instruments_on_the_bus_say_what_is_true_at_the_time_of_the_clock() {
        let world = Arc::new(World::new(1, DEFAULT_START_MS));
        let clock = Arc::new(StandingClock(AtomicI64::new(DEFAULT_START_MS)));
        let bus = bus(&world, &(Arc::clone(&clock) as Arc<dyn Clock>), Default::default());
        let mut post = Sht4x::new(bus.clone(), bus.delay(), sht4x::ADDRESS);
        let mut ridge = bme280::Bme280::new(bus.clone(), bus.delay(), bme280::ADDRESS);
        for hours in [0, 9, 33, 60] {
            let at_ms = DEFAULT_START_MS + hours * 3_600_000;
            clock.0.store(at_ms, Ordering::Relaxed);
            let truth = world.at(at_ms);
            let values = |instrument: &mut dyn Instrument<BusError = _>| -> Vec<f64> {
                instrument.read().unwrap().into_iter().map(|m| m.value.unwrap()).collect()
            };
            let (post, ridge) = (values(&mut post), values(&mut ridge));
            // Within the last digits of the chips: 0.01 °C, and for humidity of the BME280 class about 0.1 %.
            assert!((post[0] - truth.house.t_c).abs() < 0.02, "{post:?} {truth:?}");
            assert!((post[1] - truth.house.rh_pct).abs() < 0.05, "{post:?} {truth:?}");
            assert!((ridge[0] - truth.ridge.t_c).abs() < 0.02, "{ridge:?} {truth:?}");
            assert!((ridge[1] - truth.ridge.rh_pct).abs() < 0.2, "{ridge:?} {truth:?}");
            assert!((ridge[2] - truth.p_kpa).abs() < 0.02, "{ridge:?} {truth:?}");
        }
    }

    #[test]
    fn a_payload_has_its_time_and_figures_where_the_pointers_say() {
        let world = World::new(1, DEFAULT_START_MS);
        let value: serde_json::Value = serde_json::from_str(&payload(&world, 1, DEFAULT_START_MS)).unwrap();
        assert_eq!(value.pointer(site::TIME_POINTER).unwrap(), "2026-07-13T05:00:00+01:00");
        let truth = world.at(DEFAULT_START_MS).beds[1];
        let number = |pointer| value.pointer(pointer).unwrap().as_f64().unwrap();
        assert!((number(site::TEMPERATURE_POINTER) - truth.t_c).abs() <= 0.07);
        assert!((number(site::HUMIDITY_POINTER) - truth.rh_pct).abs() <= 0.26);
    }

    /// The far end of one connection, on the codec's other side.
    struct Door {
        stream: TcpStream,
        buffer: BytesMut,
    }

    impl Door {
        async fn open(listener: &TcpListener) -> Self {
            let (stream, _) = listener.accept().await.unwrap();
            let mut door = Self { stream, buffer: BytesMut::new() };
            let Packet::Connect(_) = door.next().await else { panic!("not a CONNECT") };
            door.send(&Packet::ConnAck(rumqttc::ConnAck::new(rumqttc::ConnectReturnCode::Success, false)))
                .await;
            door
        }

        async fn next(&mut self) -> Packet {
            loop {
                if let Ok(packet) = Packet::read(&mut self.buffer, 10_000) {
                    return packet;
                }
                assert!(self.stream.read_buf(&mut self.buffer).await.unwrap() > 0, "hung up");
            }
        }

        async fn message(&mut self) -> Publish {
            let Packet::Publish(message) = self.next().await else { panic!("not a PUBLISH") };
            message
        }

        async fn send(&mut self, packet: &Packet) {
            let mut out = BytesMut::new();
            packet.write(&mut out, 10_000).unwrap();
            self.stream.write_all(&out).await.unwrap();
        }

        async fn acknowledge(&mut self, message: &Publish) {
            self.send(&Packet::PubAck(rumqttc::PubAck::new(message.pkid))).await;
        }
    }

    fn measured_ms(message: &Publish) -> i64 {
        let value: serde_json::Value = serde_json::from_slice(&message.payload).unwrap();
        let text = value.pointer(site::TIME_POINTER).unwrap().as_str().unwrap();
        chrono::DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis()
    }

    /// Runs one probe from `start_ms`, three thousand times as fast as life, against what the door does.
    async fn with_publisher(start_ms: i64, door: impl AsyncFnOnce(TcpListener)) {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let mut publisher = Publisher {
            addr: listener.local_addr().unwrap(),
            bed: 0,
            probe: BED_PROBES[0],
            world: Arc::new(World::new(1, DEFAULT_START_MS)),
            clock: Arc::new(FastClock::new(start_ms, 3000.0)),
            until: Arc::default(),
            next_ms: slot_after(start_ms),
        };
        tokio::select! {
            () = publisher.run() => unreachable!("a probe never gives up"),
            () = door(listener) => {}
            () = tokio::time::sleep(Duration::from_secs(60)) => panic!("not within a minute"),
        }
    }

    #[tokio::test]
    async fn a_message_without_its_acknowledgement_comes_again_on_the_next_connection_and_none_is_left_out() {
        with_publisher(DEFAULT_START_MS, async |listener| {
            let mut door = Door::open(&listener).await;
            let first = door.message().await;
            assert_eq!(
                (first.topic.as_str(), first.qos, first.retain),
                ("quince/gate/air", QoS::AtLeastOnce, false)
            );
            assert_eq!(measured_ms(&first), DEFAULT_START_MS);
            door.acknowledge(&first).await;
            assert_eq!(measured_ms(&door.message().await), DEFAULT_START_MS + INTERVAL_MS);
            drop(door); // without an acknowledgement

            let mut door = Door::open(&listener).await;
            for step in 1..6 {
                let message = door.message().await;
                assert_eq!(measured_ms(&message), DEFAULT_START_MS + step * INTERVAL_MS);
                door.acknowledge(&message).await;
            }
        })
        .await;
    }

    #[tokio::test]
    async fn in_its_silence_on_the_third_afternoon_the_probe_publishes_nothing() {
        let world = World::new(1, DEFAULT_START_MS);
        let silent_ms = world.calendar().at(4, 14, 0);
        with_publisher(silent_ms - INTERVAL_MS, async |listener| {
            let mut door = Door::open(&listener).await;
            let before = door.message().await;
            door.acknowledge(&before).await;
            assert_eq!(measured_ms(&before), silent_ms - INTERVAL_MS);
            assert_eq!(measured_ms(&door.message().await), silent_ms + 50 * 60_000);
        })
        .await;
    }

    #[tokio::test]
    async fn the_clock_waits_for_a_bed_probe_that_nobody_acknowledges_and_for_an_instrument_that_nobody_asks()
    {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let world = Arc::new(World::new(1, DEFAULT_START_MS));
        let clock: Arc<dyn Clock> = Arc::new(FastClock::held(DEFAULT_START_MS, 1.0));
        let until: [Arc<AtomicI64>; 2] = Default::default();
        let until_ms = || until.each_ref().map(|until| until.load(Ordering::Relaxed));
        let stop = CancellationToken::new();
        let addr = listener.local_addr().unwrap();
        let task = publish_beds(addr, Arc::clone(&world), Arc::clone(&clock), until.clone(), stop.clone());
        let door = async {
            let (mut one, mut two) = (Door::open(&listener).await, Door::open(&listener).await);
            let (first, second) = (one.message().await, two.message().await);
            assert_eq!(until_ms(), [0, 0]);
            one.acknowledge(&first).await;
            two.acknowledge(&second).await;
            // The next is due five minutes on; silence is told after eleven.
            while until_ms() != [DEFAULT_START_MS + 9 * 60_000; 2] {
                tokio::task::yield_now().await;
            }
            stop.cancel();
        };
        let (outcome, ()) = tokio::join!(task, door);
        assert_eq!(outcome, Ok(()));

        let until: [Arc<AtomicI64>; 2] = Default::default();
        let bus = bus(&world, &clock, until.clone());
        Sht4x::new(bus.clone(), bus.delay(), sht4x::ADDRESS).read().unwrap();
        let until = until.map(|until| until.load(Ordering::Relaxed));
        assert_eq!(until, [DEFAULT_START_MS + 9 * 60_000, 0]);
    }

    #[tokio::test]
    async fn both_probes_publish_and_stop_when_told() {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let stop = CancellationToken::new();
        let task = publish_beds(
            listener.local_addr().unwrap(),
            Arc::new(World::new(1, DEFAULT_START_MS)),
            Arc::new(FastClock::new(DEFAULT_START_MS, 3000.0)),
            Default::default(),
            stop.clone(),
        );
        let door = async {
            let (mut one, mut two) = (Door::open(&listener).await, Door::open(&listener).await);
            let mut topics = [one.message().await.topic, two.message().await.topic];
            topics.sort();
            assert_eq!(topics, ["quince/ditch/air", "quince/gate/air"]);
            stop.cancel();
        };
        let (outcome, ()) = tokio::join!(task, door);
        assert_eq!(outcome, Ok(()));
    }
}
