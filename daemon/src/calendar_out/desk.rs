//! Where the calendar is kept: what it has told, and the secret that its address holds.
//!
//! Both lie in one file of the data folder, readable by the service alone, and come to stand whole or not at all: written
//! beside, flushed, renamed, the folder flushed. A ledger that was restored or came to another board speaks in another
//! epoch; then all of it is made anew, so that nobody reads on with an address from before.
//!
//! Whoever holds the address reads the calendar, and nothing else, until another secret takes its place.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use serde::{Deserialize, Serialize};

use super::happening::{happenings, today};
use super::ics::{self, Head};
use super::known::{Known, Told};
use crate::glance::Glance;
use crate::keeper::handle::{Handle, Season};
use crate::whole_file;

/// The file's name.
const NAME: &str = "calendar.json";
/// Octets of the secret: 192 bits, which nobody guesses.
const SECRET_OCTETS: usize = 24;
/// How often the use of the address is written down at most, ms: a phone that asks each quarter wears no card.
const USED_EVERY_MS: i64 = 86_400_000;

/// The secret of the feed's address.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Key {
    /// The secret itself: hexadecimal digits.
    pub secret: String,
    /// When it was made, UTC ms.
    pub made_ms: i64,
    /// When it was last used, UTC ms; after a restart to within a day.
    pub used_ms: Option<i64>,
}

/// What the file holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Kept {
    epoch: String,
    key: Key,
    known: Known,
}

/// Why the calendar's file cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum Unkept {
    /// The machine gives no random numbers.
    #[error("no random numbers for the calendar's address: {0}")]
    Random(String),
    /// The folder takes no file.
    #[error("{0} cannot be written: {1}")]
    Write(PathBuf, std::io::Error),
}

/// A calendar to be mailed, and what is then to be remembered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Enclosure {
    /// Its text.
    pub text: String,
    /// What it tells: keys with their sequences.
    pub tells: Vec<(String, u32)>,
}

/// The calendar.
#[derive(Debug)]
pub struct Desk {
    path: PathBuf,
    kept: Mutex<Kept>,
    written_ms: Mutex<i64>,
}

impl Desk {
    /// Opens the calendar of a data folder, at `now_ms` (UTC ms). `epoch` names the ledger.
    ///
    /// A file that cannot be read, or of another epoch, is made anew.
    ///
    /// # Errors
    ///
    /// [`Unkept`] when a new one cannot be made.
    pub fn open(folder: &Path, epoch: &str, now_ms: i64) -> Result<Self, Unkept> {
        let path = folder.join(NAME);
        let kept = std::fs::read(&path).ok().and_then(|bytes| serde_json::from_slice::<Kept>(&bytes).ok());
        if let Some(kept) = kept.filter(|kept| kept.epoch == epoch) {
            let written_ms = Mutex::new(kept.key.used_ms.unwrap_or(0));
            return Ok(Self { path, kept: Mutex::new(kept), written_ms });
        }
        let kept = Kept { epoch: epoch.to_owned(), key: new_key(now_ms)?, known: Known::default() };
        write(&path, &kept)?;
        Ok(Self { path, kept: Mutex::new(kept), written_ms: Mutex::new(0) })
    }

    /// The secret of the address, with its age and last use.
    pub fn key(&self) -> Key {
        self.lock().key.clone()
    }

    /// Puts another secret in its place: from the moment this returns, the old one opens nothing.
    ///
    /// # Errors
    ///
    /// [`Unkept`]; the old one stays then, for it would be back after the next start.
    pub fn renew_key(&self, now_ms: i64) -> Result<(), Unkept> {
        let mut kept = self.lock();
        let renewed = Kept { key: new_key(now_ms)?, ..kept.clone() };
        write(&self.path, &renewed)?;
        *kept = renewed;
        Ok(())
    }

    /// Whether this is the secret; compared in a time that does not tell how much of it was right.
    pub fn opens(&self, secret: &str) -> bool {
        let own = self.lock().key.secret.clone();
        let differing = own.bytes().zip(secret.bytes()).fold(0, |sum, (a, b)| sum | (a ^ b));
        own.len() == secret.len() && differing == 0
    }

    /// The feed, for who has shown the secret.
    pub fn feed(&self, glance: &Glance, seasons: &[Season]) -> String {
        let mut kept = self.renewed(glance, seasons);
        kept.key.used_ms = Some(glance.at_ms);
        let mut written_ms = self.written_ms.lock().unwrap_or_else(PoisonError::into_inner);
        if glance.at_ms - *written_ms >= USED_EVERY_MS {
            *written_ms = glance.at_ms;
            self.keep(&kept);
        }
        ics::write(&head(&kept, glance, None), kept.known.told.values())
    }

    /// What the mail readers have not got yet, published by this mail address; none where there is nothing new.
    pub fn enclosure(&self, glance: &Glance, seasons: &[Season], publisher: &str) -> Option<Enclosure> {
        let kept = self.renewed(glance, seasons);
        let news: Vec<&Told> = kept.known.told.values().filter(|told| told.is_unmailed()).collect();
        if news.is_empty() {
            return None;
        }
        let tells = news.iter().map(|told| (told.happening.key.clone(), told.sequence)).collect();
        let text = ics::write(&head(&kept, glance, Some(publisher)), news.into_iter());
        Some(Enclosure { text, tells })
    }

    /// Remembers that an enclosure went out.
    pub fn mailed(&self, tells: &[(String, u32)]) {
        let mut kept = self.lock();
        kept.known.mailed(tells);
        self.keep(&kept);
    }

    fn renewed(&self, glance: &Glance, seasons: &[Season]) -> MutexGuard<'_, Kept> {
        let mut kept = self.lock();
        if kept.known.renew(&happenings(glance, seasons), today(glance), glance.at_ms) {
            self.keep(&kept);
        }
        kept
    }

    /// Writes it down. A disk that takes nothing does not close the calendar: what it told is then told once more
    /// after the next start.
    fn keep(&self, kept: &Kept) {
        if let Err(error) = write(&self.path, kept) {
            tracing::warn!(%error, "what the calendar told is not written down");
        }
    }

    fn lock(&self) -> MutexGuard<'_, Kept> {
        // Whoever panicked with it left it whole: every change is made in one assignment.
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn head<'a>(kept: &'a Kept, glance: &'a Glance, publisher: Option<&'a str>) -> Head<'a> {
    Head { site: &glance.site, epoch: &kept.epoch, at_ms: glance.at_ms, publisher }
}

/// The seasons of all plantings that stand, as the keeper has them; without those it could not give.
pub async fn seasons(handle: &Handle, glance: &Glance) -> Vec<Season> {
    let mut seasons = Vec::new();
    for planting in &glance.plantings {
        match handle.season(planting.planting.clone()).await {
            Ok(season) => seasons.extend(season),
            Err(_stopped) => return seasons,
        }
    }
    seasons
}

fn new_key(now_ms: i64) -> Result<Key, Unkept> {
    let mut octets = [0; SECRET_OCTETS];
    let random = rustls::crypto::ring::default_provider().secure_random;
    random.fill(&mut octets).map_err(|error| Unkept::Random(format!("{error:?}")))?;
    let secret = octets.iter().fold(String::new(), |secret, octet| secret + &format!("{octet:02x}"));
    Ok(Key { secret, made_ms: now_ms, used_ms: None })
}

fn write(path: &Path, kept: &Kept) -> Result<(), Unkept> {
    let folder = path.parent().unwrap_or(Path::new("."));
    let put =
        serde_json::to_string(kept).map_err(Into::into).and_then(|text| whole_file::put(folder, NAME, &text));
    put.map_err(|error| Unkept::Write(path.to_owned(), error))
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt as _;

    use super::*;
    use crate::page::fixtures;

    const NOW: i64 = fixtures::MIDNIGHT;

    #[test]
    fn the_secret_survives_a_restart_and_is_for_the_service_alone() {
        let folder = tempfile::tempdir().unwrap();
        let first = Desk::open(folder.path(), "9f-1", NOW).unwrap();
        let secret = first.key().secret;
        assert_eq!(secret.len(), 48);
        assert!(first.opens(&secret) && !first.opens(&secret[..47]) && !first.opens(""));
        let mode = std::fs::metadata(folder.path().join(NAME)).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
        drop(first);
        assert_eq!(Desk::open(folder.path(), "9f-1", NOW + 1).unwrap().key().secret, secret);
    }

    #[test]
    fn t21_a_renewed_secret_shuts_the_old_address_also_after_a_restart() {
        let folder = tempfile::tempdir().unwrap();
        let desk = Desk::open(folder.path(), "9f-1", NOW).unwrap();
        let old = desk.key().secret;
        desk.renew_key(NOW + 5).unwrap();
        assert!(!desk.opens(&old) && desk.opens(&desk.key().secret));
        assert_eq!((desk.key().made_ms, desk.key().used_ms), (NOW + 5, None));
        let again = Desk::open(folder.path(), "9f-1", NOW + 9).unwrap();
        assert!(!again.opens(&old));
    }

    #[test]
    fn t21_where_nothing_can_be_written_the_old_secret_stays_and_it_is_said() {
        let folder = tempfile::tempdir().unwrap();
        let desk = Desk::open(folder.path(), "9f-1", NOW).unwrap();
        let old = desk.key().secret;
        let gone = folder.path().to_owned();
        drop(folder);
        let refused = desk.renew_key(NOW + 5).unwrap_err().to_string();
        assert!(refused.contains(&gone.display().to_string()), "{refused}");
        assert!(desk.opens(&old));
    }

    #[test]
    fn another_epoch_of_the_ledger_has_another_secret() {
        let folder = tempfile::tempdir().unwrap();
        let old = Desk::open(folder.path(), "9f-1", NOW).unwrap().key().secret;
        assert!(!Desk::open(folder.path(), "9f-2", NOW).unwrap().opens(&old));
    }

    #[test]
    fn a_file_that_cannot_be_read_is_made_anew() {
        let folder = tempfile::tempdir().unwrap();
        for torn in ["", "{\"epoch\":\"9f-1\"", "[]"] {
            std::fs::write(folder.path().join(NAME), torn).unwrap();
            assert_eq!(Desk::open(folder.path(), "9f-1", NOW).unwrap().key().made_ms, NOW, "{torn}");
        }
    }

    #[test]
    fn the_feed_says_when_it_was_last_used_and_mail_encloses_only_what_is_new() {
        let folder = tempfile::tempdir().unwrap();
        let desk = Desk::open(folder.path(), "9f-1", NOW).unwrap();
        let (glance, seasons) = (fixtures::calm(), [fixtures::season()]);
        assert!(desk.feed(&glance, &seasons).contains("BEGIN:VEVENT"));
        assert_eq!(desk.key().used_ms, Some(glance.at_ms));
        let enclosed = desk.enclosure(&glance, &seasons, "house@garden.example").unwrap();
        assert!(enclosed.text.contains("METHOD:PUBLISH"));
        // Not sent: it is still new, also after a restart.
        let desk = Desk::open(folder.path(), "9f-1", NOW).unwrap();
        assert_eq!(desk.enclosure(&glance, &seasons, "house@garden.example"), Some(enclosed.clone()));
        desk.mailed(&enclosed.tells);
        let desk = Desk::open(folder.path(), "9f-1", NOW).unwrap();
        assert_eq!(desk.enclosure(&glance, &seasons, "house@garden.example"), None);
    }
}
