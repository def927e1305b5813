//! A run follows from its seed, to the byte. Alone in its process, because SQLite's random numbers are one for all.

mod story;

use disk::{Counts, Disk, LEDGER, LOG};
use glasshour::ledger::Ledger;
use story::{at, commit, founding};

/// Some life with two power cuts in it; what is on the platter at its end, and what was asked.
fn run(seed: u64) -> (Vec<u8>, Vec<u8>, Counts) {
    let disk = Disk::new(seed);
    let mut number = 0;
    for changes in [u64::MAX, 150, 400] {
        let Ok(mut ledger) = Ledger::open_on(disk.clone(), &founding()) else { continue };
        disk.power_goes_after(changes);
        let Ok(boot) = ledger.begin_boot(0, Some((story::JUNE, "test"))) else { continue };
        for _ in 0..30 {
            if commit(&mut ledger, boot, number + 1).is_err() {
                break;
            }
            number += 1;
        }
        let _ = ledger.compact(at(number.saturating_sub(5)));
        drop(ledger);
        disk.power_cut();
    }
    (disk.platter(LEDGER).unwrap(), disk.platter(LOG).unwrap(), disk.counts())
}

#[test]
fn the_same_seed_leaves_the_same_bytes_and_another_seed_others() {
    let first = run(5);
    assert!(run(5) == first, "a run must follow from its seed");
    assert!(run(6).1 != first.1);
    assert_eq!(first.2.cuts, 3);
}
