//! A push service in front of a phone that reads what comes by another implementation than ours (Python's).

use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};

use serde_json::{Value, json};

use super::http::{Answer, Request, Small};
use super::process::need;

const PYTHON: &str = "/usr/bin/python3";
/// Where Debian puts the library.
const LIBRARY: &str = "/usr/lib/python3/dist-packages/cryptography";

/// Whether a phone can be stood in for here; says so where not.
pub fn available() -> bool {
    need(LIBRARY, "python3-cryptography")
}

/// Runs the script with a word and an input.
fn script(word: &str, input: &str) -> Result<Value, String> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("servers/push.py");
    let mut command = Command::new(PYTHON);
    command.arg(path).arg(word).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().expect("python runs");
    child.stdin.take().expect("piped").write_all(input.as_bytes()).expect("it reads");
    let output = child.wait_with_output().expect("it ends");
    if !output.status.success() {
        return Err(String::from_utf8_lossy(&output.stderr).into_owned());
    }
    Ok(serde_json::from_slice(&output.stdout).expect("one JSON object"))
}

/// A phone: its keys.
#[derive(Clone, Debug)]
pub struct Phone(Value);

impl Phone {
    /// A phone with keys of its own.
    ///
    /// # Panics
    ///
    /// When the script does not run.
    pub fn new() -> Self {
        Self(script("keys", "").expect("keys"))
    }

    /// Its public key.
    ///
    /// # Panics
    ///
    /// Never: the script writes it.
    pub fn p256dh(&self) -> &str {
        self.0["p256dh"].as_str().expect("a text")
    }

    /// Its secret.
    ///
    /// # Panics
    ///
    /// Never: the script writes it.
    pub fn auth(&self) -> &str {
        self.0["auth"].as_str().expect("a text")
    }

    /// What it reads in a message, and whether the token beside it holds: `text`, `salt`, `claims`, `key`.
    ///
    /// # Errors
    ///
    /// What the script says where it cannot.
    pub fn read(&self, pushed: &Request) -> Result<Value, String> {
        let asked = json!({
            "private": self.0["private"], "auth": self.0["auth"], "body": base64url(&pushed.body),
            "authorization": field(pushed, "authorization").unwrap_or_default(),
        });
        script("read", &asked.to_string())
    }

    /// The step it is told: the JSON in the message.
    ///
    /// # Panics
    ///
    /// When it cannot be read.
    pub fn told(&self, pushed: &Request) -> Value {
        let read = self.read(pushed).unwrap_or_else(|why| panic!("{why}"));
        serde_json::from_str(read["text"].as_str().expect("a text")).expect("JSON")
    }
}

impl Default for Phone {
    fn default() -> Self {
        Self::new()
    }
}

/// A header field of a request.
pub fn field<'a>(request: &'a Request, name: &str) -> Option<&'a str> {
    request.headers.iter().find_map(|line| {
        let (key, value) = line.split_once(':')?;
        key.eq_ignore_ascii_case(name).then(|| value.trim())
    })
}

/// By `base64` of coreutils' alphabet with the two signs that are safe in addresses (RFC 4648, 5).
fn base64url(bytes: &[u8]) -> String {
    const SIGNS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
    let mut bits = bytes.iter().flat_map(|byte| (0..8).rev().map(move |place| byte >> place & 1)).peekable();
    let mut text = String::new();
    while bits.peek().is_some() {
        let six = (0..6).fold(0, |six, _| six << 1 | bits.next().unwrap_or(0));
        text.push(char::from(SIGNS[usize::from(six)]));
    }
    text
}

/// A push service on this machine that keeps what came.
pub struct Service {
    server: Small,
    came: Arc<Mutex<Vec<Request>>>,
}

impl Service {
    /// Starts it; `answer` says for the nth request (from 0) and its path: status and further header lines.
    ///
    /// # Panics
    ///
    /// When another thread of the test panicked.
    pub fn start(mut answer: impl FnMut(usize, &str) -> (u16, &'static str) + Send + 'static) -> Self {
        let came: Arc<Mutex<Vec<Request>>> = Arc::default();
        let kept = Arc::clone(&came);
        let server = Small::start(move |request| -> Answer {
            let mut kept = kept.lock().expect("not poisoned");
            let (status, headers) = answer(kept.len(), &request.path);
            kept.push(request.clone());
            Some((status, headers.to_owned(), Vec::new()))
        });
        Self { server, came }
    }

    /// Scheme, host and port.
    pub fn origin(&self) -> String {
        self.server.url()
    }

    /// What came so far.
    ///
    /// # Panics
    ///
    /// When another thread of the test panicked.
    pub fn came(&self) -> Vec<Request> {
        self.came.lock().expect("not poisoned").clone()
    }
}
