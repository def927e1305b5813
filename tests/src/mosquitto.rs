//! A real broker in a folder of its own, killed when the test lets go of it.

use std::io::Write as _;
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::Duration;

use crate::need;

/// The settings Glasshour ships for its broker: nothing acknowledged is lost while we are away or slow. With a log of
/// everything, for tests to read.
const SHIPPED: &str = "\
persistence true
autosave_on_changes true
autosave_interval 1
max_inflight_messages 2000
max_queued_messages 100000
log_type all
";

/// A running Mosquitto.
#[derive(Debug)]
pub struct Mosquitto {
    program: PathBuf,
    folder: tempfile::TempDir,
    port: u16,
    running: Option<Child>,
}

impl Mosquitto {
    /// Starts a broker with the settings we ship that lets anybody in; `None` where none is installed.
    ///
    /// # Panics
    ///
    /// When an installed broker does not start within ten seconds.
    pub fn start() -> Option<Self> {
        Self::start_with(|_| "message_size_limit 65536\nallow_anonymous true\n".to_owned())
    }

    /// Starts a broker with settings of one's own, which may lie in files of its folder; where they name one of
    /// those we ship they replace it.
    ///
    /// # Panics
    ///
    /// As [`Self::start`].
    pub fn start_with(settings: impl FnOnce(&Path) -> String) -> Option<Self> {
        let program = need("mosquitto", "mosquitto")?;
        let folder = tempfile::tempdir().expect("a temporary folder");
        let port = free_port();
        let path = folder.path().display();
        let settings = settings(folder.path());
        let replaced = |line: &&str| line.split(' ').next().is_none_or(|key| !settings.contains(key));
        let shipped: Vec<_> = SHIPPED.lines().filter(replaced).collect();
        // Started by root it would otherwise change to a user who may not write here.
        let user = Command::new("id").arg("-un").output().expect("id is everywhere").stdout;
        let user = String::from_utf8_lossy(&user);
        let text = format!(
            "listener {port} 127.0.0.1\npersistence_location {path}/\nuser {}\n{}\n{settings}",
            user.trim(),
            shipped.join("\n")
        );
        let mut file = std::fs::File::create(folder.path().join("settings")).expect("a new file");
        file.write_all(text.as_bytes()).expect("room for the settings");
        let mut broker = Self { program, folder, port, running: None };
        broker.start_again();
        Some(broker)
    }

    /// Starts a broker that knows one user, `board` with the password `right`, who may do what the access list says;
    /// anything where there is none. `None` as for [`Self::start`].
    ///
    /// # Panics
    ///
    /// As [`Self::start`].
    pub fn guarded(access: Option<&str>) -> Option<Self> {
        let maker = need("mosquitto_passwd", "mosquitto")?;
        Self::start_with(|folder| {
            let passwords = folder.join("passwords");
            let mut command = Command::new(&maker);
            let made = command.args(["-b", "-c"]).arg(&passwords).args(["board", "right"]).status();
            assert!(made.expect("the program just found").success());
            let access = access.map(|access| {
                let list = folder.join("access");
                std::fs::write(&list, access).expect("room for the list");
                format!("acl_file {}\n", list.display())
            });
            let access = access.unwrap_or_default();
            format!("allow_anonymous false\npassword_file {}\n{access}", passwords.display())
        })
    }

    /// Starts it again after [`Self::kill`] or [`Self::stop`], on the same port, with what it had saved.
    ///
    /// # Panics
    ///
    /// When it does not listen within ten seconds.
    pub fn start_again(&mut self) {
        let log = std::fs::File::options()
            .create(true)
            .append(true)
            .open(self.folder.path().join("log"))
            .expect("a log beside the settings");
        let child = Command::new(&self.program)
            .arg("-c")
            .arg(self.folder.path().join("settings"))
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .expect("the broker that was found");
        self.running = Some(child);
        for _ in 0..500 {
            if TcpStream::connect(("127.0.0.1", self.port)).is_ok() {
                return;
            }
            sleep(Duration::from_millis(20));
        }
        panic!("no broker on port {}: {}", self.port, self.log());
    }

    /// Where it listens.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// The number of its process while it runs.
    pub fn pid(&self) -> Option<u32> {
        self.running.as_ref().map(Child::id)
    }

    /// What it wrote to its log.
    pub fn log(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("log")).unwrap_or_default()
    }

    /// Kills it as a power cut would.
    pub fn kill(&mut self) {
        if let Some(mut child) = self.running.take() {
            // It may have gone by itself; then there is nothing to kill.
            let _ = child.kill();
            let _ = child.wait();
        }
    }

    /// Kills it and throws away what it had saved: it comes back without any session.
    pub fn forget(&mut self) {
        self.kill();
        let _ = std::fs::remove_file(self.folder.path().join("mosquitto.db"));
    }
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        self.kill();
    }
}

/// A port nobody uses just now.
///
/// # Panics
///
/// When the machine has none.
pub fn free_port() -> u16 {
    let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a free port");
    listener.local_addr().expect("a bound listener").port()
}
