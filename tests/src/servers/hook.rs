//! A far end of the webhook that checks each signature with Python's own library.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde_json::Value;
use tempfile::TempDir;

use super::process::{Process, need};
use super::smtp::{certificate, certificate_of_today};

const PYTHON: &str = "/usr/bin/python3";

/// A running far end.
#[derive(Debug)]
pub struct Hook {
    /// Where it listens, on 127.0.0.1.
    pub port: u16,
    folder: TempDir,
    _process: Process,
}

/// Whether it can be started here; says so where not.
pub fn available() -> bool {
    need(PYTHON, "python3") && need("/usr/bin/openssl", "openssl")
}

impl Hook {
    /// Starts it with a secret and further arguments of `tests/servers/hook.py`; `tls`: with a certificate of its own.
    ///
    /// # Panics
    ///
    /// When it does not come up.
    pub fn start(secret: &str, tls: bool, arguments: &[&str]) -> Self {
        Self::start_with(secret, tls.then_some(certificate), arguments)
    }

    /// Starts it with a secret and a certificate that is good today only.
    ///
    /// # Panics
    ///
    /// When it does not come up.
    pub fn of_today(secret: &str) -> Self {
        Self::start_with(secret, Some(certificate_of_today), &[])
    }

    fn start_with(secret: &str, certificate: Option<fn(&Path)>, arguments: &[&str]) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("servers/hook.py");
        let mut command = Command::new(PYTHON);
        command.arg(script).arg("--out").arg(folder.path().join("came"));
        command.args(["--secret", secret]).args(arguments).stdout(Stdio::piped());
        if let Some(certificate) = certificate {
            certificate(folder.path());
            command.arg("--cert").arg(folder.path().join("cert.pem"));
            command.arg("--key").arg(folder.path().join("key.pem"));
        }
        let mut process = Process::start(&mut command);
        let mut first = String::new();
        let said = process.0.stdout.take().expect("its output is piped");
        BufReader::new(said).read_line(&mut first).expect("it says its port");
        let port = first.trim().parse().unwrap_or_else(|_| panic!("the far end said {first:?}"));
        Self { port, folder, _process: process }
    }

    /// Its own certificate, to be trusted.
    pub fn authority(&self) -> PathBuf {
        self.folder.path().join("cert.pem")
    }

    /// What came so far: `path`, `signed`, `time`, `key`, `type`, `body`.
    ///
    /// # Panics
    ///
    /// When it cannot be read.
    pub fn came(&self) -> Vec<Value> {
        let text = std::fs::read_to_string(self.folder.path().join("came")).unwrap_or_default();
        text.lines().map(|line| serde_json::from_str(line).expect("one JSON object a line")).collect()
    }
}
