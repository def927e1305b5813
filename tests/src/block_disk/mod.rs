//! A disk that keeps every write and every flush, so that it can be looked at as it was after any power cut, and that
//! refuses, lies or is slow when told to.
//!
//! It is a file of a file system of our own (FUSE), served by a second process, with a loop device over it and a real
//! ext4 on that. Where the kernel offers no way to make a device-mapper target, this stands for one. All of it lives
//! in a mount namespace of its own (mount_namespaces(7)): however a test ends, nothing is left behind.
//!
//! | file | knows |
//! | --- | --- |
//! | `namespace` | how a test gets into a namespace of its own |
//! | `kept` | what was written and flushed; what a cut leaves of it |
//! | `serve` | the second process: the file, its faults, its answers to the test |
//! | `mount` | making, attaching, mounting and letting go |

mod kept;
mod mount;
pub mod namespace;
mod serve;

use std::io::{BufRead as _, BufReader, Write as _};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Mutex;

pub use mount::{Mounted, make_ext4, small_tmpfs};
pub use serve::serve_if_asked;

use crate::servers::process::{Process, until};
use mount::Loop;

/// What tells the second process that it is one, and where its folder is.
const FOLDER: &str = "GLASSHOUR_TEST_DISK";

/// Requests that are refused with an I/O error.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refused {
    /// So many writes, from now on.
    Writes(u64),
    /// So many flushes, from now on.
    Flushes(u64),
}

/// For ever, until healed.
pub const FOR_LONG: u64 = u64::MAX;

/// Whether a flush keeps what was written before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flushes {
    /// It does.
    Honoured,
    /// It is answered and not done: the last so many writes lie in the disk's cache at any time.
    Ignored(usize),
}

/// The disk, attached as a block device.
#[derive(Debug)]
pub struct Disk {
    /// Let go first.
    attached: Loop,
    control: Mutex<BufReader<UnixStream>>,
    folder: PathBuf,
    _server: Process,
}

impl Disk {
    /// Attaches a disk that holds what the file `image` in `folder` holds. `server` is the test of this test program
    /// that calls [`serve_if_asked`].
    ///
    /// # Panics
    ///
    /// When it cannot be had; see [`namespace::enter`] for what it takes.
    pub fn attach(folder: &Path, server: &str) -> Self {
        let mount_point = folder.join("blocks");
        std::fs::create_dir_all(&mount_point).expect("the folder takes a folder");
        let own = std::env::current_exe().expect("a test has a path");
        let server = Process::start(
            Command::new(own)
                .args(["--exact", server, "--nocapture"])
                .env(FOLDER, folder)
                .stdin(Stdio::null())
                .stdout(Stdio::null()),
        );
        let socket = folder.join(serve::SOCKET);
        let stream = until("the disk answers", || UnixStream::connect(&socket).ok());
        let attached = Loop::attach(&mount_point.join(serve::FILE));
        Self {
            attached,
            control: Mutex::new(BufReader::new(stream)),
            folder: folder.to_owned(),
            _server: server,
        }
    }

    /// Mounts the file system on it.
    ///
    /// # Panics
    ///
    /// When it cannot be mounted.
    pub fn mount(&self, at: &Path) -> Mounted {
        // errors=remount-ro is what distributions set for a root file system.
        Mounted::mount(self.attached.device(), at, "noatime,errors=remount-ro").expect("a whole file system")
    }

    /// How many writes and flushes it has kept so far: a moment at which the power may be cut.
    pub fn moment(&self) -> usize {
        self.ask("moment").parse().expect("a number")
    }

    /// Refuses requests from now on.
    pub fn refuse(&self, what: Refused) {
        let (kind, count) = match what {
            Refused::Writes(count) => ("writes", count),
            Refused::Flushes(count) => ("flushes", count),
        };
        self.ask(&format!("refuse {kind} {count}"));
    }

    /// Takes so long for each write from now on, ms.
    pub fn slow(&self, ms: u64) {
        self.ask(&format!("slow {ms}"));
    }

    /// Refuses nothing any more and is quick; how many requests were refused until now.
    ///
    /// # Panics
    ///
    /// When the disk does not answer.
    pub fn heal(&self) -> u64 {
        self.ask("heal").parse().expect("a number")
    }

    /// Writes the image that a power cut at `moment` leaves: everything before the last flush, of the rest a random
    /// half in random order, the last of them torn. The file's path.
    pub fn cut(&self, moment: usize, flushes: Flushes, seed: u64) -> PathBuf {
        let path = self.folder.join("after");
        let cached = match flushes {
            Flushes::Honoured => "honoured".to_owned(),
            Flushes::Ignored(writes) => writes.to_string(),
        };
        self.ask(&format!("cut {moment} {cached} {seed} {}", path.display()));
        path
    }

    fn ask(&self, question: &str) -> String {
        let mut control = self.control.lock().expect("one question at a time");
        writeln!(control.get_mut(), "{question}").expect("the disk listens");
        let mut answer = String::new();
        control.read_line(&mut answer).expect("the disk answers");
        assert!(answer.ends_with('\n'), "the disk is gone at: {question}");
        answer.trim_end().to_owned()
    }
}
