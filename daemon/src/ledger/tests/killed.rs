//! A real process, killed while it commits.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

use rand::{RngExt, SeedableRng};

use super::*;
use crate::ledger::LedgerError;

/// Where the child finds its folder; unset in an ordinary run of the tests.
const FOLDER: &str = "LEDGER_TEST_KILLED_FOLDER";

/// Not a test by itself: what the process to be killed does. It says each number once that commit is acknowledged.
#[test]
fn child_commits_until_killed() {
    let Some(folder) = std::env::var_os(FOLDER) else { return };
    let mut ledger = Ledger::open(Path::new(&folder), &founding()).unwrap();
    let boot = ledger.begin_boot(0, Some((JUNE, "test"))).unwrap();
    let mut next = all(&ledger, "tunnel").len() as i64;
    println!("\nopen");
    loop {
        let at = JUNE + next * MINUTE;
        put(&mut ledger, boot, at, &[air("tunnel", at, 20.0)]);
        println!("done {next}");
        if next % 20 == 0 {
            ledger.compact(at - 10 * MINUTE).unwrap();
        }
        ledger.checkpoint().unwrap();
        next += 1;
    }
}

fn child(folder: &Path) -> Child {
    let name = "ledger::tests::killed::child_commits_until_killed";
    Command::new(std::env::current_exe().unwrap())
        .args(["--exact", name, "--nocapture"])
        .env(FOLDER, folder)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap()
}

#[test]
fn no_acknowledged_commit_is_lost_when_the_process_is_killed() {
    let folder = tempfile::tempdir().unwrap();
    let mut random = rand_pcg::Pcg32::seed_from_u64(7);
    let mut acknowledged = -1;
    for kill in 0..20 {
        let mut child = child(folder.path());
        let mut said = BufReader::new(child.stdout.take().unwrap()).lines().map(Result::unwrap);
        assert!(said.any(|line| line == "open"), "the child opens the ledger");
        if kill == 0 {
            let by = format!("process {}", child.id());
            assert_eq!(Ledger::open(folder.path(), &founding()).err(), Some(LedgerError::Held { by }));
        }
        // After so many lines more it is killed, wherever it is by then; what it said until then was acknowledged.
        let lines = random.random_range(1..60);
        let mut hear = |line: String| {
            if let Some(number) = line.strip_prefix("done ").and_then(|number| number.parse().ok()) {
                acknowledged = number;
            }
        };
        said.by_ref().take(lines).for_each(&mut hear);
        child.kill().unwrap();
        said.for_each(&mut hear);
        child.wait().unwrap();
        let ledger = Ledger::open(folder.path(), &founding()).unwrap();
        let found = all(&ledger, "tunnel");
        assert!(found.len() as i64 > acknowledged, "{} of {acknowledged} after kill {kill}", found.len());
        assert!(found.iter().zip(0..).all(|(reading, minute)| reading.at_ms == JUNE + minute * MINUTE));
        assert_eq!(ledger.check().unwrap(), []);
    }
    assert!(acknowledged > 100, "{acknowledged}");
}
