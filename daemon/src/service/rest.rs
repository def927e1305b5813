//! Sources left off for a while, after starts that did not last: page and couriers are up meanwhile.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

use crate::clock::Clock;
use crate::glance::Makeshift;
use crate::keeper::handle::Handle;
use crate::supervise::{Outcome, Tasks};

/// How long the sources stay off. Long enough to look at the page and write a remedy; in heat, no longer.
pub const REST: Duration = Duration::from_secs(300);
/// How long the sources have to stop.
const GRACE: Duration = Duration::from_secs(3);

/// What every page says meanwhile.
pub fn words() -> Makeshift {
    Makeshift {
        what: "Running with sources off, because the last starts ended within a minute: nothing is heard, and heat \
               is not watched."
            .to_owned(),
        remedy: "Look at the plants yourself. Five minutes after this start the sources are tried again; \
                 “journalctl -u glasshour” says what ended the other starts."
            .to_owned(),
    }
}

/// Starts the sources once they have rested, and takes back what was said of it.
pub(super) fn sources_later(
    file: &config::site::Site,
    handle: &Handle,
    clock: &Arc<dyn Clock>,
    makeshift: watch::Sender<Vec<Makeshift>>,
    tasks: &mut Tasks,
) {
    let (file, handle, clock) = (file.clone(), handle.clone(), Arc::clone(clock));
    tasks.spawn("sources", |stop| async move {
        if stop.run_until_cancelled(tokio::time::sleep(REST)).await.is_none() {
            return Ok(());
        }
        tracing::info!("the sources are tried again");
        makeshift.send_modify(|said| said.retain(|it| *it != words()));
        let mut own = Tasks::under(&stop);
        Box::pin(super::sources(&file, &handle, &clock, &mut own)).await?;
        work(own, &stop).await
    });
}

/// Lets the sources work until `stop`.
///
/// # Errors
///
/// When one fails, or ends although nobody asked it to: the others stop with it, and the program must not go on without.
async fn work(own: Tasks, stop: &CancellationToken) -> Outcome {
    let ended = own.stop();
    own.join(GRACE).await.map_err(|failure| failure.to_string())?;
    if ended.is_cancelled() && !stop.is_cancelled() {
        return Err("a source ended unasked, and the others with it".to_owned());
    }
    // A site may have no sources at all: that ends nothing.
    stop.cancelled().await;
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use config::zone::Zones;
    use tokio::sync::mpsc;

    use super::*;
    use crate::clock::FastClock;
    use crate::page::fixtures;

    const SITE: &str =
        "[site]\nname = \"Yard\"\nlatitude = 52.1\nlongitude = 5.3\nstandard_offset = \"+01:00\"\n";

    async fn rests_then_works(sources: &str) {
        let file =
            config::read_site(&format!("{SITE}{sources}"), &config::crop_book().unwrap(), &Zones::system());
        let (events, _queue) = mpsc::channel(8);
        let (_shown, glance) = watch::channel(Arc::new(fixtures::heat()));
        let clock: Arc<dyn Clock> = Arc::new(FastClock::held(fixtures::MIDNIGHT, 1.0));
        let copy = Makeshift { what: "Another.".to_owned(), remedy: String::new() };
        let (makeshift, said) = watch::channel(vec![words(), copy.clone()]);
        let mut tasks = Tasks::new();
        sources_later(&file.unwrap(), &Handle::new(events, glance), &clock, makeshift, &mut tasks);
        let second = Duration::from_secs(1);
        tokio::time::sleep(REST.saturating_sub(second)).await;
        assert_eq!(*said.borrow(), [words(), copy.clone()]);
        tokio::time::sleep(2 * second).await;
        assert_eq!(*said.borrow(), [copy]);
        // They go on until they are told to stop.
        tokio::time::sleep(REST).await;
        assert!(!tasks.stop().is_cancelled());
        tasks.stop().cancel();
        tasks.join(GRACE + second).await.unwrap();
    }

    #[tokio::test(start_paused = true)]
    async fn u5_sources_that_rested_are_started_and_what_was_said_of_it_is_taken_back() {
        rests_then_works("[door]\nlisten = \"127.0.0.1:0\"\n").await;
    }

    #[tokio::test(start_paused = true)]
    async fn a_site_without_sources_goes_on_too() {
        rests_then_works("").await;
    }

    #[tokio::test(start_paused = true)]
    async fn a_source_that_ends_unasked_is_an_error_and_one_that_was_told_to_stop_is_none() {
        let stop = CancellationToken::new();
        let sources = || {
            let mut own = Tasks::under(&stop);
            own.spawn("patient", |stop| async move {
                stop.cancelled().await;
                Ok(())
            });
            own
        };
        let mut own = sources();
        own.spawn("hasty", |_| async { Ok(()) });
        let ended = work(own, &stop).await.unwrap_err();
        assert!(ended.contains("ended unasked"), "{ended}");
        let own = sources();
        stop.cancel();
        work(own, &stop).await.unwrap();
    }
}
