//! From the start of the process to the first page: empty, and with a year behind it.

use std::process::{Command, Stdio};

use tests::servers::process::{Process, free_port, need, until};

use super::Extent;
use super::garden::{Book, DAY_MS, Garden, MINUTE_MS};
use super::http::until_200;
use super::proc::memory;
use super::product::{Installed, program};
use super::stopwatch::{Stopwatch, wall_ms};
use super::table::{Table, mb, spread};

const DATABASE: &str = "/usr/bin/victoria-metrics";

/// Measures and prints.
pub(crate) fn measure(extent: Extent) {
    let times = extent.pick(3, 7);
    program();
    let how = "From exec to the whole of the first 200, asked for every millisecond; middle (least-most).";
    let mut table = Table::new("Start to first page", how);
    empty(times, &mut table);
    with_past(times, extent, &mut table);
    if need(DATABASE, "victoria-metrics") {
        let ms: Vec<f64> = (0..times).map(|_| database()).collect();
        let ms = format!("{} ms", spread(&ms, 1));
        table.row("health answer, empty folder", "victoria-metrics", &ms, "");
    }
    table.print();
}

fn empty(times: usize, table: &mut Table) {
    let first: Vec<f64> = (0..times)
        .map(|_| {
            let installed = Installed::new(wall_ms());
            start(&installed, |_| ())
        })
        .collect();
    let made = format!("{} ms", spread(&first, 1));
    table.row("very first start: ledger made and filled once", "Glasshour", &made, "");
    let installed = Installed::new(wall_ms());
    start(&installed, |_| ());
    let again: Vec<f64> = (0..times).map(|_| start(&installed, |_| ())).collect();
    let ms = format!("{} ms", spread(&again, 1));
    table.row("start, empty ledger", "Glasshour", &ms, "ledger alone 0.6-19 ms");
}

fn with_past(times: usize, extent: Extent, table: &mut Table) {
    let days = extent.pick(30, 365);
    let now = wall_ms() / MINUTE_MS * MINUTE_MS;
    let from = now - days * DAY_MS;
    let installed = Installed::new(from);
    past(&installed, from, now);
    let first = start(&installed, |_| ());
    let what = format!("{days} days of 20 series, no day page made yet");
    table.row(&what, "Glasshour", &format!("{first:.1} ms"), "");
    // Asking for everything makes the days that are marked; while it lasts the answer may be that it lasts.
    let watch = Stopwatch::start();
    start(&installed, |_| until("the service answers with its days", || export(&installed).then_some(())));
    let made = format!("{:.1} s", watch.seconds());
    table.row(&format!("its {days} days made afresh, started and ended"), "Glasshour", &made, "");
    let mut resident = 0;
    let again: Vec<f64> =
        (0..times).map(|_| start(&installed, |pid| resident = memory(pid).resident)).collect();
    let ms = format!("{} ms", spread(&again, 1));
    table.row(&format!("start, {days} days of 20 series"), "Glasshour", &ms, "aim 1 s with ten years");
    table.row("resident memory after the first page", "Glasshour", &mb(resident), "");
}

/// Starts, waits for the page, looks, ends; ms to the page.
fn start(installed: &Installed, look: impl FnOnce(u32)) -> f64 {
    let watch = Stopwatch::start();
    let service = installed.start();
    until_200(installed.page, "/");
    let ms = watch.ms();
    look(service.0.id());
    service.end();
    ms
}

/// A ledger as the service would have left it: chunks, and the last two days in a batch a minute.
fn past(installed: &Installed, from: i64, now: i64) {
    let mut book = Book::open(&installed.data(), Garden::pairs(from), from);
    while book.now_ms < now - 2 * DAY_MS {
        book.commit(360);
        if (book.now_ms - from) % (28 * DAY_MS) == 0 {
            book.compact();
        }
    }
    book.ledger.compact(book.now_ms).expect("room for chunks");
    while book.now_ms < now {
        book.commit(1);
    }
}

fn export(installed: &Installed) -> bool {
    let mut command = Command::new(program());
    command.args(["export", "--site"]).arg(installed.site_file());
    command.stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok_and(|status| status.success())
}

/// Starts the database on an empty folder; ms to its health answer.
fn database() -> f64 {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let port = free_port();
    let mut command = Command::new(DATABASE);
    command
        .arg(format!("-storageDataPath={}", folder.path().join("data").display()))
        .arg(format!("-httpListenAddr=127.0.0.1:{port}"))
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    let watch = Stopwatch::start();
    let process = Process::start(&mut command);
    until_200(port, "/health");
    let ms = watch.ms();
    process.end();
    ms
}
