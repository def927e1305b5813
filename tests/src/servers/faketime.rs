//! A machine clock of a test's own: the real program sees the system's time shifted, and jumping, by a library that is
//! loaded before it. Its monotonic clock is left alone, as a real jump leaves it.

use std::path::{Path, PathBuf};

use tempfile::TempDir;

use super::process::need;

/// Where Debian puts the library, but for the folder of the architecture.
const LIBRARY: (&str, &str) = ("/usr/lib", "faketime/libfaketimeMT.so.1");

/// The clock.
#[derive(Debug)]
pub struct Faketime {
    library: PathBuf,
    folder: TempDir,
}

fn library() -> Option<PathBuf> {
    let folders = std::fs::read_dir(LIBRARY.0).ok()?;
    folders.filter_map(|folder| Some(folder.ok()?.path().join(LIBRARY.1))).find(|path| path.exists())
}

/// Whether clocks can be shifted here; says so where not.
pub fn available() -> bool {
    library().is_some() || need(&format!("{}/*/{}", LIBRARY.0, LIBRARY.1), "libfaketime")
}

impl Faketime {
    /// A clock that is off by so much: `+2d`, `-4h`.
    ///
    /// # Panics
    ///
    /// When the library is missing: see [`available`].
    pub fn new(off: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let clock = Self { library: library().expect("the library is here"), folder };
        clock.set(off);
        clock
    }

    fn file(&self) -> PathBuf {
        self.folder.path().join("off")
    }

    /// Lets it jump, also under a program that runs.
    ///
    /// # Panics
    ///
    /// When there is no room for it.
    pub fn set(&self, off: &str) {
        // By renaming, as the program reads it at every look at the clock.
        let new = self.folder.path().join("new");
        std::fs::write(&new, off).expect("room for a word");
        std::fs::rename(new, self.file()).expect("the same folder");
    }

    /// What a program that is to see this clock is started with.
    pub fn environment(&self) -> Vec<(String, String)> {
        let path = |path: &Path| path.display().to_string();
        let words = [
            ("LD_PRELOAD", path(&self.library)),
            ("FAKETIME_TIMESTAMP_FILE", path(&self.file())),
            ("FAKETIME_NO_CACHE", "1".to_owned()),
            ("FAKETIME_DONT_FAKE_MONOTONIC", "1".to_owned()),
            ("NO_FAKE_STAT", "1".to_owned()),
        ];
        words.map(|(name, value)| (name.to_owned(), value)).to_vec()
    }
}
