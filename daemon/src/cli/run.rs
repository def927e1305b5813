//! `glasshour run`: the service, from a site file.

mod needs;
mod site_file;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::signal::unix::{SignalKind, signal};
use tokio_util::sync::CancellationToken;

use self::site_file::Settings;
use super::{Trouble, runtime, start_log};
use crate::clock::{Clock, SystemClock};
use crate::ledger::refuse_newer;
use crate::service::manager::Manager;
use crate::service::starts::Starts;
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
    let declared = site.clock_vouched_by_system.then(|| "the system".to_owned());
    let machine = SystemClock::of_site(declared, site.clock_chip.as_deref());
    let kernel = machine.kernel();
    let clock: Arc<dyn Clock> = Arc::new(machine);
    let start = site.start.clone();
    let opened = service::open_core(&site, book, clock.as_ref(), |known, now_ms| {
        service::settings::start_notes(&start, &known.calendar, now_ms)
    })?;
    let calendar = opened.core.engine().site().calendar.clone();
    let copy = fallen_back.map(|it| it.words(&args.site, &calendar));
    let started_well = copy.is_none();
    let starts = Arc::new(Starts::begin(&site.ledger.folder, clock.monotonic_ms()));
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
        if started_well {
            keep_copy(&site.ledger.folder, &args.site, &text, clock.as_ref());
        }
        let this = Arc::clone(&starts);
        tasks.spawn("start", move |stop| last(this, stop));
        if let Some(manager) = Manager::of_environment() {
            manager.ready();
            let keeper = running.handle.clone();
            tasks.spawn("service manager", |stop| manager.run(keeper, clock, stop));
        }
        tasks
            .spawn_blocking("the kernel's word", move |stop| crate::clock::kernel::ask(&kernel, until(stop)));
        let ended = tasks.join(GRACE).await;
        if ended.is_ok() {
            starts.lasted();
        }
        ended.map_err(|failure| failure.to_string())
    });
    runtime.shutdown_timeout(Duration::from_millis(500));
    done.map_err(Trouble::Failed)
}

/// Keeps the text of a site file from which the service has started well. A disk that refuses it is no reason to stop.
fn keep_copy(folder: &Path, path: &Path, text: &str, clock: &dyn Clock) {
    let now_ms = clock.vouched_by().map(|_| clock.wall_ms());
    if let Err(error) = kept_site::keep(folder, path, text, now_ms) {
        tracing::warn!(%error, "no copy of the site file could be kept");
    }
}

/// Waits until a start has lasted, with its sources.
async fn last(starts: Arc<Starts>, stop: CancellationToken) -> Result<(), String> {
    let rest = if starts.leave_sources_off() { rest::REST } else { Duration::ZERO };
    if stop.run_until_cancelled(tokio::time::sleep(rest + LASTING)).await.is_some() {
        starts.lasted();
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
