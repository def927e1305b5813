//! Starts that did not last.
//!
//! Something that comes in, or the way it comes, may end the program each time it is met: a bus, a message that the
//! broker keeps and sends again. The service manager would start it for ever, and nobody would see a page. So starts that
//! did not last a minute are counted, and after two of them the next one leaves the sources off. The count lies in a folder
//! that the service manager keeps from one start to the next and that is gone when the board is switched off, where there
//! is one: a power that flickers is no fault of the sources.

use std::path::{Path, PathBuf};

use crate::whole_file;

/// The file's name in its folder: how many starts, and the monotonic clock at the last of them, ms.
const NAME: &str = "starts-cut-short";
/// How many starts in a row may not have lasted before the sources are left off.
const PATIENCE: u32 = 2;

/// This start among those before it.
#[derive(Debug)]
pub struct Starts {
    folder: PathBuf,
    /// What the file held before.
    before: Option<(u32, i64)>,
    cut_short: u32,
}

/// The folder in which starts are counted: `RUNTIME_DIRECTORY` of the environment (systemd.exec(5)), or, where nobody
/// gave one, the ledger's.
pub fn folder(runtime: Option<&str>, ledger: &Path) -> PathBuf {
    let given = runtime.and_then(|folders| folders.split(':').next()).filter(|folder| !folder.is_empty());
    given.map_or_else(|| ledger.to_owned(), PathBuf::from)
}

impl Starts {
    /// Counts a start now, at a moment of the monotonic clock (ms). Where that went back the board was switched on anew,
    /// and counting begins again; that is all that tells it in a folder which outlasts the board. A folder that refuses counts nothing.
    pub fn begin(folder: &Path, mono_ms: i64) -> Self {
        let kept = std::fs::read_to_string(folder.join(NAME)).unwrap_or_default();
        let before = kept
            .split_once(' ')
            .and_then(|(count, at_ms)| Some((count.parse().ok()?, at_ms.trim().parse().ok()?)));
        let cut_short = before.filter(|(_, at_ms)| *at_ms <= mono_ms).map_or(0, |(count, _)| count);
        let starts = Self { folder: folder.to_owned(), before, cut_short };
        starts.put(Some((cut_short.saturating_add(1), mono_ms)));
        starts
    }

    /// Whether so many starts before this one did not last that the sources are to be left off.
    pub fn leave_sources_off(&self) -> bool {
        self.cut_short >= PATIENCE
    }

    /// It lasted, or was asked to end: all is well.
    pub fn lasted(&self) {
        self.put(None);
    }

    /// It did not come about, and said why: that is no fault of the sources.
    pub fn did_not_begin(&self) {
        self.put(self.before);
    }

    fn put(&self, count: Option<(u32, i64)>) {
        let done = match count {
            Some((count, at_ms)) => whole_file::put(&self.folder, NAME, &format!("{count} {at_ms}\n")),
            None => whole_file::remove(&self.folder, NAME),
        };
        if let Err(error) = done {
            tracing::warn!(%error, "starts cannot be counted");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTE: i64 = 60_000;

    #[test]
    fn u5_the_third_start_in_a_row_leaves_the_sources_off_until_one_has_lasted() {
        let folder = tempfile::tempdir().unwrap();
        let off = |at: i64| Starts::begin(folder.path(), at * MINUTE).leave_sources_off();
        assert_eq!([off(1), off(2), off(3), off(4)], [false, false, true, true]);
        Starts::begin(folder.path(), 5 * MINUTE).lasted();
        assert_eq!([off(6), off(7), off(8)], [false, false, true]);
    }

    #[test]
    fn a_start_that_said_why_it_did_not_come_about_is_not_counted() {
        let folder = tempfile::tempdir().unwrap();
        for at in 1..9 {
            let starts = Starts::begin(folder.path(), at * MINUTE);
            assert!(!starts.leave_sources_off());
            starts.did_not_begin();
        }
    }

    #[test]
    fn three_short_spells_of_power_count_for_nothing_in_a_folder_that_goes_with_each() {
        let ledger = tempfile::tempdir().unwrap();
        for on_ms in [20_100, 20_300, 20_500, 31_000] {
            let run = tempfile::tempdir().unwrap();
            let folder = folder(run.path().to_str(), ledger.path());
            assert!(!Starts::begin(&folder, on_ms).leave_sources_off(), "{on_ms}");
        }
        assert_eq!(std::fs::read_dir(ledger.path()).unwrap().count(), 0, "nothing outlasts the board");
        let run = tempfile::tempdir().unwrap();
        let off = [20_100, 31_000, 42_000].map(|on_ms| {
            let folder = folder(run.path().to_str(), ledger.path());
            Starts::begin(&folder, on_ms).leave_sources_off()
        });
        assert_eq!(off, [false, false, true], "one spell of power, and a manager that starts it again");
    }

    #[test]
    fn starts_are_counted_in_the_first_folder_that_the_manager_gave_or_beside_the_ledger() {
        let ledger = Path::new("/var/lib/glasshour");
        for (given, folder_is) in [
            (Some("/run/glasshour"), "/run/glasshour"),
            (Some("/run/glasshour:/run/other"), "/run/glasshour"),
            (Some(""), "/var/lib/glasshour"),
            (None, "/var/lib/glasshour"),
        ] {
            assert_eq!(folder(given, ledger), Path::new(folder_is), "{given:?}");
        }
    }

    #[test]
    fn a_power_that_flickers_and_a_file_that_is_spoilt_count_for_nothing() {
        let folder = tempfile::tempdir().unwrap();
        // Each time the board has been on for a little less than the time before.
        for on_ms in (1..9).rev() {
            assert!(!Starts::begin(folder.path(), on_ms * 1_000).leave_sources_off());
        }
        for spoilt in ["", "7", "7 ", "x 1", "-1 5", "99999999999 5"] {
            std::fs::write(folder.path().join(NAME), spoilt).unwrap();
            assert!(!Starts::begin(folder.path(), MINUTE).leave_sources_off(), "{spoilt:?}");
        }
    }
}
