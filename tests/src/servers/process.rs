//! Starting, awaiting and ending the processes of other people.

use std::io::Write;
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command};
use std::time::Duration;

/// A process that ends with its owner.
#[derive(Debug)]
pub struct Process(pub Child);

impl Process {
    /// Starts it.
    ///
    /// # Panics
    ///
    /// When it cannot be started.
    pub fn start(command: &mut Command) -> Self {
        Self(command.spawn().unwrap_or_else(|error| panic!("{command:?}: {error}")))
    }
}

impl Process {
    /// Asks it to end, as a service manager would, and waits until it has.
    ///
    /// # Panics
    ///
    /// When it cannot be asked.
    pub fn end(mut self) {
        let asked = Command::new("kill").arg(self.0.id().to_string()).status().expect("kill runs");
        assert!(asked.success(), "kill {}: {asked}", self.0.id());
        until("the process ends", || self.0.try_wait().ok().flatten());
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        // Already gone is as good as killed.
        if self.0.kill().is_ok() {
            let _ = self.0.wait();
        }
    }
}

/// Whether `program` (a full path) of the Debian package `package` is there. When it is not, says so on stderr past the
/// test harness's capture.
///
/// # Panics
///
/// When it is missing and `CI` is set: there nothing may be skipped.
pub fn need(program: &str, package: &str) -> bool {
    if Path::new(program).exists() {
        return true;
    }
    let sentence = format!("SKIPPED: {program} is missing; apt-get install {package}\n");
    assert!(std::env::var_os("CI").is_none(), "{sentence}");
    std::io::stderr().write_all(sentence.as_bytes()).expect("stderr takes a line");
    false
}

/// A port that was free a moment ago, on the loopback address.
///
/// # Panics
///
/// When there is none.
pub fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    listener.local_addr().expect("it is bound").port()
}

/// Whether somebody listens there.
pub fn listens(port: u16) -> bool {
    TcpStream::connect(("127.0.0.1", port)).is_ok()
}

/// Waits until `look` finds something; gives up after 30 s.
///
/// # Panics
///
/// When it does not come.
pub fn until<T>(what: &str, look: impl FnMut() -> Option<T>) -> T {
    until_within(30, what, look)
}

/// The same with another deadline, s: for work that takes an unoptimised build on a busy machine its time.
///
/// # Panics
///
/// When it does not come.
pub fn until_within<T>(deadline_s: u32, what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    for _ in 0..20 * deadline_s {
        if let Some(found) = look() {
            return found;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    panic!("waited {deadline_s} s in vain: {what}")
}

/// The same without holding up the other tasks of the test.
///
/// # Panics
///
/// When it does not come.
pub async fn until_async<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    for _ in 0..600 {
        if let Some(found) = look() {
            return found;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("waited 30 s in vain: {what}")
}
