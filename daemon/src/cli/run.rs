//! `glasshour run`: the service, from a site file.

mod needs;
mod site_file;

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use self::site_file::Settings;
use super::{Trouble, runtime, start_log};
use crate::clock::Clock;
use crate::keeper::event::Event;
use crate::ledger::refuse_newer;
use crate::service::manager::Manager;
use crate::service::starts::{self, Starts};
use crate::service::{self, Manner, kept_site, rest};
use crate::sources::bus::until;

/// How long the parts have to stop.
pub(super) const GRACE: Duration = Duration::from_secs(4);

/// How long a start must last, with its sources, to count as one that did.
const LASTING: Duration = Duration::from_secs(60);

/// Options of `run`.
#[derive(Debug, clap::Args)]
pub(super) struct RunArgs {
    /// The site file.
    #[arg(value_name = "FILE", default_value = "/etc/glasshour/site.toml")]
    site: PathBuf,
    /// Where the last good copy of the site file is looked for when it cannot be read: the ledger's folder.
    #[arg(long, value_name = "DIR", default_value = "/var/lib/glasshour")]
    kept: PathBuf,
}

pub(super) fn run(args: &RunArgs) -> Result<(), Trouble> {
    start_log();
    let Settings { site, book, text, fallen_back } = site_file::read(&args.site, &args.kept)?;
    refuse_newer(&site.ledger.folder)?;
    let machine = service::settings::clock(&site);
    let kernel = machine.kernel();
    let clock: Arc<dyn Clock> = Arc::new(machine);
    let start = site.start.clone();
    let opened = service::open_core(&site, book, clock.as_ref(), |known, now_ms| {
        service::settings::start_notes(&start, &known.calendar, now_ms)
    })?;
    let calendar = opened.core.engine().site().calendar.clone();
    let copy = fallen_back.map(|it| it.words(&args.site, &calendar));
    let text = copy.is_none().then_some(text);
    let runtime_folder = std::env::var("RUNTIME_DIRECTORY").ok();
    let counted_in = starts::folder(runtime_folder.as_deref(), &site.ledger.folder);
    let starts = Starts::begin(&counted_in, clock.monotonic_ms());
    let sources_off = starts.leave_sources_off();
    if sources_off {
        tracing::error!("the last starts ended within a minute; the sources are left off for a while");
    }
    let resting = sources_off.then(rest::words);
    let manner = Manner { makeshift: resting.into_iter().chain(copy).collect(), sources_off };
    let runtime = runtime()?;
    let done = runtime.block_on(async {
        let running = service::start_as(&site, opened, Arc::clone(&clock), manner).await;
        let running = running.inspect_err(|_| starts.did_not_begin())?;
        let mut tasks = running.tasks;
        tasks.spawn("signals", signals);
        println!("http://{}/", running.page);
        if let Some(door) = running.door {
            println!("door {door}");
        }
        let (folder, path) = (site.ledger.folder.clone(), args.site.clone());
        let start = Arc::new(Start { starts, folder, path, text, clock: Arc::clone(&clock) });
        let this = Arc::clone(&start);
        tasks.spawn("start", move |stop| last(this, stop));
        let unasked = unasked(Arc::clone(&clock), running.handle.events.clone());
        if let Some(manager) = Manager::of_environment() {
            manager.ready();
            let keeper = running.handle.clone();
            tasks.spawn("service manager", |stop| manager.run(keeper, clock, stop));
        }
        tasks.spawn_blocking("the kernel's word", move |stop| {
            crate::clock::kernel::ask(&kernel, until(stop), unasked)
        });
        let ended = tasks.join(GRACE).await;
        if ended.is_ok() {
            start.ended_well();
        }
        ended.map_err(|failure| failure.to_string())
    });
    runtime.shutdown_timeout(Duration::from_millis(500));
    done.map_err(Trouble::Failed)
}

/// A start that came about, and what is done once it has shown that it is a good one.
struct Start {
    starts: Starts,
    /// The ledger's folder.
    folder: PathBuf,
    /// The site file.
    path: PathBuf,
    /// Its text; none where the service runs on the copy.
    text: Option<String>,
    clock: Arc<dyn Clock>,
}

impl Start {
    /// It lasted, with its sources: its text is a good one.
    fn lasted(&self) {
        self.starts.lasted();
        self.keep_copy();
    }

    /// It ended as it was asked to. Where the sources were off nothing is known of how they get on with the text.
    fn ended_well(&self) {
        self.starts.lasted();
        if !self.starts.leave_sources_off() {
            self.keep_copy();
        }
    }

    /// Keeps the text of the site file. A disk that refuses it is no reason to stop.
    fn keep_copy(&self) {
        let Some(text) = &self.text else { return };
        let now_ms = self.clock.vouched_by().map(|_| self.clock.wall_ms());
        if let Err(error) = kept_site::keep(&self.folder, &self.path, text, now_ms) {
            tracing::warn!(%error, "no copy of the site file could be kept");
        }
    }
}

/// Tells the keeper, at each change, that the system's word on the clock may not be asked, as long as nobody vouches for
/// the clock: a sandbox may forbid it.
fn unasked(clock: Arc<dyn Clock>, events: mpsc::Sender<Event>) -> impl FnMut(Option<String>) {
    let mut told = None;
    move |why| {
        let why = why.filter(|_| clock.vouched_by().is_none());
        let why = why.map(|why| format!("the service cannot ask it: {why}"));
        let event = Event::Away { source: "the system's word on the time".to_owned(), why: why.clone() };
        // Where the keeper has no room for it, it is told next time.
        if why != told && events.try_send(event).is_ok() {
            told = why;
        }
    }
}

/// Waits until a start has lasted, with its sources.
async fn last(start: Arc<Start>, stop: CancellationToken) -> Result<(), String> {
    let rest = if start.starts.leave_sources_off() { rest::REST } else { Duration::ZERO };
    if stop.run_until_cancelled(tokio::time::sleep(rest + LASTING)).await.is_some() {
        start.lasted();
        stop.cancelled().await;
    }
    Ok(())
}

/// Waits for SIGINT or SIGTERM, also when the shell that started us ignored SIGINT.
pub(super) async fn signals(stop: CancellationToken) -> Result<(), String> {
    let listen = |kind| signal(kind).map_err(|error| format!("listening for signals: {error}"));
    let (mut interrupt, mut terminate) = (listen(SignalKind::interrupt())?, listen(SignalKind::terminate())?);
    tokio::select! {
        _ = interrupt.recv() => {}
        _ = terminate.recv() => {}
        () = stop.cancelled() => {}
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::Ordering;

    use super::*;
    use crate::clock::FastClock;
    use crate::clock::paused::PausedClock;
    use crate::service::kept_site::last_good;

    const TEXT: &str = "[site]\nname = \"Yard\"\n";

    /// A start in a folder that `before` others in a row did not outlast.
    fn start(folder: &std::path::Path, before: u32, text: Option<&str>) -> Arc<Start> {
        (0..before).for_each(|_| drop(Starts::begin(folder, 0)));
        Arc::new(Start {
            starts: Starts::begin(folder, 0),
            folder: folder.to_owned(),
            path: "site.toml".into(),
            text: text.map(str::to_owned),
            clock: Arc::new(FastClock::held(1_780_488_000_000, 1.0)),
        })
    }

    /// Whether a copy is there after so many seconds of a start.
    async fn kept_after(seconds: u64, before: u32, text: Option<&str>) -> bool {
        let folder = tempfile::tempdir().unwrap();
        let (start, stop) = (start(folder.path(), before, text), CancellationToken::new());
        let waiting = last(start, stop);
        let _ = tokio::time::timeout(Duration::from_secs(seconds), waiting).await;
        last_good(folder.path(), "site.toml".as_ref()).is_some()
    }

    #[tokio::test(start_paused = true)]
    async fn a_text_is_kept_as_good_once_it_ran_for_a_minute_with_its_sources() {
        assert!(!kept_after(59, 0, Some(TEXT)).await);
        assert!(kept_after(61, 0, Some(TEXT)).await);
        assert!(!kept_after(359, 2, Some(TEXT)).await, "its sources were off for five minutes");
        assert!(kept_after(361, 2, Some(TEXT)).await);
        assert!(!kept_after(61, 0, None).await, "the copy itself runs");
    }

    #[tokio::test(start_paused = true)]
    async fn u7_the_systems_word_on_the_time_is_told_away_only_while_nobody_vouches() {
        let told = |vouched| {
            let clock = PausedClock::new();
            clock.vouched.store(vouched, Ordering::Relaxed);
            let (sender, mut events) = mpsc::channel(8);
            let mut tell = unasked(clock, sender);
            let denied = || Some("Access denied".to_owned());
            [denied(), denied(), None, None].into_iter().for_each(&mut tell);
            let mut said = Vec::new();
            while let Ok(Event::Away { why, .. }) = events.try_recv() {
                said.push(why);
            }
            said
        };
        assert_eq!(told(false), [Some("the service cannot ask it: Access denied".to_owned()), None]);
        assert_eq!(told(true), []);
    }

    #[test]
    fn a_clean_stop_keeps_the_text_unless_the_sources_were_off() {
        for (before, kept) in [(0, true), (1, true), (2, false)] {
            let folder = tempfile::tempdir().unwrap();
            start(folder.path(), before, Some(TEXT)).ended_well();
            assert_eq!(last_good(folder.path(), "site.toml".as_ref()).is_some(), kept, "{before}");
        }
    }
}
