//! The least HTTP that can tell whether a page answers.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

/// Status and length of the answer; `None` while nobody answers.
pub(crate) fn get(port: u16, path: &str) -> Option<(u16, usize)> {
    let answer = answer(port, path)?;
    let status = answer.get(9..12)?.parse().ok()?;
    Some((status, answer.len()))
}

/// The body of the answer, whatever its status.
pub(crate) fn body(port: u16, path: &str) -> Option<String> {
    answer(port, path)?.split_once("\r\n\r\n").map(|(_, body)| body.to_owned())
}

fn answer(port: u16, path: &str) -> Option<String> {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).ok()?;
    write!(stream, "GET {path} HTTP/1.0\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n").ok()?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer).ok()?;
    Some(answer)
}

/// Asks every millisecond until the answer is 200; gives up after two minutes.
pub(crate) fn until_200(port: u16, path: &str) {
    for _ in 0..120_000 {
        if get(port, path).is_some_and(|(status, _)| status == 200) {
            return;
        }
        std::thread::sleep(Duration::from_millis(1));
    }
    panic!("waited two minutes in vain for {path} on port {port}");
}
