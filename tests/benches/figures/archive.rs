//! Bytes for each archived reading, grown as the service grows it: a commit a minute, a compaction a day.

use std::path::Path;

use super::Extent;
use super::air::entropy_of_differences;
use super::garden::{Book, Garden, MONDAY_MS};
use super::rows::{Rows, ticks_of_first};
use super::table::Table;

/// Measures and prints.
pub(crate) fn measure(extent: Extent) {
    let days = extent.pick(14, 60);
    let folder = quick_folder();
    let mut book = Book::open(&folder.path().join("ledger"), Garden::thermometers(MONDAY_MS), MONDAY_MS);
    let mut rows = Rows::open(&folder.path().join("rows"), Garden::thermometers(MONDAY_MS), MONDAY_MS);
    for _ in 0..days {
        for _ in 0..1440 {
            book.commit(1);
            rows.commit();
        }
        book.compact();
    }
    // The last two days too, so that every reading is an archived one.
    book.ledger.compact(book.now_ms + 1).expect("room for chunks");
    let sizes = book.ledger.sizes().expect("a ledger that was just written");
    let readings = sizes.chunk_readings as f64;
    assert_eq!(sizes.chunk_readings, days * 1440 * 20, "every reading is in a chunk, once");
    let title = format!("Bytes per archived reading: 20 series, {days} days of minutes at 0.01 °C");
    let mut table = Table::new(
        &title,
        "A durable commit a minute, a compaction a day; all readings in chunks at the end.",
    );
    let used = format!("{:.3} B", sizes.used_bytes as f64 / readings);
    table.row(
        "all pages in use",
        "Glasshour",
        &used,
        "aim 0.70; bench ledger 0.652, grown live 0.660 (ten years)",
    );
    table.row(
        "readings alone",
        "Glasshour",
        &format!("{:.3} B", sizes.chunk_bytes as f64 / readings),
        "0.566",
    );
    table.row(
        "hourly roll-ups",
        "Glasshour",
        &format!("{:.3} B", sizes.hour_bytes as f64 / readings),
        "0.068",
    );
    let row = format!("{:.1} B", rows.bytes_per_reading());
    table.row("all pages in use", "SQLite, a row per reading, series first", &row, "22-40");
    let floor = entropy_of_differences(&ticks_of_first(Garden::thermometers(MONDAY_MS), days as i64 * 1440));
    table.row("values alone", "entropy of single differences", &format!("{floor:.3} B"), "0.541");
    table.print();
}

/// In memory where there is such a folder: bytes are the same there, and nobody's disk is worn by 170,000 commits.
fn quick_folder() -> tempfile::TempDir {
    let memory = Path::new("/dev/shm");
    let made = if memory.is_dir() { tempfile::tempdir_in(memory) } else { tempfile::tempdir() };
    made.expect("a temporary folder")
}
