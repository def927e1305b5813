//! The board as a probe of itself: its warmth, its supply, the room on its disk.
//!
//! The kernel tells all of it in small files under `/sys`: each thermal zone its temperature in thousandths of a
//! degree, each voltage watcher whether its lower limit was passed. A board that has no such file says nothing of it.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use agronomy::quantity::Quantity;
use tokio::sync::mpsc;

use crate::clock::Clock;
use crate::keeper::event::Event;
use crate::minders::board::BOARD;
use crate::reading::Heard;
use crate::supervise::Outcome;

const MIB: f64 = 1_048_576.0;
/// More files than this are as good as this many.
const MOST_FILES: u64 = 2_000_000_000;

/// Where the board is read.
#[derive(Clone, Debug)]
pub struct BoardFiles {
    /// The kernel's tree, `/sys`.
    pub sys: PathBuf,
    /// The data folder.
    pub folder: PathBuf,
}

impl BoardFiles {
    /// What the board says of itself now; what it does not say is left out.
    pub fn read(&self) -> Vec<(Quantity, f64)> {
        let mut found = Vec::new();
        let zones = entries(&self.sys.join("class/thermal"), "thermal_zone");
        let warmth = zones.iter().filter_map(|zone| number(&zone.join("temp"))).reduce(f64::max);
        found.extend(warmth.map(|thousandths| (Quantity::BoardTemperature, thousandths / 1000.0)));
        let watchers = entries(&self.sys.join("class/hwmon"), "hwmon");
        let alarms = watchers.iter().flat_map(|watcher| alarms(watcher)).filter_map(|alarm| number(&alarm));
        let weak = alarms.reduce(f64::max);
        found.extend(weak.map(|weak| (Quantity::Supply, if weak > 0.0 { 0.0 } else { 1.0 })));
        if let Ok(disk) = rustix::fs::statvfs(&self.folder) {
            let free = disk.f_bavail.saturating_mul(disk.f_frsize);
            found.push((Quantity::FreeSpace, free as f64 / MIB));
            // Some file systems make room for files as they are made, and say nought of nought.
            if disk.f_files > 0 {
                found.push((Quantity::FreeFiles, disk.f_favail.min(MOST_FILES) as f64));
            }
        }
        let ours = entries(&self.folder, "")
            .into_iter()
            .filter_map(|file| fs::metadata(file).ok())
            .map(|it| it.len());
        found.push((Quantity::LedgerSpace, ours.sum::<u64>() as f64 / MIB));
        found
    }
}

/// Voltage watchers' low alarms: `in0_lcrit_alarm` and its like.
fn alarms(watcher: &Path) -> Vec<PathBuf> {
    let mut found = entries(watcher, "in");
    found.retain(|file| file.to_string_lossy().ends_with("_lcrit_alarm"));
    found
}

/// What lies in a folder and begins so, in order; nothing where the folder cannot be read.
fn entries(folder: &Path, begins: &str) -> Vec<PathBuf> {
    let Ok(listed) = fs::read_dir(folder) else { return Vec::new() };
    let named = listed.flatten().filter(|entry| entry.file_name().to_string_lossy().starts_with(begins));
    let mut found: Vec<PathBuf> = named.map(|entry| entry.path()).collect();
    found.sort();
    found
}

fn number(file: &Path) -> Option<f64> {
    fs::read_to_string(file).ok()?.trim().parse().ok()
}

/// Reads the board at once and then every so often. Blocks until `wait` says to stop, as the owner of a bus does.
///
/// # Errors
///
/// None: what cannot be read is left out.
pub fn run_board(
    files: &BoardFiles,
    every: Duration,
    events: &mpsc::Sender<Event>,
    clock: &dyn Clock,
    mut wait: impl FnMut(Duration) -> bool,
) -> Outcome {
    loop {
        let (wall_ms, arrived_mono_ms) = clock.both_ms();
        let measured_ms = clock.vouched_by().map(|_| wall_ms);
        let heard = |(quantity, value)| Heard {
            probe: BOARD.into(),
            quantity,
            value: Some(value),
            measured_ms,
            stale: false,
        };
        let readings: Vec<Heard> = files.read().into_iter().map(heard).collect();
        // While the keeper takes none, there is nothing else to do here.
        if events.blocking_send(Event::Heard { readings, arrived_mono_ms, done: None }).is_err() {
            return Ok(());
        }
        if !wait(clock.real(every)) {
            return Ok(());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn write(root: &Path, file: &str, text: &str) {
        let file = root.join(file);
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        fs::write(file, text).unwrap();
    }

    fn files(sys: &Path, folder: &Path) -> BoardFiles {
        BoardFiles { sys: sys.to_owned(), folder: folder.to_owned() }
    }

    fn of(found: &[(Quantity, f64)], wanted: Quantity) -> Option<f64> {
        found.iter().find(|(quantity, _)| *quantity == wanted).map(|(_, value)| *value)
    }

    #[test]
    fn s10_the_hottest_zone_and_any_low_voltage_are_read_from_a_false_tree() {
        // The kernel's documents: thermal zones in thousandths of a degree (sysfs-class-thermal), alarms 0 or 1
        // (hwmon sysfs interface).
        let (sys, folder) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        write(sys.path(), "class/thermal/thermal_zone0/temp", "61804\n");
        write(sys.path(), "class/thermal/thermal_zone1/temp", "58000\n");
        write(sys.path(), "class/thermal/cooling_device0/temp", "99000\n");
        write(sys.path(), "class/hwmon/hwmon0/in0_lcrit_alarm", "0\n");
        write(sys.path(), "class/hwmon/hwmon1/in0_lcrit_alarm", "1\n");
        write(folder.path(), "ledger", &"x".repeat(524_288));
        let found = files(sys.path(), folder.path()).read();
        assert_eq!(of(&found, Quantity::BoardTemperature), Some(61.804));
        assert_eq!(of(&found, Quantity::Supply), Some(0.0));
        assert_eq!(of(&found, Quantity::LedgerSpace), Some(0.5));
        assert!(of(&found, Quantity::FreeSpace).unwrap() > 0.0);
        write(sys.path(), "class/hwmon/hwmon1/in0_lcrit_alarm", "0\n");
        assert_eq!(of(&files(sys.path(), folder.path()).read(), Quantity::Supply), Some(1.0));
    }

    #[test]
    fn a_board_without_such_files_says_nothing_of_them() {
        let (sys, folder) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        write(sys.path(), "class/thermal/thermal_zone0/temp", "not now\n");
        let found = files(sys.path(), folder.path()).read();
        assert_eq!((of(&found, Quantity::BoardTemperature), of(&found, Quantity::Supply)), (None, None));
    }
}
