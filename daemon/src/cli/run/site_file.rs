//! The site file a service starts from, or its last good copy.

use std::path::Path;

use agronomy::crop::CropBook;
use config::Faults;
use config::site::Site;
use config::zone::Zones;

use super::super::Trouble;
use super::super::target::{crop_book, said};
use crate::calendar::Calendar;
use crate::glance::Makeshift;
use crate::service::kept_site::{KeptSite, last_good};

/// What the service starts from.
pub(super) struct Settings {
    /// What the site file says.
    pub(super) site: Site,
    /// The crop book.
    pub(super) book: CropBook,
    /// The text it was read from.
    pub(super) text: String,
    /// Why it is the copy, where it is.
    pub(super) fallen_back: Option<FallenBack>,
}

/// Why a start fell back on the copy.
pub(super) struct FallenBack {
    why: String,
    since_ms: Option<i64>,
}

impl FallenBack {
    /// What every page says of it.
    pub(super) fn words(&self, path: &Path, calendar: &Calendar) -> Makeshift {
        let day = self.since_ms.map(|ms| calendar.civil_format(ms, "the copy of %-d %B"));
        let copy = day.unwrap_or_else(|| "the last good copy".to_owned());
        Makeshift {
            what: format!("Site file damaged ({}); running on {copy}.", self.why),
            remedy: format!(
                "Mend it: “glasshour check {}” says what is wrong. Then start anew.",
                path.display()
            ),
        }
    }
}

/// Reads the site file; where that fails and `kept` holds a copy of it that can be read, that one.
pub(super) fn read(path: &Path, kept: &Path) -> Result<Settings, Trouble> {
    let book = crop_book()?;
    let zones = Zones::system();
    let unread = match text(path) {
        Ok(text) => match config::read_site(&text, &book, &zones) {
            Ok(site) => return Ok(Settings { site, book, text, fallen_back: None }),
            Err(faults) => Unread::Faulty(faults),
        },
        Err(why) => Unread::Absent(why),
    };
    let Some(KeptSite { text, since_ms }) = last_good(kept, path) else { return Err(unread.trouble(path)) };
    let Ok(site) = config::read_site(&text, &book, &zones) else { return Err(unread.trouble(path)) };
    let why = unread.first();
    tracing::error!(file = %path.display(), %why, "the site file is damaged; running on its last good copy");
    Ok(Settings { site, book, text, fallen_back: Some(FallenBack { why, since_ms }) })
}

/// Why nothing came of a site file.
enum Unread {
    /// There is no text; why.
    Absent(String),
    /// The text is wrong.
    Faulty(Faults),
}

impl Unread {
    fn first(&self) -> String {
        match self {
            Self::Absent(why) => why.clone(),
            Self::Faulty(faults) => faults
                .list
                .first()
                .map_or_else(String::new, |fault| format!("line {}: {}", fault.line, fault.message)),
        }
    }

    fn trouble(self, path: &Path) -> Trouble {
        match self {
            Self::Absent(why) => Trouble::Given(format!("{}: {why}", path.display())),
            Self::Faulty(faults) => said(&faults, path),
        }
    }
}

fn text(path: &Path) -> Result<String, String> {
    std::fs::read_to_string(path).map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => "there is no such site file".to_owned(),
        std::io::ErrorKind::InvalidData => "it is no text".to_owned(),
        _ => error.to_string(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::service::kept_site::keep;

    /// 2026-06-03T12:00:00Z.
    const JUNE_3: i64 = 1_780_488_000_000;
    const GOOD: &str =
        "[site]\nname = \"Yard\"\nlatitude = 52.1\nlongitude = 5.3\nstandard_offset = \"+01:00\"\n";

    fn banner(path: &Path, kept: &Path) -> Option<String> {
        let read = read(path, kept).ok()?;
        let words = read.fallen_back.map(|it| it.words(path, &Calendar::fixed(0)));
        Some(words.map_or_else(String::new, |words| words.what))
    }

    #[test]
    fn a_damaged_file_gives_way_to_its_copy_with_the_first_fault_and_the_copys_day() {
        let folder = tempfile::tempdir().unwrap();
        let (path, kept) = (folder.path().join("site.toml"), folder.path());
        std::fs::write(&path, GOOD).unwrap();
        assert_eq!(banner(&path, kept).as_deref(), Some(""));
        keep(kept, &path, GOOD, Some(JUNE_3)).unwrap();
        std::fs::write(&path, GOOD.replace("52.1", "152.1")).unwrap();
        let said = banner(&path, kept).unwrap();
        assert!(said.starts_with("Site file damaged (line 3: "), "{said}");
        assert!(said.ends_with("; running on the copy of 3 June."), "{said}");
        // What a power cut makes of a file: nothing in it, nothing at all, or bytes that are no text.
        for spoilt in [Some(&b""[..]), Some(&[0, 0xff, 0xfe][..]), None] {
            match spoilt {
                Some(bytes) => std::fs::write(&path, bytes).unwrap(),
                None => std::fs::remove_file(&path).unwrap(),
            }
            assert!(banner(&path, kept).unwrap().contains("copy of 3 June"), "{spoilt:?}");
        }
    }

    #[test]
    fn without_a_copy_or_with_one_that_cannot_be_read_either_nothing_is_started_from() {
        let folder = tempfile::tempdir().unwrap();
        let (path, kept) = (folder.path().join("site.toml"), folder.path());
        assert!(matches!(read(&path, kept), Err(Trouble::Given(why)) if why.contains("no such site file")));
        std::fs::write(&path, "[site]\n").unwrap();
        assert!(matches!(read(&path, kept), Err(Trouble::Said)));
        keep(kept, &path, "[site]\nname = 3\n", Some(JUNE_3)).unwrap();
        assert!(matches!(read(&path, kept), Err(Trouble::Said)));
    }
}
