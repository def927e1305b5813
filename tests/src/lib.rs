//! What the whole-program tests share: real servers from the distribution, started and stopped by the test.

#![allow(clippy::missing_panics_doc, reason = "what tests share panics where the test fails")]
#![allow(
    clippy::unnecessary_debug_formatting,
    reason = "a path quoted and escaped is what a site file wants"
)]

pub mod block_disk;
pub mod copied;
pub mod counts;
pub mod events;
pub mod long_house;
pub mod mosquitto;
pub mod program;
pub mod publisher;
pub mod records;
pub mod servers;
pub mod stand_in;

use std::io::Write as _;
use std::path::{Path, PathBuf};

/// The path of a program, or `None` when it is not installed: then the test that asked is to return.
///
/// Says so past the test harness's capture, which hides what passing tests print. Where the environment has
/// `CI` nothing may be skipped.
///
/// # Panics
///
/// When the program is missing and `CI` is set.
pub fn need(program: &str, package: &str) -> Option<PathBuf> {
    let places = ["/usr/sbin", "/usr/bin", "/usr/local/sbin", "/usr/local/bin"];
    let found = places.iter().map(|place| Path::new(place).join(program)).find(|path| path.exists());
    if found.is_none() {
        let missing = format!("{program} is not installed; get it with: apt-get install {package}");
        assert!(std::env::var_os("CI").is_none(), "{missing}");
        // Nowhere else to say it if even this fails.
        let _ = writeln!(std::io::stderr(), "SKIPPED: {missing}");
    }
    found
}
