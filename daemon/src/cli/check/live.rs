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
    let (mut failed, mut written) = (false, Ok(()));
    to_its_end(ways(site, &mut |tried| {
        failed |= !tried.troubles.is_empty();
        if written.is_ok() {
            written = out.write_all(words(&tried).as_bytes()).and_then(|()| out.flush());
        }
    }))?;
    written.map(|()| if failed { super::super::FAILS } else { 0 })
}

/// Waits for a task and for nothing that it has left behind: a name's look-up may hang for longer than it was waited for.
fn to_its_end(task: impl Future<Output = ()>) -> io::Result<()> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    runtime.block_on(task);
    runtime.shutdown_background();
    Ok(())
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
    fn what_hangs_at_the_end_is_not_waited_for() {
        let (release, hung) = std::sync::mpsc::channel();
        to_its_end(async {
            let (begun, began) = tokio::sync::oneshot::channel();
            tokio::task::spawn_blocking(move || {
                let _ = begun.send(());
                hung.recv_timeout(std::time::Duration::from_secs(10))
            });
            began.await.unwrap();
        })
        .unwrap();
        assert!(release.send(()).is_ok(), "it hangs no longer: it was waited for");
    }

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
