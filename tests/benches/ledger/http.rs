//! As much HTTP as loading a peer and asking it takes.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::time::Duration;

use super::stopwatch::Stopwatch;

/// Sends a body, or asks when it is empty; the answer's body.
pub(crate) fn call(port: u16, path: &str, body: &[u8]) -> Vec<u8> {
    let (status, answer) = try_call(port, path, body).expect("the peer answers");
    assert_eq!(status / 100, 2, "{path}: {status} {}", String::from_utf8_lossy(&answer));
    answer
}

/// The same, with the status; none while nobody answers.
pub(crate) fn try_call(port: u16, path: &str, body: &[u8]) -> Option<(u16, Vec<u8>)> {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).ok()?;
    let method = if body.is_empty() { "GET" } else { "POST" };
    let length = body.len();
    // HTTP/1.0, so that the answer is neither chunked nor kept open.
    write!(stream, "{method} {path} HTTP/1.0\r\nHost: 127.0.0.1:{port}\r\nContent-Length: {length}\r\n\r\n")
        .ok()?;
    stream.write_all(body).ok()?;
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).ok()?;
    let head = answer.windows(4).position(|four| four == b"\r\n\r\n")?;
    let status = std::str::from_utf8(answer.get(9..12)?).ok()?.parse().ok()?;
    Some((status, answer.split_off(head + 4)))
}

/// Times of a question asked over and over, ms, after one that warms; each answer must be at least so long.
pub(crate) fn times(least: usize, ask: impl Fn() -> Vec<u8>) -> Vec<f64> {
    let time = || {
        let watch = Stopwatch::start();
        let length = ask().len();
        assert!(length >= least, "an answer of {length} bytes");
        watch.ms()
    };
    time();
    (0..15).map(|_| time()).collect()
}

/// Bytes of all files in a folder, once they have been the same for eight seconds.
pub(crate) fn settled(folder: &Path) -> u64 {
    let (mut bytes, mut same) = (0, 0);
    while same < 160 {
        std::thread::sleep(Duration::from_millis(50));
        let now = weight(folder);
        same = if now == bytes && now > 0 { same + 1 } else { 0 };
        bytes = now;
    }
    bytes
}

/// Bytes that all files in a folder take on the disk: some are made long beforehand and hold nothing yet.
fn weight(folder: &Path) -> u64 {
    let entries = std::fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok);
    let of = |entry: std::fs::DirEntry| match entry.file_type() {
        Ok(kind) if kind.is_dir() => weight(&entry.path()),
        Ok(_) => entry.metadata().map_or(0, |data| data.blocks() * 512),
        Err(_) => 0,
    };
    entries.map(of).sum()
}

/// A web address's form of a query.
pub(crate) fn escaped(text: &str) -> String {
    let mut out = String::new();
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() {
            out.push(byte as char);
        } else {
            out += &format!("%{byte:02X}");
        }
    }
    out
}
