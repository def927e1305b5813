//! A bench: one simulated chip on a simulated bus in air that can be set.
#![allow(dead_code, reason = "each test file uses the part of the bench it needs")]

use std::time::Duration;

use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use sensor_drivers::simulated::{
    AirCell, SimulatedBme280, SimulatedBus, SimulatedDelay, SimulatedSht4x, TrueAir,
};
use sensor_drivers::{ReadError, bme280, sht4x};

/// An ordinary afternoon.
pub(crate) const MILD: TrueAir = TrueAir { celsius: 24.0, percent: 60.0, kilopascal: 99.5 };

/// The serial number of the simulated SHT4x.
pub(crate) const SERIAL: u32 = 0x1234_5678;

pub(crate) struct Bench {
    pub(crate) bus: SimulatedBus,
    pub(crate) air: AirCell,
    pub(crate) address: u8,
}

impl Bench {
    pub(crate) fn sht4x() -> Self {
        let bench = Self { bus: SimulatedBus::new(), air: AirCell::new(MILD), address: sht4x::ADDRESS };
        bench.bus.attach(bench.address, SimulatedSht4x::new(SERIAL, bench.air.source()));
        bench
    }

    pub(crate) fn bme280() -> Self {
        let bench = Self { bus: SimulatedBus::new(), air: AirCell::new(MILD), address: bme280::ADDRESS };
        bench.bus.attach(bench.address, SimulatedBme280::new(bench.air.source()));
        bench
    }

    pub(crate) fn sht4x_driver(&self) -> sht4x::Sht4x<SimulatedBus, SimulatedDelay> {
        sht4x::Sht4x::new(self.bus.clone(), self.bus.delay(), self.address)
    }

    pub(crate) fn bme280_driver(&self) -> bme280::Bme280<SimulatedBus, SimulatedDelay> {
        bme280::Bme280::new(self.bus.clone(), self.bus.delay(), self.address)
    }

    /// Half a minute passes, as between two readings.
    pub(crate) fn pass(&self) {
        self.bus.set_time(self.bus.now() + Duration::from_secs(30));
    }

    /// What a driver says when nobody acknowledges.
    pub(crate) fn not_acknowledged(&self, source: NoAcknowledgeSource) -> ReadError<ErrorKind> {
        ReadError::Bus { address: self.address, cause: ErrorKind::NoAcknowledge(source) }
    }
}
