//! S1: the power fails while the ledger is founded, commits, copies its log, makes chunks. LEDGER finding 1 and section 7.

use std::path::Path;

use glasshour::clock::{Clock, SystemClock};
use rand::{RngExt as _, SeedableRng as _};
use rand_pcg::Pcg64Mcg;
use tests::block_disk::{Disk, Flushes, Mounted, make_ext4, namespace};
use tests::counts;

use super::{DISK_PROCESS, life};

const COMMITS: i64 = 45;
const CUTS_OF_A_LIFE: u64 = 25;
/// Writes a lying disk may hold back.
const CACHE: usize = 32;

/// What was acknowledged at which moment of the disk: commits so far.
type Acknowledged = Vec<(usize, i64)>;

/// Founds a ledger and commits; the file system's own journal is hurried along now and then.
fn live(disk: &Disk, folder: &Path, random: &mut Pcg64Mcg) -> Acknowledged {
    let mut ledger = life::open(folder).unwrap();
    let boot = ledger.begin_boot(0, Some((life::JUNE, "test"))).unwrap();
    let mut acknowledged = Vec::new();
    for number in 0..COMMITS {
        life::put(&mut ledger, boot, number).unwrap();
        acknowledged.push((disk.moment(), number + 1));
        if random.random_bool(0.1) {
            rustix::fs::syncfs(std::fs::File::open(folder).unwrap()).unwrap();
        }
        life::work(&mut ledger, number).unwrap();
    }
    acknowledged
}

/// What became of one cut.
#[derive(Debug, PartialEq, Eq)]
enum Found {
    Whole,
    Lost(i64),
    Torn(String),
}

/// Mounts what the cut left, opens the ledger, looks at everything and commits once more.
fn look(image: &Path, at: &Path, acknowledged: i64) -> Found {
    let mounted = match Mounted::mount(image, at, "noatime") {
        Ok(mounted) => mounted,
        Err(error) => return Found::Torn(error.to_string()),
    };
    let look = || -> Result<i64, String> {
        let words = |error: glasshour::ledger::LedgerError| error.to_string();
        let mut ledger = life::open(&mounted.path().join("ledger")).map_err(words)?;
        let count = life::whole(&ledger, false)?;
        let boot = ledger.begin_boot(0, Some((life::JUNE, "test"))).map_err(words)?;
        life::put(&mut ledger, boot, count).map_err(words)?;
        let after = life::whole(&ledger, false)?;
        if after == count + 1 { Ok(count) } else { Err("the next commit is not there".to_owned()) }
    };
    match look() {
        Ok(count) if count >= acknowledged => Found::Whole,
        Ok(count) => Found::Lost(acknowledged - count),
        Err(torn) => Found::Torn(torn),
    }
}

/// Cuts lives of ledgers on ext4 with blocks of so many bytes; what was found, and what was acknowledged at most.
fn cut(block_bytes: u32, cuts: u64, flushes: Flushes) -> Vec<(u64, Found)> {
    let mut found = Vec::new();
    for number in 0..cuts.div_ceil(CUTS_OF_A_LIFE) {
        let seed = u64::from(block_bytes) * 1_000_000 + number;
        let mut random = Pcg64Mcg::seed_from_u64(seed);
        let folder = tempfile::tempdir().unwrap();
        let memory = tests::block_disk::small_tmpfs(&folder.path().join("memory"), 100);
        make_ext4(&memory.path().join("image"), 24, block_bytes);
        let disk = Disk::attach(memory.path(), DISK_PROCESS);
        let mounted = disk.mount(&folder.path().join("mount"));
        let acknowledged = live(&disk, &mounted.path().join("ledger"), &mut random);
        drop(mounted);
        for _ in 0..CUTS_OF_A_LIFE {
            let moment = random.random_range(0..=disk.moment());
            let seed = random.random();
            let image = disk.cut(moment, flushes, seed);
            let sure =
                acknowledged.iter().rev().find(|(at, _)| *at <= moment).map_or(0, |(_, commits)| *commits);
            found.push((seed, look(&image, &folder.path().join("after"), sure)));
        }
    }
    found
}

fn survives_cuts(block_bytes: u32) {
    let clock = SystemClock::new(None);
    let begun_ms = clock.monotonic_ms();
    let found = cut(block_bytes, counts::of(125, 1_250), Flushes::Honoured);
    let harmed: Vec<_> = found.iter().filter(|(_, found)| *found != Found::Whole).collect();
    let seconds = (clock.monotonic_ms() - begun_ms) / 1000;
    println!("ext4, {block_bytes} B blocks: {} cuts, {} harmed, {seconds} s", found.len(), harmed.len());
    assert!(harmed.is_empty(), "{harmed:?}");
}

#[test]
fn no_power_cut_loses_or_tears_a_commit_on_blocks_of_4096_bytes() {
    if namespace::enter("cuts::no_power_cut_loses_or_tears_a_commit_on_blocks_of_4096_bytes") {
        survives_cuts(4096);
    }
}

#[test]
fn no_power_cut_loses_or_tears_a_commit_on_blocks_of_1024_bytes() {
    if namespace::enter("cuts::no_power_cut_loses_or_tears_a_commit_on_blocks_of_1024_bytes") {
        survives_cuts(1024);
    }
}

/// The control: the same cuts on a disk that answers flushes and does not do them. Were nothing harmed here, the two
/// tests above would prove nothing. Whether a cut loses the newest commits cleanly or leaves a file that says which
/// commits are gone is up to when the kernel wrote. (FAULTS.md S3: no program can keep what such a disk loses.)
#[test]
fn a_disk_that_ignores_flushes_is_harmed_by_the_same_cuts() {
    if !namespace::enter("cuts::a_disk_that_ignores_flushes_is_harmed_by_the_same_cuts") {
        return;
    }
    let found = cut(4096, counts::of(50, 500), Flushes::Ignored(CACHE));
    let lost = found.iter().filter(|(_, found)| matches!(found, Found::Lost(_))).count();
    let torn = found.iter().filter(|(_, found)| matches!(found, Found::Torn(_))).count();
    println!("flushes ignored: {} cuts, {lost} lost commits, {torn} tore the file", found.len());
    assert!(lost + torn > found.len() / 10, "{found:?}");
}
