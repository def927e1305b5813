//! A real mail server (aiosmtpd), with a certificate of its own.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde_json::Value;
use tempfile::TempDir;

use super::faketime::Faketime;
use super::process::{Process, need};

const PYTHON: &str = "/usr/bin/python3";
/// Where Debian puts the server's library.
const LIBRARY: &str = "/usr/lib/python3/dist-packages/aiosmtpd";

/// A running mail server.
#[derive(Debug)]
pub struct Smtp {
    /// Where it listens, on 127.0.0.1.
    pub port: u16,
    folder: TempDir,
    _process: Process,
}

/// Whether the tests' mail server can be started here; says so where not.
pub fn available() -> bool {
    need(LIBRARY, "python3-aiosmtpd") && need("/usr/bin/openssl", "openssl")
}

impl Smtp {
    /// Starts it with further arguments of `tests/servers/smtp.py`, as in `&["--tls", "starttls"]`.
    ///
    /// # Panics
    ///
    /// When it does not come up.
    pub fn start(arguments: &[&str]) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        certificate(folder.path());
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("servers/smtp.py");
        let mut process = Process::start(
            Command::new(PYTHON)
                .arg(script)
                .arg("--out")
                .arg(folder.path().join("letters"))
                .arg("--cert")
                .arg(folder.path().join("cert.pem"))
                .arg("--key")
                .arg(folder.path().join("key.pem"))
                .args(arguments)
                .stdout(Stdio::piped()),
        );
        let mut first = String::new();
        let said = process.0.stdout.take().expect("its output is piped");
        BufReader::new(said).read_line(&mut first).expect("it says its port");
        let port = first.trim().parse().unwrap_or_else(|_| panic!("the mail server said {first:?}"));
        Self { port, folder, _process: process }
    }

    /// Its own certificate, to be trusted.
    pub fn authority(&self) -> PathBuf {
        self.folder.path().join("cert.pem")
    }

    /// The letters it took so far.
    ///
    /// # Panics
    ///
    /// When they cannot be read.
    pub fn letters(&self) -> Vec<Value> {
        let text = std::fs::read_to_string(self.folder.path().join("letters")).unwrap_or_default();
        text.lines().map(|line| serde_json::from_str(line).expect("one JSON object a line")).collect()
    }
}

/// All values of a header of a letter, in order.
pub fn header<'a>(letter: &'a Value, name: &str) -> Vec<&'a str> {
    let headers = letter["headers"].as_array().into_iter().flatten();
    headers.filter(|pair| pair[0] == name).filter_map(|pair| pair[1].as_str()).collect()
}

/// Makes a certificate for this machine that vouches for itself.
pub(super) fn certificate(folder: &Path) {
    // CA:FALSE, because a certificate that may sign others is refused as a server's own.
    certificate_with(folder, "CA:FALSE", None);
}

/// The same, and it is good only from twelve hours before now to twelve hours after.
pub(super) fn certificate_of_today(folder: &Path) {
    certificate_with(folder, "CA:FALSE", Some(&Faketime::new("-12h")));
}

/// The same with other constraints, good from now for two days; or for one from what a `clock` says.
pub(super) fn certificate_with(folder: &Path, constraints: &str, clock: Option<&Faketime>) {
    let settings = folder.join("openssl.cnf");
    let text = format!(
        "[req]\ndistinguished_name=dn\nx509_extensions=ext\n[dn]\n[ext]\n\
         basicConstraints=critical,{constraints}\nsubjectAltName=DNS:localhost,IP:127.0.0.1\n"
    );
    std::fs::write(&settings, text).expect("the folder takes a file");
    let made = Command::new("openssl")
        .args(["req", "-x509", "-nodes", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"])
        .envs(clock.map(Faketime::environment).unwrap_or_default())
        .args(["-days", if clock.is_some() { "1" } else { "2" }, "-subj", "/CN=mail of the tests", "-config"])
        .arg(&settings)
        .args(["-keyout", "key.pem", "-out", "cert.pem"])
        .current_dir(folder)
        .output()
        .expect("openssl runs");
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
}
