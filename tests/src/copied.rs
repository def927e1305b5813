//! A ledger with something of everything in it, and its mirror as a task.

use std::sync::Arc;
use std::time::Duration;

use agronomy::quantity::Quantity;
use glasshour::almanac::day_page::DayPage;
use glasshour::almanac::pages::Made;
use glasshour::clock::FastClock;
use glasshour::entry::Note;
use glasshour::glance::MirrorGlance;
use glasshour::keeper::event::Event;
use glasshour::ledger::{Commit, Founding, Ledger, NewNote, PageRow, Reader};
use glasshour::mirror::copy;
use glasshour::mirror::server::{LIMITS, Remote, Settings};
use glasshour::mirror::source::FromLedger;
use glasshour::reading::{Reading, Reason};
use glasshour::supervise::Tasks;

use crate::stand_in::{StandIn, step};

/// A summer that is over: one of the databases throws away what lies days ahead. 2024-07-02T00:00:00Z, a Tuesday.
pub const START_MS: i64 = 1_719_878_400_000;
/// That day, counted from 1970.
pub const START_DAY: i64 = 19_906;

/// A ledger of one boot, in memory.
///
/// # Panics
///
/// When there is no memory for it.
pub fn ledger() -> (Ledger, i64) {
    let founding = Founding { offset_ms: 0, program: "test".to_owned() };
    let mut ledger = Ledger::in_memory(&founding).expect("a ledger in memory");
    let boot = ledger.begin_boot(0, Some((0, "test"))).expect("a boot");
    (ledger, boot)
}

/// Commits readings.
///
/// # Panics
///
/// When the ledger refuses.
pub fn put(ledger: &mut Ledger, boot: i64, wall_ms: i64, readings: &[Reading]) {
    ledger.commit(&Commit { readings, ..Commit::empty(boot, wall_ms, wall_ms) }).expect("a commit");
}

/// One commit a minute: four probes' temperature and humidity, in the decimals that instruments give.
pub fn minute(number: i64) -> Vec<Reading> {
    let reading = |probe: i64, quantity, value| Reading {
        probe: format!("bench-{probe}").into(),
        quantity,
        value,
        at_ms: START_MS + number * 60_000 + probe,
        reason: if number % 50 == 0 { Reason::SameTimeOtherValue } else { Reason::None },
    };
    let probe = |probe| {
        let hundredths = (number * 37 + probe * 11) % 4500;
        [
            reading(probe, Quantity::AirTemperature, (hundredths - 300) as f64 / 100.0),
            reading(probe, Quantity::RelativeHumidity, (hundredths % 1000) as f64 / 10.0),
        ]
    };
    (1..=4).flat_map(probe).collect()
}

/// Commits the day page of a place with this highest temperature (°C), and the page of no planting.
///
/// # Panics
///
/// When the ledger refuses.
pub fn put_page(ledger: &mut Ledger, boot: i64, day: i64, t_max_c: f64) {
    let place = DayPage { measured_share: 0.75, t_max_c: Some(t_max_c), ..DayPage::default() };
    let body = serde_json::to_string(&Made { place, plantings: vec![] }).expect("JSON");
    let pages = [PageRow { subject: "house", day, edition: "7+3", body: &body }];
    ledger.commit(&Commit { pages: &pages, ..Commit::empty(boot, START_MS, 1) }).expect("a commit");
}

/// Commits a step of a notice whose words would like to be a line of their own.
///
/// # Panics
///
/// When the ledger refuses.
pub fn put_step(ledger: &mut Ledger, boot: i64) {
    let mut step =
        step("2024-07-02.house.too-hot~2", 2, "Open \"the\" door\nforged,a=b value=1 ", "At 36.1 \\");
    step.at_ms = START_MS + 7;
    let notes = [NewNote { at_ms: START_MS, from_ms: START_MS, note: Note::Step(step) }];
    ledger.commit(&Commit { notes: &notes, ..Commit::empty(boot, START_MS, 1) }).expect("a commit");
}

/// The settings of a mirror there.
pub fn settings(url: String) -> Settings {
    Settings {
        url,
        org: "garden".to_owned(),
        bucket: "glasshour".to_owned(),
        token: "not asked for here".to_owned(),
        authority: None,
        limits: LIMITS,
    }
}

/// A mirror that runs.
pub struct Running {
    tasks: Tasks,
    /// The keeper's chair.
    pub keeper: StandIn,
    /// How it stood when that was last told.
    pub standing: MirrorGlance,
    /// Cursors that were to be kept, in order.
    pub cursors: Vec<(String, i64)>,
}

impl Running {
    /// From the beginning of this ledger.
    ///
    /// # Panics
    ///
    /// When its settings cannot be used.
    pub fn start(settings: &Settings, reader: Reader, boot: i64) -> Self {
        let clock = Arc::new(FastClock::new(START_MS, 100.0));
        let keeper = StandIn::new(vec![], clock.clone());
        let (remote, pipe) = Remote::new(settings).expect("settings that can be used");
        let mut tasks = Tasks::new();
        if let Some(pipe) = pipe {
            tasks.spawn("pipe", |stop| async move {
                tokio::select! { ended = pipe.run() => ended, () = stop.cancelled() => Ok(()) }
            });
        }
        let (source, handle) = (FromLedger::new(reader, boot), keeper.handle.clone());
        tasks.spawn("mirror", |stop| copy::run(source, remote, handle, clock, || 1.0, stop));
        Self { tasks, keeper, standing: MirrorGlance::default(), cursors: Vec::new() }
    }

    /// Waits until the other side has every batch; steps and pages may follow.
    ///
    /// # Panics
    ///
    /// When something else happens.
    pub async fn has_everything(&mut self) {
        loop {
            let Event::Mirrored { cursors, standing } = self.keeper.next().await else {
                panic!("not from the mirror")
            };
            self.standing = standing;
            self.cursors.extend(cursors);
            if self.standing.behind == 0 && !self.standing.filling_in {
                return;
            }
        }
    }

    /// Stops it.
    ///
    /// # Panics
    ///
    /// When it does not stop.
    pub async fn end(self) {
        self.tasks.stop().cancel();
        self.tasks.join(Duration::from_secs(5)).await.expect("it stops");
    }
}
