//! A forecast published on the broker.
//!
//! It comes over a connection of its own, under a name of its own: a forecast is larger than any reading, and must not
//! stand in the way of one. The session is forgotten when the link breaks; a broker that keeps the last forecast for us
//! sends it again, and then only its own time of issue says how old it is.

use rumqttc::{AsyncClient, Event, MqttOptions, Packet, QoS};
use tokio_util::sync::CancellationToken;

use super::intake::{Intake, KeeperGone};
use super::parse::LARGEST;
use crate::sources::mqtt::{BrokerSettings, why};
use crate::supervise::Outcome;

/// What a message carries besides its body at most, bytes.
const HEAD: usize = 70_000;
/// Requests that may wait for the connection: one subscription.
const ROOM: usize = 8;

/// Hears the topic until told to stop.
///
/// # Errors
///
/// Never: a broker that cannot be reached is told to the keeper and tried again.
pub async fn run(topic: String, broker: BrokerSettings, intake: Intake, stop: CancellationToken) -> Outcome {
    tokio::select! {
        () = stop.cancelled() => {}
        // Without a keeper the program is about to stop.
        KeeperGone = for_ever(&topic, &broker, intake) => stop.cancelled().await,
    }
    Ok(())
}

async fn for_ever(topic: &str, broker: &BrokerSettings, mut intake: Intake) -> KeeperGone {
    let mut pause = broker.pause.clone();
    loop {
        let (client, mut events) = AsyncClient::new(options(broker), ROOM);
        let mut welcomed = false;
        let why = loop {
            // The client pings a silent broker, so that this is never long without an event.
            match events.poll().await {
                Ok(Event::Incoming(Packet::ConnAck(_))) => {
                    pause.reset();
                    welcomed = true;
                    // The queue of a new client has room; a link that is gone already shows at the next poll.
                    let _ = client.try_subscribe(topic, QoS::AtLeastOnce);
                }
                Ok(Event::Incoming(Packet::Publish(message))) => {
                    if let Err(gone) = intake.take(&message.payload, message.retain).await {
                        return gone;
                    }
                }
                Ok(_) => {
                    let silent = format!("nothing comes on {topic}");
                    if let Err(gone) = intake.silence(silent).await {
                        return gone;
                    }
                }
                Err(error) => break why(&error, broker, welcomed),
            }
        };
        if let Err(gone) = intake.trouble(format!("no connection to the broker: {why}")).await {
            return gone;
        }
        tokio::time::sleep(pause.next(0.5)).await;
    }
}

fn options(broker: &BrokerSettings) -> MqttOptions {
    let mut options =
        MqttOptions::new(format!("{}-outlook", broker.client_id), broker.host.clone(), broker.port);
    options
        .set_keep_alive(broker.keep_alive)
        .set_clean_session(true)
        .set_max_packet_size(LARGEST + HEAD, HEAD);
    if let Some((name, password)) = &broker.login {
        options.set_credentials(name, password);
    }
    options
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;
    use std::time::Duration;

    use config::zone::Zones;
    use tokio::sync::mpsc;

    use super::*;
    use crate::clock::SystemClock;
    use crate::keeper::event::Event as Told;
    use crate::sources::pause::Pause;

    #[tokio::test]
    async fn b9_a_broker_that_is_not_there_is_told_in_the_words_of_the_readings_source() {
        let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let broker = BrokerSettings {
            host: "127.0.0.1".to_owned(),
            port,
            client_id: "glasshour".to_owned(),
            login: None,
            own_prefix: String::new(),
            keep_alive: Duration::from_secs(30),
            pause: Pause::new(Duration::from_secs(1), Duration::from_secs(60)),
        };
        let map = config::read_outlook_map(config::shipped_outlook_map("rows").unwrap(), &Zones::system());
        let (events, mut told) = mpsc::channel(8);
        let clock = Arc::new(SystemClock::new(None));
        let intake = Intake::new(map.unwrap(), (52.0, 5.0), Duration::from_secs(3600), events, clock);
        tokio::select! {
            KeeperGone = for_ever("yard/outlook", &broker, intake) => panic!("the keeper is here"),
            event = told.recv() => {
                let Some(Told::Away { why: Some(why), .. }) = event else { panic!("it is away") };
                let said = format!("no connection to the broker: nothing listens at 127.0.0.1:{port}");
                assert_eq!(why, said);
            }
        }
    }
}
