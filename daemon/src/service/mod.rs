//! The whole service put together: every part opened, named, started and joined.

mod feeds;
pub mod kept_site;
pub mod manager;
mod post;
pub mod rest;
pub mod settings;
pub mod starts;
pub mod trial;
mod web;

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng as _;
use sensor_drivers::SharedBus;
use tokio::net::TcpListener;

use self::feeds::{outlook, warnings};
use self::post::Post;
use self::web::Web;
use crate::calendar_out::Desk;
use crate::clock::{Clock, EARLIEST_MS};
use crate::couriers::shelf::Shelf;
use crate::couriers::{notice_topic, runner};
use crate::entry::Note;
use crate::glance::Makeshift;
use crate::keeper::core::{Core, Moment};
use crate::keeper::handle::Handle;
use crate::keeper::start::seed;
use crate::keeper::thread::{Keeper, Setup};
use crate::ledger::{Founding, Ledger, LedgerError};
use crate::mirror::source::FromLedger;
use crate::outward::life_sign::{Alive, LifeSign};
use crate::outward::picture::Picture;
use crate::page::{self, Listening};
use crate::site::Site;
use crate::sources::board::{BoardFiles, run_board};
use crate::sources::bus::{self, Beat, DeviceBus, Wired, run_bus, until};
use crate::sources::door::{Door, DoorLimits};
use crate::sources::mqtt;
use crate::supervise::Tasks;

/// The socket's name in the data folder.
const SOCKET: &str = "socket";

/// A core on its ledger, with the boot's number and the moment it was opened at.
pub struct Opened {
    /// The core.
    pub core: Core,
    /// The boot.
    pub boot: i64,
}

/// Why a core was not opened.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unopened {
    /// The ledger refused.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The site cannot be used; why, in words.
    #[error("{0}")]
    Site(String),
}

/// Opens the ledger of a site and brings the engine to it; an empty ledger is seeded with `start`.
///
/// # Errors
///
/// What the ledger refused, or what is wrong with the site.
pub fn open_core(
    file: &config::site::Site,
    book: agronomy::crop::CropBook,
    clock: &dyn Clock,
    start: impl FnOnce(&Site, i64) -> Vec<(i64, Note)>,
) -> Result<Opened, Unopened> {
    let founding = Founding {
        offset_ms: i64::from(file.site.standard_offset_s) * 1000,
        program: format!("glasshour {}", env!("CARGO_PKG_VERSION")),
    };
    let mut ledger = Ledger::open(&file.ledger.folder, &founding)?;
    if ledger.founding_differs().is_some() {
        tracing::warn!("the site file's standard offset is not the ledger's; the ledger's is used");
    }
    ledger.set_keep_years(file.ledger.keep_years);
    if let Some(machine) = crate::ledger::machine()
        && let Some(entry) = ledger.settle(&machine, clock.wall_ms())?
    {
        tracing::warn!(?entry.note, "the ledger came to another board; what waited is not sent from here");
    }
    let site = settings::site(&file.site, book, ledger.offset_ms()).map_err(Unopened::Site)?;
    let site = Site { usual: settings::usual(file).map_err(Unopened::Site)?, ..site };
    let newest_ms = ledger.newest_commit_ms()?;
    let (shown_ms, mono_ms) = clock.both_ms();
    // A clock that stands before the newest commit is wrong, whoever vouches for it.
    let voucher = clock.vouched_by().filter(|_| newest_ms.is_none_or(|newest| shown_ms >= newest));
    let wall_ms = if voucher.is_some() { shown_ms } else { newest_ms.unwrap_or(EARLIEST_MS) };
    let moment = Moment { wall_ms, mono_ms, trusted: voucher.is_some() };
    let dated = voucher.as_deref().map(|voucher| (moment.wall_ms - moment.mono_ms, voucher));
    let boot = ledger.begin_boot(moment.mono_ms, dated)?;
    let notes = start(&site, moment.wall_ms);
    seed(&mut ledger, boot, moment, &notes)?;
    let core = Core::start(site, ledger, boot, moment, settings::routes(file))?;
    Ok(Opened { core, boot })
}

/// A running service.
pub struct Running {
    /// Its tasks.
    pub tasks: Tasks,
    /// The way to its keeper.
    pub handle: Handle,
    /// Where the page answers.
    pub page: SocketAddr,
    /// Where the door opens.
    pub door: Option<SocketAddr>,
}

/// What a start has to do without.
#[derive(Clone, Debug, Default)]
pub struct Manner {
    /// What every page says of it.
    pub makeshift: Vec<Makeshift>,
    /// The sources are left off for [`rest::REST`].
    pub sources_off: bool,
}

/// Starts everything that a site file names on an opened core.
///
/// # Errors
///
/// In words: what cannot be started, and why. Nothing is left half started: the caller drops the tasks.
pub async fn start(
    file: &config::site::Site,
    opened: Opened,
    clock: Arc<dyn Clock>,
) -> Result<Running, String> {
    start_as(file, opened, clock, Manner::default()).await
}

/// The same, where something must be done without.
///
/// # Errors
///
/// As [`start`].
pub async fn start_as(
    file: &config::site::Site,
    opened: Opened,
    clock: Arc<dyn Clock>,
    manner: Manner,
) -> Result<Running, String> {
    // Boxed: all parts at once would make a large future of whatever starts them.
    Box::pin(start_all(file, opened, clock, manner)).await
}

async fn start_all(
    file: &config::site::Site,
    mut opened: Opened,
    clock: Arc<dyn Clock>,
    manner: Manner,
) -> Result<Running, String> {
    // Only the first call in a process can install it; a second one finds it there.
    let _ = rustls::crypto::ring::default_provider().install_default();
    let mut tasks = Tasks::new();
    let listener = bind(file.page_listen).await?;
    let page = listener.local_addr().map_err(|error| error.to_string())?;
    let crops = opened.core.engine().site().book.crops.values();
    let crops: Vec<(String, String)> = crops.map(|crop| (crop.key.clone(), crop.name.clone())).collect();
    let boot = opened.boot;
    let outbox = |core: &Core| core.ledger().reader().map_err(|error| error.to_string());
    let readers = [outbox(&opened.core)?, outbox(&opened.core)?];
    // Boxed: keys and readers would make the future of the start a large one.
    let post = Box::new(Post::open(file, &opened.core)?);
    let web = Box::new(Web::open(file, &opened.core)?);
    let for_comparing = outbox(&opened.core)?;
    let epoch = opened.core.ledger_mut().epoch().map_err(|error| error.to_string())?;
    let (does_without, makeshift) = tokio::sync::watch::channel(manner.makeshift);
    let setup = Setup {
        core: opened.core,
        boot,
        clock: Arc::clone(&clock),
        commit_every: Duration::from_secs_f64(file.ledger.commit_every_s),
        listening: listening_words(page),
        push_key: web.push.as_ref().map(|(_, vapid, ..)| vapid.public()),
        makeshift: Some(makeshift),
    };
    let (keeper, handle) = Keeper::new(setup);
    // From here on everybody reads the clock as it is believed.
    let clock = keeper.clock();
    let runtime = tokio::runtime::Handle::current();
    tasks.spawn_blocking("keeper", move |stop| keeper.run(&runtime, &stop));
    let desk = Desk::open(&file.ledger.folder, &epoch, clock.wall_ms()).map_err(|error| error.to_string())?;
    let desk = Arc::new(desk);
    let router = page::router(
        handle.clone(),
        Listening::At { address: page, names: own_names(file), met_at: file.page_address.clone() },
        crops.clone(),
        tasks.stop(),
    )
    .layer(axum::Extension(Arc::clone(&desk)));
    tasks.spawn("page", |stop| page::serve(listener, router, stop));
    let socket = file.ledger.folder.join(SOCKET);
    let router = page::router(handle.clone(), Listening::Socket, crops, tasks.stop())
        .merge(crate::mirror::days::router(for_comparing));
    tasks.spawn("socket", |stop| async move { page::serve_unix(&socket, router, stop).await });
    let door = if manner.sources_off {
        rest::sources_later(file, &handle, &clock, does_without, &mut tasks);
        None
    } else {
        sources(file, &handle, &clock, &mut tasks).await?
    };
    let signs = outward(file, &handle, &clock, &mut tasks)?;
    post.start(&handle, &clock, &epoch, &desk, file.page_address.as_ref(), &mut tasks)?;
    web.start(&handle, &clock, &epoch, &mut tasks)?;
    couriers(file, &handle, &clock, Kept { readers, boot, epoch, signs }, &mut tasks)?;
    Ok(Running { tasks, handle, page, door })
}

async fn bind(address: SocketAddr) -> Result<TcpListener, String> {
    TcpListener::bind(address).await.map_err(|error| format!("listening on {address}: {error}"))
}

/// The names under which phones at home may know the board.
fn own_names(file: &config::site::Site) -> Vec<String> {
    let name = std::fs::read_to_string("/etc/hostname").unwrap_or_default().trim().to_owned();
    let mut names = if name.is_empty() { Vec::new() } else { vec![format!("{name}.local"), name] };
    let address: Option<axum::http::Uri> = file.page_address.as_ref().and_then(|it| it.parse().ok());
    names.extend(address.as_ref().and_then(|it| it.host()).map(str::to_owned));
    names
}

fn listening_words(page: SocketAddr) -> String {
    if page.ip().is_loopback() {
        format!("The page answers on {page}, to this board only")
    } else {
        format!("The page answers on {page}, to everybody in the network: there is no pairing yet")
    }
}

async fn sources(
    file: &config::site::Site,
    handle: &Handle,
    clock: &Arc<dyn Clock>,
    tasks: &mut Tasks,
) -> Result<Option<SocketAddr>, String> {
    if let (Some(broker), Some(settings)) = (&file.broker, settings::broker(file)?) {
        let rules = settings::rules(&broker.topics);
        let (events, clock) = (handle.events.clone(), Arc::clone(clock));
        tasks.spawn("broker", |stop| mqtt::run(settings, rules, events, clock, stop));
    }
    outlook(file, handle, clock, tasks)?;
    for line in &file.buses {
        let shared = SharedBus::new(DeviceBus::new(&line.device));
        let wired = line.instruments.iter().map(|it| wire(it, &shared)).collect();
        let (events, clock) = (handle.events.clone(), Arc::clone(clock));
        let name = line.device.display().to_string();
        let beat = Beat::new(clock.as_ref());
        let looked_at = (name.clone(), Arc::clone(&beat), handle.events.clone(), Arc::clone(&clock));
        tasks.spawn("bus watch", move |stop| {
            let (name, beat, events, clock) = looked_at;
            bus::watch(name, beat, events, clock, stop)
        });
        let run = move |stop| run_bus(&name, wired, events, clock.as_ref(), &beat, until(stop));
        tasks.spawn_blocking("bus", run);
    }
    warnings(file, handle, clock, tasks)?;
    if let Some(board) = file.board {
        let files = BoardFiles { sys: PathBuf::from("/sys"), folder: file.ledger.folder.clone() };
        let every = Duration::from_secs_f64(board.every_s);
        let (events, clock) = (handle.events.clone(), Arc::clone(clock));
        let run = move |stop| run_board(&files, every, &events, clock.as_ref(), until(stop));
        tasks.spawn_blocking("board", run);
    }
    let Some(door) = &file.door else { return Ok(None) };
    let listener = bind(door.listen).await?;
    let address = listener.local_addr().map_err(|error| error.to_string())?;
    let rules = settings::rules(&door.topics);
    let door = Door::new(listener, rules, settings::door_passwords(door), DoorLimits::default())
        .map_err(|fault| fault.to_string())?;
    let (events, clock) = (handle.events.clone(), Arc::clone(clock));
    tasks.spawn("door", |stop| door.run(events, clock, stop));
    Ok(Some(address))
}

/// An instrument of the site file with its driver on the bus.
fn wire(
    instrument: &config::site::Instrument,
    bus: &SharedBus<DeviceBus>,
) -> Wired<<DeviceBus as embedded_hal::i2c::ErrorType>::Error> {
    use config::site::InstrumentKind;
    use linux_embedded_hal::Delay;
    use sensor_drivers::{bme280::Bme280, sht4x::Sht4x};
    let address = instrument.address;
    Wired {
        probe: instrument.probe.as_str().into(),
        every: Duration::from_secs_f64(instrument.every_s),
        instrument: match instrument.kind {
            InstrumentKind::Sht4x => Box::new(Sht4x::new(bus.clone(), Delay, address)),
            InstrumentKind::Bme280 => Box::new(Bme280::new(bus.clone(), Delay, address)),
        },
    }
}

/// Starts what goes out by itself besides notices; the signs of the keeper's life come back.
fn outward(
    file: &config::site::Site,
    handle: &Handle,
    clock: &Arc<dyn Clock>,
    tasks: &mut Tasks,
) -> Result<Signs, String> {
    let url = file.life_sign.as_ref().map(|it| (it.url.clone(), it.ca.clone()));
    let wanted = url.is_some() || file.mqtt_notices.is_some();
    let (life, signs) =
        LifeSign::new(url, handle.clone(), Arc::clone(clock)).map_err(|error| error.to_string())?;
    if wanted {
        tasks.spawn("life sign", |stop| life.run(stop));
    }
    if let Some(settings) = settings::picture(file)? {
        let picture = Picture::new(settings, page::picture, handle.clone(), Arc::clone(clock))
            .map_err(|error| error.to_string())?;
        tasks.spawn("picture", |stop| picture.run(stop));
    }
    Ok(signs)
}

/// The signs of the keeper's life.
type Signs = tokio::sync::watch::Receiver<Option<Alive>>;

/// What couriers and mirror know of the ledger and the data folder.
struct Kept {
    readers: [crate::ledger::Reader; 2],
    boot: i64,
    epoch: String,
    signs: Signs,
}

fn couriers(
    file: &config::site::Site,
    handle: &Handle,
    clock: &Arc<dyn Clock>,
    Kept { readers, boot, epoch, signs }: Kept,
    tasks: &mut Tasks,
) -> Result<(), String> {
    let [for_mqtt, for_mirror] = readers;
    if let Some(settings) = settings::notices(file)? {
        let (courier, connection) = notice_topic::open(settings, epoch, signs);
        let (handle, clock) = (handle.clone(), Arc::clone(clock));
        tasks.spawn("notices on the broker", |stop| connection.run(stop));
        tasks.spawn("mqtt courier", |stop| runner::run(courier, Shelf::new(for_mqtt), handle, clock, stop));
    }
    if let Some(settings) = settings::mirror(file)? {
        let (remote, pipe) =
            crate::mirror::server::Remote::new(&settings).map_err(|error| error.to_string())?;
        if let Some(pipe) = pipe {
            tasks.spawn("the mirror's encrypted way", |stop| async move {
                tokio::select! { ended = pipe.run() => ended, () = stop.cancelled() => Ok(()) }
            });
        }
        let source = FromLedger::new(for_mirror, boot);
        let (handle, clock) = (handle.clone(), Arc::clone(clock));
        let mut odds = Pcg32::new(clock.wall_ms().unsigned_abs(), 1);
        let jitter = move || f64::from(odds.next_u32()) / f64::from(u32::MAX);
        tasks.spawn("mirror", |stop| crate::mirror::copy::run(source, remote, handle, clock, jitter, stop));
    }
    Ok(())
}

/// Where a service with this data folder answers the command line.
pub fn socket(folder: &Path) -> PathBuf {
    folder.join(SOCKET)
}
