//! The seeded simulator: the real keeper, ledger, minders and couriers in an invented world where everything breaks.
//!
//! | variable | says |
//! | --- | --- |
//! | `GLASSHOUR_SEARCH_SECONDS` | how long seeds are searched; one minute unless said otherwise |
//! | `GLASSHOUR_FIRST_SEED` | from which seed on; 1 unless said otherwise |
//! | `GLASSHOUR_SEED` | this seed and no other, and what it stands for |
//! | `GLASSHOUR_KEEP_GOING` | failures are told and not made shorter; `first`: the first ends the search, else all are told |

use std::time::{Duration, Instant};

use simulator::{Counts, Failure, Plan, Report, run, shrink};

/// Runs that a failure is made shorter with.
const TRIES: u32 = 60;
/// From so many seeds on, each kind of fault and each branch of recovery must have been met.
const A_NIGHT: u64 = 60;
/// Of so many seeds one is run twice.
const TWICE: u64 = 5;

/// What a night of seeds must have seen beside every kind of fault.
const BRANCHES: [&str; 17] = [
    "boot",
    "boot dated afterwards",
    "undated batch kept",
    "wall_trust",
    "start refused by the disk",
    "power gone in a write",
    "said good-bye",
    "refusal of the disk shown",
    "readings lost by the disk's own fault",
    "damage fenced",
    "late readings brought",
    "half-open connection given up",
    "ledger after a cut looked at",
    "almanac rebuilt and compared",
    "heat past the place line told",
    "silence told",
    "step or letter taken by a far end",
];

fn number(name: &str) -> Option<u64> {
    std::env::var(name)
        .ok()
        .map(|text| text.parse().unwrap_or_else(|_| panic!("{name} is no number: {text}")))
}

#[expect(clippy::disallowed_methods, reason = "how long to search, not what is found")]
fn now() -> Instant {
    Instant::now()
}

fn run_or_tell(plan: &Plan, book: &agronomy::crop::CropBook) -> Option<Report> {
    match run(plan, book) {
        Ok(report) => Some(report),
        Err(failure) if std::env::var_os("GLASSHOUR_KEEP_GOING").is_some() => {
            println!("seed {} fails after {} steps: {}", plan.seed, failure.steps, failure.violation);
            None
        }
        Err(failure) => {
            println!("{failure}");
            let shorter: Failure = shrink(&failure, book, TRIES);
            panic!("seed {} fails; as short as it could be made:\n{shorter}", plan.seed);
        }
    }
}

#[test]
fn simulator_keeps_every_promise_from_one_seed_to_the_next() {
    let book = config::crop_book().unwrap();
    if let Some(seed) = number("GLASSHOUR_SEED") {
        let plan = Plan::draw(seed);
        println!("{plan}");
        let report = run_or_tell(&plan, &book).expect("it fails");
        println!("{} steps, {:.1} simulated days\n{}", report.steps, report.days, report.counts);
        return;
    }
    let began = now();
    let budget = Duration::from_secs(number("GLASSHOUR_SEARCH_SECONDS").unwrap_or(60));
    let first = number("GLASSHOUR_FIRST_SEED").unwrap_or(1);
    let (mut counts, mut seeds, mut steps, mut days, mut failed) = (Counts::default(), 0, 0, 0.0, 0);
    while began.elapsed() < budget {
        let plan = Plan::draw(first + seeds);
        seeds += 1;
        let Some(report) = run_or_tell(&plan, &book) else {
            failed += 1;
            assert!(std::env::var("GLASSHOUR_KEEP_GOING").is_ok_and(|it| it != "first"), "a seed fails");
            continue;
        };
        if seeds.is_multiple_of(TWICE) {
            let again = run_or_tell(&plan, &book).expect("it passed before");
            let parted = report.marks.iter().zip(&again.marks).position(|(one, other)| one != other);
            assert_eq!(parted, None, "seed {}: two runs part before step {parted:?} thousand", plan.seed);
        }
        (steps, days) = (steps + report.steps, days + report.days);
        counts.join(&report.counts);
    }
    println!("simulator: seeds {seeds} from {first}, steps {steps}, simulated days {days:.0}\n{counts}");
    assert_eq!(failed, 0, "seeds that fail");
    if seeds >= A_NIGHT {
        let missing = counts.missing(Plan::all_kinds().into_iter().chain(BRANCHES));
        assert!(missing.is_empty(), "never met in {seeds} seeds: {missing:?}");
    }
}

#[test]
fn a_simulator_run_without_faults_equals_the_replay_of_its_record_byte_for_byte() {
    let book = config::crop_book().unwrap();
    for seed in [2, 5] {
        let (live, replayed) =
            simulator::live_and_replayed(seed, &book).unwrap_or_else(|failure| panic!("{failure}"));
        assert!(live.contains("\"day_pages\":[{"), "nothing was reckoned: {live:.200}");
        assert!(live == replayed, "seed {seed}: they part at {}", parts(&live, &replayed));
    }
}

fn parts(one: &str, other: &str) -> String {
    let at = one.bytes().zip(other.bytes()).take_while(|(a, b)| a == b).count();
    let around =
        |text: &str| text.get(at.saturating_sub(80)..(at + 120).min(text.len())).unwrap_or("").to_owned();
    format!("{}\nand\n{}", around(one), around(other))
}

#[test]
fn the_simulator_uses_no_thread_sleep_socket_or_clock_of_the_system() {
    let forbidden = [
        "std::thread",
        "thread::spawn",
        "task::spawn",
        "std::net",
        "tokio::net",
        "UnixStream",
        "SystemTime",
        "Instant::now",
        "HashMap",
        "HashSet",
        "rand::rng",
    ];
    let mut files = 0;
    for folder in ["simulator/src", "simulator/src/watch", "disk/src"] {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
        for file in std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
            if file.extension().is_none_or(|it| it != "rs") {
                continue;
            }
            files += 1;
            let text = std::fs::read_to_string(&file).unwrap();
            let found: Vec<_> = forbidden.iter().filter(|word| text.contains(**word)).collect();
            assert!(found.is_empty(), "{}: {found:?}", file.display());
            // The far ends' waiting is in the runtime's simulated time, nowhere else is any.
            let waits = text.contains("::sleep(") && !file.ends_with("far.rs");
            assert!(!waits, "{} sleeps", file.display());
        }
    }
    assert!(files > 20, "{files} files looked at");
}
