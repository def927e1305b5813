//! `glasshour demo`: the whole service on an invented garden, with nothing to set up.
//!
//! The weather and the garden are simulated; everything from the instruments on is the product: drivers on a
//! bus that behaves at register level, probes that publish over real MQTT to the door, keeper, ledger, almanac,
//! minders, page. First a season of history in seconds, then a heat wave on a clock that runs faster.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::sync::Arc;
use std::time::Duration;

use chrono::Timelike as _;
use config::zone::Zones;
use embedded_hal::i2c::ErrorType;
use sensor_drivers::bme280::{self, Bme280};
use sensor_drivers::sht4x::{self, Sht4x};
use sensor_drivers::simulated::SimulatedBus;
use tokio_util::sync::CancellationToken;

use super::run::{GRACE, signals};
use super::{Trouble, runtime};
use crate::calendar::Calendar;
use crate::clock::{Clock, FastClock};
use crate::couriers::route::Route;
use crate::demo::story::{Act, acts, narrate};
use crate::demo::{World, history, probes, site, weather};
use crate::entry::{Note, Turn};
use crate::keeper::core::{Core, Message, Moment};
use crate::keeper::handle::Handle;
use crate::service::{self, Opened};
use crate::sources::bus::{Beat, Wired, run_bus, until};
use crate::supervise::Outcome;

/// Readings of so many moments go into one commit while the history is made.
const HISTORY_STEPS: usize = 288;

/// How long the probes may take to connect before the story begins without them, real time.
const TO_CONNECT: Duration = Duration::from_secs(20);

/// Options of `demo`.
#[derive(Debug, clap::Args)]
pub(super) struct DemoArgs {
    /// How many times faster than a real clock the story runs, as far as the board keeps up.
    #[arg(long, default_value_t = 1800.0, value_parser = speed)]
    speed: f64,
    /// Where the page answers on this board; 0 takes any free port.
    #[arg(long, default_value_t = 0)]
    port: u16,
    /// Stop when the story is over, rather than going on.
    #[arg(long)]
    stop_after_story: bool,
    /// Another number, other weather.
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

fn speed(text: &str) -> Result<f64, String> {
    let speed: f64 = text.parse().map_err(|_| "write a number from 1 to 20000".to_owned())?;
    if (1.0..=20_000.0).contains(&speed) {
        Ok(speed)
    } else {
        Err("write a number from 1 to 20000".to_owned())
    }
}

pub(super) fn run(args: &DemoArgs) -> Result<(), Trouble> {
    let world = Arc::new(World::new(args.seed, site::DEFAULT_START_MS));
    let folder = tempfile::Builder::new().prefix("glasshour-demo-").tempdir()?;
    let text = site_file(folder.path(), args.port);
    let book = super::target::crop_book()?;
    let file = config::read_site(&text, &book, &Zones::system())
        .map_err(|faults| Trouble::Failed(faults.to_string()))?;
    println!("{}, invented: a house and two beds. Making its season …", site::NAME);
    let runtime = runtime()?;
    let done = runtime.block_on(async {
        let made = tokio::select! {
            made = history(&world, &file, book.clone()) => made?,
            stopped = signals(CancellationToken::new()) => return stopped,
        };
        // What was made is an earlier run's, with a clock of its own; from here on another one runs.
        drop(made);
        let clock = Arc::new(FastClock::held(world.start_ms(), args.speed));
        let opened = service::open_core(&file, book, clock.as_ref(), |_, _| Vec::new())
            .map_err(|error| error.to_string())?;
        Box::pin(live(args, &file, opened, world, clock)).await
    });
    runtime.shutdown_timeout(Duration::from_millis(500));
    done.map_err(Trouble::Failed)
}

/// The demo's site file, as a grower would write it.
fn site_file(folder: &std::path::Path, port: u16) -> String {
    let mut text = format!(
        "[site]\nname = {:?}\nlatitude = {:.1}\nlongitude = {:.1}\naltitude_m = {:.1}\nstandard_offset = \"+01:00\"\n\n\
         [clock]\nvouched_by = \"system\"\n\n[ledger]\nfolder = {:?}\ncommit_every_s = 60\n\n\
         [page]\nlisten = \"127.0.0.1:{port}\"\n\n[door]\nlisten = \"127.0.0.1:0\"\n",
        site::NAME,
        weather::LATITUDE,
        weather::LONGITUDE,
        weather::ALTITUDE_M,
        folder.display().to_string(),
    );
    for probe in site::BED_PROBES {
        let _ = write!(
            text,
            "\n[[door.topic]]\nfilter = {:?}\nprobe = {:?}\nusual_interval_s = {}\ntime = {{ pointer = {:?}, format = \"rfc3339\" }}\n\
             fields.air_temperature = {{ pointer = {:?}, unit = \"°C\" }}\nfields.relative_humidity = {{ pointer = {:?}, unit = \"%\" }}\n",
            probe.topic,
            probe.probe,
            site::INTERVAL_S,
            site::TIME_POINTER,
            site::TEMPERATURE_POINTER,
            site::HUMIDITY_POINTER,
        );
    }
    text
}

/// Makes the season: the same core as in life, driven by the moments of the history.
///
/// It lets go of its thread now and then, so that a signal ends it like everything else.
async fn history(
    world: &World,
    file: &config::site::Site,
    book: agronomy::crop::CropBook,
) -> Result<Core, String> {
    let failed = |error: crate::ledger::LedgerError| error.to_string();
    let clock = FastClock::new(world.season_start_ms(), 1.0);
    let opened =
        service::open_core(file, book, &clock, |_, _| Vec::new()).map_err(|error| error.to_string())?;
    let Opened { mut core, boot } = opened;
    let moment =
        |at_ms: i64| Moment { wall_ms: at_ms, mono_ms: at_ms - world.season_start_ms(), trusted: true };
    let mut notes = world.season_notes().peekable();
    for (step, (at_ms, readings)) in history::readings(world).enumerate() {
        while let Some((noted_ms, note)) = notes.next_if(|(noted_ms, _)| *noted_ms <= at_ms) {
            core.note(moment(*noted_ms), note.clone(), Some(*noted_ms)).map_err(|error| error.to_string())?;
        }
        core.hear(moment(at_ms), &[Message { readings, arrived_ms: at_ms }]);
        if step % HISTORY_STEPS == 0 {
            core.flush(moment(at_ms)).map_err(failed)?;
            tokio::task::yield_now().await;
        }
    }
    let end = moment(world.start_ms());
    core.flush(end).map_err(failed)?;
    core.snapshot(end, boot).map_err(failed)?;
    Ok(core)
}

async fn live(
    args: &DemoArgs,
    file: &config::site::Site,
    opened: Opened,
    world: Arc<World>,
    held: Arc<FastClock>,
) -> Result<(), String> {
    let clock: Arc<dyn Clock> = Arc::clone(&held) as Arc<dyn Clock>;
    let running = service::start(file, opened, Arc::clone(&clock)).await?;
    let door = running.door.ok_or("the demo's door did not open")?;
    println!("http://{}/", running.page);
    println!("The page answers on this board only; {} times faster than life. Ctrl-C ends it.", args.speed);
    let (handle, mut tasks) = (running.handle, running.tasks);
    tasks.spawn("signals", signals);
    let wait = || held.waits(probes::late_ms(world.start_ms()));
    let bus = probes::bus(&world, &clock, [wait(), wait()]);
    let (events, bus_clock) = (handle.events.clone(), Arc::clone(&clock));
    tasks.spawn_blocking("simulated bus", move |stop| {
        let beat = Beat::new(bus_clock.as_ref());
        run_bus("bus in the house", instruments(&bus), events, bus_clock.as_ref(), &beat, until(stop))
    });
    let (beds_world, beds_clock) = (Arc::clone(&world), Arc::clone(&clock));
    let until = [wait(), wait()];
    tasks.spawn("bed probes", move |stop| probes::publish_beds(door, beds_world, beds_clock, until, stop));
    let stop = tasks.stop();
    tokio::select! {
        () = stop.cancelled() => {}
        () = all_heard(&handle, world.start_ms()) => {}
    }
    held.go();
    let stop_after = args.stop_after_story;
    let teller = handle.clone();
    tasks.spawn("story", move |stop| story(world, clock, handle, stop_after, stop));
    let phone = phone(file);
    tasks.spawn("teller", |stop| tell(teller, phone, stop));
    tasks.join(GRACE).await.map_err(|failure| failure.to_string())
}

/// Waits until the beds were heard at the story's first moment, or for [`TO_CONNECT`]: a clock that ran while they
/// connect would have them silent for an hour, and the first thing on the page would be a false alarm.
async fn all_heard(handle: &Handle, start_ms: i64) {
    let heard = async {
        loop {
            // What is asked for is answered from what was stored, so this acknowledges the first messages too.
            let _ = handle.export().await;
            let glance = handle.now();
            let speaks = |bed: &site::BedProbe| {
                let heard = glance.places.iter().find(|it| it.place == bed.place)?.heard_ms?;
                (heard >= start_ms).then_some(())
            };
            if site::BED_PROBES.iter().all(|bed| speaks(bed).is_some()) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    };
    if tokio::time::timeout(TO_CONNECT, heard).await.is_err() {
        tracing::warn!("the bed probes have not connected yet");
    }
}

fn instruments(bus: &SimulatedBus) -> Vec<Wired<<SimulatedBus as ErrorType>::Error>> {
    let every = Duration::from_secs(u64::from(site::INTERVAL_S));
    vec![
        Wired {
            probe: site::POST.into(),
            every,
            instrument: Box::new(Sht4x::new(bus.clone(), bus.delay(), sht4x::ADDRESS)),
        },
        Wired {
            probe: site::RIDGE.into(),
            every,
            instrument: Box::new(Bme280::new(bus.clone(), bus.delay(), bme280::ADDRESS)),
        },
    ]
}

/// Lets the story happen: what the grower notes is noted, and every act is told on the terminal.
async fn story(
    world: Arc<World>,
    clock: Arc<dyn Clock>,
    handle: Handle,
    stop_after: bool,
    stop: CancellationToken,
) -> Outcome {
    for (at_ms, act) in acts(&world) {
        loop {
            let left = at_ms - clock.wall_ms();
            if left <= 0 {
                break;
            }
            let span = clock.real(Duration::from_millis(left as u64)).max(Duration::from_millis(1));
            if stop.run_until_cancelled(tokio::time::sleep(span)).await.is_none() {
                return Ok(());
            }
        }
        println!("{}", narrate(at_ms, &act));
        match &act {
            Act::Note(note) => say_refusal(handle.note(note.clone(), Some(at_ms)).await),
            Act::OnIt { minder, place } => {
                let glance = handle.now();
                let meant = glance.open.iter().filter(|notice| {
                    notice.minder == *minder && place.is_none_or(|place| notice.place == place)
                });
                for notice in meant {
                    let reply = Note::Reply { notice: notice.id.clone(), on_it: true, until_ms: None };
                    say_refusal(handle.note(reply, None).await);
                }
            }
            _ => {}
        }
    }
    if stop_after {
        return Ok(());
    }
    stop.cancelled().await;
    Ok(())
}

fn say_refusal(noted: Result<i64, String>) {
    if let Err(why) = noted {
        println!("  (not noted: {why})");
    }
}

/// The way to a phone that anybody would set up, with the site file's quiet hours: the demo has none.
fn phone(file: &config::site::Site) -> Route {
    let quiet = Some((file.quiet.from.hour(), file.quiet.to.hour()));
    Route { courier: "phone".to_owned(), pushes_only: true, quiet, ..Route::default() }
}

/// Tells every step of every notice on the terminal.
async fn tell(mut handle: Handle, phone: Route, stop: CancellationToken) -> Outcome {
    let mut told: BTreeSet<(String, u32)> = BTreeSet::new();
    let seen = move |glance: &crate::glance::Glance| -> Vec<(i64, String, u32, String)> {
        let notices = glance.open.iter().chain(&glance.closed_lately);
        notices
            .flat_map(|notice| &notice.steps)
            .map(|step| (step.at_ms, step.notice.clone(), step.number, line(glance, step, &phone)))
            .collect()
    };
    told.extend(seen(&handle.now()).into_iter().map(|(_, notice, number, _)| (notice, number)));
    loop {
        tokio::select! {
            () = stop.cancelled() => return Ok(()),
            changed = handle.glance.changed() => if changed.is_err() { return Ok(()) },
        }
        let mut steps = seen(&handle.now());
        steps.sort();
        for (_, notice, number, line) in steps {
            if told.insert((notice, number)) {
                println!("{line}");
            }
        }
    }
}

/// What a phone would do about a step then, in words that end a list.
fn buzzes(step: &crate::entry::Step, phone: &Route, calendar: &Calendar) -> String {
    match phone.when(step, calendar) {
        Some((due_ms, _)) if due_ms > step.at_ms => {
            format!(", quiet hours: held until {}", calendar.clock(due_ms))
        }
        Some(_) => ", would buzz the phone".to_owned(),
        None if step.held => ", enough has buzzed today: in the evening's digest".to_owned(),
        None => String::new(),
    }
}

fn line(glance: &crate::glance::Glance, step: &crate::entry::Step, phone: &Route) -> String {
    let calendar = Calendar::fixed(i64::from(glance.civil_offset_s) * 1000);
    let turn = match step.turn {
        Turn::Opened => "opens",
        Turn::Worsened => "worsens",
        Turn::Eased => "eases",
        Turn::Again => "still stands",
        Turn::Closed => "closes",
    };
    let buzzes = buzzes(step, phone, &calendar);
    let place = glance.places.iter().find(|place| place.place == step.place);
    let place = place.map_or(step.place.as_str(), |place| place.name.as_str());
    let colon = if place.is_empty() { "" } else { ": " };
    format!(
        "{}  notice {turn}: {place}{colon}{} ({}, {}{buzzes})",
        calendar.civil_format(step.at_ms, "%a %H:%M"),
        step.title,
        step.minder,
        step.severity.as_str()
    )
}

#[cfg(test)]
mod tests {
    use agronomy::crop::Severity;

    use super::*;
    use crate::entry::fixtures;

    #[test]
    fn the_story_says_of_each_step_what_a_phone_would_do_then() {
        let book = config::crop_book().unwrap();
        let text = site_file(std::path::Path::new("/tmp/demo"), 0);
        let phone = phone(&config::read_site(&text, &book, &Zones::system()).unwrap());
        // 2 July 2031, 00:00 UTC.
        let (day_ms, hour_ms) = (1_940_716_800_000, 3_600_000);
        let said = |hour: i64, severity, turn, (push, held)| {
            let step = fixtures::step(day_ms + hour * hour_ms, severity, "");
            buzzes(&crate::entry::Step { turn, push, held, ..step }, &phone, &Calendar::fixed(0))
        };
        let buzz = ", would buzz the phone";
        assert!(said(12, Severity::Moderate, Turn::Opened, (true, false)) == buzz);
        let night = said(0, Severity::Severe, Turn::Closed, (true, false));
        assert!(night.ends_with("held until 05:00"), "{night}");
        assert!(said(0, Severity::Severe, Turn::Opened, (true, false)) == buzz);
        let late = said(15, Severity::Moderate, Turn::Opened, (false, true));
        assert!(late.ends_with("in the evening's digest"), "{late}");
        assert!(said(15, Severity::Moderate, Turn::Opened, (false, false)).is_empty());
    }
}
