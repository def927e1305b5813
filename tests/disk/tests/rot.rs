//! What is on the platter changes by itself (FAULTS S7), is put back from a copy or cloned (S12), or was half saved
//! (S8).

mod story;

use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};

use disk::{Bit, Disk, Image, LEDGER, LOG, Refused, SECTOR};
use glasshour::ledger::Ledger;
use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng as _;
use story::{Wrong, at, commit, commit_with, counts, found, founded, founding, open, with_commits};

const COMMITS: u64 = 1_100;

/// A ledger of many commits: most compacted, all of it copied from the log into the file.
fn archived() -> &'static Image {
    static ARCHIVED: OnceLock<Image> = OnceLock::new();
    ARCHIVED.get_or_init(|| {
        let (disk, mut ledger, boot) = with_commits(0);
        for number in 1..=COMMITS {
            commit_with(&mut ledger, boot, number, 700).unwrap();
        }
        ledger.compact(at(COMMITS - 300)).unwrap();
        let before = disk.platter(LEDGER);
        ledger.checkpoint().unwrap();
        assert_ne!(disk.platter(LEDGER), before, "the log is long enough to be copied");
        assert_eq!(found(&ledger).unwrap(), COMMITS);
        drop(ledger);
        disk.image()
    })
}

/// Sectors with something in them: the filling left zeros in the others.
fn used_sectors(platter: &[u8]) -> Vec<u64> {
    let used = |sector: &[u8]| sector.iter().filter(|byte| **byte != 0).count() > 16;
    (0..).zip(platter.chunks(SECTOR)).filter(|(_, sector)| used(sector)).map(|(number, _)| number).collect()
}

#[test]
fn probe() {
    let image = archived();
    let sectors = used_sectors(&Disk::of(image).platter(LEDGER).unwrap());
    let mut chance = Pcg32::new(7, 7);
    let mut outcomes: BTreeMap<String, u64> = BTreeMap::new();
    for _ in 0..counts(300, 2_000) {
        let disk = Disk::of(image);
        let sector = sectors[chance.next_u32() as usize % sectors.len()];
        let bit = Bit { name: LEDGER.to_owned(), byte: sector * 512 + u64::from(chance.next_u32() % 512), bit: (chance.next_u32() % 8) as u8 };
        assert!(disk.flip(&bit));
        let outcome = match open(&disk) {
            Ok((_, COMMITS)) => "unused".to_owned(),
            Ok((_, n)) => format!("torn count {n}"),
            Err(Wrong::Refuses(error)) => format!("refuses {}", &error.to_string()[..30]),
            Err(Wrong::Fences(fences)) => format!("fences {}", fences[0].table),
            Err(Wrong::Torn(what)) => format!("torn {what}"),
        };
        *outcomes.entry(outcome).or_default() += 1;
    }
    println!("{} sectors {outcomes:#?}", sectors.len());
}
