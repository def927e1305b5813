//! A disk that refuses: errors (FAULTS S4), no room (S5), read-only (S6), slow (S9), and SQLite's own habit of failing
//! operation n, once and from then on, until a run passes without reaching it ("How SQLite Is Tested", section 3).

mod story;

use std::sync::Arc;

use disk::{Disk, Lasting, Of, Refusal};
use glasshour::ledger::{Disk as Asks, Hold, Ledger, LedgerError};
use story::{Wrong, at, commit, commit_with, counts, found, founded, founding, open, with_commits};

fn refusal(of: Of, after: u64, lasting: Lasting) -> Refusal {
    Refusal { of, after, lasting }
}

/// A disk whose system does not forget: as if the ledger did not drop the page cache.
#[derive(Debug)]
struct NeverForgets(Arc<Disk>);

impl Asks for NeverForgets {
    fn vfs(&self) -> &std::ffi::CStr {
        Asks::vfs(&*self.0)
    }
    fn path(&self) -> std::path::PathBuf {
        Asks::path(&*self.0)
    }
    fn hold(&self) -> Result<Hold, LedgerError> {
        Asks::hold(&*self.0)
    }
    fn drop_page_cache(&self) -> Result<(), LedgerError> {
        Ok(())
    }
    fn flush_folder(&self) -> Result<(), LedgerError> {
        Asks::flush_folder(&*self.0)
    }
    fn log(&self) -> Result<Vec<u8>, LedgerError> {
        Asks::log(&*self.0)
    }
    fn lengths(&self) -> (u64, Option<u64>) {
        Asks::lengths(&*self.0)
    }
}

/// One flush is refused, then the disk is well; the ledger is reopened, goes on, and later the power goes. Returns what
/// was acknowledged and what was found.
fn after_a_refused_flush(seed: u64, forgets: bool) -> (u64, u64) {
    let disk = Disk::of(founded());
    disk.reseed(seed);
    let place: Arc<dyn Asks> = if forgets { disk.clone() } else { Arc::new(NeverForgets(Arc::clone(&disk))) };
    let mut ledger = Ledger::open_on(place, &founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((story::JUNE, "test"))).unwrap();
    let mut acknowledged = 0;
    disk.refuse(refusal(Of::Flushes, 3 + seed % 5, Lasting::Once));
    let refused = loop {
        match commit(&mut ledger, boot, acknowledged + 1) {
            Ok(()) => acknowledged += 1,
            Err(refused) => break refused,
        }
    };
    assert!(matches!(refused, LedgerError::Io { .. }) && refused.needs_reopening(), "{refused:?}");
    ledger.reopen().unwrap();
    // What nobody acknowledged may be there all the same; then it counts as done.
    acknowledged = found(&ledger).unwrap_or_else(|wrong| panic!("seed {seed}: {wrong:?}"));
    for _ in 0..=seed % 4 {
        commit(&mut ledger, boot, acknowledged + 1).unwrap();
        acknowledged += 1;
    }
    drop(ledger);
    disk.power_cut();
    let there = match open(&disk) {
        Ok((_, there)) => there,
        // What is cut off the log is said at opening.
        Err(Wrong::Fences(fences)) if !forgets && fences.iter().all(|fence| fence.table == "log") => {
            found(&Ledger::open_on(disk.clone(), &founding()).unwrap()).unwrap()
        }
        Err(wrong) => panic!("seed {seed}: {wrong:?}"),
    };
    (acknowledged, there)
}

#[test]
fn s4_after_a_refused_flush_a_reopened_ledger_keeps_all_it_acknowledges() {
    for seed in 0..counts(100, 1_000) {
        let (acknowledged, there) = after_a_refused_flush(seed, true);
        assert_eq!(there, acknowledged, "seed {seed}");
    }
}

#[test]
fn s4_a_warm_cache_would_lose_commits_that_were_acknowledged() {
    // The control: without forgetting, refused frames are read back from memory as committed.
    let lost = (0..100).filter(|seed| {
        let (acknowledged, there) = after_a_refused_flush(*seed, false);
        there < acknowledged
    });
    assert!(lost.count() > 0);
}

#[test]
fn s4_a_refusal_while_the_log_is_copied_costs_nothing_though_commits_go_on_without_reopening() {
    // The keeper only notes it. The log keeps what was copied until a flush of the file has worked, and the next
    // copying writes those pages again.
    let (disk, mut ledger, boot) = with_commits(49);
    commit(&mut ledger, boot, 50).unwrap();
    let image = disk.image();
    drop(ledger);
    for seed in 0..counts(30, 300) {
        let disk = Disk::of(&image);
        disk.reseed(seed);
        let mut ledger = Ledger::open_on(disk.clone(), &founding()).unwrap();
        let boot = ledger.begin_boot(0, Some((story::JUNE, "test"))).unwrap();
        let of = if seed % 3 == 0 { Of::Writes } else { Of::Flushes };
        disk.refuse(refusal(of, seed % 2, Lasting::Once));
        assert!(ledger.checkpoint().is_err(), "seed {seed}");
        for number in 51..54 {
            commit(&mut ledger, boot, number).unwrap();
            ledger.checkpoint().unwrap();
        }
        drop(ledger);
        disk.power_cut();
        assert_eq!(open(&disk).map(|(_, there)| there).ok(), Some(53), "seed {seed}");
    }
}

#[test]
fn s4_while_every_write_is_refused_the_ledger_stays_closed_and_then_goes_on() {
    let (disk, mut ledger, boot) = with_commits(20);
    let reader = ledger.reader().unwrap();
    disk.refuse(refusal(Of::Changes, 0, Lasting::ForGood));
    let refused = commit(&mut ledger, boot, 21).unwrap_err();
    assert!(refused.is_storage_refusal() && refused.needs_reopening(), "{refused:?}");
    assert!(ledger.reopen().unwrap_err().is_storage_refusal());
    assert_eq!(commit(&mut ledger, boot, 21), Err(LedgerError::Closed));
    assert_eq!(reader.newest("tunnel", story::AIR), Err(LedgerError::Closed));
    disk.heal();
    ledger.reopen().unwrap();
    assert_eq!(found(&ledger).unwrap(), 20);
    commit(&mut ledger, boot, 21).unwrap();
    assert_eq!(reader.newest("tunnel", story::AIR).unwrap().unwrap().at_ms, at(21));
}

#[test]
fn s5_a_full_disk_refuses_whole_commits_stays_readable_and_goes_on_when_there_is_room() {
    let (disk, mut ledger, boot) = with_commits(9);
    // Log and file were filled at founding: commits need no room for long.
    disk.set_room(Some(0));
    for number in 10..=40 {
        commit(&mut ledger, boot, number).unwrap();
    }
    for number in 41..50 {
        commit(&mut ledger, boot, number).unwrap();
    }
    // A snapshot that outgrows the log by far; ten blocks are not enough for it.
    disk.set_room(Some(40_960));
    for _ in 0..3 {
        assert_eq!(commit_with(&mut ledger, boot, 50, 4_000_000), Err(LedgerError::Full));
    }
    assert!(!LedgerError::Full.needs_reopening());
    assert_eq!(ledger.cursor("mirror").unwrap(), 49);
    assert_eq!(ledger.check().unwrap(), []);
    disk.set_room(None);
    commit_with(&mut ledger, boot, 50, 4_000_000).unwrap();
    drop(ledger);
    disk.power_cut();
    let ledger = Ledger::open_on(disk.clone(), &founding()).unwrap();
    assert_eq!((ledger.check().unwrap(), ledger.cursor("mirror").unwrap()), (vec![], 50));
}

#[test]
fn s6_a_disk_gone_read_only_is_named_everything_is_there_and_it_goes_on_afterwards() {
    let (disk, mut ledger, boot) = with_commits(20);
    disk.set_read_only(true);
    let refused = commit(&mut ledger, boot, 21).unwrap_err();
    assert!(refused.is_storage_refusal() && refused.needs_reopening(), "{refused:?}");
    // Reading goes on, commits are refused by name.
    ledger.reopen().unwrap();
    assert_eq!(found(&ledger).unwrap(), 20);
    assert_eq!(commit(&mut ledger, boot, 21), Err(LedgerError::ReadOnly));
    assert_eq!(found(&ledger).unwrap(), 20);
    drop(ledger);
    assert_eq!(Ledger::open_on(disk.clone(), &founding()).err(), Some(LedgerError::ReadOnly));
    disk.set_read_only(false);
    let (mut ledger, there) = open(&disk).unwrap();
    assert_eq!(there, 20);
    let boot = ledger.begin_boot(0, Some((story::JUNE, "test"))).unwrap();
    commit(&mut ledger, boot, 21).unwrap();
    assert_eq!(found(&ledger).unwrap(), 21);
}

#[test]
fn s9_a_slow_disk_costs_simulated_time_and_nothing_else() {
    let (disk, mut ledger, boot) = with_commits(5);
    disk.set_slow(0, 22_000);
    let before = (disk.waited_ms(), disk.counts().flushes);
    commit(&mut ledger, boot, 6).unwrap();
    let flushes = disk.counts().flushes - before.1;
    assert!(flushes >= 1);
    assert_eq!(disk.waited_ms() - before.0, 22_000 * flushes);
    assert_eq!(found(&ledger).unwrap(), 6);
}

/// Opens, commits, compacts, reads, closes, opens again; on a refusal does what the keeper does: reopens until it
/// works, and commits again what is not there.
fn run_with_refusals(disk: &Arc<Disk>) {
    let mut acknowledged = 0;
    for half in [6, 12] {
        let mut ledger = loop {
            match Ledger::open_on(disk.clone(), &founding()) {
                Ok(ledger) => break ledger,
                Err(refused) => told_and_healed(disk, &refused),
            }
        };
        let boot = loop {
            match ledger.begin_boot(0, Some((story::JUNE, "test"))) {
                Ok(boot) => break boot,
                Err(refused) => mend(disk, &mut ledger, &refused),
            }
        };
        while acknowledged < half {
            match commit(&mut ledger, boot, acknowledged + 1) {
                Ok(()) => acknowledged += 1,
                Err(refused) => {
                    mend(disk, &mut ledger, &refused);
                    let there = found(&ledger).unwrap();
                    assert!((acknowledged..=acknowledged + 1).contains(&there), "{there} of {acknowledged}");
                    acknowledged = there;
                }
            }
        }
        while let Err(refused) = ledger.compact(at(half - 2)) {
            mend(disk, &mut ledger, &refused);
        }
    }
    disk.heal();
    let (_, there) = open(disk).unwrap();
    assert_eq!(there, 12);
}

fn told_and_healed(disk: &Disk, refused: &LedgerError) {
    // A read that is refused passes for damage with SQLite, as on Unix.
    assert!(refused.is_storage_refusal() || matches!(refused, LedgerError::Damaged { .. }), "{refused:?}");
    disk.heal();
}

fn mend(disk: &Disk, ledger: &mut Ledger, refused: &LedgerError) {
    assert!(refused.needs_reopening(), "{refused:?}");
    told_and_healed(disk, refused);
    ledger.reopen().unwrap();
}

#[test]
fn s4_operation_n_refused_once_and_from_then_on_never_costs_what_was_acknowledged() {
    for lasting in [Lasting::Once, Lasting::ForGood] {
        for of in [Of::Changes, Of::Reads] {
            let step = if of == Of::Changes { 1 } else { counts(7, 1) };
            let mut after = 0;
            loop {
                let disk = Disk::of(founded());
                disk.reseed(after);
                disk.refuse(refusal(of, after, lasting));
                run_with_refusals(&disk);
                if disk.counts().refused == 0 {
                    break;
                }
                after += step;
            }
            assert!(after > 100, "the run has grown short: {after} {of:?}");
        }
    }
}
