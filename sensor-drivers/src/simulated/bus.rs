//! The wire: who is attached, what time it is, and what goes wrong on the way.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

use super::Fault;

/// A chip as the bus sees it: bytes in, bytes out, at a time.
pub trait Device: Send {
    /// Takes bytes that were written to its address.
    ///
    /// # Errors
    ///
    /// What it did not acknowledge: its address while busy, or a byte it does not know.
    fn write(&mut self, at: Duration, bytes: &[u8]) -> Result<(), NoAcknowledgeSource>;

    /// Fills `answer`.
    ///
    /// # Errors
    ///
    /// As for writing.
    fn read(&mut self, at: Duration, answer: &mut [u8]) -> Result<(), NoAcknowledgeSource>;

    /// The supply comes (back) at this time: everything is as at power-on.
    fn power_on(&mut self, at: Duration);

    /// A fault inside the chip begins or ends; those on the wire are the bus's own affair.
    fn suffer(&mut self, fault: Fault, begins: bool);

    /// The pulses that freed the data line were taken for a write by the chip that held it.
    fn take_junk(&mut self);
}

/// Which line of the bus is held low.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StuckLine {
    /// The clock: nothing but ending it helps; freeing writes nothing.
    Clock,
    /// The data: freeing it by pulses writes junk into the chips.
    Data,
}

/// One attached device and what ails it.
struct Seat {
    device: Box<dyn Device>,
    faults: BTreeSet<Fault>,
    /// Which bit of an answer is turned next.
    turn: usize,
}

#[derive(Default)]
struct Wire {
    now: Duration,
    stuck: Option<StuckLine>,
    seats: BTreeMap<u8, Seat>,
    /// Faults to come, the earliest first.
    to_come: Vec<(Duration, u8, Fault)>,
}

/// A handle to the simulated bus; clones are the same bus.
#[derive(Clone, Default)]
pub struct SimulatedBus(Arc<Mutex<Wire>>);

impl SimulatedBus {
    /// A bus with nobody on it, at time zero.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Puts a device at an address, as it is; whoever was there is gone.
    pub fn attach(&self, address: u8, device: impl Device + 'static) {
        self.wire()
            .seats
            .insert(address, Seat { device: Box::new(device), faults: BTreeSet::new(), turn: 0 });
    }

    /// A delay that moves this bus's clock.
    #[must_use]
    pub fn delay(&self) -> SimulatedDelay {
        SimulatedDelay(self.clone())
    }

    /// The time since the bus began.
    #[must_use]
    pub fn now(&self) -> Duration {
        self.wire().now
    }

    /// Sets the clock; a time already past is left alone, since chips know no way back.
    pub fn set_time(&self, to: Duration) {
        self.wire().run_to(to);
    }

    /// Has a fault begin now. An address with nobody at it suffers nothing.
    pub fn inject(&self, address: u8, fault: Fault) {
        let mut wire = self.wire();
        let now = wire.now;
        wire.begin(now, address, fault);
    }

    /// Has a fault begin when the clock gets there, be it in the middle of a conversion.
    pub fn inject_at(&self, at: Duration, address: u8, fault: Fault) {
        let mut wire = self.wire();
        wire.to_come.push((at, address, fault));
        wire.to_come.sort_by_key(|(at, ..)| *at);
        let now = wire.now;
        wire.run_to(now);
    }

    /// Ends every fault of the device at an address. One that was unplugged or exchanged starts
    /// from power-on.
    pub fn heal(&self, address: u8) {
        let mut wire = self.wire();
        let now = wire.now;
        let Some(seat) = wire.seats.get_mut(&address) else { return };
        for fault in std::mem::take(&mut seat.faults) {
            seat.device.suffer(fault, false);
            if fault.parts_the_plug() {
                seat.device.power_on(now);
            }
        }
    }

    /// Holds a line low: every transfer fails until the bus is freed.
    pub fn stick(&self, line: StuckLine) {
        self.wire().stuck = Some(line);
    }

    /// Frees the bus as a board does, by pulses on the clock. A held data line takes them for data.
    pub fn free(&self) {
        let mut wire = self.wire();
        if wire.stuck.take() == Some(StuckLine::Data) {
            wire.seats.values_mut().for_each(|seat| seat.device.take_junk());
        }
    }

    fn wire(&self) -> MutexGuard<'_, Wire> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl fmt::Debug for SimulatedBus {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let wire = self.wire();
        let addresses: Vec<_> = wire.seats.keys().collect();
        f.debug_struct("SimulatedBus").field("now", &wire.now).field("addresses", &addresses).finish()
    }
}

impl Wire {
    /// Moves the clock on, with the faults that fall due on the way.
    fn run_to(&mut self, to: Duration) {
        let to = self.now.max(to);
        let due = self.to_come.partition_point(|(at, ..)| *at <= to);
        for (at, address, fault) in self.to_come.drain(..due).collect::<Vec<_>>() {
            self.begin(at, address, fault);
        }
        self.now = to;
    }

    fn begin(&mut self, at: Duration, address: u8, fault: Fault) {
        let Some(seat) = self.seats.get_mut(&address) else { return };
        if fault == Fault::BrownOut || fault.parts_the_plug() {
            seat.device.power_on(at);
        }
        if fault != Fault::BrownOut {
            seat.faults.insert(fault);
            seat.device.suffer(fault, true);
        }
    }
}

impl Seat {
    fn acknowledged(&self) -> Result<(), NoAcknowledgeSource> {
        if self.faults.contains(&Fault::Absent) {
            Err(NoAcknowledgeSource::Address)
        } else if self.faults.contains(&Fault::Nack) {
            Err(NoAcknowledgeSource::Data)
        } else {
            Ok(())
        }
    }

    fn write(&mut self, at: Duration, bytes: &[u8]) -> Result<(), NoAcknowledgeSource> {
        self.acknowledged()?;
        self.device.write(at, bytes)
    }

    fn read(&mut self, at: Duration, answer: &mut [u8]) -> Result<(), NoAcknowledgeSource> {
        self.acknowledged()?;
        self.device.read(at, answer)?;
        let damaged = self.faults.contains(&Fault::Damaged) || self.faults.remove(&Fault::DamagedOnce);
        if damaged && !answer.is_empty() {
            let bit = self.turn % (answer.len() * 8);
            answer[bit / 8] ^= 0x80 >> (bit % 8);
            // Eleven shares no factor with eight, so that every bit has its turn.
            self.turn += 11;
        }
        if self.faults.contains(&Fault::Shifted) || self.faults.remove(&Fault::ShiftedOnce) {
            // The line rests at one until the chip is ready.
            let mut late = 1;
            for byte in answer.iter_mut() {
                (*byte, late) = (*byte >> 1 | late << 7, *byte & 1);
            }
        }
        if self.faults.contains(&Fault::AllZero) {
            answer.fill(0x00);
        } else if self.faults.contains(&Fault::AllOnes) {
            answer.fill(0xFF);
        }
        Ok(())
    }
}

impl ErrorType for SimulatedBus {
    type Error = ErrorKind;
}

impl I2c for SimulatedBus {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        let mut wire = self.wire();
        if wire.stuck.is_some() {
            return Err(ErrorKind::Bus);
        }
        let now = wire.now;
        let nobody = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);
        let seat = wire.seats.get_mut(&address).ok_or(nobody)?;
        for operation in operations {
            match operation {
                Operation::Write(bytes) => seat.write(now, bytes),
                Operation::Read(answer) => seat.read(now, answer),
            }
            .map_err(ErrorKind::NoAcknowledge)?;
        }
        Ok(())
    }
}

/// A delay whose waits move the clock of its bus, and nothing else.
#[derive(Clone, Debug)]
pub struct SimulatedDelay(SimulatedBus);

impl DelayNs for SimulatedDelay {
    fn delay_ns(&mut self, ns: u32) {
        let mut wire = self.0.wire();
        let to = wire.now + Duration::from_nanos(u64::from(ns));
        wire.run_to(to);
    }
}
