//! Drivers for the instruments a site hangs on its bus, and simulated instruments to try them on.
//!
//! A driver knows one chip: its commands, its waits, how its words become degrees and percent, and
//! how it fails. It takes any `embedded-hal` bus and delay, keeps no clock, and never panics
//! whatever the chip answers. The bus, the schedule and the grading of readings belong to the caller.
//!
//! An instrument that failed is asked again by calling it again: after any error a driver sets its
//! chip up from the beginning, because a chip that was unplugged, lost its supply or sat on a stuck
//! bus remembers nothing that can be relied upon.
//!
//! | module | instrument | quantities | checksum |
//! |---|---|---|---|
//! | [`sht4x`] | SHT4x class | temperature, humidity | each word |
//! | [`bme280`] | BME280 class | temperature, humidity, pressure | none: registers read twice |
//! | [`simulated`] | both, at register level | | |

pub mod bme280;
mod crc8;
mod error;
mod instrument;
mod shared_bus;
pub mod sht4x;
pub mod simulated;
mod values;

pub use crc8::crc8;
pub use error::{Impossible, ReadError};
pub use instrument::Instrument;
pub use shared_bus::SharedBus;
pub use values::{Celsius, Kilopascal, Kind, Measured, Percent};
