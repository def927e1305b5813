//! What it costs to do nearly nothing: twenty series, one reading a minute each, nobody looking at the page.

use std::time::Duration;

use tests::mosquitto::Mosquitto;

use super::Extent;
use super::air::Air;
use super::garden::MINUTE_MS;
use super::http::until_200;
use super::probe::Probe;
use super::proc::{Memory, Used, memory, used};
use super::product::{Installed, PROBES};
use super::stopwatch::{Stopwatch, wall_ms};
use super::table::{Table, mb};

/// Somebody who is published to.
struct Watched {
    who: &'static str,
    design: &'static str,
    pid: u32,
    probes: Vec<Probe>,
    before: Used,
    acknowledged: usize,
}

impl Watched {
    fn new(who: &'static str, design: &'static str, pid: u32, port: u16) -> Self {
        let probes = (0..PROBES).map(|number| Probe::connect(port, &format!("p{number}"))).collect();
        Self { who, design, pid, probes, before: Used::default(), acknowledged: 0 }
    }
}

/// Measures and prints.
pub(crate) fn measure(extent: Extent) {
    let seconds = extent.pick(12, 60);
    let installed = Installed::new(wall_ms());
    let service = installed.start();
    until_200(installed.page, "/");
    let aim = "bare ledger: aim 15 MB, 5.5 measured";
    let mut watched = vec![Watched::new("Glasshour", aim, service.0.id(), installed.door)];
    let broker = Mosquitto::start();
    if let Some(broker) = &broker {
        let pid = broker.pid().expect("it was started a moment ago");
        watched.push(Watched::new("mosquitto, settings as we ship them", "8 MB", pid, broker.port()));
    }
    let measured = feed(&mut watched, seconds);
    let how = format!(
        "{PROBES} probes publish temperature and humidity once a minute, QoS 1, to both at the same moments; measured for {measured:.0} s."
    );
    let mut table = Table::new("At rest: 20 series, a reading a minute each", &how);
    for each in &mut watched {
        let (now, Memory { resident, own, .. }) = (used(each.pid), memory(each.pid));
        let a_minute = 60.0 / measured;
        let memory = format!("{} ({} its own)", mb(resident), mb(own));
        table.row("resident memory", each.who, &memory, each.design);
        let cpu = (now.cpu_ms - each.before.cpu_ms) * a_minute;
        let share = cpu / 600.0;
        table.row("processor time", each.who, &format!("{cpu:.1} ms a minute ({share:.3} % of one)"), "");
        let waits = (now.waits - each.before.waits) as f64 * a_minute;
        table.row("wake-ups", each.who, &format!("{waits:.0} a minute"), "");
        table.row("messages acknowledged", each.who, &each.acknowledged.to_string(), "");
    }
    table.print();
    service.end();
}

/// One round at once, so that every series is there; then each probe once a minute, evenly spread. How long, s.
fn feed(watched: &mut [Watched], seconds: u64) -> f64 {
    let now = wall_ms();
    let mut airs: Vec<Air> = (0..PROBES as u64).map(|number| Air::new(number, now / MINUTE_MS)).collect();
    for (probe, air) in airs.iter_mut().enumerate() {
        publish(watched, probe, air);
    }
    // Whatever starting left to do is done by then.
    std::thread::sleep(Duration::from_secs(3));
    for each in watched.iter_mut() {
        each.before = used(each.pid);
    }
    let watch = Stopwatch::start();
    let step = 60.0 / PROBES as f64;
    let messages = seconds as usize * PROBES / 60;
    for message in 0..messages.max(1) {
        publish(watched, message % PROBES, &mut airs[message % PROBES]);
        let due = (message + 1) as f64 * step;
        std::thread::sleep(Duration::from_secs_f64((due - watch.seconds()).max(0.0)));
    }
    for each in watched.iter_mut() {
        each.acknowledged = each.probes.iter_mut().map(Probe::acknowledged).sum();
    }
    watch.seconds()
}

fn publish(watched: &mut [Watched], probe: usize, air: &mut Air) {
    let (minute, at_ms) = (air.next(), wall_ms());
    for each in watched {
        each.probes[probe].publish(at_ms, minute.t_c, minute.rh_pct);
    }
}
