//! Which garden a command is about: a running service, or the ledger it left.

use std::path::{Path, PathBuf};

use agronomy::crop::CropBook;
use config::zone::Zones;

use super::Trouble;
use crate::clock::{Clock, SystemClock};
use crate::keeper::core::{Core, Moment};
use crate::ledger::refuse_newer;
use crate::service;

/// The options that name the garden.
#[derive(Clone, Debug, clap::Args)]
pub(super) struct Target {
    /// The site file.
    #[arg(long, global = true, value_name = "FILE", default_value = "/etc/glasshour/site.toml")]
    pub(super) site: PathBuf,
    /// The data folder, where it is not the site file's.
    #[arg(long, global = true, value_name = "DIR")]
    pub(super) folder: Option<PathBuf>,
}

/// Said where the site file that should name the data folder cannot be used.
const WITHOUT_SITE: &str =
    "a running service is asked without its site file by --folder DIR, its data folder";

impl Target {
    /// The data folder.
    pub(super) fn data_folder(&self) -> Result<PathBuf, Trouble> {
        if let Some(folder) = &self.folder {
            return Ok(folder.clone());
        }
        match read_site(&self.site) {
            Ok((site, _)) => Ok(site.ledger.folder),
            Err(Trouble::Said) => Err(Trouble::Given(WITHOUT_SITE.to_owned())),
            Err(Trouble::Given(why)) => Err(Trouble::Given(format!("{why}; {WITHOUT_SITE}"))),
            Err(other) => Err(other),
        }
    }

    /// The socket of a service that runs on this garden, if one does.
    pub(super) fn socket(&self) -> Result<Option<PathBuf>, Trouble> {
        let socket = service::socket(&self.data_folder()?);
        let answers = std::os::unix::net::UnixStream::connect(&socket).is_ok();
        Ok(answers.then_some(socket))
    }

    /// The garden's core from its ledger, with the moment and who vouches for it, for as long as no service runs on it.
    pub(super) fn open(&self) -> Result<(Core, Moment, Option<String>), Trouble> {
        let (mut site, book) = read_site(&self.site)?;
        if let Some(folder) = &self.folder {
            site.ledger.folder.clone_from(folder);
        }
        refuse_newer(&site.ledger.folder)?;
        let clock = {
            let declared = site.clock_vouched_by_system.then(|| "the system".to_owned());
            SystemClock::of_site(declared, site.clock_chip.as_deref())
        };
        let start = site.start.clone();
        let opened = service::open_core(&site, book, &clock, |known, now_ms| {
            service::settings::start_notes(&start, &known.calendar, now_ms)
        })?;
        let voucher = clock.vouched_by();
        let moment =
            Moment { wall_ms: clock.wall_ms(), mono_ms: clock.monotonic_ms(), trusted: voucher.is_some() };
        Ok((opened.core, moment, voucher))
    }
}

/// Reads a site file and the crop book; every fault is said at once.
pub(super) fn read_site(path: &Path) -> Result<(config::site::Site, CropBook), Trouble> {
    let book = crop_book()?;
    if matches!(path.try_exists(), Ok(false)) {
        return Err(Trouble::Given(format!("there is no site file {}; say --site FILE", path.display())));
    }
    let text = read_text(path)?;
    let site = config::read_site(&text, &book, &Zones::system()).map_err(|faults| said(&faults, path))?;
    Ok((site, book))
}

/// The shipped crop book.
pub(super) fn crop_book() -> Result<CropBook, Trouble> {
    config::crop_book().map_err(|faults| Trouble::Given(faults.to_string()))
}

/// A text file.
pub(super) fn read_text(path: &Path) -> Result<String, Trouble> {
    std::fs::read_to_string(path)
        .map_err(|error| Trouble::Given(format!("reading {}: {error}", path.display())))
}

/// Says every fault of a file on standard error.
pub(super) fn said(faults: &config::Faults, path: &Path) -> Trouble {
    use std::io::Write;
    let _ = writeln!(std::io::stderr(), "{}", faults.clone().named(&path.display().to_string()));
    Trouble::Said
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_a_site_file_that_can_be_read_the_folder_is_asked_for() {
        let folder = tempfile::tempdir().unwrap();
        let site = folder.path().join("site.toml");
        let target =
            |folder: Option<&Path>| Target { site: site.clone(), folder: folder.map(Path::to_owned) };
        let missing = target(None).data_folder();
        assert!(
            matches!(&missing, Err(Trouble::Given(why)) if why.contains("say --site FILE; ") && why.contains("--folder DIR"))
        );
        std::fs::write(&site, "[site]\nname = 3\n").unwrap();
        assert_eq!(
            target(None).data_folder(),
            Err(Trouble::Given(WITHOUT_SITE.to_owned())),
            "after its faults"
        );
        assert_eq!(target(Some(folder.path())).data_folder().unwrap(), folder.path());
    }
}
