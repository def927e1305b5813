//! The season's computation, measured: ten years of minutes of temperature and humidity (5.26 million rows, one of 500
//! missing) to extremes, degree days, hours of heat and of dry air and the mean deficit of each day. Beside Glasshour
//! the same work by numpy, polars and duckdb, and as the floor a plain loop in C with the C library's `exp`.
//!
//! `cargo bench -p tests --bench season [-- [--quick]]`
//!
//! Each run is a fresh process, everybody in turn, so that a load on the machine falls on all. All must find the same
//! (`check`), or this fails; nothing can fail for being slow. `--quick`: one year, three turns.

#[expect(dead_code, reason = "shared with the other benchmark, which uses all of it")]
#[path = "../figures/air.rs"]
mod air;
mod check;
mod columns;
mod contenders;
mod made;
#[expect(dead_code, reason = "shared with the other benchmark, which uses all of it")]
#[path = "../figures/proc.rs"]
mod proc;
#[expect(dead_code, reason = "shared with the other benchmark, which uses all of it")]
#[path = "../figures/product.rs"]
mod product;
#[expect(dead_code, reason = "shared with the other benchmark, which uses all of it")]
#[path = "../figures/stopwatch.rs"]
mod stopwatch;
#[expect(dead_code, reason = "shared with the other benchmark, which uses all of it")]
#[path = "../figures/table.rs"]
mod table;

use std::io::Read;
use std::path::Path;
use std::process::{Command, Stdio};

use check::Check;
use contenders::{Contender, From};
use stopwatch::Stopwatch;
use table::{Table, spread};

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    if let [word, folder] = arguments.as_slice()
        && word == contenders::COLUMNS
    {
        return columns::run(Path::new(folder));
    }
    // Cargo itself adds --bench.
    if let Some(strange) = arguments.iter().find(|word| *word != "--quick" && *word != "--bench") {
        eprintln!("{strange}: the only option is --quick");
        std::process::exit(2);
    }
    let quick = arguments.iter().any(|word| word == "--quick");
    let (days, turns) = if quick { (365, 3) } else { (3_653, 7) };
    let folder = tempfile::tempdir().expect("a temporary folder");
    made::season(folder.path(), days).expect("the folder takes the season");
    let all = contenders::all(folder.path());
    println!("{}", stopwatch::conditions());
    let mut runs: Vec<Vec<Run>> = all.iter().map(|_| Vec::new()).collect();
    for _ in 0..turns {
        for (contender, runs) in all.iter().zip(&mut runs) {
            runs.push(run(contender));
        }
    }
    compare(&all, &runs);
    tell(&all, &runs, days, turns);
}

/// One run of a contender.
struct Run {
    found: Check,
    /// Seconds of the whole process.
    process: f64,
    /// Seconds by its own clock, where it has one.
    own: Option<f64>,
    peak_mib: f64,
}

fn run(contender: &Contender) -> Run {
    let who = contender.who;
    let [program, arguments @ ..] = contender.command.as_slice() else { panic!("{who}: nothing to start") };
    let clock = Stopwatch::start();
    let mut child = Command::new(program)
        .args(arguments)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap_or_else(|error| panic!("{who}: {error}"));
    let mut from = child.stdout.take().expect("it is piped");
    let (mut text, mut piece, mut most) = (Vec::new(), [0; 1 << 14], 0);
    // Who prints as it goes is looked at each time; the others print their own peak at the end.
    while let Ok(count @ 1..) = from.read(&mut piece) {
        most = most.max(proc::memory(child.id()).most);
        text.extend_from_slice(&piece[..count]);
    }
    let ended = child.wait().unwrap_or_else(|error| panic!("{who}: {error}"));
    let process = clock.seconds();
    assert!(ended.success(), "{who} ended with {ended}");
    let text = String::from_utf8_lossy(&text);
    let found = Check::read(&text).or_else(|| Check::of_days(&text));
    let found = found.unwrap_or_else(|| panic!("{who} printed no check line"));
    let own = Some(found.figure("seconds")).filter(|seconds| seconds.is_finite());
    let said = found.figure("peak_kib") / 1024.0;
    let peak_mib = if said.is_finite() { said } else { most as f64 / f64::from(1 << 20) };
    Run { found, process, own, peak_mib }
}

/// All must have found what the first did, at every turn.
fn compare(all: &[Contender], runs: &[Vec<Run>]) {
    let first = &runs[0][0].found;
    println!("found by all: {}", first.line());
    for (contender, runs) in all.iter().zip(runs) {
        for run in runs {
            if let Some(how) = first.differs(&run.found) {
                panic!("{} found something else than {}: {how}", all[0].who, contender.who);
            }
        }
    }
}

fn tell(all: &[Contender], runs: &[Vec<Run>], days: i64, turns: usize) {
    let how = format!(
        "{} rows, {turns} turns: middle (least-most). From CSV: the whole process; own clock: without starting the interpreter and its imports. From columns: by its own clock, from when two columns of single floats are in memory. polars and duckdb take as many threads as they like, the others one.",
        days * made::MINUTES as i64
    );
    let mut table = Table::new("The season's computation", &how);
    for (from, figure) in [(From::Csv, "from CSV"), (From::Columns, "from columns in memory")] {
        for (contender, runs) in all.iter().zip(runs).filter(|(contender, _)| contender.from == from) {
            let process: Vec<f64> = runs.iter().map(|run| run.process).collect();
            let own: Vec<f64> = runs.iter().filter_map(|run| run.own).collect();
            let peak: Vec<f64> = runs.iter().map(|run| run.peak_mib).collect();
            let seconds = match from {
                From::Columns => format!("{} s", spread(&own, 4)),
                From::Csv if own.is_empty() => format!("{} s", spread(&process, 3)),
                From::Csv => format!("{} s, own clock {} s", spread(&process, 3), spread(&own, 3)),
            };
            let much = format!("{seconds}, {:.1} MiB", table::median(&peak));
            table.row(figure, contender.who, &much, contender.aim);
        }
    }
    table.print();
}
