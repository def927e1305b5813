//! The bytes of one connection: whole MQTT packets in, packets out, each with its limit.

use std::time::Duration;

use rumqttc::mqttbytes::v4::{self, Packet};
use rumqttc::mqttbytes::{self, check};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::time::timeout;
use tokio_util::bytes::BytesMut;

/// The largest packet taken, bytes.
const MAX_PACKET: usize = 65_536;
/// The kind of packet a client begins with (MQTT 3.1.1 section 2.2.1).
const CONNECT: u8 = 1;
/// How long a client may take to make room for an answer.
const WRITE: Duration = Duration::from_secs(10);

/// Why a connection ended.
#[derive(Debug, thiserror::Error)]
pub(super) enum Parting {
    /// The client left, or its link broke.
    #[error("the client left")]
    Left,
    /// Silent for one and a half keep-alives, or too slow with its first packet.
    #[error("the client fell silent")]
    Silent,
    /// It does not read what we answer.
    #[error("the client reads no answers")]
    Deaf,
    /// A packet that no client of MQTT 3.1.1 sends, or a larger one than we take.
    #[error("no MQTT we take: {0}")]
    Packet(mqttbytes::Error),
    /// A packet out of place.
    #[error("{0}")]
    Unwanted(&'static str),
    /// It was turned away at the door.
    #[error("turned away: {0}")]
    TurnedAway(&'static str),
    /// Somebody with the same client id came in.
    #[error("another client came with the same id")]
    Replaced,
    /// We are stopping, or there is no keeper any more.
    #[error("closing")]
    Closing,
}

/// One connection.
pub(super) struct Wire {
    stream: TcpStream,
    heard: BytesMut,
    said: BytesMut,
}

impl Wire {
    pub(super) fn new(stream: TcpStream) -> Self {
        Self { stream, heard: BytesMut::new(), said: BytesMut::new() }
    }

    /// The next packet. Nothing is lost when it is dropped half way.
    pub(super) async fn packet(&mut self) -> Result<Packet, Parting> {
        self.whole_packet().await?;
        Packet::read(&mut self.heard, MAX_PACKET).map_err(Parting::Packet)
    }

    /// The protocol level the next packet asks for, where that is a CONNECT (3 to 5 exist).
    pub(super) async fn protocol_level(&mut self) -> Result<Option<u8>, Parting> {
        // Nothing but a CONNECT is waited for to its end.
        while self.heard.is_empty() {
            self.more().await?;
        }
        if self.heard[0] >> 4 != CONNECT {
            return Err(Parting::Unwanted("the first packet is no CONNECT"));
        }
        self.whole_packet().await?;
        Ok(protocol_level(&self.heard))
    }

    async fn whole_packet(&mut self) -> Result<(), Parting> {
        loop {
            match check(self.heard.iter(), MAX_PACKET) {
                Ok(_) => return Ok(()),
                Err(mqttbytes::Error::InsufficientBytes(_)) => {}
                Err(error) => return Err(Parting::Packet(error)),
            }
            self.more().await?;
        }
    }

    async fn more(&mut self) -> Result<(), Parting> {
        self.heard.reserve(4096);
        match self.stream.read_buf(&mut self.heard).await {
            Ok(0) | Err(_) => Err(Parting::Left),
            Ok(_) => Ok(()),
        }
    }

    /// Sends one packet.
    pub(super) async fn answer(&mut self, packet: &Packet) -> Result<(), Parting> {
        packet.write(&mut self.said, MAX_PACKET).map_err(Parting::Packet)?;
        self.flush().await
    }

    /// Sends acknowledgements of these packet numbers.
    pub(super) async fn acknowledge(&mut self, numbers: &[u16]) -> Result<(), Parting> {
        for number in numbers {
            v4::PubAck::new(*number).write(&mut self.said).map_err(Parting::Packet)?;
        }
        self.flush().await
    }

    /// Sends bytes as they are.
    pub(super) async fn answer_bytes(&mut self, bytes: &[u8]) -> Result<(), Parting> {
        self.said.extend_from_slice(bytes);
        self.flush().await
    }

    async fn flush(&mut self) -> Result<(), Parting> {
        let written = timeout(WRITE, self.stream.write_all(&self.said)).await;
        self.said.clear();
        match written {
            Ok(Ok(())) => Ok(()),
            Ok(Err(_)) => Err(Parting::Left),
            Err(_) => Err(Parting::Deaf),
        }
    }
}

/// The protocol level of a whole CONNECT: after its fixed header, the name `MQTT` (`MQIsdp` in 3.1), then this
/// byte (MQTT 3.1.1 section 3.1.2).
fn protocol_level(packet: &[u8]) -> Option<u8> {
    let (kind, rest) = packet.split_first()?;
    if kind >> 4 != CONNECT {
        return None;
    }
    let length = rest.iter().take(4).position(|byte| byte & 0x80 == 0)? + 1;
    let body = &rest[length..];
    let name = body.strip_prefix(b"\0\x04MQTT").or_else(|| body.strip_prefix(b"\0\x06MQIsdp"))?;
    name.first().copied()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_protocol_level_is_found_in_every_version_of_the_first_packet() {
        // Fixed header, then name and level: MQTT 3.1.1 section 3.1.2, MQTT 5.0 section 3.1.2.
        assert_eq!(protocol_level(b"\x10\x0c\0\x04MQTT\x04\x02\0\x3c\0\0"), Some(4));
        assert_eq!(protocol_level(b"\x10\x0d\0\x04MQTT\x05\x02\0\x3c\0\0\0"), Some(5));
        assert_eq!(protocol_level(b"\x10\x0e\0\x06MQIsdp\x03\x02\0\x3c\0\0"), Some(3));
        // A remaining length of two bytes.
        assert_eq!(protocol_level(b"\x10\x8c\x01\0\x04MQTT\x04\x02"), Some(4));
        assert_eq!(protocol_level(b"\xc0\0"), None);
        assert_eq!(protocol_level(b"GET / HTTP/1.1"), None);
    }

    proptest! {
        #[test]
        fn no_bytes_bring_the_codec_down(
            kind: u8, body in prop::collection::vec(any::<u8>(), 0..127)
        ) {
            let mut packet = vec![kind, body.len() as u8];
            packet.extend(body);
            let _ = protocol_level(&packet);
            let _ = Packet::read(&mut BytesMut::from(&packet[..]), MAX_PACKET);
        }
    }
}
