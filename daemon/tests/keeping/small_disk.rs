//! A disk of four megabytes under a ledger: soon full.

use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A small file system of its own; unmounted when done.
pub(crate) struct SmallDisk<'a>(&'a Path);

impl<'a> SmallDisk<'a> {
    /// None where that takes more rights than the test has.
    pub(crate) fn mount(at: &'a Path) -> Option<Self> {
        let done = Command::new("mount").args(["-t", "tmpfs", "-o", "size=4m", "tmpfs"]).arg(at).output();
        done.is_ok_and(|done| done.status.success()).then_some(Self(at))
    }

    /// Until nothing more fits; the file that takes the room.
    pub(crate) fn fill(&self) -> PathBuf {
        let ballast = self.0.join("ballast");
        let mut file = File::options().append(true).create(true).open(&ballast).unwrap();
        while file.write_all(&[7; 4_096]).is_ok() {}
        ballast
    }
}

impl Drop for SmallDisk<'_> {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.0).status();
    }
}
