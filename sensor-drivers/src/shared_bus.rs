//! One bus for several instruments.

use std::sync::{Arc, Mutex, PoisonError};

use embedded_hal::i2c::{ErrorType, I2c, Operation};

/// A handle to a bus that several drivers hold at once.
///
/// Drivers own their bus; a wire does not come in copies. Each transaction takes the bus for its
/// own length, so two instruments may convert at the same time but never talk at the same time.
#[derive(Debug)]
pub struct SharedBus<Bus>(Arc<Mutex<Bus>>);

impl<Bus> SharedBus<Bus> {
    /// Takes the bus; clone the handle for each instrument.
    pub fn new(bus: Bus) -> Self {
        Self(Arc::new(Mutex::new(bus)))
    }
}

impl<Bus> Clone for SharedBus<Bus> {
    fn clone(&self) -> Self {
        Self(Arc::clone(&self.0))
    }
}

impl<Bus: I2c> ErrorType for SharedBus<Bus> {
    type Error = Bus::Error;
}

impl<Bus: I2c> I2c for SharedBus<Bus> {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), Self::Error> {
        // A holder that panicked leaves the wire as usable as before: transactions are whole.
        self.0.lock().unwrap_or_else(PoisonError::into_inner).transaction(address, operations)
    }
}
