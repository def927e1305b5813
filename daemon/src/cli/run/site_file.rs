//! The site file a service starts from, or its last good copy.

use std::fmt;
use std::path::Path;

use agronomy::crop::CropBook;
use config::Faults;
use config::site::Site;
use config::zone::Zones;

use super::super::Trouble;
use super::super::target::{crop_book, said};
use super::needs::{at_its_line, unmet};
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
    why: Unusable,
    since_ms: Option<i64>,
}

impl FallenBack {
    /// What every page says of it.
    pub(super) fn words(&self, path: &Path, calendar: &Calendar) -> Makeshift {
        let day = self.since_ms.map(|ms| calendar.civil_format(ms, "the copy of %-d %B"));
        let copy = day.unwrap_or_else(|| "the last good copy".to_owned());
        let path = path.display();
        let remedy = match self.why {
            Unusable::Missing => format!("Put it back in its place, {path}. Then start anew."),
            _ => format!("Mend it: “glasshour check {path}” says what is wrong. Then start anew."),
        };
        Makeshift { what: format!("{}; running on {copy}.", self.why), remedy }
    }
}

/// Reads the site file. Where that fails, or names what cannot be had, and `kept` holds a copy of it that is better,
/// that one.
pub(super) fn read(path: &Path, kept: &Path) -> Result<Settings, Trouble> {
    let book = crop_book()?;
    let zones = Zones::system();
    let copy = last_good(kept, path);
    let copied = copy.as_ref().and_then(|it| config::read_site(&it.text, &book, &zones).ok());
    let why = match text(path) {
        Ok(text) => match config::read_site(&text, &book, &zones) {
            Ok(site) => match unmet_here_only(&site, &text, copy.as_ref().zip(copied.as_ref())) {
                None => return Ok(Settings { site, book, text, fallen_back: None }),
                Some(why) => Unusable::Names(why),
            },
            Err(faults) => Unusable::Faulty(faults),
        },
        Err(why) => why,
    };
    let (Some(KeptSite { text, since_ms }), Some(site)) = (copy, copied) else {
        return Err(why.trouble(path));
    };
    tracing::error!(file = %path.display(), %why, "the site file cannot be used; running on its last good copy");
    Ok(Settings { site, book, text, fallen_back: Some(FallenBack { why, since_ms }) })
}

/// What a site file names and cannot have, where its copy has all that it names itself.
fn unmet_here_only(site: &Site, text: &str, copy: Option<(&KeptSite, &Site)>) -> Option<String> {
    let (copy, copied) = copy.filter(|(copy, _)| copy.text != text)?;
    let why = unmet(site, text)?;
    unmet(copied, &copy.text).is_none().then_some(why)
}

/// Why nothing comes of a site file.
enum Unusable {
    /// It is not there.
    Missing,
    /// It cannot be read; why.
    Unreadable(String),
    /// The text is wrong.
    Faulty(Faults),
    /// It names what cannot be had: what, and why.
    Names(String),
}

impl fmt::Display for Unusable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Missing => f.write_str("Site file missing"),
            Self::Unreadable(why) => write!(f, "Site file unreadable ({why})"),
            Self::Faulty(faults) => match faults.list.first() {
                Some(fault) => write!(f, "Site file damaged ({})", at_its_line(fault)),
                None => f.write_str("Site file damaged"),
            },
            Self::Names(what) => write!(f, "Site file names what cannot be used ({what})"),
        }
    }
}

impl Unusable {
    fn trouble(self, path: &Path) -> Trouble {
        let given = |why: &str| Trouble::Given(format!("{}: {why}", path.display()));
        match self {
            Self::Missing => given("there is no such site file"),
            Self::Unreadable(why) | Self::Names(why) => given(&why),
            Self::Faulty(faults) => said(&faults, path),
        }
    }
}

fn text(path: &Path) -> Result<String, Unusable> {
    std::fs::read_to_string(path).map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => Unusable::Missing,
        std::io::ErrorKind::InvalidData => Unusable::Unreadable("it is no text".to_owned()),
        _ => Unusable::Unreadable(error.to_string()),
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
        assert_eq!(banner(&path, kept).unwrap(), "Site file missing; running on the copy of 3 June.");
        std::fs::create_dir(&path).unwrap();
        let said = banner(&path, kept).unwrap();
        assert!(said.starts_with("Site file unreadable (Is a directory"), "{said}");
    }

    #[test]
    fn a_file_that_names_what_cannot_be_had_gives_way_to_a_copy_that_names_what_can() {
        let folder = tempfile::tempdir().unwrap();
        let (path, kept) = (folder.path().join("site.toml"), folder.path());
        let (there, gone) = (folder.path().join("mail.password"), folder.path().join("mail.pasword"));
        std::fs::write(&there, "seven lean cabbages\n").unwrap();
        let mail = |file: &Path| {
            format!(
                "{GOOD}[mail]\nhost = \"mail.garden.example\"\nuser = \"glasshour\"\npassword_file = {file:?}\n\
                 from = \"glasshour@garden.example\"\nto = [\"grower@garden.example\"]\n"
            )
        };
        // An address that is kept for documentation is no board's: RFC 5737, section 3.
        let elsewhere = format!("{GOOD}[page]\nlisten = \"192.0.2.7:8087\"\n");
        let map = format!("{GOOD}[outlook]\nurl = \"http://127.0.0.1:9/\"\nmap = {gone:?}\n");
        for (text, why) in [
            (mail(&gone), format!("(line 9: password_file of [mail], {}: ", gone.display())),
            (elsewhere, "(line 7: listen of [page], 192.0.2.7:8087: ".to_owned()),
            (map, format!("(line 8: map {}: ", gone.display())),
        ] {
            std::fs::write(&path, &text).unwrap();
            let _ = std::fs::remove_file(kept.join("site-file-last-good"));
            assert_eq!(
                banner(&path, kept).as_deref(),
                Some(""),
                "without a copy the start says what it lacks"
            );
            keep(kept, &path, &text, Some(JUNE_3)).unwrap();
            assert_eq!(banner(&path, kept).as_deref(), Some(""), "the copy is the same");
            keep(kept, &path, &text.replace("Yard", "Lane"), Some(JUNE_3)).unwrap();
            assert_eq!(banner(&path, kept).as_deref(), Some(""), "the copy lacks the same");
            keep(kept, &path, &mail(&there), Some(JUNE_3)).unwrap();
            let said = banner(&path, kept).unwrap();
            let begins = format!("Site file names what cannot be used {why}");
            assert!(said.starts_with(&begins), "{said}");
            assert!(said.ends_with("; running on the copy of 3 June."), "{said}");
        }
        std::fs::write(&path, mail(&there)).unwrap();
        keep(kept, &path, GOOD, Some(JUNE_3)).unwrap();
        assert_eq!(banner(&path, kept).as_deref(), Some(""), "all is there");
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
