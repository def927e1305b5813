//! Small files beside the ledger: written whole or not at all, also through a power cut, and for the service alone.

use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Result, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

/// Puts a file of this name and text into a folder: written beside, flushed, renamed, and the folder flushed.
///
/// # Errors
///
/// When the folder refuses; what was there stays.
pub fn put(folder: &Path, name: &str, text: &str) -> Result<()> {
    let unready = folder.join(format!("{name}.part"));
    // What a power cut left of it may be readable to others.
    remove(folder, &format!("{name}.part"))?;
    let mut file = OpenOptions::new().write(true).create_new(true).mode(0o600).open(&unready)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    std::fs::rename(&unready, folder.join(name))?;
    File::open(folder)?.sync_all()
}

/// Removes it; that it is not there is no error.
///
/// # Errors
///
/// When the folder refuses.
pub fn remove(folder: &Path, name: &str) -> Result<()> {
    match std::fs::remove_file(folder.join(name)) {
        Err(error) if error.kind() != ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}
