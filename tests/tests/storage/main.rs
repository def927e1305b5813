//! The storage under the ledger fails, on the real operating system: power cuts, refused writes, a full disk, a disk
//! that takes no writes, a slow one, rotten bits, a second process, a careless copy.
//!
//! LEDGER section 7, findings 1 to 4; FAULTS.md S1, S2, S4 to S7, S9, S11, S12, P9. Takes root, FUSE and loop devices
//! (a test without them says `SKIPPED`), and Mosquitto for the whole program.
//!
//! The full counts (2,500 cuts, 600 refusals, 1,000 kills), with the figures:
//! `GLASSHOUR_COUNTS=full cargo test --release -p tests --test kill --test storage -- --nocapture`

mod copies;
mod cuts;
mod life;
mod program;
mod refusals;
mod saved;
mod trap;
mod yard;

/// Not a test by itself: the process that serves a disk to another test of this file.
#[test]
fn disk_process() {
    tests::block_disk::serve_if_asked();
}

/// Its name.
const DISK_PROCESS: &str = "disk_process";
