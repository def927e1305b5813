//! A topic of the broker on which somebody publishes warnings.
//!
//! Nothing is kept for us there while we are away, but what is retained comes at once when we are back: a warning is
//! best published as a retained message. Messages are dated by themselves, so it does no harm that they may be old.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng as _;
use rumqttc::{AsyncClient, Event as Wire, MqttOptions, Packet, QoS, SubscribeReasonCode};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::{Hourly, Intake, Taken};
use crate::keeper::handle::Stopped;
use crate::sources::mqtt::{BrokerSettings, why};
use crate::sources::told::Told;
use crate::supervise::Outcome;

/// Far above what is read: a message that is larger ends the link and is told.
const MAX_PACKET: usize = 16_000_000;
/// Messages on their way from the broker to the keeper; while it is full the broker is not read.
const ON_THE_WAY: usize = 8;
/// How long a message waits that cannot be noted yet.
const PATIENCE: std::time::Duration = std::time::Duration::from_secs(30);

/// Where warnings are heard.
#[derive(Clone)]
pub struct TopicSettings {
    /// The broker.
    pub broker: BrokerSettings,
    /// The topic, or a filter.
    pub filter: String,
}

/// A message, or what is to be said of the link: none when it is well.
enum Heard {
    Document { topic: String, bytes: Vec<u8> },
    Link(Option<String>),
}

/// Hears the topic until told to stop.
///
/// # Errors
///
/// None: a broker that cannot be reached is told and tried again.
pub async fn run(settings: TopicSettings, intake: Intake, stop: CancellationToken) -> Outcome {
    let (sender, heard) = mpsc::channel(ON_THE_WAY);
    tokio::select! {
        () = stop.cancelled() => {}
        () = hear(&settings, &intake, sender) => {}
        // The keeper stops only with the program.
        _ = take(&settings.filter, &intake, heard) => {}
    }
    Ok(())
}

/// Connects again and again; ends when nobody takes what was heard.
async fn hear(settings: &TopicSettings, intake: &Intake, heard: mpsc::Sender<Heard>) {
    let mut pause = settings.broker.pause.clone();
    let mut odds = Pcg32::new(intake.clock.wall_ms().unsigned_abs(), 2);
    loop {
        let began_ms = intake.clock.monotonic_ms();
        let Some(why) = connection(settings, &heard).await else { return };
        if heard.send(Heard::Link(Some(why))).await.is_err() {
            return;
        }
        if intake.clock.monotonic_ms() - began_ms > pause.longest().as_millis() as i64 {
            pause.reset();
        }
        let jitter = f64::from(odds.next_u32()) / f64::from(u32::MAX);
        tokio::time::sleep(pause.next(jitter)).await;
    }
}

/// One connection to its end: why it ended; none when nobody takes what was heard.
async fn connection(settings: &TopicSettings, heard: &mpsc::Sender<Heard>) -> Option<String> {
    let broker = &settings.broker;
    let id = format!("{}-warnings", broker.client_id);
    let mut options = MqttOptions::new(id, broker.host.clone(), broker.port);
    options
        .set_keep_alive(broker.keep_alive.max(std::time::Duration::from_secs(1)))
        .set_clean_session(true)
        .set_max_packet_size(MAX_PACKET, MAX_PACKET);
    if let Some((name, password)) = &broker.login {
        options.set_credentials(name, password);
    }
    let (client, mut events) = AsyncClient::new(options, ON_THE_WAY);
    let mut welcomed = false;
    loop {
        let said = match events.poll().await {
            Ok(Wire::Incoming(Packet::ConnAck(_))) => {
                // The queue of a new client has room; a link that is gone already shows at the next poll.
                let _ = client.try_subscribe(settings.filter.clone(), QoS::AtLeastOnce);
                welcomed = true;
                continue;
            }
            Ok(Wire::Incoming(Packet::SubAck(answer))) => {
                let refused = answer.return_codes.contains(&SubscribeReasonCode::Failure);
                Heard::Link(refused.then(|| "the broker does not let us hear it".to_owned()))
            }
            Ok(Wire::Incoming(Packet::Publish(publish))) => {
                Heard::Document { topic: publish.topic, bytes: publish.payload.to_vec() }
            }
            Ok(_) => continue,
            Err(error) => return Some(why(&error, broker, welcomed)),
        };
        heard.send(said).await.ok()?;
    }
}

/// Takes in what is heard, in order.
async fn take(filter: &str, intake: &Intake, mut heard: mpsc::Receiver<Heard>) -> Result<(), Stopped> {
    let mut told = Told::nothing(format!("warnings on {filter}"));
    let mut hourly = Hourly::default();
    while let Some(heard) = heard.recv().await {
        let why = match heard {
            Heard::Link(why) => why,
            Heard::Document { topic, bytes } => document(&topic, &bytes, intake, &mut hourly).await?,
        };
        if let Some(news) = told.news(why) {
            intake.handle.events.send(news).await.map_err(|_| Stopped)?;
        }
    }
    Ok(())
}

/// Takes in a document; what is to be said of it.
async fn document(
    topic: &str,
    bytes: &[u8],
    intake: &Intake,
    hourly: &mut Hourly,
) -> Result<Option<String>, Stopped> {
    // A retained message is taken away by an empty one.
    if bytes.is_empty() {
        return Ok(None);
    }
    let now_ms = intake.clock.monotonic_ms();
    if hourly.left(now_ms) == 0 {
        return Ok(Some(format!("a message was not read: at most {} are in an hour", super::MOST_AN_HOUR)));
    }
    hourly.spend(now_ms);
    let alert = match Intake::read(bytes) {
        Ok(alert) => alert,
        Err(fault) => return Ok(Some(format!("refused: {fault}"))),
    };
    let heard_from = format!("the topic {topic}");
    while intake.take(&alert, &heard_from).await? == Taken::Later {
        tokio::time::sleep(PATIENCE).await;
    }
    Ok(None)
}
