use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};

use sensor_drivers::simulated::{
    AirCell, Fault, SimulatedBme280, SimulatedBus, SimulatedSht4x, StuckLine, TrueAir,
};
use sensor_drivers::{bme280, sht4x};

use super::*;

/// 1 July 2026, 12:00 UTC (`date -u -d '2026-07-01 12:00' +%s` of GNU coreutils), ms.
const NOON_MS: i64 = 1_782_907_200_000;
const MILD: TrueAir = TrueAir { celsius: 24.0, percent: 60.0, kilopascal: 99.5 };

/// A wall clock that moves only when somebody waits.
struct SetClock(AtomicI64, AtomicBool);

impl Clock for SetClock {
    fn wall_ms(&self) -> i64 {
        self.0.load(Ordering::Relaxed)
    }
    fn monotonic_ms(&self) -> i64 {
        self.wall_ms()
    }
    fn vouched_by(&self) -> Option<String> {
        self.1.load(Ordering::Relaxed).then(|| "the test".to_owned())
    }
}

/// Two instruments on one simulated bus, asked every 30 s.
struct Bench {
    bus: SimulatedBus,
    clock: SetClock,
}

impl Bench {
    fn new() -> Self {
        let bus = SimulatedBus::new();
        let air = AirCell::new(MILD);
        bus.attach(sht4x::ADDRESS, SimulatedSht4x::new(1, air.source()));
        bus.attach(bme280::ADDRESS, SimulatedBme280::new(air.source()));
        Self { bus, clock: SetClock(AtomicI64::new(NOON_MS), AtomicBool::new(true)) }
    }

    fn wired(&self) -> Vec<Wired<ErrorKind>> {
        let (one, other) = (self.bus.clone(), self.bus.clone());
        let (wait, longer) = (self.bus.delay(), self.bus.delay());
        let every = Duration::from_secs(30);
        vec![
            Wired {
                probe: "house".into(),
                every,
                instrument: Box::new(sht4x::Sht4x::new(one, wait, sht4x::ADDRESS)),
            },
            Wired {
                probe: "bed".into(),
                every,
                instrument: Box::new(bme280::Bme280::new(other, longer, bme280::ADDRESS)),
            },
        ]
    }

    /// Runs for so many seconds with a queue of `room`; `script` sees each second since the start before it
    /// passes.
    fn run(&self, seconds: i64, room: usize, mut script: impl FnMut(&Self, i64)) -> Vec<Event> {
        let (events, mut heard) = mpsc::channel(room);
        let wait = |span: Duration| {
            let before = (self.clock.wall_ms() - NOON_MS) / 1000;
            self.clock.0.fetch_add(span.as_millis() as i64, Ordering::Relaxed);
            self.bus.set_time(self.bus.now() + span);
            let after = (self.clock.wall_ms() - NOON_MS) / 1000;
            (before..after).for_each(|second| script(self, second + 1));
            after < seconds
        };
        run_bus("bus 1", self.wired(), events, &self.clock, &Beat::new(&self.clock), wait).unwrap();
        std::iter::from_fn(|| heard.try_recv().ok()).collect()
    }
}

/// Seconds after noon at which a probe's readings are stamped.
fn stamps(events: &[Event], probe: &str) -> Vec<i64> {
    events
        .iter()
        .filter_map(|event| match event {
            Event::Heard { readings, .. } if &*readings[0].probe == probe => {
                Some((readings[0].measured_ms.unwrap() - NOON_MS) / 1000)
            }
            _ => None,
        })
        .collect()
}

fn told(events: &[Event]) -> Vec<(&str, Option<&str>)> {
    events
        .iter()
        .filter_map(|event| match event {
            Event::Away { source, why } => Some((source.as_str(), why.as_deref())),
            _ => None,
        })
        .collect()
}

#[test]
fn every_quantity_of_both_instruments_comes_at_even_times() {
    let events = Bench::new().run(95, 100, |_, _| {});
    assert_eq!(stamps(&events, "house"), [0, 30, 60, 90]);
    assert_eq!(stamps(&events, "bed"), [0, 30, 60, 90]);
    let Some(Event::Heard { readings, .. }) =
        events.iter().rfind(|event| matches!(event, Event::Heard { .. }))
    else {
        panic!("nothing heard");
    };
    let said: Vec<_> = readings.iter().map(|one| (one.quantity, one.value.unwrap())).collect();
    for ((quantity, value), (expected, truth)) in said.into_iter().zip([
        (Quantity::AirTemperature, MILD.celsius),
        (Quantity::RelativeHumidity, MILD.percent),
        (Quantity::Pressure, MILD.kilopascal),
    ]) {
        assert_eq!(quantity, expected);
        assert!((value - truth).abs() < 0.1, "{quantity:?} {value}");
    }
    assert_eq!(told(&events), [("house on bus 1", None), ("bed on bus 1", None)]);
}

#[test]
fn a_pulled_plug_is_told_once_and_its_neighbour_keeps_its_schedule() {
    let events = Bench::new().run(95, 100, |bench, second| match second {
        10 => bench.bus.inject(sht4x::ADDRESS, Fault::Absent),
        40 => bench.bus.heal(sht4x::ADDRESS),
        _ => {}
    });
    assert_eq!(stamps(&events, "bed"), [0, 30, 60, 90]);
    // Asked at 30, 31, 33, 37 and 45: by then it is plugged in again.
    assert_eq!(stamps(&events, "house"), [0, 45, 60, 90]);
    let gone = Some("no answer at 0x44: cable, power, address");
    assert_eq!(
        told(&events),
        [
            ("house on bus 1", None),
            ("bed on bus 1", None),
            ("house on bus 1", gone),
            ("house on bus 1", None)
        ]
    );
}

#[test]
fn one_damaged_word_costs_no_slot_and_is_not_told() {
    let events = Bench::new().run(65, 100, |bench, second| {
        if second == 29 {
            bench.bus.inject(sht4x::ADDRESS, Fault::DamagedOnce);
        }
    });
    assert_eq!(stamps(&events, "house"), [0, 30, 60]);
    assert_eq!(told(&events).len(), 2);
}

#[test]
fn damage_that_lasts_is_told_with_its_kind() {
    let events = Bench::new().run(35, 100, |bench, second| {
        if second == 29 {
            bench.bus.inject(sht4x::ADDRESS, Fault::Damaged);
        }
    });
    let (_, why) = told(&events)[2];
    assert!(why.is_some_and(|why| why.contains("checksum")), "{why:?}");
}

#[test]
fn u4_which_chip_answers_is_told_first_and_when_it_is_another() {
    let events = Bench::new().run(125, 100, |bench, second| match second {
        40 => bench.bus.attach(sht4x::ADDRESS, SimulatedSht4x::new(2, AirCell::new(MILD).source())),
        100 => bench.bus.inject(sht4x::ADDRESS, Fault::DamagedOnce),
        _ => {}
    });
    let chips: Vec<_> = events
        .iter()
        .filter_map(|event| match event {
            Event::Chip { probe, serial } => Some((&**probe, *serial)),
            _ => None,
        })
        .collect();
    // The other instrument has no number.
    assert_eq!(chips, [("house", 1), ("house", 2)]);
    assert_eq!(stamps(&events, "house"), [0, 30, 60, 90, 120], "no slot was lost");
}

#[test]
fn a_stuck_bus_blinds_both_and_both_come_back_when_it_is_free() {
    let events = Bench::new().run(125, 100, |bench, second| match second {
        25 => bench.bus.stick(StuckLine::Data),
        40 => bench.bus.free(),
        _ => {}
    });
    assert_eq!(stamps(&events, "house"), [0, 45, 60, 90, 120]);
    assert_eq!(stamps(&events, "bed"), [0, 45, 60, 90, 120]);
    assert!(told(&events)[2].1.is_some_and(|why| why.starts_with("bus stuck")), "{:?}", told(&events));
}

#[test]
fn a_clock_nobody_vouches_for_stamps_nothing() {
    let bench = Bench::new();
    bench.clock.1.store(false, Ordering::Relaxed);
    let events = bench.run(5, 100, |_, _| {});
    for event in &events {
        if let Event::Heard { readings, arrived_mono_ms, .. } = event {
            assert!(readings.iter().all(|reading| reading.measured_ms.is_none()));
            assert_eq!(*arrived_mono_ms, NOON_MS);
        }
    }
    assert!(events.iter().any(|event| matches!(event, Event::Heard { .. })));
}

#[test]
fn readings_wait_while_the_keeper_takes_none_and_the_oldest_go_first() {
    let (events, mut heard) = mpsc::channel(1);
    let mut outbox = Outbox { events, waiting: VecDeque::new(), dropped: 0 };
    outbox.put(Event::Chip { probe: "house".into(), serial: 7 });
    for arrived_mono_ms in 0..WAITING as i64 + 5 {
        outbox.put(Event::Heard { readings: Vec::new(), arrived_mono_ms, done: None });
    }
    assert_eq!(outbox.dropped, 6);
    let mut seen = Vec::new();
    while outbox.pass_on().is_ok()
        && let Ok(event) = heard.try_recv()
    {
        seen.push(match event {
            Event::Heard { arrived_mono_ms, .. } => arrived_mono_ms,
            Event::Chip { .. } => -1,
            _ => unreachable!("nothing else was put"),
        });
    }
    let told_once = [-1];
    assert_eq!(seen, told_once.into_iter().chain(6..WAITING as i64 + 5).collect::<Vec<_>>());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn the_owner_of_a_bus_stops_when_told() {
    let bench = Bench::new();
    let (events, mut heard) = mpsc::channel(100);
    let wired = bench.wired();
    let mut tasks = crate::supervise::Tasks::new();
    tasks.spawn_blocking("bus", move |stop| {
        run_bus("bus 1", wired, events, &bench.clock, &Beat::new(&bench.clock), until(stop))
    });
    // It lives: both instruments have said that they are here.
    assert!(heard.recv().await.is_some() && heard.recv().await.is_some());
    tasks.stop().cancel();
    assert_eq!(tasks.join(Duration::from_secs(30)).await, Ok(()));
}

#[test]
fn b4_a_cable_that_damages_one_answer_in_ten_is_told_though_no_slot_is_lost() {
    let events = Bench::new().run(2 * 3600 + 60, 1000, |bench, second| {
        if second < 3600 && second % 300 == 29 {
            bench.bus.inject(sht4x::ADDRESS, Fault::DamagedOnce);
        }
    });
    let cables: Vec<_> = events
        .iter()
        .filter_map(|event| match event {
            Event::Cable { probe, damaged_pct } => Some((&**probe, *damaged_pct)),
            _ => None,
        })
        .collect();
    // Twelve damaged words of a hundred and thirty-two: 120 slots, and each damaged one asked for again.
    assert_eq!(cables, [("house", 9), ("house", 0)]);
    assert_eq!(told(&events).len(), 2, "nobody is away");
}

#[test]
fn a_bus_without_instruments_has_its_turns_too() {
    let (clock, (events, _heard)) = (SetClock(NOON_MS.into(), true.into()), mpsc::channel(1));
    let beat = Beat::new(&clock);
    let mut rounds = 0;
    let wait = |span: Duration| {
        clock.0.fetch_add(span.as_millis() as i64, Ordering::Relaxed);
        rounds += 1;
        rounds < 600
    };
    run_bus::<ErrorKind>("bus 1", Vec::new(), events, &clock, &beat, wait).unwrap();
    assert!(beat.since_ms(&clock) <= LOOK_AROUND.as_millis() as i64);
}
