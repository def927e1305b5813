//! A test runs itself again, alone, in a namespace of mounts and processes of its own.
//!
//! What it mounts nobody else sees, and when it ends, however it ends, its processes are killed and its mounts are
//! gone.

use std::io::Write as _;
use std::os::unix::fs::MetadataExt as _;
use std::path::Path;
use std::process::Command;

/// What tells a test that it is inside already.
const INSIDE: &str = "GLASSHOUR_TEST_INSIDE";

/// Whether the test of this name is inside and is to do its work. Outside it runs itself inside, to its end, and
/// answers false: there is nothing left to do. Where there are no means it says `SKIPPED` and answers false.
///
/// # Panics
///
/// When the test fails inside.
pub fn enter(test: &str) -> bool {
    if std::env::var(INSIDE).is_ok_and(|inside| inside == test) {
        return true;
    }
    if let Some(missing) = missing() {
        // Past the test harness's capture. Also in CI: who runs there unprivileged cannot help it.
        let _ = writeln!(std::io::stderr(), "SKIPPED: {test}: {missing}");
        return false;
    }
    let own = std::env::current_exe().expect("a test has a path");
    let mut inside = Command::new("/usr/bin/unshare");
    inside.args(["--mount", "--propagation", "private", "--pid", "--fork", "--kill-child", "--mount-proc"]);
    inside.arg(own).args(["--exact", test, "--nocapture"]).env(INSIDE, test);
    let output = inside.output().expect("unshare is there");
    let said = String::from_utf8_lossy(&output.stdout);
    println!("{said}");
    let heard = String::from_utf8_lossy(&output.stderr);
    eprintln!("{heard}");
    assert!(output.status.success(), "it failed inside ({}): {heard}", output.status);
    assert!(said.contains("1 passed"), "there is no test of the name {test}");
    false
}

/// What a disk of our own lacks here.
fn missing() -> Option<String> {
    let root = std::fs::metadata("/proc/self").is_ok_and(|own| own.uid() == 0);
    if !root {
        return Some("a disk of its own takes root".to_owned());
    }
    for device in ["/dev/fuse", "/dev/loop-control"] {
        if let Err(error) = std::fs::File::options().read(true).write(true).open(device) {
            return Some(format!("{device}: {error}"));
        }
    }
    let tools = [
        ("/usr/sbin/mkfs.ext4", "e2fsprogs"),
        ("/usr/sbin/losetup", "mount"),
        ("/usr/sbin/blockdev", "util-linux"),
        ("/usr/bin/mount", "mount"),
        ("/usr/bin/unshare", "util-linux"),
    ];
    for (tool, package) in tools {
        if !Path::new(tool).exists() {
            return Some(format!("{tool} is missing; apt-get install {package}"));
        }
    }
    let may = Command::new("/usr/bin/unshare").args(["--mount", "--pid", "--fork", "true"]).output();
    let may = may.is_ok_and(|done| done.status.success());
    (!may).then(|| "root may not make a namespace here".to_owned())
}
