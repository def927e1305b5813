//! Bytes written to the device in a day: a durable commit a minute, twenty series, on an ext4 of its own, counted by
//! the kernel's counter of the loop device under it.
//!
//! A day at speed. In true time the kernel commits the file system's journal every five seconds, so between any two
//! minutes; at speed that is done for it, by syncfs after each minute. Mounted with `commit=600` it would come every
//! ten minutes, and so it does here.
//!
//! The file system is mounted in a mount namespace of its own (mount_namespaces(7)) by a second process of this
//! program, on a loop device that detaches itself: however it ends, both are gone with it.

use std::fs::File;
use std::io::{Seek, SeekFrom, Write};
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::process::Command;

use tests::servers::process::need;

use super::Extent;
use super::garden::{Book, DAY_MS, Garden, MONDAY_MS};
use super::rows::Rows;
use super::table::Table;

/// The first argument of the second process.
pub(crate) const INSIDE: &str = "--inside-mount";

const CONTENDERS: [&str; 3] = ["ledger", "block", "rows"];

/// Measures and prints.
pub(crate) fn measure(extent: Extent) {
    let tools = [
        ("/usr/sbin/mkfs.ext4", "e2fsprogs"),
        ("/usr/bin/unshare", "util-linux"),
        ("/usr/bin/mount", "mount"),
    ];
    if !rustix::process::geteuid().is_root() {
        eprintln!("SKIPPED: bytes written a day need root, for a file system of their own");
        return;
    }
    if !Path::new("/dev/loop-control").exists() {
        eprintln!("SKIPPED: bytes written a day need a loop device, and there is no /dev/loop-control");
        return;
    }
    if !tools.iter().all(|(path, package)| need(path, package)) {
        return;
    }
    let minutes = extent.pick(144, 1440);
    let how = format!(
        "{minutes} durable minutes at speed, to the day; the ledger's with one compaction of a day in it."
    );
    let mut table = Table::new("Written to the device a day, 20 series", &how);
    for (mount, options, flush_every) in
        [("ext4 as usual", "noatime", 1), ("ext4, commit=600", "noatime,commit=600", 10)]
    {
        for contender in CONTENDERS {
            let Some(bytes) = run(contender, options, flush_every, minutes) else { return };
            let (who, design) = told(contender, flush_every);
            let a_day = if contender == "ledger" { scaled(bytes, minutes) } else { bytes.0 * 1440 / minutes };
            table.row(mount, who, &format!("{:.1} MB", a_day as f64 / 1e6), design);
        }
    }
    table.print();
}

/// A compaction is one a day, however short the day.
fn scaled((bytes, compaction): (u64, u64), minutes: u64) -> u64 {
    (bytes - compaction) * 1440 / minutes + compaction
}

fn told(contender: &str, flush_every: u64) -> (&'static str, &'static str) {
    match (contender, flush_every) {
        ("ledger", 1) => ("Glasshour's ledger", "31.0"),
        ("ledger", _) => ("Glasshour's ledger", "aim 10; 9.7"),
        ("block", 1) => ("floor: one block of a filled file rewritten", "29.6"),
        ("block", _) => ("floor: one block of a filled file rewritten", "8.4"),
        (_, 1) => ("SQLite, a row per reading, series first, WAL, FULL", "125-199"),
        (_, _) => ("SQLite, a row per reading, series first, WAL, FULL", ""),
    }
}

/// Starts the second process; bytes it counted, in all and by the compaction.
fn run(contender: &str, options: &str, flush_every: u64, minutes: u64) -> Option<(u64, u64)> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let image = folder.path().join("image");
    let file = File::create(&image).expect("the folder takes a file");
    file.set_len(512 << 20).expect("a file with a hole");
    std::fs::create_dir(folder.path().join("mount")).expect("the folder takes a folder");
    let mut mkfs = Command::new("/usr/sbin/mkfs.ext4");
    mkfs.args(["-q", "-F", "-E", "lazy_itable_init=0,lazy_journal_init=0"]).arg(&image);
    assert!(mkfs.status().is_ok_and(|status| status.success()), "an ext4 in a file");
    let own = std::env::current_exe().expect("a running program has a path");
    let mut inside = Command::new("/usr/bin/unshare");
    inside.args(["--mount", "--propagation", "private"]).arg(own).arg(INSIDE).arg(folder.path());
    inside.args([contender, options, &flush_every.to_string(), &minutes.to_string()]);
    let output = inside.output().expect("unshare is there");
    let said = String::from_utf8_lossy(&output.stdout);
    let numbers: Vec<u64> = said.split_whitespace().filter_map(|word| word.parse().ok()).collect();
    if let (true, [all, compaction]) = (output.status.success(), numbers.as_slice()) {
        return Some((*all, *compaction));
    }
    eprintln!("SKIPPED: bytes written a day: {}", String::from_utf8_lossy(&output.stderr).trim());
    None
}

/// The second process: mounts, writes a day, prints the bytes.
pub(crate) fn inside(arguments: &[String]) {
    let [folder, contender, options, flush_every, minutes] = arguments else {
        panic!("{INSIDE} is for this program's own use");
    };
    let mount = Path::new(folder).join("mount");
    let mut command = Command::new("/usr/bin/mount");
    command.args(["-o", &format!("loop,{options}")]).arg(Path::new(folder).join("image")).arg(&mount);
    if !command.status().is_ok_and(|status| status.success()) {
        std::process::exit(1);
    }
    let number = |text: &str| text.parse().expect("a number, from ourselves");
    let device = Device::under(&mount);
    let (all, compaction) = write(contender, &mount, &device, number(flush_every), number(minutes));
    println!("{all} {compaction}");
}

/// The device under a mounted file system.
struct Device {
    counters: String,
    root: File,
}

impl Device {
    fn under(mount: &Path) -> Self {
        let device = std::fs::metadata(mount).expect("a mounted folder").dev();
        let (major, minor) = (rustix::fs::major(device), rustix::fs::minor(device));
        let root = File::open(mount).expect("a mounted folder");
        Self { counters: format!("/sys/dev/block/{major}:{minor}/stat"), root }
    }

    /// Everything in memory to the device, journal included.
    fn flush(&self) {
        rustix::fs::syncfs(&self.root).expect("a file system that was just made");
    }

    /// Bytes written so far: the seventh field, in sectors of 512 (Documentation/block/stat.rst).
    fn written(&self) -> u64 {
        let text = std::fs::read_to_string(&self.counters).expect("a device has counters");
        let sectors = text.split_whitespace().nth(6).and_then(|field| field.parse::<u64>().ok());
        sectors.expect("the seventh counter") * 512
    }
}

fn write(contender: &str, mount: &Path, device: &Device, flush_every: u64, minutes: u64) -> (u64, u64) {
    let minute = |step: &mut dyn FnMut()| {
        device.flush();
        let before = device.written();
        for minute in 1..=minutes {
            step();
            if minute % flush_every == 0 {
                device.flush();
            }
        }
        device.flush();
        device.written() - before
    };
    match contender {
        "ledger" => {
            // Four days before, as the service leaves them: chunks of the week so far, two days of batches.
            let from = MONDAY_MS - 4 * DAY_MS;
            let mut book = Book::open(&mount.join("ledger"), Garden::thermometers(from), from);
            (0..4 * 1440).for_each(|_| book.commit(1));
            book.compact();
            let day = minute(&mut || book.commit(1));
            let before = device.written();
            // The keeper's daily work.
            book.ledger.compact(book.now_ms - DAY_MS).expect("room for chunks");
            device.flush();
            let compaction = device.written() - before;
            (day + compaction, compaction)
        }
        "rows" => {
            let mut rows = Rows::open(&mount.join("rows"), Garden::thermometers(MONDAY_MS), MONDAY_MS);
            (minute(&mut || rows.commit()), 0)
        }
        _ => {
            let mut file = File::create(mount.join("block")).expect("a new file");
            file.write_all(&[0; 4096]).and_then(|()| file.sync_all()).expect("room for a block");
            let mut count = 0_u8;
            let mut rewrite = || {
                count = count.wrapping_add(1);
                file.seek(SeekFrom::Start(0))?;
                file.write_all(&[count; 512])?;
                file.sync_data()
            };
            (minute(&mut || rewrite().expect("room that is there already")), 0)
        }
    }
}
