//! Instruments on the board's own I2C buses.
//!
//! One owner for each bus, on a thread of its own since the bus blocks; nobody else touches it. The owner asks
//! each instrument at its turn. One that does not answer is asked again after 1 s, doubling to 60 s, while its
//! neighbours keep their schedule. A damaged word is asked for once more in the same slot.
//!
//! Nobody acknowledges a bus reading, so while the keeper takes none they wait here; past a thousand the oldest
//! is dropped and counted. What is told besides is not dropped for a reading.

mod beat;
mod cable;
mod device;
mod turn;

use std::collections::VecDeque;
use std::fmt::Display;
use std::time::Duration;

use agronomy::quantity::Quantity;
use embedded_hal::i2c::{Error, ErrorKind};
use sensor_drivers::{Instrument, Kind, Measured, ReadError};
use tokio::sync::mpsc::{self, error::TrySendError};
use tokio_util::sync::CancellationToken;

pub use self::beat::{Beat, watch};
use self::cable::Cable;
pub use self::device::{DeviceBus, DeviceError};
use self::turn::Turn;
use super::told::Told;
use crate::clock::Clock;
use crate::keeper::event::Event;
use crate::reading::{Heard, ProbeName};
use crate::supervise::Outcome;

/// An instrument as it hangs on a bus.
pub struct Wired<E> {
    /// Whose readings they are.
    pub probe: ProbeName,
    /// How often to ask it; whole seconds, at least one.
    pub every: Duration,
    /// The instrument, with its handle of the bus.
    pub instrument: Box<dyn Instrument<BusError = E> + Send>,
}

/// The longest the owner waits before it looks around.
const LOOK_AROUND: Duration = Duration::from_secs(1);

/// Owns the bus called `bus` and asks its instruments. Blocks until `wait` says to stop.
///
/// `wait` waits so long and says whether to go on: [`until`] in the daemon, a simulated clock in tests.
///
/// # Errors
///
/// None: an instrument that fails is told as [`Event::Away`] and asked again.
pub fn run_bus<E: Error + Display>(
    bus: &str,
    instruments: Vec<Wired<E>>,
    events: mpsc::Sender<Event>,
    clock: &dyn Clock,
    beat: &Beat,
    mut wait: impl FnMut(Duration) -> bool,
) -> Outcome {
    let now_ms = clock.wall_ms();
    let mut seats: Vec<_> = instruments.into_iter().map(|wired| Seat::new(bus, wired, now_ms)).collect();
    let mut outbox = Outbox { events, waiting: VecDeque::new(), dropped: 0 };
    loop {
        let mut stuck = false;
        for seat in &mut seats {
            beat.turn(clock);
            stuck |= seat.ask_if_due(clock, &mut outbox);
        }
        beat.turn(clock);
        if stuck {
            // Freeing the line may have written anything into any chip.
            for seat in &mut seats {
                seat.wired.instrument.start_anew();
            }
        }
        if outbox.pass_on().is_err() {
            return Ok(());
        }
        let due_ms = seats.iter().map(|seat| seat.turn.due_ms() - clock.wall_ms()).min();
        let span = due_ms.map_or(LOOK_AROUND, |ms| Duration::from_millis(ms.max(1) as u64));
        if !wait(clock.real(span.min(LOOK_AROUND))) {
            return Ok(());
        }
    }
}

/// Waits until told to stop; for a thread of the runtime that may block.
pub fn until(stop: CancellationToken) -> impl FnMut(Duration) -> bool {
    let runtime = tokio::runtime::Handle::current();
    move |span| runtime.block_on(tokio::time::timeout(span, stop.cancelled())).is_err()
}

/// Asks an instrument once, and once more where its answer was damaged: for `check`.
///
/// # Errors
///
/// Why there is no reading, and where to look.
pub fn ask_once<E: Error + Display>(wired: &mut Wired<E>) -> Result<(), String> {
    let answer = match wired.instrument.read() {
        Err(ReadError::Checksum { .. } | ReadError::Unsteady { .. }) => wired.instrument.read(),
        answer => answer,
    };
    answer.map(drop).map_err(|error| words(&error))
}

/// One instrument with its schedule.
struct Seat<E> {
    wired: Wired<E>,
    turn: Turn,
    told: Told,
    cable: Cable,
    /// The chip that answered last, by its number.
    chip: Option<u32>,
}

impl<E: Error + Display> Seat<E> {
    fn new(bus: &str, wired: Wired<E>, now_ms: i64) -> Self {
        let told = Told::nothing(format!("{} on {bus}", wired.probe));
        let turn = Turn::new(wired.every, now_ms);
        Self { wired, turn, told, cable: Cable::default(), chip: None }
    }

    /// Asks it if it is its turn; says whether the bus is stuck.
    fn ask_if_due(&mut self, clock: &dyn Clock, outbox: &mut Outbox) -> bool {
        let Some(stamp_ms) = self.turn.stamp(clock.wall_ms()) else { return false };
        let arrived_mono_ms = clock.monotonic_ms();
        let answer = self.ask(clock, outbox);
        let now_ms = clock.wall_ms();
        let why = match &answer {
            Ok(_) => None,
            Err(error) => Some(words(error)),
        };
        if let Some(event) = self.told.news(why) {
            outbox.put(event);
        }
        match answer {
            Ok(measured) => {
                self.turn.went_well(stamp_ms, now_ms);
                let chip = self.wired.instrument.serial_number();
                if let Some(serial) = chip.filter(|_| chip != self.chip) {
                    outbox.put(Event::Chip { probe: self.wired.probe.clone(), serial });
                }
                self.chip = chip;
                // A clock that nobody vouches for stamps nothing; the keeper dates by arrival.
                let measured_ms = clock.vouched_by().map(|_| stamp_ms);
                let readings = measured.into_iter().filter_map(|one| self.heard(one, measured_ms)).collect();
                outbox.put(Event::Heard { readings, arrived_mono_ms, done: None });
                false
            }
            Err(error) => {
                self.turn.went_wrong(now_ms);
                matches!(&error, ReadError::Bus { cause, .. } if is_stuck(cause))
            }
        }
    }

    /// Asks, and once more where the answer was damaged; counts both.
    fn ask(&mut self, clock: &dyn Clock, outbox: &mut Outbox) -> Result<Vec<Measured>, ReadError<E>> {
        let mut read = || {
            let answer = self.wired.instrument.read();
            let damaged = matches!(answer, Err(ReadError::Checksum { .. } | ReadError::Unsteady { .. }));
            if let Some(damaged_pct) = self.cable.count(damaged, clock.monotonic_ms()) {
                outbox.put(Event::Cable { probe: self.wired.probe.clone(), damaged_pct });
            }
            (answer, damaged)
        };
        match read() {
            (_, true) => read().0,
            (answer, false) => answer,
        }
    }

    fn heard(&self, measured: Measured, measured_ms: Option<i64>) -> Option<Heard> {
        let quantity = match measured.kind {
            Kind::Temperature => Quantity::AirTemperature,
            Kind::Humidity => Quantity::RelativeHumidity,
            Kind::Pressure => Quantity::Pressure,
            // A quantity that a newer driver measures and the ledger does not keep.
            _ => return None,
        };
        let probe = self.wired.probe.clone();
        Some(Heard { probe, quantity, value: measured.value.ok(), measured_ms, stale: false })
    }
}

fn is_stuck(cause: &impl Error) -> bool {
    matches!(cause.kind(), ErrorKind::Bus | ErrorKind::ArbitrationLoss)
}

/// Why there is no reading, and where to look.
fn words<E: Error + Display>(error: &ReadError<E>) -> String {
    match error {
        ReadError::Bus { address, cause } => match cause.kind() {
            ErrorKind::NoAcknowledge(_) => format!("no answer at {address:#04x}: cable, power, address"),
            ErrorKind::Bus | ErrorKind::ArbitrationLoss => {
                format!("bus stuck at {address:#04x}: unplug and replug what hangs on it")
            }
            _ => format!("no answer at {address:#04x}: {cause}"),
        },
        other => other.to_string(),
    }
}

/// The most events that wait for the keeper.
const WAITING: usize = 1000;

/// Events on their way to the keeper; the bus does not wait for it.
struct Outbox {
    events: mpsc::Sender<Event>,
    waiting: VecDeque<Event>,
    dropped: u64,
}

/// The keeper has gone.
struct KeeperGone;

impl Outbox {
    fn put(&mut self, event: Event) {
        if self.waiting.len() >= WAITING {
            // A reading: another is measured soon, while what is told at a change is told once.
            let reading = self.waiting.iter().position(|event| matches!(event, Event::Heard { .. }));
            self.waiting.remove(reading.unwrap_or_default());
            self.dropped += 1;
        }
        self.waiting.push_back(event);
    }

    fn pass_on(&mut self) -> Result<(), KeeperGone> {
        while let Some(event) = self.waiting.pop_front() {
            match self.events.try_send(event) {
                Ok(()) => {}
                Err(TrySendError::Closed(_)) => return Err(KeeperGone),
                Err(TrySendError::Full(event)) => {
                    self.waiting.push_front(event);
                    return Ok(());
                }
            }
        }
        if self.dropped > 0 {
            tracing::warn!(dropped = self.dropped, "the keeper took no readings; the oldest were dropped");
            self.dropped = 0;
        }
        Ok(())
    }
}

#[cfg(test)]
#[path = "bus_tests.rs"]
mod tests;
