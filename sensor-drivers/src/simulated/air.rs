//! The true air around a simulated instrument.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// What the air really is where an instrument hangs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrueAir {
    /// Temperature, in °C.
    pub celsius: f64,
    /// Relative humidity over water, in %.
    pub percent: f64,
    /// Pressure, in kPa.
    pub kilopascal: f64,
}

/// The true air as a function of the bus's time.
pub(super) type Source = Box<dyn FnMut(Duration) -> TrueAir + Send>;

/// True air that is set by hand, shared by everyone who holds a clone.
#[derive(Clone, Debug)]
pub struct AirCell(Arc<Mutex<TrueAir>>);

impl AirCell {
    /// Air that stays as given until it is set.
    pub fn new(air: TrueAir) -> Self {
        Self(Arc::new(Mutex::new(air)))
    }

    /// Changes the air from now on.
    pub fn set(&self, air: TrueAir) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = air;
    }

    /// The air as it is.
    pub fn get(&self) -> TrueAir {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// This air as an instrument takes it, whatever the time.
    pub fn source(&self) -> impl FnMut(Duration) -> TrueAir + Send + 'static {
        let air = self.clone();
        move |_| air.get()
    }
}

/// The air an instrument's elements give it: the true one, unless they are stuck.
pub(super) struct Elements {
    source: Source,
    last: Option<TrueAir>,
    stuck: bool,
}

impl Elements {
    pub(super) fn new(source: impl FnMut(Duration) -> TrueAir + Send + 'static) -> Self {
        Self { source: Box::new(source), last: None, stuck: false }
    }

    /// Samples the air; stuck elements repeat their last sample, or stick at their first.
    pub(super) fn sample(&mut self, at: Duration) -> TrueAir {
        match self.last {
            Some(last) if self.stuck => last,
            _ => *self.last.insert((self.source)(at)),
        }
    }

    pub(super) fn stick(&mut self, stuck: bool) {
        self.stuck = stuck;
    }
}
