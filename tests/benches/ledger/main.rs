//! What the ledger costs, measured: a record taken in, room taken, questions answered, the ledger opened; beside it
//! SQLite with a row for each reading, InfluxDB 1.6 and VictoriaMetrics, in the same run.
//!
//! `cargo bench -p tests --bench ledger [-- [--quick]]`
//!
//! Whole: ten years of twenty series, the peers with one of them. `--quick`: one year, the peers with a month. Nothing
//! here can fail for being slow; a peer that is not installed is named and left out.

#[expect(dead_code, reason = "shared with the other benchmark, which uses all of it")]
#[path = "../figures/air.rs"]
mod air;
mod http;
mod influx;
mod made;
mod ours;
#[path = "../figures/proc.rs"]
mod proc;
#[expect(dead_code, reason = "shared with the other benchmark, which uses all of it")]
#[path = "../figures/product.rs"]
mod product;
mod rows;
#[path = "../figures/stopwatch.rs"]
mod stopwatch;
#[path = "../figures/table.rs"]
mod table;
mod vm;

use table::Table;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    // Cargo itself adds --bench.
    if let Some(strange) = arguments.iter().find(|word| *word != "--quick" && *word != "--bench") {
        eprintln!("{strange}: the only option is --quick");
        std::process::exit(2);
    }
    let quick = arguments.iter().any(|word| word == "--quick");
    let (days, peer_days) = if quick { (365, 30) } else { (3_650, 365) };
    println!("{}", stopwatch::conditions());
    let how = format!(
        "{} made series, a value a minute at 0.01 °C: ours {days} days, the peers {peer_days}. Warm: middle (least-most). Cold: the file opened afresh after its pages were dropped from the system's cache.",
        made::SERIES
    );
    let mut table = Table::new("The ledger", &how);
    ours::measure(&mut table, days);
    rows::measure(&mut table, peer_days);
    influx::measure(&mut table, peer_days);
    vm::measure(&mut table, peer_days);
    table.print();
}
