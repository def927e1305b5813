//! The open records that the shipped field maps are for.
//!
//! They are large and under licences of their own, so they lie beside this repository and not in it: in the
//! folder named by GLASSHOUR_RECORDS, or in `../shared/data`.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::program::root;

/// The folder with the records; without one the test that asked is to return, and says so past the test harness,
/// which keeps to itself what passing tests print.
pub fn records() -> Option<PathBuf> {
    let beside = root().join("../shared/data");
    let folder = std::env::var_os("GLASSHOUR_RECORDS").map_or(beside, PathBuf::from);
    if folder.is_dir() {
        return Some(folder);
    }
    let mut err = std::io::stderr();
    // Nowhere else to say it if even this fails.
    let _ =
        writeln!(err, "SKIPPED: no records in {}; name their folder in GLASSHOUR_RECORDS", folder.display());
    None
}

/// The shipped field map or ground file of this name.
pub fn shipped(name: &str) -> PathBuf {
    root().join("config/examples/records").join(name)
}

/// The file as it is, or unpacked into `scratch` under its name without the ending `.gz`.
///
/// # Panics
///
/// When it cannot be unpacked.
pub fn plain(file: &Path, scratch: &Path) -> PathBuf {
    if file.extension().is_none_or(|ending| ending != "gz") {
        return file.to_owned();
    }
    let unpacked = Command::new("gzip").arg("-dc").arg(file).output().expect("gzip is part of every Debian");
    assert!(unpacked.status.success(), "{}", file.display());
    let target = scratch.join(file.file_stem().expect("a packed file has a name"));
    std::fs::write(&target, unpacked.stdout).expect("room for the unpacked file");
    target
}
