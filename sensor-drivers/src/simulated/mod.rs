//! Simulated instruments on a simulated bus, down to the registers.
//!
//! A [`SimulatedBus`] is an `embedded-hal` bus with a clock of its own. Instruments are attached to
//! it at an address; they know the true air only through a function of time, and whatever a driver
//! learns of it, it learns through commands, waits and bytes. A driver that asks too early is not
//! acknowledged; one that trusts a chip which lost its settings reads nonsense, as on a bench.
//!
//! Time moves only when a [`SimulatedDelay`] waits or the clock is set from outside. Transfers take
//! no time, which is harder on a driver than a wire: its waits alone must do.
//!
//! ```
//! use sensor_drivers::{Instrument, sht4x, simulated};
//!
//! let bus = simulated::SimulatedBus::new();
//! let air = simulated::AirCell::new(simulated::TrueAir { celsius: 31.0, percent: 48.0, kilopascal: 98.2 });
//! bus.attach(sht4x::ADDRESS, simulated::SimulatedSht4x::new(0x0BAD_CAFE, air.source()));
//! let mut probe = sht4x::Sht4x::new(bus.clone(), bus.delay(), sht4x::ADDRESS);
//! assert_eq!(format!("{:.2}", probe.measure().unwrap().temperature), "31.00 °C");
//!
//! bus.inject(sht4x::ADDRESS, simulated::Fault::Absent);
//! assert!(probe.read().is_err());
//! ```

mod air;
mod bme280;
mod bus;
mod fault;
mod sht4x;
mod whole_numbers;

pub use air::{AirCell, TrueAir};
pub use bme280::{SimulatedBme280, TYPICAL};
pub use bus::{Device, SimulatedBus, SimulatedDelay, StuckLine};
pub use fault::Fault;
pub use sht4x::SimulatedSht4x;
