//! The program itself as a process, in a garden of its own: a folder with a site file, a ledger and a log.

use std::fs::File;
use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Output, Stdio};
use std::sync::OnceLock;

use serde_json::Value;
use tempfile::TempDir;

use crate::servers::process::until;

/// What every garden of the tests shares. The page takes any free port.
const HEAD: &str = "\
[site]
name = \"Bindweed Yard\"
latitude = 52.1
longitude = 5.3
standard_offset = \"+01:00\"

[page]
listen = \"127.0.0.1:0\"
";

/// Somebody vouches for the clock; so the tests do not depend on who does on this machine.
pub const VOUCHED: &str = "[clock]\nvouched_by = \"system\"\n";

/// The root of the repository.
///
/// # Panics
///
/// Never: the tests lie in it.
pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the tests lie in the repository")
}

/// The program, built in the profile and the target folder of the test that asks.
///
/// # Panics
///
/// When it does not build.
pub fn program() -> &'static Path {
    static BUILT: OnceLock<PathBuf> = OnceLock::new();
    BUILT.get_or_init(|| {
        // .../target/PROFILE/deps/TEST
        let test = std::env::current_exe().expect("a test has a path");
        let profile = test.ancestors().nth(2).expect("tests lie in the profile's deps");
        let target = profile.parent().expect("profiles lie in the target folder");
        let mut cargo = Command::new(env!("CARGO"));
        cargo
            .current_dir(root())
            .args(["build", "--quiet", "--package", "glasshour", "--target-dir"])
            .arg(target);
        // What cargo tells a test of the test's own package would have build scripts run again that look at it.
        let of_the_test = |name: &str| name.starts_with("CARGO_PKG_") || name.starts_with("CARGO_MANIFEST_");
        for (name, _) in std::env::vars_os().filter(|(name, _)| name.to_str().is_some_and(of_the_test)) {
            cargo.env_remove(name);
        }
        if profile.ends_with("release") {
            cargo.arg("--release");
        }
        let built = cargo.output().expect("the cargo that built this test");
        assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
        profile.join("glasshour")
    })
}

/// Runs a command of the program to its end.
///
/// # Panics
///
/// When it cannot be started.
pub fn run(args: &[&str]) -> Output {
    Command::new(program()).args(args).stdin(Stdio::null()).output().expect("the program just built")
}

/// A folder with a site file.
#[derive(Debug)]
pub struct Garden {
    folder: TempDir,
}

impl Garden {
    /// A garden whose clock is vouched for and whose ledger commits five times a second; `rest` follows in its
    /// site file.
    ///
    /// # Panics
    ///
    /// When there is no room for it.
    pub fn new(rest: &str) -> Self {
        Self::of(|folder| {
            let ledger = folder.join("ledger");
            let ledger = ledger.display();
            format!("{HEAD}{VOUCHED}\n[ledger]\nfolder = \"{ledger}\"\ncommit_every_s = 0.2\n\n{rest}")
        })
    }

    /// A garden with a site file of one's own, made for its folder.
    ///
    /// # Panics
    ///
    /// When there is no room for it.
    pub fn of(text: impl FnOnce(&Path) -> String) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let garden = Self { folder };
        std::fs::write(garden.site_file(), text(garden.path())).expect("room for a site file");
        garden
    }

    /// The head of a site file: a site and a page on any free port.
    pub fn head() -> &'static str {
        HEAD
    }

    /// Its folder.
    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Its site file.
    pub fn site_file(&self) -> PathBuf {
        self.path().join("site.toml")
    }

    /// Where [`Garden::new`] has its ledger.
    pub fn ledger(&self) -> PathBuf {
        self.path().join("ledger")
    }

    /// What its services have written so far, of both outputs.
    pub fn log(&self) -> String {
        std::fs::read_to_string(self.path().join("log")).unwrap_or_default()
    }

    /// Starts the service's process and waits for nothing. What a test ended before did not end by itself, so earlier
    /// starts are not counted as cut short.
    ///
    /// # Panics
    ///
    /// When it cannot be started.
    pub fn launch(&self) -> Child {
        self.forget_starts();
        self.launch_again(&[])
    }

    /// Starts that did not last are no matter of most tests.
    fn forget_starts(&self) {
        let _ = std::fs::remove_file(self.ledger().join("starts-cut-short"));
    }

    /// Starts the process as a service manager would after it ended: starts that did not last are counted.
    fn launch_again(&self, environment: &[(String, String)]) -> Child {
        let log = File::options().create(true).append(true).open(self.path().join("log")).expect("a log");
        let err = log.try_clone().expect("a second handle");
        let mut command = Command::new(program());
        command.arg("run").arg(self.site_file()).arg("--kept").arg(self.ledger());
        command.stdin(Stdio::null()).stdout(log).stderr(err);
        command.env_remove("RUNTIME_DIRECTORY").envs(environment.iter().cloned());
        command.spawn().expect("the program just built")
    }

    /// Starts the service and waits until its page answers.
    ///
    /// # Panics
    ///
    /// When it ends instead, or does not answer in time.
    pub fn start(&self) -> Service {
        self.start_with(&[])
    }

    /// The same with further words in its environment.
    ///
    /// # Panics
    ///
    /// As [`start`](Self::start).
    pub fn start_with(&self, environment: &[(String, String)]) -> Service {
        self.forget_starts();
        self.answering(environment).unwrap_or_else(|status| panic!("it ended ({status}): {}", self.log()))
    }

    /// The same, where it may end instead of answering.
    ///
    /// # Errors
    ///
    /// How it ended.
    ///
    /// # Panics
    ///
    /// When neither happens in time.
    pub fn try_start(&self) -> Result<Service, ExitStatus> {
        self.forget_starts();
        self.answering(&[])
    }

    /// Starts the service as a service manager would after it ended, and waits until its page answers: starts that did
    /// not last are counted.
    ///
    /// # Panics
    ///
    /// When it ends instead, or does not answer in time.
    pub fn start_again(&self) -> Service {
        let started = self.answering(&[]);
        started.unwrap_or_else(|status| panic!("it ended ({status}): {}", self.log()))
    }

    fn answering(&self, environment: &[(String, String)]) -> Result<Service, ExitStatus> {
        let before = self.log().len();
        let mut child = self.launch_again(environment);
        until("the page answers or the program ends", || {
            if let Some(address) = address(&self.log()[before..]) {
                return Some(Ok(address));
            }
            child.try_wait().expect("a child of ours").map(Err)
        })
        .map(|address| Service { child, address })
    }

    /// Runs a command about this garden: its first word, then the site file, then the rest.
    ///
    /// # Panics
    ///
    /// When it cannot be started.
    pub fn ask(&self, args: &[&str]) -> Output {
        let site = self.site_file();
        let (first, rest) = args.split_first().expect("a command");
        run(&[&[first, "--site", site.to_str().expect("a plain path")], rest].concat())
    }

    /// The same, for what it prints as JSON.
    ///
    /// # Panics
    ///
    /// When the command fails or prints something else.
    pub fn json(&self, args: &[&str]) -> Value {
        let output = self.ask(args);
        assert!(output.status.success(), "{args:?}: {}", said(&output));
        serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{args:?}: {error}"))
    }

    /// Notes something; its number.
    ///
    /// # Panics
    ///
    /// When it is refused.
    pub fn note(&self, args: &[&str]) -> i64 {
        let noted = self.json(&[&["note", "--json"], args].concat());
        noted["entry"].as_i64().expect("a number")
    }
}

/// What a command said on standard error.
pub fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// The first whole line that is an address.
fn address(log: &str) -> Option<String> {
    let start = log.find("http://")? + "http://".len();
    let end = log[start..].find("/\n")?;
    Some(log[start..start + end].to_owned())
}

/// A running service. It is killed when the test lets go of it.
#[derive(Debug)]
pub struct Service {
    child: Child,
    address: String,
}

impl Service {
    /// Where its page answers.
    pub fn address(&self) -> &str {
        &self.address
    }

    /// Its process.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Asks its page for a document.
    ///
    /// # Panics
    ///
    /// When it does not answer.
    pub fn get(&self, path: &str) -> (u16, String) {
        get(&self.address, path).unwrap_or_else(|error| panic!("{path}: {error}"))
    }

    /// Its glance.
    ///
    /// # Panics
    ///
    /// When it does not answer with one.
    pub fn now(&self) -> Value {
        let (status, body) = self.get("/api/now");
        assert_eq!(status, 200, "{body}");
        serde_json::from_str(&body).expect("a JSON document")
    }

    /// Asks it to end, as a service manager would; how it ended.
    ///
    /// # Panics
    ///
    /// When it does not end.
    pub fn stop(mut self) -> ExitStatus {
        signal(self.id(), "TERM");
        until("the service ends", || self.child.try_wait().expect("a child of ours"))
    }

    /// Ends it as a power cut would.
    pub fn kill(self) {
        drop(self);
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        // Already gone is as good as killed.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Sends a signal to a process of the test's own.
///
/// # Panics
///
/// When there is no such process.
pub fn signal(process: u32, name: &str) {
    let sent = Command::new("kill").arg(format!("-{name}")).arg(process.to_string()).status();
    assert!(sent.is_ok_and(|status| status.success()), "no process {process} to send {name} to");
}

/// Asks for a document over plain HTTP.
///
/// # Errors
///
/// When nobody answers.
pub fn get(address: &str, path: &str) -> std::io::Result<(u16, String)> {
    exchange(address, &format!("GET {path} HTTP/1.0\r\nHost: {address}\r\n\r\n"))
}

/// Sends a JSON document over plain HTTP, as the page itself would.
///
/// # Errors
///
/// When nobody answers.
pub fn post(address: &str, path: &str, body: &Value) -> std::io::Result<(u16, String)> {
    let body = body.to_string();
    let length = body.len();
    exchange(
        address,
        &format!(
            "POST {path} HTTP/1.0\r\nHost: {address}\r\nOrigin: http://{address}\r\nContent-Type: application/json\r\nContent-Length: {length}\r\n\r\n{body}"
        ),
    )
}

/// HTTP/1.0, so that the answer is neither chunked nor kept open.
fn exchange(address: &str, question: &str) -> std::io::Result<(u16, String)> {
    let mut stream = TcpStream::connect(address)?;
    stream.write_all(question.as_bytes())?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer)?;
    let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((&answer, ""));
    let status = head.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or(0);
    Ok((status, body.to_owned()))
}
