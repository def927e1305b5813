//! A small HTTP server whose answers a test writes: one request at a time, one connection each.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread::{Builder, JoinHandle};

/// What was asked.
#[derive(Clone, Debug, Default)]
pub struct Request {
    /// `GET`, `POST`.
    pub method: String,
    /// Path with its query.
    pub path: String,
    /// Header lines.
    pub headers: Vec<String>,
    /// The body, taken out of its chunks.
    pub body: Vec<u8>,
}

/// A status that hangs up unanswered.
pub const HANG_UP: u16 = 0;
/// A status that takes the request and never answers.
pub const SILENT: u16 = 1;

/// What is answered; none leaves the caller waiting for ever.
pub type Answer = Option<(u16, String, Vec<u8>)>;

/// The server; it ends with its owner.
pub struct Small {
    /// Where it listens, on 127.0.0.1.
    pub port: u16,
    asked: Arc<AtomicUsize>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Small {
    /// Starts it; an answer is status, further header lines (each with its line end), body.
    pub fn start(mut answer: impl FnMut(&Request) -> Answer + Send + 'static) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let port = listener.local_addr().expect("it is bound").port();
        let (asked, stop) = (Arc::new(AtomicUsize::new(0)), Arc::new(AtomicBool::new(false)));
        let (count, end) = (Arc::clone(&asked), Arc::clone(&stop));
        let serve = move || {
            // Kept open: whoever is left without an answer is not hung up on either.
            let mut silent = Vec::new();
            for stream in listener.incoming() {
                if end.load(Ordering::Relaxed) {
                    return;
                }
                let Ok(mut stream) = stream else { continue };
                let Some(request) = read(&mut stream) else { continue };
                count.fetch_add(1, Ordering::Relaxed);
                match answer(&request).filter(|(status, ..)| *status != SILENT) {
                    Some((HANG_UP, ..)) => drop(stream),
                    Some((status, headers, body)) => {
                        let head = format!(
                            "HTTP/1.1 {status} X\r\n{headers}Content-Length: {}\r\nConnection: close\r\n\r\n",
                            body.len()
                        );
                        // A caller that has gone meanwhile is no matter of ours.
                        let _ = stream.write_all(head.as_bytes()).and_then(|()| stream.write_all(&body));
                    }
                    None => silent.push(stream),
                }
            }
        };
        let thread = Builder::new().name("small server".to_owned()).spawn(serve).expect("a thread");
        Self { port, asked, stop, thread: Some(thread) }
    }

    /// Where to write to.
    pub fn url(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    /// How many requests came so far.
    pub fn asked(&self) -> usize {
        self.asked.load(Ordering::Relaxed)
    }
}

impl Drop for Small {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        let _ = TcpStream::connect(("127.0.0.1", self.port));
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn read(stream: &mut TcpStream) -> Option<Request> {
    let mut bytes = Vec::new();
    let mut piece = vec![0; 65_536];
    let mut more = |bytes: &mut Vec<u8>| {
        let count = stream.read(&mut piece).ok().filter(|count| *count > 0)?;
        bytes.extend_from_slice(&piece[..count]);
        Some(())
    };
    let end = loop {
        if let Some(end) = bytes.windows(4).position(|four| four == b"\r\n\r\n") {
            break end + 4;
        }
        more(&mut bytes)?;
    };
    let head = String::from_utf8_lossy(&bytes[..end]).into_owned();
    let mut lines = head.lines();
    let mut first = lines.next()?.split(' ').map(str::to_owned);
    let (method, path) = (first.next()?, first.next()?);
    let headers: Vec<String> = lines.filter(|line| !line.is_empty()).map(str::to_owned).collect();
    let value = |name: &str| {
        headers.iter().find_map(|line| {
            let (key, value) = line.split_once(':')?;
            key.eq_ignore_ascii_case(name).then(|| value.trim().to_owned())
        })
    };
    let mut rest = bytes.split_off(end);
    let body = if value("transfer-encoding").is_some() {
        loop {
            if let Some(body) = unchunk(&rest) {
                break body;
            }
            more(&mut rest)?;
        }
    } else {
        let length = value("content-length").and_then(|length| length.parse().ok()).unwrap_or(0);
        while rest.len() < length {
            more(&mut rest)?;
        }
        rest
    };
    Some(Request { method, path, headers, body })
}

/// The body out of its chunks (RFC 9112, 7.1), once it is there whole.
fn unchunk(mut bytes: &[u8]) -> Option<Vec<u8>> {
    let mut body = Vec::new();
    loop {
        let line = bytes.windows(2).position(|two| two == b"\r\n")?;
        let size = usize::from_str_radix(std::str::from_utf8(&bytes[..line]).ok()?, 16).ok()?;
        let data = bytes.get(line + 2..line + 2 + size)?;
        bytes.get(line + 2 + size..line + 4 + size)?;
        if size == 0 {
            return Some(body);
        }
        body.extend_from_slice(data);
        bytes = &bytes[line + 4 + size..];
    }
}

/// Asks in HTTP/1.0, so that the answer is neither chunked nor kept open; status and body.
pub fn ask(port: u16, method: &str, path: &str, headers: &str, body: &[u8]) -> Option<(u16, String)> {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).ok()?;
    let length = body.len();
    write!(
        stream,
        "{method} {path} HTTP/1.0\r\nHost: localhost\r\n{headers}Content-Length: {length}\r\n\r\n"
    )
    .ok()?;
    // Who answers before all of it has come hangs up on the rest: the answer counts all the same.
    let _ = stream.write_all(body);
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    let answer = String::from_utf8(answer).ok()?;
    let (head, body) = answer.split_once("\r\n\r\n")?;
    let status = head.split(' ').nth(1)?.parse().ok()?;
    Some((status, body.to_owned()))
}
