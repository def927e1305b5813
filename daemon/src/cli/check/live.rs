//! `glasshour check --live`: every way that a site file names, tried from here and now.

use std::io::{self, Write};

use config::site::Site;

use crate::service::trial::{Tried, ways};

/// Tries all ways and says of each how it went; the exit code.
///
/// # Errors
///
/// Writing `out`, or when no runtime can be had.
pub(super) fn run(site: &Site, out: &mut impl Write) -> io::Result<u8> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let (mut failed, mut written) = (false, Ok(()));
    runtime.block_on(ways(site, &mut |tried| {
        failed |= !tried.troubles.is_empty();
        if written.is_ok() {
            written = out.write_all(words(&tried).as_bytes()).and_then(|()| out.flush());
        }
    }));
    written.map(|()| if failed { super::super::FAILS } else { 0 })
}

fn words(tried: &Tried) -> String {
    if tried.troubles.is_empty() {
        return format!("well: {}\n", tried.way);
    }
    let lines = tried.troubles.iter().map(|trouble| format!("FAILS: {}: {trouble}\n", tried.way));
    lines.collect::<Vec<_>>().concat()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_trouble_of_a_way_is_a_line_of_its_own() {
        let tried = |troubles: &[&str]| Tried {
            way: "broker b:1883".to_owned(),
            troubles: troubles.iter().map(|&it| it.to_owned()).collect(),
        };
        assert_eq!(words(&tried(&[])), "well: broker b:1883\n");
        assert_eq!(words(&tried(&["one", "two"])), "FAILS: broker b:1883: one\nFAILS: broker b:1883: two\n");
    }
}
