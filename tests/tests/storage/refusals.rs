//! S4 and S6: the disk refuses writes or flushes, once or for long, then takes them again. LEDGER finding 4.
//!
//! The ledger is driven as the keeper drives it: nothing refused counts as acknowledged; after an I/O error it is
//! reopened before the next commit, and what is held is committed again. Afterwards the power is cut: only then does it
//! show whether what was acknowledged since is on the disk, or only in the page cache.

use std::path::{Path, PathBuf};

use glasshour::clock::{Clock, SystemClock};
use glasshour::ledger::{Ledger, LedgerError};
use rand::{RngExt as _, SeedableRng as _};
use rand_pcg::Pcg64Mcg;
use tests::block_disk::{Disk, FOR_LONG, Flushes, Mounted, Refused, make_ext4, namespace, small_tmpfs};
use tests::counts;

use super::{DISK_PROCESS, life};

const COMMITS: i64 = 50;
const CUTS: u64 = 4;
/// How often a refusing ledger is tried while it is refused, and after it healed.
const TRIES: u32 = 3;

/// A ledger with what is acknowledged of it.
struct Keeper {
    ledger: Option<Ledger>,
    folder: PathBuf,
    boot: i64,
    acknowledged: i64,
    reopen: bool,
}

impl Keeper {
    fn open(folder: &Path, acknowledged: i64) -> Result<Self, LedgerError> {
        let mut ledger = life::open(folder)?;
        let boot = ledger.begin_boot(0, Some((life::JUNE, "test")))?;
        Ok(Self { ledger: Some(ledger), folder: folder.to_owned(), boot, acknowledged, reopen: false })
    }

    fn ledger(&mut self) -> &mut Ledger {
        self.ledger.as_mut().expect("open, or closed by itself")
    }

    /// Commits what is held next, reopening first if it must be.
    fn commit(&mut self) -> Result<(), LedgerError> {
        let (boot, number) = (self.boot, self.acknowledged);
        let done = self.try_commit(boot, number);
        self.reopen |= done.as_ref().is_err_and(LedgerError::needs_reopening);
        done?;
        self.acknowledged += 1;
        let worked = life::work(self.ledger(), number);
        self.reopen |= worked.as_ref().is_err_and(LedgerError::needs_reopening);
        Ok(())
    }

    fn try_commit(&mut self, boot: i64, number: i64) -> Result<(), LedgerError> {
        if self.reopen {
            self.ledger().reopen()?;
            self.reopen = false;
        }
        life::put(self.ledger(), boot, number)
    }

    /// The file system itself writes back what it holds; it may be refused as well.
    fn hurry(&self) {
        let _ = std::fs::File::open(&self.folder).map(rustix::fs::syncfs);
    }
}

/// What one run came to.
#[derive(Default)]
struct Run {
    refused: u64,
    remounted: bool,
    twice: bool,
}

/// Runs a life with one refusal in it, then cuts the power.
fn suffer(block_bytes: u32, what: Refused, seed: u64) -> Run {
    let mut random = Pcg64Mcg::seed_from_u64(seed);
    let folder = tempfile::tempdir().unwrap();
    let memory = small_tmpfs(&folder.path().join("memory"), 100);
    make_ext4(&memory.path().join("image"), 24, block_bytes);
    let disk = Disk::attach(memory.path(), DISK_PROCESS);
    let at = folder.path().join("mount");
    let mut mounted = disk.mount(&at);
    let mut keeper = Keeper::open(&at.join("ledger"), 0).unwrap();
    let before = random.random_range(3..COMMITS - 20);
    while keeper.acknowledged < before {
        keeper.commit().unwrap();
    }
    disk.refuse(what);
    if random.random_bool(0.3) {
        keeper.hurry();
    }
    let for_long = matches!(what, Refused::Writes(FOR_LONG) | Refused::Flushes(FOR_LONG));
    let mut failed = 0;
    while failed < TRIES && keeper.acknowledged < COMMITS - 10 {
        match keeper.commit() {
            Ok(()) => assert!(!for_long, "acknowledged while the disk refused: seed {seed}"),
            Err(error) => {
                assert!(error.is_storage_refusal() || error.needs_reopening(), "{error:?}");
                failed += 1;
            }
        }
    }
    let mut run = Run { refused: disk.heal(), ..Run::default() };
    if (0..TRIES).all(|_| keeper.commit().is_err()) {
        // Where its journal was hit, the file system has gone read-only until it is mounted afresh: a restart.
        run.remounted = true;
        let acknowledged = keeper.acknowledged;
        drop((keeper, mounted));
        mounted = disk.mount(&at);
        keeper = Keeper::open(&at.join("ledger"), acknowledged).unwrap();
        let found = life::whole(keeper.ledger(), true).unwrap();
        assert!(found >= acknowledged, "{found} of {acknowledged} after mounting afresh: seed {seed}");
        run.twice = found > acknowledged;
    }
    while keeper.acknowledged < COMMITS {
        keeper.commit().unwrap();
    }
    assert_eq!(life::whole(keeper.ledger(), true), Ok(COMMITS), "seed {seed}");
    keeps_all_after_cuts(&disk, folder.path(), &mut random, &format!("{what:?}, seed {seed}"));
    drop((keeper, mounted));
    run
}

/// The power is cut: only now it shows what is on the disk.
fn keeps_all_after_cuts(disk: &Disk, folder: &Path, random: &mut Pcg64Mcg, what: &str) {
    for _ in 0..CUTS {
        let image = disk.cut(disk.moment(), Flushes::Honoured, random.random());
        let after = Mounted::mount(&image, &folder.join("after"), "noatime").unwrap();
        let ledger = life::open(&after.path().join("ledger")).unwrap();
        assert_eq!(life::whole(&ledger, true), Ok(COMMITS), "after a cut, {what}");
    }
}

fn survives(name: &str, what: impl Fn(u64) -> Refused) {
    let clock = SystemClock::new(None);
    let begun_ms = clock.monotonic_ms();
    let mut runs = Vec::new();
    for block_bytes in [4096, 1024] {
        for seed in 0..counts::of(4, 75) {
            runs.push(suffer(block_bytes, what(seed), u64::from(block_bytes) + seed));
        }
    }
    let refused: u64 = runs.iter().map(|run| run.refused).sum();
    let remounted = runs.iter().filter(|run| run.remounted).count();
    let seconds = (clock.monotonic_ms() - begun_ms) / 1000;
    println!(
        "{name}: {} runs, {refused} requests refused, {remounted} mounted afresh, {seconds} s",
        runs.len()
    );
    assert!(runs.iter().any(|run| run.refused > 0), "nothing was refused");
}

#[test]
fn a_write_refused_once_costs_nothing_that_was_acknowledged() {
    if namespace::enter("refusals::a_write_refused_once_costs_nothing_that_was_acknowledged") {
        survives("write refused once", |seed| Refused::Writes(1 + seed % 3));
    }
}

#[test]
fn a_flush_refused_once_costs_nothing_that_was_acknowledged() {
    if namespace::enter("refusals::a_flush_refused_once_costs_nothing_that_was_acknowledged") {
        survives("flush refused once", |_| Refused::Flushes(1));
    }
}

#[test]
fn writes_refused_for_long_cost_nothing_that_was_acknowledged() {
    if namespace::enter("refusals::writes_refused_for_long_cost_nothing_that_was_acknowledged") {
        survives("writes refused for long", |_| Refused::Writes(FOR_LONG));
    }
}

#[test]
fn flushes_refused_for_long_cost_nothing_that_was_acknowledged() {
    if namespace::enter("refusals::flushes_refused_for_long_cost_nothing_that_was_acknowledged") {
        survives("flushes refused for long", |_| Refused::Flushes(FOR_LONG));
    }
}
