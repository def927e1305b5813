//! `glasshour run`: the service, from a site file.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use tokio::signal::unix::{SignalKind, signal};
use tokio_util::sync::CancellationToken;

use super::target::read_site;
use super::{Trouble, runtime, start_log};
use crate::clock::{Clock, SystemClock};
use crate::ledger::refuse_newer;
use crate::service;
use crate::sources::bus::until;

/// How long the parts have to stop.
pub(super) const GRACE: Duration = Duration::from_secs(4);

/// Options of `run`.
#[derive(Debug, clap::Args)]
pub(super) struct RunArgs {
    /// The site file.
    #[arg(value_name = "FILE", default_value = "/etc/glasshour/site.toml")]
    site: PathBuf,
}

pub(super) fn run(args: &RunArgs) -> Result<(), Trouble> {
    start_log();
    let (site, book) = read_site(&args.site)?;
    refuse_newer(&site.ledger.folder)?;
    let declared = site.clock_vouched_by_system.then(|| "the system".to_owned());
    let machine = SystemClock::of_site(declared, site.clock_chip.as_deref());
    let kernel = machine.kernel();
    let clock: Arc<dyn Clock> = Arc::new(machine);
    let start = site.start.clone();
    let opened = service::open_core(&site, book, clock.as_ref(), |known, now_ms| {
        service::settings::start_notes(&start, &known.calendar, now_ms)
    })?;
    let runtime = runtime()?;
    let done = runtime.block_on(async {
        let running = service::start(&site, opened, clock).await?;
        println!("http://{}/", running.page);
        if let Some(door) = running.door {
            println!("door {door}");
        }
        let mut tasks = running.tasks;
        tasks.spawn("signals", signals);
        tasks
            .spawn_blocking("the kernel's word", move |stop| crate::clock::kernel::ask(&kernel, until(stop)));
        tasks.join(GRACE).await.map_err(|failure| failure.to_string())
    });
    runtime.shutdown_timeout(Duration::from_millis(500));
    done.map_err(Trouble::Failed)
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
