//! The signing key's file in the data folder.
//!
//! Phones subscribe for one key, so it is made once and kept: lost, every phone must subscribe again. It belongs to a
//! board, as the ledger's epoch does: a card that was cloned into another board gets a key of its own there, or two
//! boards would speak in one name. A damaged file is replaced too, for the watch over the plants must not wait for it.

use std::path::Path;

use super::base64url::{decode, encode};
use super::vapid::{NoKey, Vapid, new_key};
use crate::whole_file;

/// The file's name in the data folder.
const NAME: &str = "web-push-key";
/// Stands for the board's name where the system has none.
const NAMELESS: &str = "-";

/// Why there is no key.
#[derive(Debug, thiserror::Error)]
pub enum Unkept {
    /// The folder refuses.
    #[error("{NAME} in the data folder: {0}")]
    Storage(#[from] std::io::Error),
    /// None can be made.
    #[error(transparent)]
    Made(#[from] NoKey),
}

/// The key of this board, made where there is none that fits. `machine`: the board's name, where the system has one.
///
/// # Errors
///
/// [`Unkept`].
pub fn own_key(folder: &Path, machine: Option<&str>) -> Result<Vec<u8>, Unkept> {
    let path = folder.join(NAME);
    let machine = machine.unwrap_or(NAMELESS);
    match std::fs::read_to_string(&path) {
        Ok(text) => match read(&text, machine) {
            Ok(key) => return Ok(key),
            Err(why) => tracing::warn!(%why, "web push gets a new key: every phone must subscribe again"),
        },
        // Another text than UTF-8 is as damaged as any other; a folder that cannot be read will not take a file.
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            tracing::warn!(%error, "web push gets a new key: every phone must subscribe again");
        }
        Err(_) => {}
    }
    let key = new_key()?;
    whole_file::put(folder, NAME, &format!("{machine}\n{}\n", encode(&key)))?;
    Ok(key)
}

fn read(text: &str, machine: &str) -> Result<Vec<u8>, &'static str> {
    let mut lines = text.lines();
    let (board, key) = (lines.next().unwrap_or_default(), lines.next().unwrap_or_default());
    let key =
        decode(key).filter(|key| Vapid::new(key, String::new()).is_ok()).ok_or("the file is damaged")?;
    if board != machine && board != NAMELESS && machine != NAMELESS {
        return Err("the file was made by another board");
    }
    Ok(key)
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    #[test]
    fn the_key_is_made_once_and_only_the_service_may_read_it() {
        let folder = tempfile::tempdir().unwrap();
        let first = own_key(folder.path(), Some("a")).unwrap();
        assert_eq!(own_key(folder.path(), Some("a")).unwrap(), first);
        // A system that cannot name itself any more is no other board.
        assert_eq!(own_key(folder.path(), None).unwrap(), first);
        let mode = std::fs::metadata(folder.path().join(NAME)).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
        assert!(!folder.path().join("web-push-key.part").exists());
    }

    #[test]
    fn another_board_and_a_damaged_file_get_a_new_key_that_is_kept() {
        let folder = tempfile::tempdir().unwrap();
        let first = own_key(folder.path(), Some("a")).unwrap();
        let moved = own_key(folder.path(), Some("b")).unwrap();
        assert_ne!(moved, first);
        assert_eq!(own_key(folder.path(), Some("b")).unwrap(), moved);
        for damage in [b"b\nZm9v\n".as_slice(), b"", &[0xff, 0xfe]] {
            std::fs::write(folder.path().join(NAME), damage).unwrap();
            let renewed = own_key(folder.path(), Some("b")).unwrap();
            assert_eq!(own_key(folder.path(), Some("b")).unwrap(), renewed);
        }
    }

    #[test]
    fn what_a_power_cut_left_half_written_is_in_nobodys_way() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("web-push-key.part"), "half").unwrap();
        assert!(own_key(folder.path(), Some("a")).is_ok());
    }

    #[test]
    fn a_folder_that_takes_nothing_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let refused = own_key(&folder.path().join("gone"), None).unwrap_err();
        assert!(refused.to_string().starts_with("web-push-key in the data folder: "), "{refused}");
    }
}
