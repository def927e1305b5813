//! The way to a broker, tried once for `check --live`: as the source would use it, but under a name of its own, since a
//! second client with the source's name would throw that out.

use std::time::Duration;

use rumqttc::{AsyncClient, ConnectionError, Event as Wire, EventLoop, Packet, QoS, SubscribeReasonCode};

use super::way::{account, ask, echo, listen};
use super::{BrokerSettings, options, why};

/// How long the broker may take for all of it.
const LIMIT: Duration = Duration::from_secs(15);
/// Requests that may wait: subscribing, and our own message.
const ROOM: usize = 8;

/// How far it went.
#[derive(Default)]
struct Come {
    welcomed: bool,
    asked: bool,
    refused: Vec<String>,
}

/// Connects, asks for every filter, and sends a message to itself: what is wrong with the way, in words. Nothing that
/// comes on the filters is taken in, and nothing is kept at the broker.
pub async fn try_out(broker: &BrokerSettings, filters: &[String]) -> Vec<String> {
    let id = format!("{}-check", broker.client_id);
    let echo = echo(&broker.own_prefix, &id);
    let account = account(broker.login.as_ref());
    let (client, mut events) = AsyncClient::new(options(broker, &id, true), ROOM);
    let mut come = Come::default();
    let ended = tokio::time::timeout(LIMIT, go(&client, &mut events, filters, &echo, &mut come)).await;
    let trouble = match ended {
        Ok(Ok(())) => None,
        Ok(Err(_)) if come.asked => {
            Some(format!("the broker hangs up when we publish on {echo}: let {account} do so"))
        }
        Ok(Err(error)) => Some(why(&error, broker, come.welcomed)),
        Err(_) if come.asked => Some(format!(
            "connected, but our own message on {echo} did not come back: let {account} read and write there; \
             whether anything else comes cannot be told"
        )),
        Err(_) => Some(format!("no answer within {} s", LIMIT.as_secs())),
    };
    let _ = client.try_disconnect();
    // The farewell leaves with one more turn, if the broker still listens.
    let _ = tokio::time::timeout(Duration::from_secs(1), events.poll()).await;
    let refused = come.refused.into_iter().map(|filter| format!("the broker does not let us hear {filter}"));
    trouble.into_iter().chain(refused).collect()
}

/// Goes the way until our own message has come back.
async fn go(
    client: &AsyncClient,
    events: &mut EventLoop,
    filters: &[String],
    echo: &str,
    come: &mut Come,
) -> Result<(), ConnectionError> {
    loop {
        match events.poll().await? {
            Wire::Incoming(Packet::ConnAck(_)) => {
                come.welcomed = true;
                listen(client, filters.iter().map(String::as_str), QoS::AtMostOnce, echo);
            }
            Wire::Incoming(Packet::SubAck(answer)) => {
                let asked = filters.iter().zip(&answer.return_codes);
                let refused = asked.filter(|(_, code)| **code == SubscribeReasonCode::Failure);
                come.refused = refused.map(|(filter, _)| filter.clone()).collect();
                come.asked = ask(client, echo);
            }
            Wire::Incoming(Packet::Publish(message)) if message.topic == echo => return Ok(()),
            _ => {}
        }
    }
}
