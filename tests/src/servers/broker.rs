//! A real broker (Mosquitto), and an onlooker (its own subscriber).

use std::collections::VecDeque;
use std::io::{BufRead, BufReader};
use std::process::{ChildStdout, Command, Stdio};

use tempfile::TempDir;

use super::process::{Process, free_port, listens, need, until};

const BROKER: &str = "/usr/sbin/mosquitto";
const SUBSCRIBER: &str = "/usr/bin/mosquitto_sub";
const PUBLISHER: &str = "/usr/bin/mosquitto_pub";
/// A retained message on it tells an onlooker that its subscription stands.
const READY: &str = "onlooker/ready";

/// A running broker.
#[derive(Debug)]
pub struct Broker {
    /// Where it listens, on 127.0.0.1.
    pub port: u16,
    folder: TempDir,
    process: Option<Process>,
}

/// Whether broker and subscriber can be started here; says so where not.
pub fn available() -> bool {
    need(BROKER, "mosquitto") && need(SUBSCRIBER, "mosquitto-clients")
}

impl Broker {
    /// Starts it.
    ///
    /// # Panics
    ///
    /// When it does not come up.
    pub fn start() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let mut broker = Self { port: free_port(), folder, process: None };
        broker.resume();
        broker
    }

    /// Kills it.
    pub fn stop(&mut self) {
        self.process = None;
    }

    /// Starts it again on the same port.
    ///
    /// # Panics
    ///
    /// When it does not come up.
    pub fn resume(&mut self) {
        let settings = self.folder.path().join("broker.conf");
        let text = format!("listener {} 127.0.0.1\nallow_anonymous true\npersistence false\n", self.port);
        std::fs::write(&settings, text).expect("the folder takes a file");
        let mut command = Command::new(BROKER);
        command.arg("-c").arg(settings).stdout(Stdio::null()).stderr(Stdio::null());
        self.process = Some(Process::start(&mut command));
        until("the broker listens", || listens(self.port).then_some(()));
    }

    /// Looks on at all topics under `filter`, for three minutes at most; returns once the subscription stands.
    ///
    /// # Panics
    ///
    /// When the subscriber cannot be started.
    pub fn onlooker(&self, filter: &str) -> Onlooker {
        let port = self.port.to_string();
        let here = ["-h", "127.0.0.1", "-p", &port, "-q", "1"];
        let told = Command::new(PUBLISHER).args(here).args(["-r", "-t", READY, "-m", "yes"]).status();
        assert!(told.is_ok_and(|status| status.success()), "the broker takes a retained message");
        let mut command = Command::new(SUBSCRIBER);
        // %r tells whether a message was a retained one.
        command.args(here).args(["-W", "180", "-t", filter, "-t", READY, "-F", "%r %t %p"]);
        let mut process = Process::start(command.stdout(Stdio::piped()));
        let lines = BufReader::new(process.0.stdout.take().expect("its output is piped"));
        let mut onlooker = Onlooker { lines, early: VecDeque::new(), _process: process };
        loop {
            let message = onlooker.read();
            if message.1 == READY {
                return onlooker;
            }
            onlooker.early.push_back(message);
        }
    }
}

/// Whether it was retained (`1`) or not (`0`), topic, payload.
pub type Message = (String, String, String);

/// Somebody who subscribed.
#[derive(Debug)]
pub struct Onlooker {
    lines: BufReader<ChildStdout>,
    /// Retained messages that came before the subscription was known to stand.
    early: VecDeque<Message>,
    _process: Process,
}

impl Onlooker {
    /// Waits for the next message.
    ///
    /// # Panics
    ///
    /// When none comes.
    pub fn message(&mut self) -> Message {
        self.early.pop_front().unwrap_or_else(|| self.read())
    }

    fn read(&mut self) -> Message {
        let mut line = String::new();
        let read = self.lines.read_line(&mut line).expect("the subscriber's output");
        assert!(read > 0, "no further message within three minutes");
        let mut parts = line.trim_end().splitn(3, ' ').map(str::to_owned);
        let mut part = || parts.next().unwrap_or_default();
        (part(), part(), part())
    }
}
