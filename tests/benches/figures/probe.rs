//! A probe as plain as they come: one connection, QoS 1, MQTT 3.1.1 written out by hand, so that what it sends to the
//! one and the other server is the same to the byte and costs this process nothing between two messages.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

/// A connected probe.
pub(crate) struct Probe {
    stream: TcpStream,
    name: String,
    packet: u16,
}

impl Probe {
    /// Connects.
    pub(crate) fn connect(port: u16, name: &str) -> Self {
        let mut stream = TcpStream::connect(("127.0.0.1", port)).expect("the server listens");
        stream.set_read_timeout(Some(Duration::from_secs(10))).expect("a socket takes a limit");
        // CONNECT: protocol name and level, clean session, no keep-alive, client identifier (section 3.1).
        let mut body = vec![0, 4];
        body.extend_from_slice(b"MQTT\x04\x02\x00\x00");
        text(&mut body, name);
        send(&mut stream, 0x10, &body);
        let mut answer = [0; 4];
        stream.read_exact(&mut answer).expect("CONNACK");
        assert_eq!(answer, [0x20, 2, 0, 0], "the server takes the probe in");
        Self { stream, name: name.to_owned(), packet: 0 }
    }

    /// Publishes one measurement; the acknowledgement is left to come when it will.
    pub(crate) fn publish(&mut self, at_ms: i64, t_c: f64, rh_pct: f64) {
        self.packet += 1;
        let mut body = Vec::new();
        text(&mut body, &format!("figures/{}", self.name));
        body.extend_from_slice(&self.packet.to_be_bytes());
        body.extend_from_slice(format!(r#"{{"at":{at_ms},"t":{t_c:.2},"rh":{rh_pct:.1}}}"#).as_bytes());
        send(&mut self.stream, 0x32, &body);
    }

    /// How many acknowledgements have come and were not counted yet.
    pub(crate) fn acknowledged(&mut self) -> usize {
        self.stream.set_nonblocking(true).expect("a socket can be asked without waiting");
        let mut bytes = [0; 512];
        let read = self.stream.read(&mut bytes).unwrap_or(0);
        self.stream.set_nonblocking(false).expect("and waited for again");
        // PUBACK is four bytes, and nothing else comes to a publisher.
        read / 4
    }
}

fn text(body: &mut Vec<u8>, text: &str) {
    body.extend_from_slice(&(text.len() as u16).to_be_bytes());
    body.extend_from_slice(text.as_bytes());
}

fn send(stream: &mut TcpStream, kind: u8, body: &[u8]) {
    let length = u8::try_from(body.len()).ok().filter(|length| *length < 128);
    let mut packet = vec![kind, length.expect("our packets are shorter than 128 bytes")];
    packet.extend_from_slice(body);
    stream.write_all(&packet).expect("the server reads");
}
