//! Room on the disk: told a week before it is used up.
//!
//! The pace is what the last one to two days took. What takes it is said too: the ledger itself seldom does (some
//! megabytes a year), and a log or a camera that fills the card is found sooner by whoever knows that it is not us.

use agronomy::crop::Severity;
use agronomy::series::MS_PER_DAY;

use super::board::{BOARD, word};
use super::word::Verdict;

/// The disk is filling up.
pub const DISK: &str = "disk";

/// Days left from which on it is told (practice), and from which on it presses.
const TOLD_DAYS: f64 = 7.0;
const PRESSING_DAYS: f64 = 2.0;
/// Days left above which it is taken back.
const ENOUGH_DAYS: f64 = 10.0;
/// Room and files left that are little at any pace: twice what the ledger keeps aside for notices, MiB (practice).
const LITTLE_MIB: f64 = 64.0;
const LITTLE_FILES: f64 = 1_000.0;
/// Fewest days that make a pace.
const FEWEST_DAYS: f64 = 1.0;

/// What was left at two moments.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Left {
    /// Earlier: UTC ms, how much.
    pub then: (i64, f64),
    /// Now: UTC ms, how much.
    pub now: (i64, f64),
}

/// How the disk stands.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DiskNow {
    /// Room, MiB.
    pub space: Option<Left>,
    /// Files that can still be made.
    pub files: Option<Left>,
    /// What the data folder takes, MiB: it grows, so its pace is negative here.
    pub ledger: Option<Left>,
}

impl Left {
    /// How much goes in a day; none while too little time is known.
    fn a_day(&self) -> Option<f64> {
        let days = (self.now.0 - self.then.0) as f64 / MS_PER_DAY as f64;
        (days >= FEWEST_DAYS).then(|| (self.then.1 - self.now.1) / days)
    }

    /// Days until nothing is left; infinite where nothing goes, or too little time is known.
    fn days(&self) -> f64 {
        self.a_day().filter(|pace| *pace > 0.0).map_or(f64::INFINITY, |pace| self.now.1 / pace)
    }
}

/// Judges the disk.
pub fn judge(now: &DiskNow) -> Verdict {
    let of_space = now.space.map_or(f64::INFINITY, |space| space.days());
    let of_files = now.files.map_or(f64::INFINITY, |files| files.days());
    let (space, files) = (now.space.map(|it| it.now.1), now.files.map(|it| it.now.1));
    if space.is_none() && files.is_none() {
        return Verdict::unknown(DISK, BOARD);
    }
    let (space, files) = (space.unwrap_or(f64::INFINITY), files.unwrap_or(f64::INFINITY));
    let days = of_space.min(of_files);
    let little = space < LITTLE_MIB || files < LITTLE_FILES;
    if little || days < TOLD_DAYS {
        let severity = if little || days < PRESSING_DAYS { Severity::Moderate } else { Severity::Minor };
        return word(DISK, severity, "Make room on the board's disk.", text(now, space, files, days));
    }
    if days > ENOUGH_DAYS && space > 2.0 * LITTLE_MIB && files > 2.0 * LITTLE_FILES {
        let text = format!("Board: {} free.", room(space));
        return Verdict::clear(DISK, BOARD, "There is room on the disk again.", text);
    }
    Verdict::unknown(DISK, BOARD)
}

/// Room of so many MiB in words: whole MiB, from ten thousand on in GiB, which nobody has to divide.
pub fn room(mib: f64) -> String {
    if mib < 10_000.0 { format!("{mib:.0} MiB") } else { format!("{:.0} GiB", mib / 1024.0) }
}

fn text(now: &DiskNow, space: f64, files: f64, days: f64) -> String {
    let mut text = if files < LITTLE_FILES && space >= LITTLE_MIB {
        format!("Board: only {files:.0} more files can be made, though there is room")
    } else {
        format!("Board: {} free", room(space))
    };
    if days.is_finite() {
        let left = if days < 1.0 {
            "less than a day".to_owned()
        } else {
            format!("about {:.0} days", libm::floor(days))
        };
        text.push_str(&format!(", {left} at the pace of the last days"));
    }
    text.push_str(". ");
    text.push_str(&eats(now));
    text.push_str(" When it is full nothing can be stored; warnings still go out.");
    text
}

/// What eats it, by the share that the data folder has in it.
fn eats(now: &DiskNow) -> String {
    let all = now.space.and_then(|space| space.a_day()).filter(|pace| *pace > 0.0);
    let ours = now.ledger.and_then(|ledger| ledger.a_day()).map(|pace| -pace);
    match all.zip(ours) {
        None => "What eats it is not known yet.".to_owned(),
        Some((all, ours)) if ours >= all / 2.0 => {
            format!("Most of {all:.1} MiB a day is the ledger: keep copies beside it elsewhere.")
        }
        Some((all, ours)) => format!(
            "Something else eats {:.1} MiB a day, the ledger {:.1}: look for logs and pictures.",
            all - ours.max(0.0),
            ours.max(0.0)
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::super::word::Says;
    use super::*;

    fn two_days(then: f64, now: f64) -> Left {
        Left { then: (0, then), now: (2 * MS_PER_DAY, now) }
    }

    fn said(
        space: impl Into<Option<Left>>,
        files: impl Into<Option<Left>>,
        ledger: impl Into<Option<Left>>,
    ) -> Says {
        judge(&DiskNow { space: space.into(), files: files.into(), ledger: ledger.into() }).says
    }

    #[test]
    fn s5_a_week_at_the_pace_of_the_last_days_is_told_with_what_eats_it() {
        // 2,000 to 1,200 MiB in two days: 400 a day, three days left; of it 10 a day are ours.
        let told = said(two_days(2_000.0, 1_200.0), None, two_days(50.0, 70.0));
        let Says::Word(word) = told else { panic!("{told:?}") };
        assert_eq!((word.severity, word.push), (Severity::Minor, false));
        assert!(word.text.contains("1200 MiB free, about 3 days"), "{}", word.text);
        assert!(word.text.contains("Something else eats 390.0 MiB a day, the ledger 10.0"), "{}", word.text);
        // 7 days and a bit are not told, 10 and more take it back.
        assert_eq!(said(two_days(2_000.0, 1_600.0), None, None), Says::Unknown);
        assert!(matches!(said(two_days(2_000.0, 1_700.0), None, None), Says::Clear { .. }));
    }

    #[test]
    fn s5_little_room_or_few_files_are_told_at_any_pace() {
        let little = said(two_days(63.0, 63.0), None, None);
        assert!(matches!(&little, Says::Word(word) if word.severity == Severity::Moderate));
        let told = said(two_days(9_000.0, 9_000.0), two_days(990.0, 990.0), None);
        let Says::Word(word) = told else { panic!("{told:?}") };
        assert!(word.text.contains("only 990 more files"), "{}", word.text);
    }

    #[test]
    fn of_less_than_a_day_no_pace_is_made() {
        let hours = Left { then: (0, 2_000.0), now: (MS_PER_DAY / 2, 1_000.0) };
        assert!(matches!(said(hours, None, None), Says::Clear { .. }));
        assert_eq!(said(None, None, None), Says::Unknown);
    }

    #[test]
    fn room_is_said_in_the_unit_that_needs_no_dividing() {
        assert_eq!(
            (room(640.4), room(9_200.0), room(42_319.0)),
            ("640 MiB".into(), "9200 MiB".into(), "41 GiB".to_owned())
        );
    }
}
