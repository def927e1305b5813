//! What every instrument on a bus can do, so that one owner can keep a list of different ones.

use std::fmt;

use crate::{Measured, ReadError};

/// An instrument on a bus.
///
/// Object-safe: the owner of a bus keeps `Vec<Box<dyn Instrument<BusError = …> + Send>>` and asks
/// one after the other. Each blocks for its conversion, some 10 ms.
pub trait Instrument {
    /// What the bus says when it fails.
    type BusError: fmt::Debug;

    /// Measures once: every quantity of the instrument, in a fixed order, temperature first.
    ///
    /// # Errors
    ///
    /// [`ReadError`] when there is nothing to be had from this answer. A quantity that alone is
    /// impossible is refused inside its [`Measured`] instead.
    fn read(&mut self) -> Result<Vec<Measured>, ReadError<Self::BusError>>;

    /// Forgets that the chip was set up, so that the next reading begins from the beginning.
    ///
    /// For the owner of a bus that had to be freed: the pulses that free it may have written
    /// anything into any chip, also into those that never failed.
    fn start_anew(&mut self);

    /// The serial number of the chip that gave the last reading; none before the first, and where the chip has none.
    fn serial_number(&self) -> Option<u32>;

    /// The seven-bit address the instrument answers at.
    fn address(&self) -> u8;
}
