//! Who vouches for the machine's clock: the time service, by its mark or by the [`kernel`](super::kernel)'s word; what
//! the site file declares; and, for a board that never sees a time server, a clock chip that the grower declares. Its
//! time must be there, be of this century, and agree with the machine's.

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::Ordering;

use super::kernel::Word;

/// Where a common time service leaves its mark once it has set the clock in this boot (systemd-timesyncd(8)).
const MARK: &str = "/run/systemd/timesync/synchronized";
/// Where the kernel shows its clock chips.
const CHIPS: &str = "/sys/class/rtc";
/// How far chip and machine may differ, ms: the chip counts whole seconds, and drifts.
const CHIP_AGREES_MS: i64 = 10_000;
/// How long an answer of the chip is good for, ms: asking it takes a turn on its bus.
const CHIP_ASKED_MS: i64 = 60_000;
/// Nothing before this was measured by this program, 1 January 2026 UTC, ms: a chip whose battery was empty says 1970
/// or 2000.
pub const EARLIEST_MS: i64 = 1_767_225_600_000;

/// Everybody who may vouch.
#[derive(Debug)]
pub(super) struct Vouchers {
    declared: Option<String>,
    chip: Option<Chip>,
    pub(super) kernel: Word,
    mark: PathBuf,
}

impl Vouchers {
    /// Those of this machine, with what the site file declares.
    pub(super) fn of_system(declared: Option<String>, chip: Option<&str>) -> Self {
        let chip = chip.map(|name| Chip::new(Path::new(CHIPS), name));
        Self { declared, chip, kernel: Word::default(), mark: MARK.into() }
    }

    /// Who vouches for the machine's clock, which shows `wall_ms` (UTC) at `mono_ms`.
    pub(super) fn voucher(&self, wall_ms: i64, mono_ms: i64) -> Option<String> {
        if self.declared.is_some() {
            return self.declared.clone();
        }
        if self.kernel.load(Ordering::Relaxed) || self.mark.exists() {
            return Some("the time service".to_owned());
        }
        self.chip.as_ref().filter(|chip| chip.vouches(wall_ms, mono_ms)).map(Chip::words)
    }
}

/// A clock chip by its name under [`CHIPS`].
#[derive(Debug)]
struct Chip {
    name: String,
    file: PathBuf,
    asked: Mutex<Option<(i64, bool)>>,
}

impl Chip {
    fn new(chips: &Path, name: &str) -> Self {
        Self { name: name.to_owned(), file: chips.join(name).join("since_epoch"), asked: Mutex::new(None) }
    }

    fn words(&self) -> String {
        format!("the clock chip {}", self.name)
    }

    fn vouches(&self, wall_ms: i64, mono_ms: i64) -> bool {
        let mut asked = self.asked.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        match *asked {
            Some((at_ms, agreed)) if mono_ms - at_ms < CHIP_ASKED_MS => agreed,
            _ => {
                let agrees = self.agrees(wall_ms);
                *asked = Some((mono_ms, agrees));
                agrees
            }
        }
    }

    fn agrees(&self, wall_ms: i64) -> bool {
        let text = std::fs::read_to_string(&self.file).unwrap_or_default();
        let shown_ms = text.trim().parse::<i64>().ok().and_then(|seconds| seconds.checked_mul(1000));
        shown_ms.is_some_and(|shown| {
            shown >= EARLIEST_MS && shown.saturating_sub(wall_ms).saturating_abs() <= CHIP_AGREES_MS
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW_MS: i64 = 1_800_000_000_000;

    fn chips(shows: &str) -> (tempfile::TempDir, Chip) {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join("rtc0")).unwrap();
        std::fs::write(folder.path().join("rtc0/since_epoch"), shows).unwrap();
        let chip = Chip::new(folder.path(), "rtc0");
        (folder, chip)
    }

    #[test]
    fn c4_a_declared_chip_vouches_when_it_agrees_with_the_machine() {
        for (shows, vouches) in [
            ("1800000000\n", true),
            ("1799999991\n", true),
            ("1799999989\n", false),
            ("1800000011\n", false),
            ("12\n", false),
            ("946684800\n", false),
            ("", false),
            ("-9223372036854775808", false),
            ("soon", false),
        ] {
            let (_folder, chip) = chips(shows);
            assert_eq!(chip.vouches(NOW_MS, 0), vouches, "{shows:?}");
        }
    }

    #[test]
    fn c1_a_chip_whose_battery_was_empty_does_not_vouch_for_a_machine_that_took_its_time() {
        for seconds in [0, 5, 946_684_800, 1_262_304_000] {
            let (_folder, chip) = chips(&seconds.to_string());
            assert!(!chip.vouches(seconds * 1000, 0), "{seconds}");
        }
    }

    #[test]
    fn a_chip_that_is_not_there_vouches_for_nothing_and_is_looked_for_again_after_a_minute() {
        let folder = tempfile::tempdir().unwrap();
        let chip = Chip::new(folder.path(), "rtc0");
        assert!(!chip.vouches(NOW_MS, 0));
        std::fs::create_dir(folder.path().join("rtc0")).unwrap();
        std::fs::write(folder.path().join("rtc0/since_epoch"), "1800000000").unwrap();
        assert!(!chip.vouches(NOW_MS, 59_999), "asked a moment ago");
        assert!(chip.vouches(NOW_MS, 60_000));
    }
}
