//! Making, attaching, mounting, and letting go of all of it.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use std::process::Command;

fn run(command: &mut Command) -> io::Result<String> {
    let output = command.output()?;
    if output.status.success() {
        return Ok(String::from_utf8_lossy(&output.stdout).trim().to_owned());
    }
    Err(io::Error::other(format!("{command:?}: {}", String::from_utf8_lossy(&output.stderr).trim())))
}

/// Makes a file that holds an empty ext4 of so many MiB with blocks of so many bytes.
///
/// # Panics
///
/// When mkfs.ext4 does not.
pub fn make_ext4(file: &Path, mib: u64, block_bytes: u32) {
    File::create(file).and_then(|file| file.set_len(mib << 20)).expect("room for a file with a hole");
    // The smallest journal there is, so that it goes round while a test lasts.
    let (blocks, journal) = (block_bytes.to_string(), if block_bytes < 4096 { "size=1" } else { "size=4" });
    let mut mkfs = Command::new("/usr/sbin/mkfs.ext4");
    mkfs.args(["-q", "-F", "-b", &blocks, "-J", journal, "-E", "lazy_itable_init=0,lazy_journal_init=0"]);
    run(mkfs.arg(file)).expect("an ext4 in a file");
}

/// A loop device. It is detached by the kernel when nobody has it open any more, however this process ends.
#[derive(Debug)]
pub(super) struct Loop {
    device: PathBuf,
    _open: File,
}

impl Loop {
    pub(super) fn attach(file: &Path) -> Self {
        let losetup = || Command::new("/usr/sbin/losetup");
        let attach = |direct: &str| run(losetup().args(["--find", "--show", direct]).arg(file));
        // Past the page cache where the kernel can; the file itself is opened past it in any case.
        let device = attach("--direct-io=on").or_else(|_| attach("--direct-io=off")).expect("a loop device");
        let open = File::open(&device).expect("a device that is there");
        // While somebody has it open, this only says that the last one is to detach it (losetup(8)).
        run(losetup().arg("--detach").arg(&device)).expect("a device of ours");
        Self { device: PathBuf::from(device), _open: open }
    }

    pub(super) fn device(&self) -> &Path {
        &self.device
    }
}

/// A mounted file system; it is unmounted when let go.
#[derive(Debug)]
pub struct Mounted {
    at: PathBuf,
    /// Let go after that.
    _attached: Option<Loop>,
}

impl Mounted {
    /// Mounts a device, or a file through a loop device of its own.
    ///
    /// # Errors
    ///
    /// What mount says.
    pub fn mount(from: &Path, at: &Path, options: &str) -> io::Result<Self> {
        std::fs::create_dir_all(at)?;
        let attached = from.is_file().then(|| Loop::attach(from));
        let device = attached.as_ref().map_or(from, Loop::device);
        // As after a start: nothing of it is left in memory, nor of the last user of that loop device. Where the disk
        // refused, the system says so once more.
        let _ = run(Command::new("/usr/sbin/blockdev").arg("--flushbufs").arg(device));
        run(Command::new("/usr/bin/mount").args(["-t", "ext4", "-o", options]).arg(device).arg(at))?;
        Ok(Self { at: at.to_owned(), _attached: attached })
    }

    /// Where.
    pub fn path(&self) -> &Path {
        &self.at
    }

    /// Mounts it again with other options: `ro`, `rw`.
    ///
    /// # Errors
    ///
    /// What mount says.
    pub fn remount(&self, how: &str) -> io::Result<()> {
        run(Command::new("/usr/bin/mount").args(["-o", &format!("remount,{how}")]).arg(&self.at)).map(|_| ())
    }
}

impl Drop for Mounted {
    fn drop(&mut self) {
        if run(Command::new("/usr/bin/umount").arg(&self.at)).is_err() {
            // Somebody is still inside, in a test that failed.
            let _ = run(Command::new("/usr/bin/umount").arg("--lazy").arg(&self.at));
        }
    }
}

/// A file system in memory of so many MiB.
///
/// # Panics
///
/// When it cannot be mounted.
pub fn small_tmpfs(at: &Path, mib: u64) -> Mounted {
    std::fs::create_dir_all(at).expect("a folder to mount at");
    let mut mount = Command::new("/usr/bin/mount");
    run(mount.args(["-t", "tmpfs", "-o", &format!("size={mib}m"), "tmpfs"]).arg(at)).expect("a tmpfs");
    Mounted { at: at.to_owned(), _attached: None }
}
