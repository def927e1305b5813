//! The last good copy of the site file.
//!
//! A slip of the pen, or a power cut while somebody saves, must not end the watch in a heat wave. So the text of every
//! site file from which the service ran well for a while is kept beside the ledger, and is what a start falls back on. Passwords
//! that lie in files of their own are not copied. The copy knows which file it is of: another site's is never used.

use std::path::Path;

use crate::whole_file;

/// The file's name in the ledger's folder.
const NAME: &str = "site-file-last-good";
/// Stands in its first line for a day that nobody could vouch for.
const UNDATED: &str = "-";

/// The copy.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptSite {
    /// The whole text.
    pub text: String,
    /// When the service first ran well from this text, UTC ms; none where nobody knew the time then.
    pub since_ms: Option<i64>,
}

/// Keeps the text of the site file at `path`, from which the service has run well for a while, in the ledger's folder.
/// The same text is not written again, but for its date where it had none.
///
/// # Errors
///
/// When the folder refuses; the copy that was there stays.
pub fn keep(folder: &Path, path: &Path, text: &str, now_ms: Option<i64>) -> std::io::Result<()> {
    let known = last_good(folder, path).filter(|kept| kept.text == text);
    if known.is_some_and(|kept| kept.since_ms.is_some() || now_ms.is_none()) {
        return Ok(());
    }
    let since = now_ms.map_or_else(|| UNDATED.to_owned(), |ms| ms.to_string());
    let body = format!("{since} {}\n{text}", whose(path));
    whole_file::put(folder, NAME, &format!("# {:08x} {body}", crc32fast::hash(body.as_bytes())))
}

/// The copy of the site file at `path`, where there is one in the folder and it is whole.
pub fn last_good(folder: &Path, path: &Path) -> Option<KeptSite> {
    let kept = std::fs::read_to_string(folder.join(NAME)).ok()?;
    let (sum, body) = kept.strip_prefix("# ")?.split_once(' ')?;
    if u32::from_str_radix(sum, 16) != Ok(crc32fast::hash(body.as_bytes())) {
        return None;
    }
    let (head, text) = body.split_once('\n')?;
    let (since, of) = head.split_once(' ')?;
    (of == whose(path)).then(|| KeptSite { text: text.to_owned(), since_ms: since.parse().ok() })
}

/// The path by which a file is known wherever it is named from.
fn whose(path: &Path) -> String {
    std::path::absolute(path).unwrap_or_else(|_| path.to_owned()).display().to_string().replace('\n', " ")
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    const SITE: &str = "/etc/glasshour/site.toml";
    const TEXT: &str = "[site]\nname = \"Bindweed Yard\"\n";

    fn of(folder: &Path, path: &str) -> Option<KeptSite> {
        last_good(folder, Path::new(path))
    }

    #[test]
    fn the_copy_is_of_one_file_and_keeps_the_day_its_text_first_was_good() {
        let folder = tempfile::tempdir().unwrap();
        let (folder, site) = (folder.path(), Path::new(SITE));
        assert_eq!(of(folder, SITE), None);
        for now_ms in [None, Some(5), Some(9)] {
            keep(folder, site, TEXT, now_ms).unwrap();
        }
        assert_eq!(of(folder, SITE), Some(KeptSite { text: TEXT.to_owned(), since_ms: Some(5) }));
        assert_eq!(of(folder, "/etc/glasshour/other.toml"), None, "another site's is never used");
        let other = TEXT.replace("Yard", "Lane");
        keep(folder, site, &other, Some(11)).unwrap();
        assert_eq!(of(folder, SITE), Some(KeptSite { text: other, since_ms: Some(11) }));
        let mode = std::fs::metadata(folder.join(NAME)).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600, "a password may be written in it");
    }

    #[test]
    fn a_copy_that_is_not_whole_is_none_wherever_it_was_cut_or_spoilt() {
        let folder = tempfile::tempdir().unwrap();
        keep(folder.path(), Path::new(SITE), TEXT, Some(5)).unwrap();
        let whole = std::fs::read(folder.path().join(NAME)).unwrap();
        for length in 0..whole.len() {
            std::fs::write(folder.path().join(NAME), &whole[..length]).unwrap();
            assert_eq!(of(folder.path(), SITE), None, "cut at {length}");
            let mut spoilt = whole.clone();
            spoilt[length] ^= 1;
            std::fs::write(folder.path().join(NAME), &spoilt).unwrap();
            assert_eq!(of(folder.path(), SITE), None, "spoilt at {length}");
        }
    }
}
