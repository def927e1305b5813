//! Civil time: reads the system's zone files, so that a package update renews the rules.
//!
//! A zone file (RFC 9636, "TZif") lists the instants at which a place changed its clock, and closes with
//! a rule for all years after the last of them. Between a local clock time and UTC there is no simple
//! step: once a year an hour does not exist, once a year an hour comes twice. [`Zone::local`] says which.
//!
//! Days in Glasshour do not follow any of this: they are 24 h in the site's standard offset. Zones only
//! decide which clock time is shown and which instant "06:00" means.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

mod rule;
mod tzif;

use rule::Rule;

/// Where Debian keeps the zone files.
const SYSTEM: &str = "/usr/share/zoneinfo";
/// The largest zone file is a few kilobytes; anything near this is something else.
const LARGEST: u64 = 256 * 1024;

/// Why a zone could not be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ZoneError {
    /// No such zone, or no name of one.
    #[error("unknown time zone {name}")]
    Unknown {
        /// What was asked for.
        name: String,
    },
    /// The file is there and cannot be read.
    #[error("reading the zone file of {name}")]
    Unreadable {
        /// What was asked for.
        name: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// The file is there and is no sound zone file.
    #[error("zone file of {name} is damaged: {what}")]
    Damaged {
        /// What was asked for.
        name: String,
        /// What is wrong with it.
        what: &'static str,
    },
}

/// A folder of zone files.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Zones {
    folder: PathBuf,
}

impl Zones {
    /// The system's own.
    pub fn system() -> Self {
        Self::in_folder(SYSTEM)
    }

    /// Another folder laid out the same way.
    pub fn in_folder(folder: impl Into<PathBuf>) -> Self {
        Self { folder: folder.into() }
    }

    /// Reads one zone by its name, such as `Europe/Rome`.
    ///
    /// # Errors
    ///
    /// [`ZoneError`], also for names that would lead out of the folder.
    pub fn load(&self, name: &str) -> Result<Zone, ZoneError> {
        let unknown = || ZoneError::Unknown { name: name.to_owned() };
        if !is_zone_name(name) {
            return Err(unknown());
        }
        let path = self.folder.join(name);
        if !path.is_file() {
            return Err(unknown());
        }
        let bytes =
            read_file(&path).map_err(|source| ZoneError::Unreadable { name: name.to_owned(), source })?;
        Zone::from_bytes(name, &bytes)
    }

    /// The names of all zones in the folder, sorted. Empty if the folder cannot be read.
    pub fn names(&self) -> Vec<String> {
        let mut names = Vec::new();
        gather(&self.folder, "", &mut names);
        names.sort();
        names
    }
}

fn read_file(path: &Path) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(LARGEST).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Zone names start each of their parts with a capital letter; the folder's lists, licences and copies
/// (`posix/`, `right/`, `tzdata.zi`) do not.
fn is_zone_name(name: &str) -> bool {
    !name.is_empty()
        && name.split('/').count() <= 3
        && name.split('/').all(|part| {
            part.starts_with(|c: char| c.is_ascii_uppercase())
                && part.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '_' | '-' | '+'))
        })
}

fn gather(folder: &Path, before: &str, names: &mut Vec<String>) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        let Ok(part) = entry.file_name().into_string() else { continue };
        let name = format!("{before}{part}");
        if !is_zone_name(&name) {
            continue;
        }
        let path = entry.path();
        if path.is_dir() {
            gather(&path, &format!("{name}/"), names);
        } else {
            names.push(name);
        }
    }
}

/// One zone: which offset from UTC was, is and will be in force.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Zone {
    name: String,
    /// Offset before the first change \[s east of UTC\].
    first: i32,
    /// Instants of change \[s since 1970 UTC\] and the offset from there on, ascending.
    changes: Vec<(i64, i32)>,
    /// What holds after the last change.
    rule: Option<Rule>,
    standard: i32,
}

/// The instant or instants that a local clock time means \[ms since 1970 UTC\].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Local {
    /// The usual case.
    One(i64),
    /// The clocks jumped over it. The instant is what it would have been had they not: so "02:30" on such
    /// a night is met half an hour after the jump.
    Gap(i64),
    /// The clocks went back over it: the earlier instant and the later.
    Twice(i64, i64),
}

impl Local {
    /// One instant whatever the case: the earlier of two.
    pub fn earliest(self) -> i64 {
        match self {
            Self::One(at) | Self::Gap(at) | Self::Twice(at, _) => at,
        }
    }
}

impl Zone {
    /// Reads one of the system's zones; [`Zones::load`] with [`Zones::system`].
    ///
    /// # Errors
    ///
    /// [`ZoneError`].
    pub fn load(name: &str) -> Result<Self, ZoneError> {
        Zones::system().load(name)
    }

    /// A zone that never changes its clock, `offset` seconds east of UTC.
    pub fn fixed(offset: i32) -> Self {
        let name = offset_text(offset);
        Self { name, first: offset, changes: Vec::new(), rule: None, standard: offset }
    }

    /// Reads the bytes of a zone file.
    ///
    /// # Errors
    ///
    /// [`ZoneError::Damaged`].
    pub fn from_bytes(name: &str, bytes: &[u8]) -> Result<Self, ZoneError> {
        let file = tzif::parse(bytes).map_err(|what| ZoneError::Damaged { name: name.to_owned(), what })?;
        let standard = file.rule.as_ref().map_or(file.last_standard, Rule::standard);
        Ok(Self {
            name: name.to_owned(),
            first: file.first,
            changes: file.changes,
            rule: file.rule,
            standard,
        })
    }

    /// Its name; `+01:00` for a fixed one.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The offset of its standard time by the rule now in force \[s east of UTC\].
    pub fn standard_offset(&self) -> i32 {
        self.standard
    }

    /// The offset in force at an instant \[s east of UTC\].
    pub fn offset_at(&self, utc_ms: i64) -> i32 {
        self.offset_at_second(utc_ms.div_euclid(1000))
    }

    fn offset_at_second(&self, utc: i64) -> i32 {
        let passed = self.changes.partition_point(|(at, _)| *at <= utc);
        match (&self.rule, self.changes.get(passed.wrapping_sub(1))) {
            (Some(rule), _) if passed == self.changes.len() => rule.offset_at(utc),
            (_, Some((_, offset))) => *offset,
            (_, None) => self.first,
        }
    }

    /// What a local clock time means, `local_ms` being the clock's reading counted as if it were UTC.
    pub fn local(&self, local_ms: i64) -> Local {
        // No offset is larger than 26 h, so one of these two lies before any change that could matter
        // and the other after it.
        let reach = 26 * 3600 * 1000;
        let before = self.offset_at(local_ms.saturating_sub(reach));
        let after = self.offset_at(local_ms.saturating_add(reach));
        let instant = |offset: i32| local_ms.saturating_sub(i64::from(offset) * 1000);
        let holds = |offset: i32| self.offset_at(instant(offset)) == offset;
        match (holds(before), before != after && holds(after)) {
            (true, true) => {
                let (a, b) = (instant(before), instant(after));
                Local::Twice(a.min(b), a.max(b))
            }
            (true, false) => Local::One(instant(before)),
            (false, true) => Local::One(instant(after)),
            (false, false) => Local::Gap(instant(before)),
        }
    }
}

/// Reads an offset from UTC as ISO 8601 writes it, `+01:00`, `-08:00` or `Z` \[s east of UTC\].
///
/// At most 14 h either way, the widest that any place keeps.
pub fn parse_offset(text: &str) -> Option<i32> {
    if text == "Z" {
        return Some(0);
    }
    let (sign, rest) = match text.split_at_checked(1)? {
        ("+", rest) => (1, rest),
        ("-", rest) => (-1, rest),
        _ => return None,
    };
    let (hours, minutes) = rest.split_once(':')?;
    let two = |digits: &str| (digits.len() == 2).then(|| digits.parse::<u8>().ok()).flatten().map(i32::from);
    let digits_only = rest.chars().all(|c| c.is_ascii_digit() || c == ':');
    let seconds = two(hours)? * 3600 + two(minutes).filter(|minutes| *minutes < 60)? * 60;
    (digits_only && seconds <= 14 * 3600).then_some(sign * seconds)
}

/// Writes an offset as ISO 8601 does, seconds only where there are any.
pub fn offset_text(offset: i32) -> String {
    let sign = if offset < 0 { '-' } else { '+' };
    let (hours, minutes, seconds) = {
        let size = offset.unsigned_abs();
        (size / 3600, size / 60 % 60, size % 60)
    };
    if seconds == 0 {
        format!("{sign}{hours:02}:{minutes:02}")
    } else {
        format!("{sign}{hours:02}:{minutes:02}:{seconds:02}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn offsets_are_read_as_iso_8601_writes_them() {
        // ISO 8601 examples; the widest offset in use is +14:00 (Kiritimati).
        assert_eq!(parse_offset("+01:00"), Some(3600));
        assert_eq!(parse_offset("-08:00"), Some(-28800));
        assert_eq!(parse_offset("+05:45"), Some(20700));
        assert_eq!(parse_offset("Z"), Some(0));
        for bad in ["", "1", "+1", "+1:00", "+01:60", "+14:01", "+15:00", "++1:00", "+0é:0", "+01:000", "é"]
        {
            assert_eq!(parse_offset(bad), None, "{bad}");
        }
        assert_eq!(offset_text(-12600), "-03:30");
    }

    #[test]
    fn no_name_leads_out_of_the_folder() {
        for name in
            ["", "../shadow", "/etc/passwd", "Europe/../../x", "posix/Europe/Rome", "Europe//Rome", "A/B/C/D"]
        {
            assert!(matches!(Zones::system().load(name), Err(ZoneError::Unknown { .. })), "{name}");
        }
    }

    #[test]
    fn a_fixed_zone_has_one_offset_for_ever() {
        let zone = Zone::fixed(3600);
        assert_eq!(zone.name(), "+01:00");
        assert_eq!(zone.offset_at(i64::MIN), 3600);
        assert_eq!(zone.offset_at(i64::MAX), 3600);
        assert_eq!(zone.local(7_200_000), Local::One(3_600_000));
    }
}
