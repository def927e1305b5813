//! Size of the program.

use std::path::Path;

use super::Extent;
use super::product;
use super::table::{Table, mb};

/// Programs that each do a part of the job: path, Debian package, which part.
const PEERS: [(&str, &str, &str); 3] = [
    ("/usr/sbin/mosquitto", "mosquitto", "takes messages in"),
    ("/usr/bin/victoria-metrics", "victoria-metrics", "keeps series and answers over HTTP"),
    ("/usr/bin/sqlite3", "sqlite3", "keeps rows"),
];

/// Measures and prints.
pub(crate) fn measure(_: Extent) {
    let how = "One file: sources, ledger, almanac, couriers, page. Peers are dynamically linked; their libraries are not counted.";
    let mut table = Table::new("Size of the stripped program", how);
    table.row("file", "Glasshour", &mb(length(product::program())), "");
    for (path, package, part) in PEERS {
        if tests::servers::process::need(path, package) {
            table.row("file", &format!("{package}, {part}"), &mb(length(Path::new(path))), "");
        }
    }
    table.print();
}

fn length(path: &Path) -> u64 {
    std::fs::metadata(path).map_or(0, |metadata| metadata.len())
}
