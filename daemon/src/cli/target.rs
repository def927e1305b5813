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

impl Target {
    /// The socket of a service that runs on this garden, if one does.
    pub(super) fn socket(&self) -> Result<Option<PathBuf>, Trouble> {
        let folder = match &self.folder {
            Some(folder) => folder.clone(),
            None => read_site(&self.site)?.0.ledger.folder,
        };
        let socket = service::socket(&folder);
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
