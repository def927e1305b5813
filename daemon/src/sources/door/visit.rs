//! One client at the door, from its first packet to its last.

use std::sync::Arc;
use std::time::Duration;

use rumqttc::mqttbytes::v4::{
    ConnAck, Connect, ConnectReturnCode, Packet, Publish, SubAck, SubscribeReasonCode, UnsubAck,
};
use rumqttc::mqttbytes::{self, QoS};
use tokio::sync::mpsc;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

use super::Hall;
use super::wire::{Parting, Wire};
use crate::keeper::event::Acknowledge;
use crate::reading::ProbeName;
use crate::sources::flood::Flood;
use crate::sources::topic::is_topic;

/// CONNACK of MQTT 5 with reason 0x84, unsupported protocol version, and no properties (MQTT 5.0, 3.2.2.2).
const NOT_VERSION_5: [u8; 5] = [0x20, 0x03, 0x00, 0x84, 0x00];
/// A client that keeps no keep-alive is given up after this much silence: its place is wanted.
const PATIENCE: Duration = Duration::from_secs(24 * 3600);
/// A wrong password is answered this late, so that guessing takes its time.
const WRONG_PASSWORD: Duration = Duration::from_secs(1);

/// The most acknowledgements sent in one write.
const AT_ONCE: usize = 1024;

/// Serves a client until it leaves or has to, or all are told to stop.
pub(super) async fn serve(hall: Arc<Hall>, mut wire: Wire, stop: CancellationToken) {
    let mut flood = Flood::default();
    let visit = stop.run_until_cancelled(visit(&hall, &mut wire, &mut flood));
    let parting = visit.await.unwrap_or(Parting::Closing);
    tracing::debug!(%parting, "a client left the door");
    // Nothing more comes on the heels of what waits. A keeper without room must not hold up the stop.
    tokio::select! {
        biased;
        _ = hall.send_all(flood.told(i64::MAX)) => {}
        () = stop.cancelled() => {}
    }
}

/// One visit, from the welcome to the parting.
async fn visit(hall: &Hall, wire: &mut Wire, flood: &mut Flood) -> Parting {
    let guest = match timeout(hall.limits.welcome, welcome(hall, wire)).await {
        Err(_) => return Parting::Silent,
        Ok(Err(parting)) => return parting,
        Ok(Ok(guest)) => guest,
    };
    let place = hall.seat(&guest.seat);
    // Dropped in mid-packet or mid-answer: what was not acknowledged the client sends again.
    let parting = tokio::select! {
        biased;
        () = place.replaced.cancelled() => Parting::Replaced,
        parting = hear(hall, wire, &guest, flood) => parting,
    };
    hall.leave(&guest.seat, &place);
    parting
}

/// Who came in.
struct Guest {
    /// The probe it proved to be; none where the door has no passwords.
    probe: Option<ProbeName>,
    /// Probe and client id: who comes with the same takes the place.
    seat: (Option<ProbeName>, String),
    /// The longest silence.
    silence: Duration,
}

async fn welcome(hall: &Hall, wire: &mut Wire) -> Result<Guest, Parting> {
    use ConnectReturnCode as Code;
    if wire.protocol_level().await? == Some(5) {
        wire.answer_bytes(&NOT_VERSION_5).await?;
        return Err(Parting::TurnedAway("it speaks MQTT 5, the door 3.1.1"));
    }
    let connect = match wire.packet().await {
        Ok(Packet::Connect(connect)) => connect,
        Ok(_) => return Err(Parting::Unwanted("the first packet is no CONNECT")),
        Err(Parting::Packet(
            mqttbytes::Error::InvalidProtocolLevel(_) | mqttbytes::Error::InvalidProtocol,
        )) => {
            turn_away(wire, Code::RefusedProtocolVersion).await?;
            return Err(Parting::TurnedAway("it does not speak MQTT 3.1.1"));
        }
        Err(parting) => return Err(parting),
    };
    if connect.client_id.is_empty() && !connect.clean_session {
        turn_away(wire, Code::BadClientId).await?;
        return Err(Parting::TurnedAway("a session to keep needs a client id"));
    }
    let Ok(probe) = hall.recognise(&connect) else {
        tokio::time::sleep(WRONG_PASSWORD).await;
        turn_away(wire, Code::NotAuthorized).await?;
        return Err(Parting::TurnedAway("wrong name or password"));
    };
    // All that a publisher's session can hold is what it sent and we have: that is always there. Were it
    // denied, some clients would throw away what they still have to send again.
    let session_present = !connect.clean_session;
    wire.answer(&Packet::ConnAck(ConnAck::new(Code::Success, session_present))).await?;
    Ok(Guest { seat: (probe.clone(), connect.client_id.clone()), probe, silence: silence(&connect) })
}

/// One and a half keep-alives (MQTT 3.1.1 section 3.1.2.10).
fn silence(connect: &Connect) -> Duration {
    match connect.keep_alive {
        0 => PATIENCE,
        seconds => Duration::from_millis(u64::from(seconds) * 1500),
    }
}

async fn turn_away(wire: &mut Wire, code: ConnectReturnCode) -> Result<(), Parting> {
    wire.answer(&Packet::ConnAck(ConnAck::new(code, false))).await
}

/// Takes packets until there is a reason to part.
async fn hear(hall: &Hall, wire: &mut Wire, guest: &Guest, flood: &mut Flood) -> Parting {
    let (durable, mut acknowledged) = mpsc::unbounded_channel();
    let mut unanswered = 0;
    let mut numbers = Vec::new();
    loop {
        // The queue of acknowledgements has no limit of its own: `unanswered` has.
        let step = tokio::select! {
            biased;
            count = acknowledged.recv_many(&mut numbers, AT_ONCE) => {
                unanswered -= count;
                let sent = wire.acknowledge(&numbers).await;
                numbers.clear();
                sent
            }
            () = flood.due(hall.clock.as_ref()) => {
                hall.send_all(flood.told(hall.clock.monotonic_ms())).await
            }
            packet = timeout(guest.silence, wire.packet()), if unanswered < hall.limits.unanswered => {
                match packet {
                    Err(_) => Err(Parting::Silent),
                    Ok(Err(parting)) => Err(parting),
                    Ok(Ok(Packet::Publish(publish))) => {
                        unanswered += usize::from(publish.qos == QoS::AtLeastOnce);
                        take(hall, guest, publish, &durable, flood).await
                    }
                    Ok(Ok(packet)) => reply(wire, packet).await,
                }
            }
        };
        if let Err(parting) = step {
            return parting;
        }
    }
}

/// Hands a message to the keeper. Its number is acknowledged when the keeper says that it is durable.
async fn take(
    hall: &Hall,
    guest: &Guest,
    publish: Publish,
    durable: &mpsc::UnboundedSender<u16>,
    flood: &mut Flood,
) -> Result<(), Parting> {
    let done = match publish.qos {
        QoS::ExactlyOnce => return Err(Parting::Unwanted("QoS 2 is not served; use QoS 1")),
        QoS::AtMostOnce => None,
        QoS::AtLeastOnce => {
            let durable = durable.clone();
            let number = publish.pkid;
            // When the client has gone there is nobody to answer; it will send again.
            Some(Box::new(move || _ = durable.send(number)) as Acknowledge)
        }
    };
    if !is_topic(&publish.topic) {
        return Err(Parting::Unwanted("a topic with a wildcard in it"));
    }
    hall.hear(guest.probe.as_ref(), &publish, done, flood).await
}

/// Answers what is not a message.
async fn reply(wire: &mut Wire, packet: Packet) -> Result<(), Parting> {
    match packet {
        Packet::PingReq => wire.answer(&Packet::PingResp).await,
        Packet::Subscribe(subscribe) => {
            let refused = vec![SubscribeReasonCode::Failure; subscribe.filters.len()];
            wire.answer(&Packet::SubAck(SubAck::new(subscribe.pkid, refused))).await
        }
        Packet::Unsubscribe(unsubscribe) => {
            wire.answer(&Packet::UnsubAck(UnsubAck::new(unsubscribe.pkid))).await
        }
        Packet::Disconnect => Err(Parting::Left),
        _ => Err(Parting::Unwanted("a packet out of place")),
    }
}
